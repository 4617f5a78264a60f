"""Frames are laid on the first one though the camera shakes and pixels blink: moving pictures of dots, drawn here."""

from __future__ import annotations

import numpy as np
import pytest

from patcher.clip.registration import Ground, Laid, brightest, grid_steps, peaks
from rig.examples import seeds

SHAPE = (200, 240)
SPREAD = 1.1
LEVELS = (55.0, 220.0)


def drawn(at: np.ndarray, level: np.ndarray, shape: tuple[int, int] = SHAPE) -> np.ndarray:
    """Dots as a lens shows them: shape (height, width, 3)."""
    total = np.zeros(shape)
    near = np.round(at).astype(int)
    for dy in range(-4, 5):
        for dx in range(-4, 5):
            x, y = near[:, 0] + dx, near[:, 1] + dy
            inside = (x >= 0) & (y >= 0) & (x < shape[1]) & (y < shape[0])
            light = level * np.exp(-((x - at[:, 0]) ** 2 + (y - at[:, 1]) ** 2) / (2 * SPREAD**2))
            np.add.at(total, (y[inside], x[inside]), light[inside])
    grey = np.clip(total + 4, 0, 255)
    return np.repeat(grey[..., None], 3, axis=2).round().astype(np.uint8)


def scattered(rng: np.random.Generator, count: int) -> np.ndarray:
    """Dots here and there, none nearer than 6 points to another."""
    found: list[np.ndarray] = []
    while len(found) < count:
        one = rng.uniform([22, 22], [SHAPE[1] - 22, SHAPE[0] - 22])
        if all(np.hypot(*(one - other)) > 6 for other in found):
            found.append(one)
    return np.array(found)


def grid(pitch: float, columns: int = 24, rows: int = 20) -> np.ndarray:
    x, y = np.meshgrid(np.arange(columns) * pitch + 30, np.arange(rows) * pitch + 28)
    return np.column_stack([x.ravel(), y.ravel()])


def view(shift: np.ndarray, turn: float = 0.0, tilt: tuple[float, float] = (0.0, 0.0)) -> np.ndarray:
    """A matrix that turns, tilts and shifts about the middle of the picture."""
    middle = np.array(SHAPE[::-1]) / 2
    there = np.array([[1, 0, -middle[0]], [0, 1, -middle[1]], [0, 0, 1]])
    own = np.array([[np.cos(turn), -np.sin(turn), 0], [np.sin(turn), np.cos(turn), 0], [tilt[0], tilt[1], 1]])
    back = np.array([[1, 0, middle[0] + shift[0]], [0, 1, middle[1] + shift[1]], [0, 0, 1]])
    return back @ own @ there


def through(matrix: np.ndarray, at: np.ndarray) -> np.ndarray:
    found = np.column_stack([at, np.ones(len(at))]) @ matrix.T
    return found[:, :2] / found[:, 2:]


def off(laid: Laid, true: np.ndarray, at: np.ndarray) -> float:
    """Points by which dots are off, on the mean of squares."""
    return float(np.sqrt((np.hypot(*(through(laid.matrix, at) - through(true, at)).T) ** 2).mean()))


def shaken(rng: np.random.Generator, frames: int, most: float) -> list[np.ndarray]:
    """The shifts of a hand: each frame a step of `most` points at most, never far away."""
    found = [np.zeros(2)]
    for _ in range(frames - 1):
        found.append(found[-1] * 0.9 + rng.uniform(-most, most, 2))
    return found


def blinking(rng: np.random.Generator, count: int, frames: int) -> list[np.ndarray]:
    """Levels of dots, half of which may change in any frame: in every third frame, as 30 frames a second show it."""
    level = rng.choice(LEVELS, count)
    found = []
    for number in range(frames):
        if number % 3 == 0:
            part = np.arange(count) % 2 == number // 3 % 2
            level = np.where(part, rng.choice(LEVELS, count), level)
        found.append(level)
    return found


