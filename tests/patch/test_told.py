"""What the player is still to be told: addresses, protocol, where to send, where a run begins, until --told.

The pencil below keeps what a person has told the player. It reads spans and the show's tables, and shares no code with
`entered`, `changes` and `player`.
"""

import json
import re
import tomllib
from dataclasses import replace
from pathlib import Path
from typing import Any, NamedTuple

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.dialogue.remedy_words import say_lines
from patcher.faults import parse as fault_of
from patcher.faults import planned as as_planned
from patcher.patch.entered import NOTHING, Entered, named_runs, named_starts, todo, told, typed, untold, untyped
from patcher.patch.patch import Patch
from patcher.patch.patch_file import dump_entered, entered_path, parse_entered
from patcher.patch.player import Drawing
from patcher.phone.content import Content
from patcher.phone.state import Act
from patcher.phone.ticks import left as left_on_the_phone
from patcher.phone.ticks import tick
from patcher.placement.allocation import allocate
from rig.examples import examples
from rig.shipped import Patcher, wired

RUNS = ("roof", "porch", "hedge", "quay")
BOXES = ("house", "shed")
COLUMNS = 10
Turned = dict[str, Any]
"""What is said of where a run begins and which way it goes; and how far to the right it hangs."""


def shape(run: str, pixels: int, turned: Turned) -> dict[str, Any]:
    """A run's shape: a line, a run that is not drawn, a grid, a loop."""
    right = turned.get("right", 0.0)
    if run == "roof":
        return {"shape": "line", "path": [[right, 3.0], [right + 5.0, 3.0]], "data_in": turned.get("end", "first")}
    if run == "hedge":
        area = [[right, 0.0], [right + 2.0, 1.0]]
        keys = {"data_in": turned.get("corner", "top-left")} | {
            key: turned[key] for key in ("lines", "turns") if key in turned
        }
        grid = {"lines": "rows", "turns": "serpentine"} | keys
        return {"shape": "grid", "area": area, "columns": COLUMNS, "rows": pixels // COLUMNS} | grid
    if run == "quay":
        corners = [[right, 0.0], [right + 2.0, 0.0], [right + 2.0, 2.0], [right, 2.0]]
        return {"shape": "loop", "corners": corners, "data_in": turned.get("end", "first")}
    return {}


def tables_of(
    boxes: dict[str, dict[str, Any]], where: dict[str, str], pixels: dict[str, int], placement: str = "fresh",
    turned: dict[str, Turned] | None = None,
) -> dict[str, Any]:  # fmt: skip
    """A show of two boxes; each run hangs on a port of its own, on the box that is said, and is not drawn but where it
    is said how.
    """
    whole = {run: number - number % COLUMNS if run == "hedge" else number for run, number in pixels.items()}
    drawn = {run: shape(run, whole[run], turned[run]) if turned else {} for run in RUNS}
    return {
        "show": {"title": "House by the weir", "placement": placement},
        "pixel": {"bulb": {"colour_order": "RGB"}},
        "controller": {
            name: {"ports": 4, "port": {str(at): [run] for at, run in enumerate(RUNS, 1) if where[run] == name}} | keys
            for name, keys in boxes.items()
        },
        "run": {
            run: {"pixel": "bulb", "lead": 2.0} | ({} if "rows" in drawn[run] else {"pixels": whole[run]}) | drawn[run]
            for run in RUNS
        },
    }


class Known(NamedTuple):
    """What the player knows of a run."""

    place: tuple[int, int, int]
    universes: frozenset[int]
    sent: str
    drawn: tuple[str, ...]


def begins(run: str, table: dict[str, Any]) -> tuple[str, ...]:
    """Where a run begins and which way it goes, as the show file's own keys say it; nothing of one that is not drawn.

    A loop that is entered at its other end has its first pixel beside the old one, and goes the other way round.
    """
    return tuple(table[key] for key in ("data_in", "lines", "turns") if key in table) if "shape" in table else ()


def knowledge(tables: dict[str, Any], patch: Patch) -> dict[str, Known]:
    """What the player must know of each run, by the spans of its pixels and the tables of its box."""
    found: dict[str, Known] = {}
    for span in patch.spans():
        box = tables["controller"][span.controller]
        goal = "multicast" if box.get("delivery") == "multicast" else box["address"]
        was = found.get(span.run)
        place = was.place[:2] if was else (span.universe, span.first_channel)
        universes = (was.universes if was else frozenset()) | {span.universe}
        table = tables["run"][span.run]
        pixels = table.get("pixels") or table["columns"] * table["rows"]
        sent = f"{box.get('protocol', 'e131')} {goal}"
        found[span.run] = Known((*place, pixels), universes, sent, begins(span.run, table))
    return found


runs = st.sampled_from(RUNS)
named = st.sampled_from((*RUNS, "all", *BOXES))
ticks = st.sampled_from((*BOXES, "all", "house/1", "shed/2"))
MANNERS = st.one_of(
    st.just({"protocol": "artnet"}), st.just({"protocol": "e131"}), st.just({"delivery": "multicast"}), st.just({})
)
TURNS = st.fixed_dictionaries({}, optional={
    "end": st.sampled_from(("first", "last")),
    "corner": st.sampled_from(("top-left", "top-right", "bottom-left")),
    "lines": st.sampled_from(("rows", "columns")),
    "turns": st.sampled_from(("serpentine", "same-way")),
    "right": st.sampled_from((0.0, 0.7)),
})  # fmt: skip
edits = st.one_of(
    st.tuples(st.just("pixels"), runs, st.sampled_from((40, 100, 170, 171, 400))),
    st.tuples(st.just("box"), runs, st.sampled_from(BOXES)),
    st.tuples(st.just("address"), st.sampled_from(BOXES), st.integers(0, 3)),
    st.tuples(st.just("manner"), st.sampled_from(BOXES), MANNERS),
    st.tuples(st.just("turn"), runs, TURNS),
    st.tuples(st.just("typed"), ticks),
    st.tuples(st.just("untyped"), ticks),
    st.tuples(st.just("told"), named),
    st.tuples(st.just("untold"), named),
)


def runs_of(name: str, tables: dict[str, Any]) -> list[str]:
    """The runs that a word after --told means."""
    if name == "all":
        return [*RUNS]
    if name in BOXES:
        return [run for ports in tables["controller"][name]["port"].values() for run in ports]
    return [name]


@examples(60, 400)
@given(st.lists(edits, max_size=14), st.sampled_from(("fresh", "follow", "whole")))
def test_all_that_the_player_must_know_is_listed_until_it_is_told_and_nothing_else(
    season: list[tuple[Any, ...]], placement: str
) -> None:
    # Judge: a ledger kept by hand of what the player was told of each run; ticks of boxes do not touch it
    pixels, where = dict.fromkeys(RUNS, 100), {"roof": "house", "porch": "house", "hedge": "shed", "quay": "shed"}
    boxes: dict[str, dict[str, Any]] = {"house": {"address": "192.0.2.1"}, "shed": {"address": "192.0.2.33"}}
    turned: dict[str, Turned] = {run: {} for run in RUNS}
    entered, patch = NOTHING, None
    player: dict[str, Known] = {}
    for what, *about in [("pixels", "roof", 100), *season]:
        if what == "pixels":
            pixels[about[0]] = about[1]
        elif what == "box" and list(where.values()).count(where[about[0]]) > 1:
            where[about[0]] = about[1]
        elif what == "address":
            boxes[about[0]] |= {"address": f"192.0.2.{BOXES.index(about[0]) * 10 + about[1] + 1}"}
        elif what == "manner":
            boxes[about[0]] = {"address": boxes[about[0]]["address"]} | about[1]
        elif what == "turn":
            turned[about[0]] = turned[about[0]] | about[1]
        tables = tables_of(boxes, where, pixels, placement, turned)
        wiring = wired(tables)
        patch = allocate(wiring, patch).patch
        plan = knowledge(tables, patch)
        if what in ("typed", "untyped"):
            names = [
                name for name in about if name in BOXES or name == "all" or name in {s.chain.name for s in patch.starts}
            ]
            chosen = named_starts(names, entered, wiring, patch)
            entered = (typed if what == "typed" else untyped)(entered, wiring, patch, chosen)
        elif what in ("told", "untold"):
            chosen_runs = named_runs(about, entered, wiring, patch)
            assert sorted(chosen_runs) == sorted(runs_of(about[0], tables))
            entered = told(entered, wiring, patch, chosen_runs) if what == "told" else untold(entered, chosen_runs)
            for run in chosen_runs:
                player.pop(run, None)
                player |= {run: plan[run]} if what == "told" else {}
        assert parse_entered(dump_entered(entered)) == entered
        check(entered, wiring, patch, plan, player)


def check(entered: Entered, wiring: Any, patch: Patch, plan: dict[str, Known], player: dict[str, Known]) -> None:
    """What is listed is what differs between the two ledgers."""
    left = todo(entered, wiring, patch)
    assert set(left.to_tell) == {run for run, known in plan.items() if player.get(run) != known}
    assert {change.run for change in left.runs} == {
        run for run, known in plan.items() if run not in player or player[run].place != known.place
    }
    listed = {run: change for change in left.sent for run in change.runs}
    assert len(listed) == sum(len(change.runs) for change in left.sent), "no run is listed twice"
    for run, known in plan.items():
        was = player.get(run)
        otherwise = was is not None and was.sent != known.sent
        fresh = known.universes if was is None or otherwise else known.universes - was.universes
        assert (run in listed) == bool(fresh), run
        if run in listed:
            change = listed[run]
            assert (change.controller, f"{change.new.protocol} {change.new.to}") == (
                patch.start_of(run).controller, known.sent
            )  # fmt: skip
            assert (change.old and f"{change.old.protocol} {change.old.to}") == (
                was.sent if was and otherwise else None
            )
            assert fresh <= set(change.universes) <= set(patch.box_universes[change.controller])
    assert {change.run for change in left.drawn} == {
        run for run, known in plan.items() if run in player and player[run].drawn != known.drawn
    }
    for change in left.sent:
        every = [plan[run].universes for run in change.runs]
        assert set(change.universes) <= set().union(*every), "only universes of the runs that are named"


# --- the commands -----------------------------------------------------------------------------------------------------

LINE = "universes 3–4 (hedge, quay): E1.31 to 192.0.2.40, no longer Art-Net to 192.0.2.33"
ALL_DONE = "Nothing to type in or to tell: all settings are in the boxes, and the player knows all addresses.\n"


def write(show: Path, **shed: Any) -> None:
    """The show, in which something is said of the shed."""
    boxes = {
        "house": {"address": "192.0.2.1"}, "shed": {"address": "192.0.2.33", "protocol": "artnet"} | shed,
        "shelf": {"spare": True, "address": "192.0.2.9"},
    }  # fmt: skip
    where = {"roof": "house", "porch": "house", "hedge": "shed", "quay": "shed"}
    tables = tables_of(boxes, where, dict.fromkeys(RUNS, 100))
    del tables["controller"]["shelf"]["port"]
    tables["prop"] = {"bank": {"runs": ["hedge", "quay"]}}
    show.write_text(tomli_w.dumps(tables))


@pytest.fixture
def show(tmp_path: Path, here: Patcher) -> Path:
    """The show, patched, all of it typed in and told."""
    path = tmp_path / "weir.toml"
    write(path)
    assert here("patch", path).returncode == 0
    assert here("todo", path, "--typed", "all", "--told", "all").stdout.endswith(ALL_DONE)
    return path


def without_sent(show: Path) -> None:
    """Make of the record what a Patcher of before wrote, which did not keep how the player sends."""
    path = entered_path(show)
    old = re.sub(r"(?ms)^\[sent.*", "", path.read_text())
    assert old != path.read_text()
    path.write_text(old)


@pytest.mark.parametrize("name", ["bank", "shed", "all", "hedge"])
def test_to_type_it_into_the_box_does_not_tell_the_player(show: Path, here: Patcher, name: str) -> None:
    # Source: found by a reader: `--typed shed` said "the player knows all addresses", which still sent to the old one
    write(show, address="192.0.2.40", protocol="e131")
    assert f"\n\nTo tell the player:\n{LINE}\n" in here("todo", show).stdout
    for command in ("diff", "patch"):
        text = here(command, show).stdout
        assert f"\nTo tell the player: {LINE}.\n" in text
        assert "Not typed in yet: shed. Not told to the player yet: 2 runs.\n" in text
    assert (
        here("todo", show, "--typed", "shed").stdout == f"Ticked off as typed in: shed.\nTo tell the player:\n{LINE}\n"
    )
    for command in ("diff", "patch"):
        text = here(command, show).stdout
        assert f"\nTo tell the player: {LINE}.\n" in text
        assert "\nNot told to the player yet: 2 runs.\n" in text
        assert "Settings to type" not in text
    assert json.loads(here("todo", show, "--json").stdout)["to_send"] == [{
        "controller": "shed", "universes": [3, 4], "runs": ["hedge", "quay"],
        "old": {"protocol": "artnet", "to": "192.0.2.33"}, "new": {"protocol": "e131", "to": "192.0.2.40"},
    }]  # fmt: skip
    text = here("todo", show, "--told", name).stdout
    assert ALL_DONE in text if name != "hedge" else LINE.replace("s 3–4 (hedge, quay)", " 4 (quay)") in text
    here("todo", show, "--told", name, "--undo")
    assert "universes 3–4 (hedge, quay): E1.31 to 192.0.2.40\n" in here("todo", show).stdout.replace(
        "universe 3 (hedge)", "universes 3–4 (hedge, quay)"
    )


def test_to_tell_the_player_does_not_type_it_into_the_box(show: Path, here: Patcher) -> None:
    write(show, address="192.0.2.40", protocol="e131")
    text = here("todo", show, "--told", "all").stdout
    assert "To tell the player" not in text
    assert "shed: address 192.0.2.33 → 192.0.2.40, protocol Art-Net → E1.31\n" in text
    assert here("todo", show, "--typed", "shed").stdout.endswith(ALL_DONE)


@pytest.mark.parametrize(
    ("before", "after", "says"),
    [
        ({"delivery": "multicast"}, {"delivery": "multicast", "address": "192.0.2.40"}, None),
        ({"delivery": "multicast"}, {}, "E1.31 to 192.0.2.33, no longer E1.31 as multicast"),
        ({}, {"delivery": "multicast"}, "E1.31 as multicast, no longer E1.31 to 192.0.2.33"),
        ({"delivery": "multicast"}, {"protocol": "artnet"}, "Art-Net to 192.0.2.33, no longer E1.31 as multicast"),
    ],
)
def test_of_multicast_only_what_matters_is_told(
    tmp_path: Path, here: Patcher, before: dict[str, str], after: dict[str, str], says: str | None
) -> None:
    # Source: E1.31 (ANSI E1.31-2018, 9.3.1): a universe has a multicast group of its own, whoever listens
    path = tmp_path / "weir.toml"
    write(path, **{"protocol": "e131"} | before)
    here("patch", path)
    here("todo", path, "--typed", "all", "--told", "all")
    write(path, **{"protocol": "e131"} | after)
    here("todo", path, "--typed", "all")
    wanted = f"To tell the player:\nuniverses 3–4 (hedge, quay): {says}\n" if says else ALL_DONE
    assert here("todo", path).stdout.startswith(wanted)


def test_a_spare_that_takes_over_is_told_to_the_player_too(show: Path, here: Patcher) -> None:
    # Source: found by a reader: step 7 of `swap` said it once, and `todo --typed shelf` ticked it off
    write(show, protocol="artnet", address="192.0.2.33")
    assert here("swap", show, "shed", "shelf", "--write").returncode == 0
    text = here("todo", show, "--typed", "shelf").stdout
    address = tomllib.loads(show.read_text())["controller"]["shelf"]["address"]
    line = f"universes 3–4 (hedge, quay): E1.31 to {address}, no longer Art-Net to 192.0.2.33"
    assert text.endswith(f"To tell the player:\n{line}\n")
    here("todo", show, "--told", "all")
    assert here("todo", show).stdout.startswith(ALL_DONE)


def test_a_swap_is_told_although_the_record_is_older(show: Path, here: Patcher) -> None:
    without_sent(show)
    assert here("swap", show, "shed", "shelf", "--write").returncode == 0
    address = tomllib.loads(show.read_text())["controller"]["shelf"]["address"]
    line = f"universes 3–4 (hedge, quay): E1.31 to {address}, no longer Art-Net to 192.0.2.33"
    assert line in here("todo", show).stdout
    assert line in here("todo", show, "--typed", "shelf").stdout
    assert here("todo", show, "--told", "shelf").stdout.endswith(ALL_DONE)


@pytest.mark.parametrize("tick", [("--typed", "shed"), ("--typed", "shed", "--undo"), ("--told", "roof")])
def test_a_record_of_before_gives_no_false_alarm_and_misses_no_change(
    show: Path, here: Patcher, tick: tuple[str, ...]
) -> None:
    # Source: an older record keeps how each box was last set; nobody knows better what the player was told
    without_sent(show)
    assert here("todo", show).stdout.startswith(ALL_DONE)
    assert "To tell the player" not in here("diff", show).stdout + here("patch", show).stdout
    write(show, address="192.0.2.40", protocol="e131")
    assert f"To tell the player: {LINE}.\n" in here("diff", show).stdout
    assert f"To tell the player:\n{LINE}\n" in here("todo", show).stdout
    # A tick changes what is kept of the box, and still nobody told the player.
    assert LINE in here("todo", show, *tick).stdout
    assert LINE in here("todo", show, "--typed", "all").stdout
    assert here("todo", show, "--told", "shed").stdout.endswith(ALL_DONE)


def test_where_an_older_record_has_two_boxes_the_one_that_is_planned_counts(show: Path, here: Patcher) -> None:
    # The dead box is still ticked off, with the spare's start addresses.
    assert here("swap", show, "shed", "shelf", "--write").returncode == 0
    here("todo", show, "--typed", "shelf", "--told", "all")
    without_sent(show)
    assert set(tomllib.loads(entered_path(show).read_text())["own"]) == {"house", "shed", "shelf"}
    assert here("todo", show).stdout.startswith(ALL_DONE)
    address = tomllib.loads(show.read_text())["controller"]["shelf"]["address"]
    show.write_text(show.read_text().replace(address, "192.0.2.41"))
    assert f"(hedge, quay): E1.31 to 192.0.2.41, no longer E1.31 to {address}\n" in here("todo", show).stdout


@pytest.mark.parametrize("addressed", [True, False])
def test_an_older_record_of_a_multicast_box_gives_no_false_alarm(
    tmp_path: Path, here: Patcher, addressed: bool
) -> None:
    path = tmp_path / "weir.toml"
    write(path, protocol="e131", delivery="multicast")
    if not addressed:
        path.write_text(path.read_text().replace('address = "192.0.2.33"\n', ""))
    here("patch", path)
    here("todo", path, "--typed", "all", "--told", "all")
    without_sent(path)
    assert here("todo", path).stdout.startswith(ALL_DONE)
    write(path, protocol="e131")
    # With an address nobody knows whether it was multicast, and nothing that was kept has changed.
    text = here("todo", path).stdout
    assert ("E1.31 to 192.0.2.33, no longer E1.31 as multicast\n" in text) == (not addressed)


def test_a_record_without_the_boxes_own_settings_asks_nothing_anew(show: Path, here: Patcher) -> None:
    path = entered_path(show)
    without_sent(show)
    path.write_text(re.sub(r"(?ms)^\[own.*?(?=^\[player)", "", path.read_text()))
    write(show, address="192.0.2.40", protocol="e131")
    assert here("todo", show).stdout.startswith(ALL_DONE)


@pytest.mark.parametrize(
    "held", ['protocol = "smoke"\nto = "192.0.2.1"', 'protocol = "e131"', 'protocol = "e131"\nto = "here"',
             'protocol = "e131"\nto = 5', 'to = ""', 'protocol = "e131"\nto = ""\nport = 1'],
)  # fmt: skip
def test_a_way_to_send_that_is_none_is_refused(show: Path, here: Patcher, held: str) -> None:
    text = re.sub(r"(?ms)^\[sent.*", "", entered_path(show).read_text())
    entered_path(show).write_text(f"{text}\n[sent.roof]\n{held}\n")
    ran = here("todo", show)
    assert (ran.returncode, "weir.entered.toml" in ran.stderr) == (2, True)


def test_the_phone_and_the_sheets_list_it_too(show: Path, here: Patcher) -> None:
    write(show, address="192.0.2.40", protocol="e131")
    here("todo", show, "--typed", "all")
    here("sheet", show, "--out", "out")
    (row,) = (show.parent / "out/tables/to-send.csv").read_text().splitlines()[1:]
    assert row == '3–4,"hedge, quay",Art-Net to 192.0.2.33,E1.31 to 192.0.2.40'
    page, markdown = ((show.parent / "out" / name).read_text() for name in ("sheets.html", "sheets.md"))
    for text in (page, markdown.replace("\\", "")):
        still = text.split("Still to type in, still to tell")[1].split("What to tell the player")[0]
        assert "Art-Net to 192.0.2.33" in still
        assert "everything is ticked off" not in still
    wiring = wired(tomllib.loads(show.read_text()))
    plan = Content(1, show, wiring, allocate(wiring).patch, False)
    assert left_on_the_phone(plan)["to_tell"] == [
        {"thing": run, "name": run, "says": LINE} for run in ("hedge", "quay")
    ]  # fmt: skip
    tick(plan, Act("told", "yes", "hedge"))
    assert [row["thing"] for row in left_on_the_phone(plan)["to_tell"]] == ["quay"]
    tick(plan, Act("told", "yes", "quay"))
    assert left_on_the_phone(plan)["to_tell"] == []
    here("sheet", show, "--out", "out")
    assert "everything is ticked off" in (show.parent / "out/sheets.html").read_text()


def test_a_run_that_is_renamed_where_it_is_is_sent_as_before() -> None:
    where, pixels = {"roof": "house", "porch": "house", "hedge": "shed", "quay": "shed"}, dict.fromkeys(RUNS, 100)
    boxes = {"house": {"address": "192.0.2.1"}, "shed": {"address": "192.0.2.33"}}
    tables = tables_of(boxes, where, pixels)
    wiring = wired(tables)
    patch = allocate(wiring).patch
    entered = told(NOTHING, wiring, patch, RUNS)
    again = wired(json.loads(json.dumps(tables).replace("roof", "ridge").replace("192.0.2.1", "192.0.2.7")))
    same = allocate(again, patch).patch
    left = todo(entered, again, same)
    assert left.runs == ()
    (change,) = left.sent
    assert (change.runs, change.old and change.old.to, change.new.to) == (("ridge", "porch"), "192.0.2.1", "192.0.2.7")
    done = told(entered, again, same, ["ridge", "porch"])
    assert todo(done, again, same).to_tell == []
    assert set(done.sent) == set(done.player) == {"ridge", "porch", "hedge", "quay"}
    assert todo(replace(done, sent={}), again, same).to_tell == []


# --- where a run begins -----------------------------------------------------------------------------------------------

OWN = "where it has a drawing of its own: "


def write_drawn(show: Path, run: str = "roof", **turned: Any) -> None:
    """The show, in which something is said of how a run is turned."""
    boxes = {"house": {"address": "192.0.2.1"}, "shed": {"address": "192.0.2.33"}}
    where = {"roof": "house", "porch": "house", "hedge": "shed", "quay": "shed"}
    each: dict[str, Turned] = {name: {} for name in RUNS} | {run: turned}
    show.write_text(tomli_w.dumps(tables_of(boxes, where, dict.fromkeys(RUNS, 100), turned=each)))


@pytest.fixture
def drawn(tmp_path: Path, here: Patcher) -> Path:
    """The show with its pictures, patched, all of it typed in and told."""
    path = tmp_path / "weir.toml"
    write_drawn(path)
    assert here("patch", path).returncode == 0
    assert here("todo", path, "--typed", "all", "--told", "all").stdout.endswith(ALL_DONE)
    return path


TURNINGS = [
    ("roof", {"end": "last"}, "roof now begins at its right end; no longer at its left end"),
    ("hedge", {"corner": "top-right"}, "hedge now begins at its top right corner; no longer at its top left corner"),
    (
        "hedge", {"turns": "same-way"},
        "hedge now goes row by row, each in the same direction; no longer row by row, back and forth",
    ),
    (
        "hedge", {"corner": "bottom-left", "lines": "columns"},
        "hedge now begins at its bottom left corner, column by column, back and forth; no longer at its top left "
        "corner, row by row, back and forth",
    ),
    ("quay", {"end": "last"}, "quay now goes clockwise; no longer anticlockwise"),
]  # fmt: skip


@pytest.mark.parametrize(("run", "turned", "says"), TURNINGS)
def test_a_run_that_is_turned_where_it_is_is_listed_until_the_player_is_told(
    drawn: Path, here: Patcher, run: str, turned: Turned, says: str
) -> None:
    # Source: found by a reader: a run was turned in the show file, and `todo` said that there was nothing to do
    write_drawn(drawn, run, **turned)
    for command in ("diff", "patch"):
        text = here(command, drawn).stdout
        assert f"\nIn the player, {OWN}{says}.\nNot told to the player yet: 1 run.\n" in text
        assert "as last patched" not in text
    assert here("todo", drawn, "--typed", "all").stdout.endswith(f".\nTo tell the player:\n{OWN}{says}\n")
    (change,) = json.loads(here("todo", drawn, "--json").stdout)["to_draw"]
    assert (change["run"], change["old"] != change["new"]) == (run, True)
    here("sheet", drawn, "--out", "out")
    assert (drawn.parent / "out/tables/to-draw.csv").read_text().splitlines()[1].startswith(f"{run},")
    for page in ("sheets.html", "sheets.md"):
        text = (drawn.parent / "out" / page).read_text()
        assert "everything is ticked off" not in text
        assert change["new"]["begin"] in text.split("Still to type in, still to tell")[1].split("What to tell the")[0]
    wiring = wired(tomllib.loads(drawn.read_text()))
    plan = Content(1, drawn, wiring, allocate(wiring).patch, False)
    assert left_on_the_phone(plan)["to_tell"] == [{"thing": run, "name": run, "says": OWN + says}]
    assert here("todo", drawn, "--told", run).stdout.endswith(ALL_DONE)
    assert "as last patched" in here("diff", drawn).stdout


def test_a_way_that_is_not_said_of_one_of_two_is_no_other_way() -> None:
    # A run whose places are measured anew may need another sentence, and still begin where it did and go the same way.
    said, silent = Drawing("its left end", "along the cable"), Drawing("its left end")
    assert not said.differs(silent)
    assert not silent.differs(said)
    assert Drawing("its left end", "clockwise").differs(said)


def test_an_older_record_takes_the_drawing_as_it_is_at_the_first_tick(drawn: Path, here: Patcher) -> None:
    path = entered_path(drawn)
    assert set(tomllib.loads(path.read_text())["drawn"]) == {"roof", "hedge", "quay"}, "porch has no picture"
    path.write_text(re.sub(r"(?ms)^\[drawn.*", "", path.read_text()))
    write_drawn(drawn, "roof", end="last")
    # Nobody knows how the player drew it: no false alarm.
    assert here("todo", drawn).stdout.startswith(ALL_DONE)
    here("todo", drawn, "--typed", "house/1")
    write_drawn(drawn)
    assert f"{OWN}roof now begins at its left end; no longer at its right end\n" in here("todo", drawn).stdout


@pytest.mark.parametrize("held", ["begin = 5", 'way = "clockwise"', 'begin = "x\\u001b[0m"', 'begin = "x"\nport = 1'])
def test_a_drawing_that_is_none_is_refused(drawn: Path, here: Patcher, held: str) -> None:
    text = re.sub(r"(?ms)^\[drawn.*", "", entered_path(drawn).read_text())
    entered_path(drawn).write_text(f"{text}\n[drawn.roof]\n{held}\n")
    ran = here("todo", drawn)
    assert (ran.returncode, "weir.entered.toml" in ran.stderr) == (2, True)


@pytest.mark.parametrize(
    ("fault", "says"),
    [
        ("reversed:roof", TURNINGS[0][2]), ("data-in:hedge=top-right", TURNINGS[1][2]),
        ("turns:hedge=same-way", TURNINGS[2][2]), ("reversed:quay", TURNINGS[4][2]),
        (
            "lines:hedge=columns",
            "hedge now goes column by column, back and forth; no longer row by row, back and forth",
        ),
        ("colour-order:roof=GRB", None), ("shift:roof=1", None), ("missing:roof/7", None), ("reversed:porch", None),
    ],
)  # fmt: skip
def test_who_leaves_the_wiring_as_it_is_turns_the_players_drawing(
    drawn: Path, here: Patcher, fault: str, says: str | None
) -> None:
    # Source: found by a reader: the file was changed as the diagnosis said, and the player's picture stayed mirrored
    wiring = wired(tomllib.loads(drawn.read_text()))
    lines: list[str] = []
    change, _ = say_lines(drawn, as_planned(wiring, allocate(wiring).patch), [[fault_of(fault, wiring)]], lines.append)
    told_of = [line.strip() for line in lines if "a drawing of its own" in line]
    assert told_of == ([f"in the player, {OWN}{says}"] if says else [])
    if change is not None:
        drawn.write_text(change.text)
        here("patch", drawn)
        assert (f"{OWN}{says}" in here("todo", drawn).stdout) == bool(says)
        assert says or OWN not in here("todo", drawn).stdout
