"""When light changes, by the clip's own clock: made-up shutters over made-up dots, exposure by exposure."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.phase import CLEAR, Phase, phase
from patcher.clip.registration import BANDS, Laid
from rig.examples import seeds

HEIGHT = 480
DOTS = 40


def clip(
    rng: np.random.Generator,
    rate: float,
    first: float,
    readout: float,
    *,
    seconds: float = 20.0,
    exposure: float = 0.012,
    beat: float = 0.1,
    drop: float = 0.0,
) -> list[Laid]:
    """A film of dots that change every `beat` seconds, the first time at `first`, half of them each time.

    A frame of time t is what its rows take in from t + readout × row / height on, for the exposure.
    """
    levels = rng.choice([50.0, 200.0], (int(seconds / beat) + 40, BANDS, DOTS))
    for number in range(1, len(levels)):
        stays = np.arange(DOTS) % 2 == number % 2
        levels[number, :, stays] = levels[number - 1, :, stays]
    found, before = [], None
    for number in range(int(seconds * rate)):
        if rng.random() < drop:
            continue
        time = number / rate
        seen = np.zeros((BANDS, DOTS))
        for band in range(BANDS):
            begin = time + readout * (band + 0.5) / BANDS - first + 10 * beat
            one = int(begin // beat)
            late = float(np.clip((begin + exposure - (one + 1) * beat) / exposure, 0, 1))
            seen[band] = (1 - late) * levels[one, band] + late * levels[one + 1, band]
        seen += rng.normal(0, 1.5, seen.shape)
        change = np.empty(0) if before is None else np.abs(seen - before).sum(axis=1)
        found.append(Laid(time, np.eye(3), 1.0, 0.0, change))
        before = seen
    return found


RATES = [(24, 0.010), (25, 0.012), (30000 / 1001, 0.008), (30, 0.017), (60, 0.009)]


@pytest.mark.parametrize(("rate", "near"), RATES)
@pytest.mark.parametrize("readout", [0.0, 0.012, 0.028])
@pytest.mark.parametrize("seed", seeds(1, 4))
def test_the_instants_at_which_light_changes_are_found(rate: float, near: float, readout: float, seed: int) -> None:
    """`near` is half the step between the instants at which such frames can see a change at all: 30 frames a second
    see each change a third of a beat wide.
    """
    rng = np.random.default_rng(seed)
    first, exposure = float(rng.uniform(0, 0.1)), 0.012
    found = phase(clip(rng, rate, first, readout, exposure=exposure), HEIGHT)
    assert found.clear > 2 * CLEAR
    for row in (0, HEIGHT // 2, HEIGHT - 1):
        # A row that is read later shows a change in a frame of an earlier time; half the exposure is behind it.
        true = first - readout * row / HEIGHT - exposure / 2
        said = found.first + found.row * row
        off = (said - true + 0.05) % 0.1 - 0.05
        assert abs(off) < near + 0.003


@pytest.mark.parametrize("rate", [24, 25, 30000 / 1001, 30, 60])
@pytest.mark.parametrize("seed", seeds(1, 6))
def test_a_row_that_counts_in_full_shows_one_bin_alone(rate: float, seed: int) -> None:
    rng = np.random.default_rng(100 + seed)
    first, readout, exposure = float(rng.uniform(0, 0.1)), float(rng.uniform(0, 0.02)), 0.01
    laid = clip(rng, rate, first, readout, exposure=exposure, drop=0.05)
    found = phase(laid, HEIGHT)
    rows = np.arange(0, HEIGHT, 60.0)
    counted, shifts = 0, set()
    for one in laid:
        number, weight = found.bins(one.time, rows)
        begin = one.time + readout * rows / HEIGHT - first
        true = np.floor(begin / 0.1).astype(int)
        alone = np.floor((begin + exposure) / 0.1).astype(int) == true
        full = weight == 1
        assert alone[full].all()
        assert ((weight >= 0) & (weight <= 1)).all()
        shifts |= set((number - true)[full].tolist())
        counted += int(full.sum())
    assert len(shifts) == 1
    assert counted > 0.15 * len(laid) * len(rows)


@pytest.mark.parametrize("seed", seeds(3, 6))
@pytest.mark.parametrize("beat", [1 / 7, 1 / 6, 1 / 12.5])
def test_what_blinks_at_another_rate_is_not_clear(seed: int, beat: float) -> None:
    rng = np.random.default_rng(seed)
    assert phase(clip(rng, 30000 / 1001, 0.03, 0.01, beat=beat), HEIGHT).clear < CLEAR


def test_what_does_not_blink_is_not_clear() -> None:
    rng = np.random.default_rng(1)
    laid = [Laid(n / 30, np.eye(3), 1.0, 0.0, rng.gamma(20, 10, BANDS)) for n in range(900)]
    assert phase(laid, HEIGHT).clear < CLEAR
    still = [Laid(n / 30, np.eye(3), 1.0, 0.0, np.zeros(BANDS)) for n in range(900)]
    assert phase(still, HEIGHT).clear == 0
    assert phase([], HEIGHT).clear == 0
    assert phase(laid[:5], HEIGHT).clear == 0


def test_frames_that_could_not_be_laid_do_not_tell() -> None:
    rng = np.random.default_rng(2)
    laid = clip(rng, 25, 0.04, 0.0)
    other = [Laid(one.time + 0.001, one.matrix, 0.1, 0.0, np.full(BANDS, 1e6)) for one in laid[::5]]
    mixed = sorted([*laid, *other], key=lambda one: one.time)
    found = phase(mixed, HEIGHT)
    assert abs((found.first - (0.04 - 0.006) + 0.05) % 0.1 - 0.05) < 0.012


def test_weights_rise_from_the_changes_to_the_middle_of_a_bin() -> None:
    number, weight = Phase(0.02, 0.0, 1.0).bins(0.02, np.zeros(1))
    assert weight[0] == 0
    assert Phase(0.02, 0.0, 1.0).bins(0.07, np.zeros(1))[1][0] == 1
    for time in np.linspace(0.021, 0.119, 50):
        number, weight = Phase(0.02, 0.0, 1.0).bins(float(time), np.zeros(1))
        assert number[0] == 0
        mirror = Phase(0.02, 0.0, 1.0).bins(0.14 - float(time), np.zeros(1))[1]
        assert weight[0] == pytest.approx(mirror[0], abs=1e-6)