@pytest.mark.parametrize("seed", seeds(1, 20))
def test_shaken_dots_that_blink_are_laid_within_a_part_of_a_point(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at, ground = scattered(rng, 150), Ground()
    turn = rng.uniform(-0.004, 0.004, 40).cumsum() * 0.5
    for number, (shift, level) in enumerate(zip(shaken(rng, 30, 2.0), blinking(rng, 150, 30), strict=True)):
        true = view(shift, turn[number] - turn[0])
        found = ground.lay(number / 30, drawn(through(true, at), level))
        assert found.good
        assert off(found, true, at) < 0.15
        assert found.time == number / 30


def test_perspective_is_found_where_there_are_many_dots() -> None:
    rng = np.random.default_rng(3)
    at, ground = grid(7.5), Ground()
    errors = []
    for number, level in enumerate(blinking(rng, len(at), 30)):
        bow = float(np.sin(number / 12))
        tilt = (1.2e-4 * bow, -0.9e-4 * bow)
        true = view(np.array([2 * np.sin(number / 7), 0.0]), 0.004 * np.sin(number / 9), tilt)
        found = ground.lay(number / 30, drawn(through(true, at), level))
        errors.append(off(found, true, at))
    assert max(errors) < 0.15


@pytest.mark.parametrize("pitch", [4.5, 6.0])
@pytest.mark.parametrize("seed", seeds(1, 10))
def test_a_grid_does_not_slip_by_a_pitch(pitch: float, seed: int) -> None:
    # Source: the design: matching to a map alone slips by one pixel on a grid.
    rng = np.random.default_rng(seed)
    at, ground = grid(pitch), Ground()
    for number, (shift, level) in enumerate(zip(shaken(rng, 30, 1.5), blinking(rng, len(at), 30), strict=True)):
        true = view(shift)
        found = ground.lay(number / 30, drawn(through(true, at), level))
        assert off(found, true, at) < 0.25


@pytest.mark.parametrize("seed", seeds(1, 8))
def test_where_a_frame_lay_a_step_of_a_grid_beside_those_after_it_do_not(seed: int) -> None:
    rng = np.random.default_rng(seed)
    at = grid(7.0, 14, 12)
    plainly, beside = Ground(), Ground(beside=True)
    for number, level in enumerate(blinking(rng, len(at), 40)):
        picture, wrong = drawn(at, level), view(np.array([7.0, 0.0])) if number == 30 else None
        found = [ground.lay(number / 30, picture, wrong) for ground in (plainly, beside)]
    assert off(found[0], np.eye(3), at) > 6, "nothing tells but the edges of the grid"
    assert off(found[1], np.eye(3), at) < 0.3


def test_the_steps_of_a_grid_are_those_that_many_points_share() -> None:
    rng = np.random.default_rng(4)
    steps = grid_steps(grid(7.0) + rng.normal(0, 0.05, (480, 2)))
    assert len(steps) == 8
    for step in ([7, 0], [-7, 0], [0, 7], [0, -7]):
        assert np.hypot(*(steps - step).T).min() < 0.1
    assert len(grid_steps(scattered(rng, 150))) == 0


def test_a_few_faint_dots_are_laid_though_most_bright_points_of_a_frame_are_noise() -> None:
    rng = np.random.default_rng(7)
    at, ground = scattered(rng, 20), Ground()
    for number, level in enumerate(blinking(rng, len(at), 30)):
        true = view(np.array([0.5, -0.3]) * np.sin(number))
        grain = np.where(rng.random(SHAPE) < 0.004, rng.uniform(8, 16, SHAPE), 0) + rng.normal(0, 1, SHAPE)
        picture = (drawn(through(true, at), level) + grain[..., None]).clip(0, 255).astype(np.uint8)
        found = ground.lay(number / 30, picture)
        assert found.good
        assert off(found, true, at) < 0.3


def test_a_frame_in_which_all_light_changes_is_no_jump() -> None:
    rng = np.random.default_rng(5)
    at, ground = scattered(rng, 150), Ground()
    level = rng.choice(LEVELS, 150)
    for number in range(30):
        if number in (12, 18, 19, 25):
            level = sum(LEVELS) - level
        true = view(np.array([0.3, -0.2]) * np.sin(number))
        found = ground.lay(number / 30, drawn(through(true, at), level))
        assert found.good
        assert found.moved < 0.8
        assert off(found, true, at) < 0.15


def test_how_much_a_frame_moved_is_how_far_the_middle_went() -> None:
    rng = np.random.default_rng(6)
    at, ground = scattered(rng, 120), Ground()
    steps = [np.zeros(2), np.array([1.5, 0.0]), np.array([1.5, -2.0]), np.array([1.5, -2.0])]
    seen = [ground.lay(n / 30, drawn(at + shift, np.full(120, 200.0))).moved for n, shift in enumerate(steps)]
    assert seen == pytest.approx([0, 1.5, 2.0, 0], abs=0.15)


def test_bands_change_where_dots_do() -> None:
    rng = np.random.default_rng(8)
    at, ground = scattered(rng, 150), Ground()
    upper = at[:, 1] < SHAPE[0] / 2
    for number in range(6):
        level = np.where(upper & (number % 2 == 1), LEVELS[0], LEVELS[1])
        found = ground.lay(number / 30, drawn(at, level))
    assert len(found.change) == 8
    assert found.change[:4].sum() > 20 * found.change[4:].sum()


def test_a_frame_of_something_else_is_not_good() -> None:
    rng = np.random.default_rng(9)
    at, ground = scattered(rng, 150), Ground()
    for number in range(8):
        ground.lay(number / 30, drawn(at, rng.choice(LEVELS, 150)))
    assert not ground.lay(8 / 30, np.zeros((*SHAPE, 3), dtype=np.uint8)).good
    again = ground.lay(9 / 30, drawn(at, rng.choice(LEVELS, 150)))
    assert again.good
    assert off(again, np.eye(3), at) < 0.15


def test_peaks_are_where_dots_are_brightest_first() -> None:
    rng = np.random.default_rng(10)
    at = scattered(rng, 60)
    level = rng.uniform(60, 250, 60)
    grey = drawn(at, level)[..., 0].astype(np.float32)
    found = peaks(grey, 1000, 10.0)
    assert len(found) == 60
    away = np.hypot(*(found[:, None] - at[None]).transpose(2, 0, 1))
    nearest = away.argmin(axis=1)
    assert sorted(nearest.tolist()) == list(range(60))
    assert away.min(axis=1).max() < 0.2
    order = level[nearest]
    assert np.corrcoef(order, -np.arange(60))[0, 1] > 0.95
    assert len(peaks(grey, 10, 10.0)) == 10
    assert np.isin(nearest[:10], np.argsort(-level)[:20]).all()


def test_a_blue_dot_counts_as_much_as_a_green_one() -> None:
    picture = np.zeros((4, 4, 3), dtype=np.uint8)
    picture[1, 1], picture[2, 2], picture[3, 3] = (0, 0, 200), (0, 200, 0), (200, 10, 199)
    assert brightest(picture).tolist() == [[0, 0, 0, 0], [0, 200, 0, 0], [0, 0, 200, 0], [0, 0, 0, 200]]


@pytest.mark.parametrize("seed", seeds(2, 6))
def test_noise_of_a_dim_film_is_not_taken_for_lights(seed: int) -> None:
    """A camera that is told to show the dark shows its noise: far more points of that than of lights."""
    rng = np.random.default_rng(seed)
    at = scattered(rng, 60)
    ground, good, worst = Ground(), 0, 0.0
    for frame, shift in enumerate(shaken(rng, 40, 0.5)):
        matrix = view(shift)
        picture = drawn(through(matrix, at), rng.uniform(30, 60, len(at))).astype(float)
        picture += 10 + rng.normal(0, 9, SHAPE)[..., None]
        laid = ground.lay(frame / 30, np.clip(picture, 0, 255).astype(np.uint8))
        good += laid.good
        worst = max(worst, off(laid, matrix, at))
    assert good > 35
    assert worst < 1.5
