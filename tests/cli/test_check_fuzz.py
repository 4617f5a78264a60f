"""`check` on any file: it says what is wrong, or that nothing is; it never falls over."""

from __future__ import annotations

import contextlib
import copy
import io
import math
import tomllib
import warnings
from pathlib import Path
from typing import Any

import pytest
import tomli_w
import typer
from hypothesis import given
from hypothesis import strategies as st

from patcher.cli.check import check
from patcher.errors import PatcherError
from patcher.show.parser import read
from rig.examples import examples
from rig.good_show import GOOD
from rig.sketches import sketch

QUICK = examples(25, 60)
EXTREMES: tuple[Any, ...] = (
    0, 1, -1, 2, 0.0, -0.0, 5e-324, 1e-300, 1e-9, 1e9, 1e300, 1.7e308, 63_999, 32_764_488, 2**63 - 1, True, False,
    "", "a",
    "first", "last", [], [0.0, 0.0], [[0.0, 0.0], [0.0, 0.0]], {}, float("inf"), float("nan"),
)  # fmt: skip


def checked(path: Path, text: str) -> int:
    """The exit code of `check` on a text; whatever else it raises fails the test."""
    path.write_text(text, encoding="utf-8")
    with contextlib.redirect_stdout(io.StringIO()) as out, contextlib.redirect_stderr(io.StringIO()):
        try:
            check(path)
        except typer.Exit as left:
            code = int(left.exit_code)
        except PatcherError as error:
            return 2 if all(found.where and found.says and found.remedy for found in error.findings) else -1
        else:
            code = 0
    assert out.getvalue()
    return code


def leaves(node: Any, place: tuple = ()) -> list[tuple]:
    """Where values stand in tables and lists."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [place] * bool(place) + [found for key, held in inner for found in leaves(held, (*place, key))]


def put(tables: Any, place: tuple, value: Any) -> None:
    for key in place[:-1]:
        tables = tables[key]
    tables[place[-1]] = value


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    return tmp_path_factory.mktemp("fuzz") / "show.toml"


@QUICK
@given(st.integers(0, 10_000))
def test_check_takes_every_valid_show(path: Path, seed: int) -> None:
    # Source: `help json`: exit 0 or 1 for what can be read, whatever it is
    tables = sketch(seed, most=6)
    assert read(tomli_w.dumps(tables)).findings == ()
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        assert checked(path, tomli_w.dumps(tables)) in (0, 1)


@QUICK
@given(st.integers(0, 10_000), st.data())
def test_check_takes_every_show_with_some_values_that_nobody_means(path: Path, seed: int, data: st.DataObject) -> None:
    # Source: the same; a value at the end of what its kind holds is a value
    tables = sketch(seed, most=4)
    for _ in range(data.draw(st.integers(1, 3))):
        put(tables, data.draw(st.sampled_from(leaves(tables))), data.draw(st.sampled_from(EXTREMES)))
    assert checked(path, tomli_w.dumps(tables)) in (0, 1, 2)


TABLES = ("show", "pixel", "controller", "run", "prop", "supply", "socket", "feed", "accept")
KEYS = (
    *TABLES, "title", "units", "pixels", "shape", "path", "corners", "gaps", "at", "file", "area", "columns", "rows",
    "lines", "turns", "data_in", "of", "band", "port", "start", "ports", "address", "taps", "run", "from", "tap",
    "runs", "same_data_as", "every", "length", "logic", "amps", "volts", "level", "rule", "where", "why", "start_per",
    "1", "2", "[key]", "none", "line", "grid", "feet", "height", "passes", "colour_order", "power_cuts", "placement",
)  # fmt: skip
WORDS = (
    "towpath", "willow", "gate", "mill", "lamp", "line", "loop", "arch", "grid", "band", "points", "none", "first",
    "last", "rows", "columns", "serpentine", "ft", "m", "192.0.2.21", "24/1", "0/0", "RGB", "bottom-left", "e131", "",
)  # fmt: skip

scalars = st.one_of(
    st.booleans(),
    st.integers(-3, 60),
    st.integers(-(10**40), 10**40),
    st.floats(width=32),
    st.sampled_from((math.nan, math.inf, -math.inf, 1e308, -1e308)),
    st.sampled_from(WORDS),
    st.text(max_size=8),
    st.dates(),
    st.datetimes(),
    st.times(),
)
names = st.one_of(st.sampled_from(KEYS), st.sampled_from(WORDS), st.text(max_size=6))
values = st.recursive(
    scalars,
    lambda inner: st.one_of(st.lists(inner, max_size=4), st.dictionaries(names, inner, max_size=5)),
    max_leaves=12,
)


@QUICK
@given(
    st.dictionaries(names, values, max_size=6)
    | st.fixed_dictionaries({}, optional={table: st.dictionaries(names, values, max_size=3) for table in TABLES})
)
def test_check_takes_any_tables(path: Path, tables: dict) -> None:
    # Source: the same
    assert checked(path, tomli_w.dumps(tables)) in (0, 1, 2)


def containers(node: Any) -> list:
    """Every table and list of a show, itself included."""
    found = [node] if isinstance(node, dict | list) else []
    for child in node.values() if isinstance(node, dict) else node if isinstance(node, list) else ():
        found += containers(child)
    return found


def good_tables() -> dict:
    return tomllib.loads(GOOD.replace('file = "willow.csv"', "at = [[0.5, 1.0], [0.7, 1.2]]"))


@QUICK
@given(st.data())
def test_check_takes_a_good_show_with_some_things_changed(path: Path, data: st.DataObject) -> None:
    # Source: the same
    tables = good_tables()
    for _ in range(data.draw(st.integers(1, 4))):
        places = [place for place in containers(tables) if place]
        if not places:
            break
        place = data.draw(st.sampled_from(places))
        key = data.draw(st.sampled_from(list(place) if isinstance(place, dict) else range(len(place))))
        match data.draw(st.sampled_from(("value", "take", "rename", "double", "move"))):
            case "value":
                place[key] = data.draw(values)
            case "take":
                del place[key]
            case "rename" if isinstance(place, dict):
                place[data.draw(names)] = place.pop(key)
            case "double" if isinstance(place, list):
                place.append(copy.deepcopy(place[key]))
            case _:
                place[key] = copy.deepcopy(data.draw(st.sampled_from(containers(tables))))
    assert checked(path, tomli_w.dumps(tables)) in (0, 1, 2)


@QUICK
@given(
    st.lists(
        st.tuples(st.integers(0, len(GOOD)), st.text("[]{}\"'#=.,\n\\ a1\0é", max_size=5) | st.text(max_size=3)),
        max_size=6,
    ),
    st.just(GOOD) | st.just("") | st.text(max_size=200),
)
def test_check_takes_any_text(path: Path, edits: list[tuple[int, str]], text: str) -> None:
    # Source: the same
    for at, put_in in edits:
        text = text[:at] + put_in + text[at + len(put_in) // 2 :]
    assert checked(path, text) in (0, 1, 2)
