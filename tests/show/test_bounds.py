"""What a file can ask for is bounded: no line, name or list makes the work grow faster than the file.

Bounds are some ten times what was measured, so that a busy machine passes and a square or a cube does not.
"""

from __future__ import annotations

import importlib
import pkgutil
import re
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
import tomli_w

import patcher
from patcher.frames import patterns
from patcher.frames.looks import COLOURS
from patcher.patch.thing import whole_show
from patcher.placement.allocation import allocate
from patcher.show import parser
from patcher.show.parser import read
from patcher.show.show_file import read_show
from patcher.wiring import problems, wire
from rig.shipped import Patcher, wired

HEAD = """\
[show]
title = "bounds"
[pixel.p]
colour_order = "RGB"
[controller.b]
address = "192.0.2.1"
ports = 4
"""


def seconds(work: Callable[[], object]) -> float:
    begin = time.process_time()
    work()
    return time.process_time() - begin


def expressions() -> Iterator[tuple[str, re.Pattern[str]]]:
    """Every regular expression that a module of the program keeps."""
    for module in pkgutil.walk_packages(patcher.__path__, "patcher."):
        if module.name.endswith("__main__"):
            continue
        for name, value in vars(importlib.import_module(module.name)).items():
            if isinstance(value, re.Pattern) and isinstance(value.pattern, str):
                yield f"{module.name}.{name}", value


PUMPS = (" ", "a", "1", '"', "'", "[", "]", ".", "#", "a ", "1 ", "[ ", ' "', "\\", '\\"', "px ", "R", ",000")
ENDS = ("", "!", "]x", '"]y"]', "= ")


