"""What moves is followed step by step for few classes, and worked out from where they differ for all others."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher import eye
from patcher.diagnosis.moving_views import TakenWays, moved, pixels_of_channels
from patcher.eye import Eye
from patcher.faults import departure
from rig.diagnosed_shows import shown
from rig.examples import examples

LAMPS, LETTERS, CHANNELS = 6, 2, 24
CHANNEL = st.integers(0, CHANNELS + 1)


def followed(ask: eye.Ask, steps: list[list[int]], takes: list[list[list[int]]], places: list[int] | None) -> str:
    """What is said before pixels that take these channels (runs, pixels, letters), step by step and pixel by pixel."""
    lamps = [lamp for run in takes for lamp in run]
    good = []
    for step in steps:
        lit = [[n for n, lamp in enumerate(lamps) if channel in lamp and channel < CHANNELS] for channel in step]
        if places is None:
            good.append(any(lit))
        else:
            alone = all(len(own) == 1 for own in lit)
            good.append(alone and abs(places[lit[0][0]] - places[lit[1][0]]) in (1, eye.LINE))
    if not any(good):
        return ask.answers[-2]
    return ask.answers[int(ask.goes.max()) + 1] if all(good) else ask.answers[int(ask.goes[good.index(False)])]


def near(base: list[list[int]], data: st.DataObject) -> list[list[int]]:
    """What a run takes that differs from a base as a run with a fault does, or in any way."""
    found = [list(lamp) for lamp in base]
    at = data.draw(st.integers(0, LAMPS - 1))
    match data.draw(st.sampled_from(("same", "lost", "moved", "one", "any"))):
        case "lost":
            nothing = data.draw(st.sampled_from((CHANNELS, CHANNELS + 1)))
            found[at:] = [[nothing] * LETTERS for _ in found[at:]]
        case "moved":
            found[at:] = [[CHANNELS] * LETTERS, *found[at:-1]]
        case "one":
            found[at][data.draw(st.integers(0, LETTERS - 1))] = data.draw(CHANNEL)
        case "any":
            found = data.draw(st.lists(st.tuples(*[CHANNEL] * LETTERS).map(list), min_size=LAMPS, max_size=LAMPS))
    return found


# Judge: every step of every class, pixel by pixel.
@examples(66, 200)
@given(st.data(), st.booleans())
def test_what_moves_is_worked_out_as_if_it_were_followed(data: st.DataObject, two: bool) -> None:
    runs = data.draw(st.integers(1, 2))
    base = [[[run * 12 + lamp, run * 12 + LAMPS + lamp] for lamp in range(LAMPS)] for run in range(runs)]
    if data.draw(st.booleans()):
        base = [near(own, data) for own in base]
    ways = [[own, *(near(own, data) for _ in range(data.draw(st.integers(0, 5))))] for own in base]
    many = data.draw(st.integers(1, 8))
    of = [data.draw(st.lists(st.integers(0, len(own) - 1), min_size=many, max_size=many)) for own in ways]
    along = [
        [run * 12 + letter * LAMPS + lamp + n for n in range(1 + two)]
        for run in range(runs) for lamp in range(LAMPS - two) for letter in range(LETTERS)
    ]  # fmt: skip
    steps = data.draw(st.sampled_from((along, along[::-1], along[3:])))
    goes = eye.goes_of([len(part) for part in np.array_split(steps, 3)])
    places = [run * eye.LINE**2 + lamp for run in range(runs) for lamp in range(LAMPS)] if two else None
    names = tuple("ab"[:runs])
    ask = eye.together(names, goes, np.array(places)) if two else eye.vanish(names, goes)
    taken = []
    for own, numbers in zip(ways, of, strict=True):
        index = np.array(own, dtype=np.int32)
        loses = ((index == index[0]) | (index >= CHANNELS)).all(axis=(1, 2))
        taken.append(TakenWays(index.transpose(2, 0, 1), np.array(numbers), loses, CHANNELS))
    chances = moved(Eye(), ask, np.array(steps), taken)
    for place, numbers in enumerate(zip(*of, strict=True)):
        takes = [own[number] for own, number in zip(ways, numbers, strict=True)]
        assert ask.answers[int(chances[place].argmax())] == followed(ask, steps, takes, places)
        assert chances[place].max() == 1


@pytest.mark.parametrize("name", ["chain", "white", "one start", "grid"])
def test_a_variant_loses_where_all_that_changes_takes_nothing(name: str) -> None:
    _, _, scene = shown(name)
    found: dict[bool, set[str]] = {False: set(), True: set()}
    for number, members in enumerate(scene.classes):
        for run, takes in departure(scene.plan, members[0]).takes.items():
            changed = takes[takes != scene.plan.takes[run]]
            variants = scene.variants[run]
            assert variants.loses[variants.of[number]] == (changed < 0).all()
            found[bool((changed < 0).all())].add(members[0][0].kind)
    assert {"dark", "cut", "flicker"} <= found[True]
    assert {"missing", "shift"} <= found[False]


def test_lamps_of_two_runs_are_never_side_by_side() -> None:
    _, _, scene = shown("chain")
    runs = tuple(scene.variants)
    one = len(scene.places[runs[0]])
    joined = scene.joined(runs[:2])
    assert np.abs(joined[:one, None] - joined[None, one:]).min() > eye.LINE


def test_a_channel_that_two_lamps_take_lights_several() -> None:
    index = np.array([[[0, 1, 1, 3, 4]]], dtype=np.int32)
    assert pixels_of_channels([index, index[:, :, :1]], 3).tolist() == [
        [eye.SEVERAL, eye.SEVERAL, eye.NOBODY, eye.NOBODY]
    ]
