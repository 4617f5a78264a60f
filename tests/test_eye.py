"""The eye against a slow reader of its own, which goes from pixel to pixel as a person would."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher import eye
from patcher.eye import IN_PARTS, Eye

SHADE = st.integers(0, 6)
RUN = st.lists(SHADE, min_size=1, max_size=14)
COLOURS = ("red", "green", "blue", "white")
NAMES = ("dark", *COLOURS, "another colour", "flicker")


def said(ask: eye.Ask, lamps: list[int], seeing: Eye | None = None) -> dict[str, float]:
    chances = (seeing or Eye()).sees(ask, [np.array([lamps], dtype=np.uint8)])[0]
    assert chances.sum() == pytest.approx(1)
    assert chances[-1] == 0  # an eye knows what it sees; who cannot tell is a person
    return {answer: float(chance) for answer, chance in zip(ask.answers, chances, strict=True) if chance}


# Source: the design: white is W alone, or R, G and B; another mixture is odd.
@pytest.mark.parametrize("letters", ["RGB", "GRB", "RGBW", "GWRB", "W", "RGBWA"])
def test_the_shade_of_every_mixture(letters: str) -> None:
    table = eye.shade_table(letters)
    for bits in range(1 << len(letters)):
        lit = {letter for number, letter in enumerate(letters) if bits & (1 << number)}
        if lit == {"R", "G", "B"}:
            expected = "white"
        elif len(lit) == 1:
            expected = {"R": "red", "G": "green", "B": "blue", "W": "white"}.get(*lit, "another colour")
        else:
            expected = "another colour" if lit else "dark"
        assert NAMES[table[bits]] == expected
    assert table[eye.BROKEN] == eye.FLICKER


@given(RUN, st.sampled_from((0, -1)))
def test_the_outermost_lamp_is_the_first_steady_one_from_an_end(lamps: list[int], end: int) -> None:
    expected = "what is lit only flickers" if 6 in lamps else "nothing is lit"
    for lamp in lamps[::-1] if end else lamps:
        if lamp not in (0, 6):
            expected = NAMES[lamp]
            break
    assert said(eye.outer("run", end), lamps) == {expected: 1.0}


def seen_colours(lamps: list[int]) -> set[str]:
    """Those on two pixels or more; all of them where no more than four pixels are lit."""
    lit = [lamp for lamp in lamps if 1 <= lamp <= 5]
    return {NAMES[lamp] for lamp in lit if lit.count(lamp) > 1 or len(lit) <= 4}


# Source: the design: it counts to four; in a lit stretch single odd pixels pass unseen.
@given(RUN)
def test_which_colour_is_missing(lamps: list[int]) -> None:
    gone = [colour for colour in COLOURS if colour not in seen_colours(lamps)]
    expected = "none is missing" if not gone else f"{gone[0]} is missing" if len(gone) == 1 else "several are missing"
    if not any(1 <= lamp <= 5 for lamp in lamps):
        expected = "nothing is lit"
    assert said(eye.missing("run", COLOURS), lamps) == {expected: 1.0}


# Source: the design: a dark pixel in a longer stretch is missed three times in ten.
@given(st.lists(st.sampled_from((0, 1, 1, 2, 3, 4)), min_size=1, max_size=14))
def test_a_gap_is_called_by_the_lamp_before_it(lamps: list[int]) -> None:
    text = "".join(map(str, lamps)).strip("0")
    gaps = [part for part in text.split("0") if part]
    lit = len(text) - text.count("0")
    if len(gaps) < 2:
        expected = {"no gap": 1.0}
    else:
        name = f"after {NAMES[int(gaps[0][-1])]}" if len(gaps) == 2 else "several gaps, or elsewhere"
        expected = {name: 1.0} if lit <= 4 else {name: 0.7, "no gap": 0.3}
    assert said(eye.gap("run", COLOURS), lamps) == pytest.approx(expected)
    assert said(eye.gap("run", COLOURS), lamps, Eye(gaps=False)) == {"no gap": 1.0}


@given(RUN, st.sampled_from(COLOURS), st.data())
def test_where_a_colour_is(lamps: list[int], colour: str, data: st.DataObject) -> None:
    quarters = data.draw(st.lists(st.integers(0, 3), min_size=len(lamps), max_size=len(lamps)))
    here = {q for q, lamp in zip(quarters, lamps, strict=True) if NAMES[lamp] == colour}
    expected = "in more than one" if len(here) > 1 else "abcd"[min(here, default=0)]
    if colour not in seen_colours(lamps):
        expected = f"no {colour} anywhere"
    ask = eye.where("run", colour, np.array(quarters, dtype=np.int8), "abcd")
    assert said(ask, lamps) == {expected: 1.0}


@given(RUN)
def test_a_run_as_a_whole_is_what_three_quarters_of_it_show(lamps: list[int]) -> None:
    most = max(set(lamps), key=lamps.count)
    enough = lamps.count(most) * 4 >= len(lamps) * 3
    expected = (NAMES[most] if most != 6 else "it flickers") if enough else IN_PARTS
    assert said(eye.whole("run"), lamps) == {expected: 1.0}
    flickers = "nothing" if 6 not in lamps else "all of it" if set(lamps) == {6} else "a part of it"
    assert said(eye.flicker("run"), lamps) == {flickers: 1.0}


def first_otherwise(steps: list[list[bool]], never: str, never_any: str) -> str:
    """What is said of goes whose steps were as they should be or not."""
    names = ["pass 1", "pass 2", "pass 3", "pass 4"]
    found = next((names[n] for n, go in enumerate(steps) if not all(go)), never)
    return found if any(map(any, steps)) else never_any


STEPS = st.lists(st.lists(st.lists(st.integers(-2, 11), min_size=2, max_size=2), min_size=1, max_size=5), min_size=1,
                 max_size=4)  # fmt: skip


@given(STEPS)
def test_in_which_go_a_dot_vanished(goes: list[list[list[int]]]) -> None:
    ask = eye.vanish(("run",), eye.goes_of([len(go) for go in goes]))
    lamps = np.array([[step for go in goes for step in go]], dtype=np.int32)
    chances = Eye().watches(ask, lamps)[0]
    lit = [[step != [eye.NOBODY, eye.NOBODY] for step in go] for go in goes]
    assert ask.answers[int(chances.argmax())] == first_otherwise(lit, "it never vanished", "I never saw one")
    assert chances.max() == 1.0


# Pixels 0 to 5 hang along a run, 6 to 11 are a grid of two rows of three, the second of which begins above the first.
@given(STEPS, st.booleans())
def test_in_which_go_two_lamps_were_not_side_by_side(goes: list[list[list[int]]], gaps: bool) -> None:
    grid = [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)]
    places = [*range(6), *(3 * eye.LINE**2 + column + row * eye.LINE for column, row in grid)]
    ask = eye.together(("run", "net"), eye.goes_of([len(go) for go in goes]), np.array(places))
    lamps = np.array([[step for go in goes for step in go]], dtype=np.int32)
    chances = Eye(gaps=gaps).watches(ask, lamps)[0]
    assert ask.answers[int(chances.argmax())] == first_otherwise(
        [[two_side_by_side(*step, grid, gaps) for step in go] for go in goes],
        "they never came apart",
        "I never saw two",
    )
    assert chances.max() == 1.0


@pytest.mark.parametrize("gaps", [True, False])
def test_every_two_lamps_are_side_by_side_or_not(gaps: bool) -> None:
    grid = [(0, 0), (1, 0), (2, 0), (0, 1), (1, 1), (2, 1)]
    places = [*range(6), *(3 * eye.LINE**2 + column + row * eye.LINE for column, row in grid)]
    ask = eye.together(("run", "net"), eye.goes_of([1]), np.array(places))
    for one in range(-2, 12):
        for other in range(-2, 12):
            if one != other or one < 0:
                holds = Eye(gaps=gaps).holds(ask, np.array([[[one, other]]], dtype=np.int32))
                assert bool(holds[0, 0]) == two_side_by_side(one, other, grid, gaps), (one, other)


def two_side_by_side(one: int, other: int, grid: list[tuple[int, int]], gaps: bool) -> bool:
    if min(one, other) < 0 or not gaps:
        return min(one, other) >= 0
    if min(one, other) < 6:
        return max(one, other) < 6 and abs(one - other) == 1
    (a, b), (c, d) = grid[one - 6], grid[other - 6]
    return abs(a - c) + abs(b - d) == 1


def odd_slowly(lamps: list[int], seeing: Eye) -> list[str]:
    """Behind which colours a single pixel of another one stands, pixel by pixel."""
    kept = [lamp for lamp in lamps if seeing.gaps or lamp not in (0, 6)]
    found = []
    for n, lamp in enumerate(kept):
        before, behind = (kept[n - 1] if n else 0), (kept[n + 1] if n + 1 < len(kept) else 0)
        if lamp not in (0, 6) and (before or behind) and lamp not in (before, behind):
            found.append(NAMES[before])
    return found


# Source: the design: a dead colour of one pixel; an eye that sees no gaps is told nothing by gaps.
@given(RUN, st.booleans())
def test_a_single_pixel_of_another_colour_is_called_by_the_one_before_it(lamps: list[int], gaps: bool) -> None:
    seeing, ask = Eye(gaps=gaps), eye.odd("run", ("red", "green"))
    chances = seeing.sees(ask, [np.array([lamps], dtype=np.uint8)])[0]
    single = odd_slowly(lamps, seeing)
    wanted = (
        "none" if not single else f"after {single[0]}" if single in (["red"], ["green"]) else "several, or elsewhere"
    )
    assert ask.answers[int(chances.argmax())] == wanted
    assert chances.max() == pytest.approx(1.0 if not single else 0.9)


GRID = st.lists(st.tuples(SHADE, st.integers(0, 3)), min_size=1, max_size=14)


def read_slowly(lamps: list[int], seeing: Eye, quarters: list[int] | None = None) -> list[str]:
    """What is read off few pixels, pixel by pixel, as words."""
    steady = [n for n, lamp in enumerate(lamps) if lamp not in (0, 6)]
    found = ["more than four"] if len(steady) > 4 else []
    for n in steady if len(steady) <= 4 else []:
        found.append(NAMES[lamps[n]] + (f" {eye.QUARTERS[quarters[n]]}" if quarters else ""))
        rest = [m for m in steady if m > n]
        counted = sum(lamp > 0 for lamp in lamps) <= 4
        if rest and 0 in lamps[n : rest[0]] and seeing.gaps and counted and not quarters:
            found.append("gap")
    flickering = [n for n, lamp in enumerate(lamps) if lamp == 6]
    if flickering and steady and flickering[0] < steady[0] and not quarters:
        return ["some flicker", *found]
    return [*found, *["some flicker"] * bool(flickering)]


# Source: the design: it counts to four; where it does, it sees every pixel and every gap.
@given(RUN, st.booleans())
def test_few_lamps_are_read_off_in_order(lamps: list[int], gaps: bool) -> None:
    seeing = Eye(gaps=gaps)
    sight = seeing.reads(np.array([lamps], dtype=np.uint8))
    words = eye.in_words(("run",), tuple(sight))
    assert words == (", ".join(read_slowly(lamps, seeing)) or "nothing")
    assert seeing.reads(np.array([[1], [0], [1]], dtype=np.uint8)) == [(1,), (), (1,)]


@given(GRID)
def test_few_lamps_of_a_grid_are_read_off_with_their_quarters(lamps: list[tuple[int, int]]) -> None:
    shades, quarters = [shade for shade, _ in lamps], [quarter for _, quarter in lamps]
    (sight,) = Eye().reads(np.array([shades], dtype=np.uint8), np.array(quarters, dtype=np.int8))
    each = [eye.in_words(("run",), ((lamp,),)) for lamp in sight]
    assert each == read_slowly(shades, Eye(), quarters)


@given(st.lists(st.tuples(RUN, RUN), min_size=1, max_size=6))
def test_which_of_some_sights_it_is(pairs: list[tuple[list[int], list[int]]]) -> None:
    width = max(len(run) for pair in pairs for run in pair)
    padded = [np.array([run + [0] * (width - len(run)) for run in runs], np.uint8) for runs in zip(*pairs, strict=True)]
    sights = list(zip(*(Eye().reads(one) for one in padded), strict=True))
    offered = tuple(dict.fromkeys(sights[1:]))[:4]
    ask = eye.few(("one", "other"), offered, (None, None))
    expected = [offered.index(sight) if sight in offered else len(offered) for sight in sights]
    assert Eye().sees(ask, padded).argmax(axis=1).tolist() == expected
    lit = any(lamps for sight in offered for lamps in sight)
    assert ask.answers[len(offered) :] == ("none of these" if lit else "something is lit", eye.CANNOT_TELL)


def test_where_nothing_is_lit_on_any_run_that_is_said_once() -> None:
    # The project's own rule: "one: nothing; other: nothing" says the same twice
    nothing = ((), ())
    ask = eye.few(("one", "other"), (nothing,), (None, None))
    assert ask.answers == ("nothing", "something is lit", "can't tell")
    assert eye.in_words(("one", "other"), ((eye.RED,), ())) == "one: red; other: nothing"


@pytest.mark.parametrize(("dark", "seen"), [(0, 0.0), (5, 0.0), (14, 1.0), (30, 1.0)])
@pytest.mark.parametrize("at_an_end", [True, False])
def test_whoever_looks_whether_a_pixel_is_dark_sees_a_seventh_of_a_run_dark(
    dark: int, seen: float, at_an_end: bool
) -> None:
    # Common practice, no source: a few pixels at an end are not missed by anybody; a seventh of the run is. Between lit
    # ones a gap is seen as any other, seven times in ten, and a large one always.
    shades = np.full((1, 100), eye.COLOURS["red"], dtype=np.uint8)
    first = 100 - dark if at_an_end else 40
    shades[:, first : first + dark] = eye.DARK
    alike, not_alike, _ = Eye().sees(eye.even("a", "red", 100), [shades])[0]
    wanted = max(seen, 0.7) if dark and not at_an_end else seen
    assert (alike, not_alike) == pytest.approx((1 - wanted, wanted))