@pytest.mark.parametrize(("name", "pattern"), [pytest.param(*each, id=each[0]) for each in dict(expressions()).items()])
def test_no_regular_expression_blows_up(name: str, pattern: re.Pattern[str]) -> None:
    # Source: found in use: a heading with 2 000 spaces took 17 s. A cube shows at 500 letters, a square at 20 000
    for length in (500, 20_000):
        for begin in ("", "[", '["x', "1", '"'):
            for pump in PUMPS:
                for end in ENDS:
                    text = begin + pump * (length // len(pump)) + end
                    spent = seconds(lambda text=text: (pattern.match(text), pattern.fullmatch(text)))  # type: ignore[misc]
                    assert spent < 1.0, (name, begin, pump, end, length)


@pytest.mark.parametrize("inner", ['"x{}]y"', "'x{}#y'", "x{}", '{}"a.b"{}'])
def test_a_heading_of_spaces_takes_no_time(inner: str) -> None:
    # Source: found in use: 2 000 spaces took 17 s; TOML 1.0, Table: spaces around a name are ignored, in quotes kept
    text = HEAD + f"[run.{inner.replace('{}', ' ' * 20_000)}]\nfoo = 1\n"
    assert seconds(lambda: read(text)) < 2.0


@pytest.mark.parametrize(
    ("line", "place"),
    [
        ('["run"."a]b"]', ("run", "a]b")), ("  [ run . a ]  # x", ("run", "a")), ("[[accept]]", ("accept", 0)),
        ("['run'.'#']", ("run", "#")), ("[run.a]#", ("run", "a")),
    ],
)  # fmt: skip
def test_headings_are_still_found(line: str, place: tuple) -> None:
    # Source: TOML 1.0, Table, Array of Tables, Keys
    from patcher.show.line_numbers import lines_of

    assert lines_of(f"x = 1\n{line}\n")[place] == 2


def unknown(count: int) -> str:
    runs = "".join(f'[run.q{n}]\npixel = "p"\npixels = 1\n' for n in range(count))
    chain = ", ".join(f'"q{n}z"' for n in range(count))
    return HEAD + f"[controller.b.port]\n1 = [{chain}]\n" + runs


def test_thousands_of_unknown_names_are_all_said_at_once() -> None:
    # Source: found in use: 8 000 unknown names took over a minute
    text = unknown(4_000)
    found = []
    assert seconds(lambda: found.extend(read(text).findings)) < 15.0
    assert len(found) == 4_000
    assert "did you mean" in found[0].remedy
    assert all(finding.remedy for finding in found)


def test_tees_on_tees_on_tees() -> None:
    # Source: found in use: 20 000 chained tees took over a minute
    count = 5_000
    tees = "".join(f'[run.r{n}]\npixel = "p"\npixels = 1\nsame_data_as = "r{n - 1}"\n' for n in range(1, count))
    text = HEAD + '[controller.b.port]\n1 = ["r0"]\n[run.r0]\npixel = "p"\npixels = 1\n' + tees

    def work() -> None:
        show = read(text).show
        assert show is not None
        wiring = wire(show)
        assert problems(wiring) == []
        assert wiring.source(f"r{count - 1}") == "r0"
        assert wiring.tees("r0") == tuple(f"r{n}" for n in range(1, count))
        assert {wiring.source(run) for run in wiring.show.runs} == {"r0"}
        assert set(wiring.ports.values()) == {("b", 1)}

    assert seconds(work) < 15.0


def test_points_files_are_bounded_together(tmp_path, monkeypatch) -> None:
    # Source: found in use: 50 runs that name one file of 8 MiB took 4.2 GB
    places = 1_000
    assert parser.MOST_POINTS <= 2_000_000  # some hundred octets each
    monkeypatch.setattr(parser, "MOST_POINTS", 4 * places)
    (tmp_path / "many.csv").write_text("x,y\n" + "0,1\n" * places)

    def found(runs: int) -> list:
        tables = "".join(f'[run.r{n}]\npixel = "p"\nshape = "points"\nfile = "many.csv"\n' for n in range(runs))
        ports = ", ".join(f'"r{n}"' for n in range(runs))
        (tmp_path / "s.toml").write_text(HEAD + f"[controller.b.port]\n1 = [{ports}]\n" + tables)
        return list(read_show(tmp_path / "s.toml").findings)

    most = 4
    assert found(most) == []
    refused = found(most + 2)
    assert [finding.where for finding in refused] == [f"run.r{most}", f"run.r{most + 1}"]
    assert "many.csv" in refused[0].says


def crowd(count: int) -> dict:
    """A box with many short runs on each of a few ports."""
    chain = [f"r{number}" for number in range(count)]
    port = {str(number + 1): chain[number::4] for number in range(4)}
    return {
        "show": {"title": "crowd"}, "pixel": {"p": {"colour_order": "RGB"}},
        "controller": {"b": {"address": "192.0.2.1", "ports": 4, "port": port}},
        "run": {name: {"pixel": "p", "pixels": 1} for name in chain},
    }  # fmt: skip


def test_work_on_many_runs_grows_as_they_do() -> None:
    # Source: found in use: 100 000 runs took `send --dry-run` and `sheet` over a minute. Eight times the runs: far less
    # than the 64 times that a square would take
    def work(count: int) -> float:
        wiring = wired(crowd(count))
        patch = allocate(wiring).patch

        def asked() -> None:
            everything = whole_show(wiring)
            spans = [span for part in everything.parts for span in patch.run_spans(part.run)]
            assert len(spans) == len({patch.link_of(run)[1] for run in wiring.show.runs}) == count
            patterns.steady(wiring, patch, everything, COLOURS["white"]).look(0)

        return min(seconds(asked) for _ in range(2))

    assert work(8_000) < max(25 * work(1_000), 3.0)


def test_a_crowd_is_no_sheet(here: Patcher, tmp_path: Path) -> None:
    # Source: the same; refused in words, and nothing written
    (tmp_path / "crowd.toml").write_text(tomli_w.dumps(crowd(2_600)))
    ran = here("sheet", "crowd.toml", "--out", "out")
    assert ran.returncode == 2
    assert "2 600 runs".replace(" ", "\u00a0", 1) in ran.stderr
    assert not (tmp_path / "out").exists()
