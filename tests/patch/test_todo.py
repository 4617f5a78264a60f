"""What is still to type in and to tell: two ledgers, of the plan and of the boxes, kept apart whatever is done.

The pencil below keeps what a person has done by hand; it shares no code with `entered`. It reads the patch file's own
text for the plan, and the show's tables for the nulls.
"""

import json
import re
import tomllib
from collections.abc import Iterator
from itertools import groupby
from operator import itemgetter
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.dialogue.consultation import write
from patcher.errors import PatcherError
from patcher.faults import parse as fault_of
from patcher.faults import planned as as_planned
from patcher.patch.entered import NOTHING, Entered, named_runs, named_starts, todo, told, typed, untold, untyped
from patcher.patch.patch_file import change_entered, dump_entered, entered_path, parse_entered, read_entered
from patcher.phone.content import Content
from patcher.phone.state import Act, read_act
from patcher.phone.ticks import left as left_on_the_phone
from patcher.phone.ticks import tick
from patcher.placement.allocation import allocate
from patcher.remedies.rewrite import rewritten
from patcher.sheets import patch_tables
from patcher.swaps.box_swap import BoxSwap, swap_box
from rig.examples import examples, later
from rig.levels_pencil import shows
from rig.shipped import Patcher, wired

Setting = tuple[int, int, int, int]


def show_of(sizes: dict[str, tuple[int, int]], *, skips: bool, per: str = "port", spare: bool = True) -> dict:
    """A house of three ports, with as many pixels and nulls as said, and a spare."""
    tables = {
        "show": {"title": "House by the weir"},
        "pixel": {"bulb": {"colour_order": "RGB"}},
        "controller": {
            "house": {
                "address": "192.0.2.1", "ports": 3, "skips_nulls": skips, "start_per": per,
                "port": {str(number): [run] for number, run in enumerate(sizes, start=1)},
            },
        },
        "run": {
            run: {"pixel": "bulb", "pixels": pixels, "nulls": nulls, "lead": 2.0}
            for run, (pixels, nulls) in sizes.items()
        },
    }  # fmt: skip
    if spare:
        tables["controller"]["shelf"] = {"spare": True, "ports": 3, "skips_nulls": skips, "start_per": per}
    return tables


def planned(show: Path) -> dict[str, Setting]:
    """What the two files say is to be typed in: universe, channel, pixels and nulls of each start."""
    tables, patch = (tomllib.loads(path.read_text()) for path in (show, show.with_name(f"{show.stem}.patch.toml")))
    found: dict[str, list[int]] = {}
    for name, box in patch["controller"].items():
        for port, keys in box["port"].items():
            start = f"{name}/{port}" if "start" in keys else name
            place = [int(part) for part in keys.get("start", box.get("start", "")).split("/")]
            held = found.setdefault(start, [*place, 0, 0])
            for run, pixels in keys["pixels"].items():
                held[2] += pixels
                held[3] += tables["run"][run].get("nulls", 0)
    return {start: tuple(held) for start, held in found.items()}


def said(show: Path, here: Patcher) -> tuple[dict[str, tuple], set[str]]:
    """What `todo --json` says is still to do: of each start what is in it now and what is to be; and the runs."""
    document = json.loads(here("todo", show, "--json").stdout)

    def of(held: dict | None) -> Setting | None:
        return held and (held["universe"], held["channel"], held["pixels"], held["nulls"])

    starts = {one["start"]: (of(one["old"]), of(one["new"])) for one in document["to_type"]}
    return starts, {one["run"] for one in document["to_tell"]}


def differs(now: dict[str, Setting], then: dict[str, Setting]) -> dict[str, tuple]:
    return {start: (now.get(start), held) for start, held in then.items() if now.get(start) != held}


def test_what_is_still_to_type_survives_every_command_until_it_is_ticked_off(tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: diagnose --write took house/1 from 432 to 431 pixels, and no command said so any more
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(show_of({"roof": (432, 0), "porch": (60, 1), "hedge": (50, 0)}, skips=True)))
    assert here("patch", show).returncode == 0
    boxes: dict[str, Setting] = {}
    assert said(show, here) == (differs(boxes, planned(show)), {"roof", "porch", "hedge"})
    assert here("todo", show, "--typed", "house", "--told", "all").returncode == 0
    boxes |= planned(show)
    assert said(show, here) == ({}, set())

    # What a diagnosis writes: the run is one pixel shorter than it was planned.
    wiring = wired(tomllib.loads(show.read_text()))
    patch = allocate(wiring).patch
    found = rewritten(show.read_text(), as_planned(wiring, patch), [fault_of("missing:roof/57", wiring)])
    assert write(show, found, print) == [str(show), str(show.with_name("house.patch.toml"))]
    assert planned(show)["house/1"][2] == 431
    assert (
        said(show, here)[0]
        == differs(boxes, planned(show))
        == {"house/1": (boxes["house/1"], planned(show)["house/1"])}
    )
    for command in (("patch",), ("diff",), ("check",), ("sheet", "--out", "out"), ("patch", "--fresh")):
        here(command[0], show, *command[1:])
        assert said(show, here)[0] == differs(boxes, planned(show))
    assert "Not typed in yet: house" in here("diff", show).stdout
    assert "Not typed in yet: house" in here("patch", show).stdout
    assert "house/1" in (tmp_path / "out/tables/to-type.csv").read_text()

    # A null pixel more takes no channels, so the patch file stays: the box is to be told all the same.
    show.write_text(show.read_text().replace("nulls = 1", "nulls = 2"))
    assert here("patch", show).returncode == 0
    assert said(show, here)[0] == differs(boxes, planned(show))
    assert set(said(show, here)[0]) == {"house/1", "house/2"}
    assert here("todo", show, "--typed", "house/2").returncode == 0
    boxes["house/2"] = planned(show)["house/2"]
    assert set(said(show, here)[0]) == {"house/1"}

    # The box dies; what is in the dead one is in nobody else.
    assert here("swap", show, "house", "shelf", "--write").returncode == 0
    assert said(show, here)[0] == differs({}, planned(show))
    assert set(planned(show)) == {"shelf/1", "shelf/2", "shelf/3"}
    here("todo", show, "--typed", "shelf", "--told", "roof")
    assert said(show, here) == ({}, set())
    here("todo", show, "--typed", "shelf/3", "--undo")
    assert said(show, here) == ({"shelf/3": (None, planned(show)["shelf/3"])}, set())


names = st.sampled_from(("roof", "porch", "hedge"))
edits = st.one_of(
    st.tuples(st.just("pixels"), names, st.integers(1, 400)),
    st.tuples(st.just("nulls"), names, st.integers(0, 3)),
    st.tuples(st.just("order"), st.permutations(("roof", "porch", "hedge"))),
    st.tuples(st.just("typed"), st.sampled_from(("house", "house/1", "house/2", "house/3", "all"))),
    st.tuples(st.just("untyped"), st.sampled_from(("house", "house/1", "house/2", "house/3", "all"))),
    st.tuples(st.just("told"), st.sampled_from(("roof", "porch", "hedge", "all"))),
    st.tuples(st.just("untold"), st.sampled_from(("roof", "porch", "hedge", "all"))),
)


@examples(12, 60)
@given(st.lists(edits, max_size=12), st.booleans())
def test_two_ledgers_through_any_season(season: list[tuple], skips: bool) -> None:
    """The box has in it what was ticked last; the plan is the patch; what is to type is where they differ."""
    # Judge: a ledger kept by hand, one dictionary for the box and one for the player
    sizes, order = {"roof": (100, 1), "porch": (60, 0), "hedge": (50, 0)}, ["roof", "porch", "hedge"]
    entered, patch = NOTHING, None
    boxes: dict[str, tuple] = {}
    player: dict[str, tuple] = {}
    for what, *about in [("pixels", "roof", 100), *season]:
        if what in ("pixels", "nulls"):
            pixels, nulls = sizes[about[0]]
            sizes[about[0]] = (about[1], nulls) if what == "pixels" else (pixels, about[1])
        elif what == "order":
            order = list(about[0])
        wiring = wired(show_of({run: sizes[run] for run in order}, skips=skips, spare=False))
        patch = allocate(wiring, patch).patch
        plan = {
            start.chain.name: (start.universe, start.channel, start.chain.pixels, sizes[start.chain.links[0].run][1])
            for start in patch.starts
        }
        places = {}
        for start in patch.starts:
            span = next(start.spans())
            places[span.run] = (span.universe, span.first_channel, start.chain.pixels)
        if what in ("typed", "untyped"):
            chosen = named_starts(about, entered, wiring, patch)
            names = {start for start in plan if about[0] in ("all", "house", start)}
            # The box's own setting has no name among its starts.
            assert {start for _, start in chosen} == names | ({""} if about[0] in ("all", "house") else set())
            entered = (
                typed(entered, wiring, patch, chosen) if what == "typed" else untyped(entered, wiring, patch, chosen)
            )
            for start in names:
                boxes.pop(start, None)
                boxes |= {start: plan[start]} if what == "typed" else {}
        if what in ("told", "untold"):
            runs = named_runs(about, entered, wiring, patch)
            entered = told(entered, wiring, patch, runs) if what == "told" else untold(entered, runs)
            for run in runs:
                player.pop(run, None)
                player |= {run: places[run]} if what == "told" else {}
        assert parse_entered(dump_entered(entered)) == entered
        left = todo(entered, wiring, patch)
        wanted = {start: (boxes.get(start), held) for start, held in plan.items() if boxes.get(start) != held}
        # Where two ports have the same setting, who is named is not told apart; here the port is part of a setting.
        assert {
            change.name: tuple(
                held and (held.universe, held.channel, held.pixels, held.nulls) for held in (change.old, change.new)
            )
            for change in left.starts
        } == wanted
        assert {change.run for change in left.runs} == {run for run in places if player.get(run) != places[run]}


def test_a_new_name_is_nothing_to_type_and_a_start_that_goes_is() -> None:
    wiring = wired(show_of({"roof": (100, 0), "porch": (60, 0)}, skips=True, per="run"))
    patch = allocate(wiring).patch
    entered = typed(NOTHING, wiring, patch, named_starts(["all"], NOTHING, wiring, patch))
    entered = told(entered, wiring, patch, named_runs(["all"], entered, wiring, patch))
    renamed = wired(show_of({"ridge": (100, 0), "porch": (60, 0)}, skips=True, per="run"))
    same = allocate(renamed, patch).patch
    left = todo(entered, renamed, same)
    assert (left.starts, left.runs) == ((), ())
    # Ticked off again, the old name is nobody's.
    again = told(typed(entered, renamed, same, [("house", "ridge")]), renamed, same, ["ridge"])
    assert set(again.boxes["house"]) == set(again.player) == {"ridge", "porch"}
    fewer = wired(show_of({"roof": (100, 0)}, skips=True, per="run"))
    after = allocate(fewer, patch).patch
    left = todo(entered, fewer, after)
    assert [(one.name, one.new) for one in left.starts] == [("porch", None)]
    assert [(one.run, one.new) for one in left.runs] == [("porch", None)]
    done = typed(entered, fewer, after, named_starts(["porch"], entered, fewer, after))
    done = told(done, fewer, after, ["porch"])
    assert todo(done, fewer, after).starts == todo(done, fewer, after).runs == ()


@pytest.mark.parametrize("words", [("--typed", "hosue"), ("--told", "rooof"), ("--undo",)])
def test_a_name_that_is_none_is_said_and_nothing_is_kept(words: tuple, tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(show_of({"roof": (100, 0)}, skips=True)))
    assert here("todo", show, "--typed", "all").returncode == 2  # there is no patch yet
    assert here("patch", show).returncode == 0
    ran = here("todo", show, *words)
    assert ran.returncode == 2
    assert words == ("--undo",) or "did you mean" in ran.stderr
    assert not entered_path(show).exists()


@pytest.mark.parametrize(
    "text", ["", "format = 1\n", "<<<<<<< mine", "format = 2\n[box]\n[player]\n",
             'format = 1\n[player]\n[box.house."house/1"]\nuniverse = 1\nchannel = 513\npixels = 1\nnulls = 0\n',
             "format = 1\n[box]\n[player.roof]\nuniverse = 1\nchannel = 1\npixels = true\nchannels = 3\n"],
)  # fmt: skip
def test_a_file_that_cannot_be_read_is_named_and_left(text: str, tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(show_of({"roof": (100, 0)}, skips=True)))
    assert here("patch", show).returncode == 0
    entered_path(show).write_text(text)
    for command in (("todo",), ("patch",), ("diff",), ("todo", "--typed", "all")):
        ran = here(command[0], show, *command[1:])
        assert ran.returncode == 2
        assert "house.entered.toml" in ran.stderr
    assert entered_path(show).read_text() == text
    assert "not a show" in here("check", entered_path(show)).stderr


def test_two_ticks_at_once_are_both_kept(tmp_path: Path) -> None:
    from threading import Thread

    show = tmp_path / "house.toml"
    runs = {f"run-{number}": (10 + number, 0) for number in range(3)}
    wiring = wired(show_of(runs, skips=True))
    patch = allocate(wiring).patch
    ticks = [
        Thread(target=change_entered, args=(show, lambda held, run=run: told(held, wiring, patch, [run])))
        for run in runs for _ in range(5)
    ]  # fmt: skip
    for one in ticks:
        one.start()
    for one in ticks:
        one.join()
    assert set(read_entered(show).player) == set(runs)


@pytest.mark.parametrize("practice", [False, True])
def test_the_phone_ticks_off_and_takes_a_tick_back(tmp_path: Path, practice: bool) -> None:
    show = tmp_path / "house.toml"
    tables = show_of({"roof": (100, 0), "porch": (60, 2)}, skips=False)
    show.write_text(tomli_w.dumps(tables))
    wiring = wired(tables)
    plan = Content(1, show, wiring, allocate(wiring).patch, practice)
    left = left_on_the_phone(plan)
    assert [row["thing"] for row in left["to_type"]] == ["house ", "house house/1", "house house/2"]
    assert [row["thing"] for row in left["to_tell"]] == ["roof", "porch"]
    assert left["to_type"][1]["says"] == "in the box: not known; type in 1/1; pixels 100, nulls 0, colours RGB"
    assert left["to_tell"][0]["says"] == (
        "the player has: not known; give it 1/1; pixels 100; universes 1–2 (roof, porch): E1.31 to 192.0.2.1"
    )
    says = "in the box: not known; type in 2/1; pixels 60, nulls 2, colours RGB; null pixels take channels here: "
    assert left["to_type"][2]["says"].startswith(says)
    for do, kind in (("typed", "to_type"), ("told", "to_tell")):
        for row in left[kind]:
            tick(plan, read_act(json.dumps({"do": do, "text": "yes", "thing": row["thing"]})))
    assert left_on_the_phone(plan) == {"to_type": [], "to_tell": []}
    wider = wired(show_of({"roof": (100, 0), "porch": (70, 2)}, skips=False))
    left = left_on_the_phone(Content(2, show, wider, allocate(wider).patch, practice))
    assert left["to_type"][0]["says"].startswith("in the box: 2/1; that stays; pixels 60 → 70, nulls 2,")
    bare = wired(show_of({"roof": (100, 0)}, skips=False))
    left = left_on_the_phone(Content(3, show, bare, allocate(bare).patch, practice))
    assert [row["says"] for row in left["to_tell"]] == ["the player has: 2/7; take it out; pixels 60"]
    assert read_entered(show, practice=practice).boxes
    assert read_entered(show, practice=not practice) == Entered(), "what is practised is kept apart"
    tick(plan, Act("typed", "no", "house house/2"))
    tick(plan, Act("told", "no", "roof"))
    again = left_on_the_phone(plan)
    assert [row["thing"] for row in again["to_type"] + again["to_tell"]] == ["house house/2", "roof"]
    for thing in ("house", "house house/9", "nobody house/1", ""):
        with pytest.raises(PatcherError):
            tick(plan, Act("typed", "yes", thing))


# --- the pixels of each port under one start ------------------------------------------------------------------------


def two_ports(show: Path, left: tuple[int, int], right: tuple[int, int]) -> None:
    """A box with one start for two ports."""
    sizes = {"left": left, "right": right}
    show.write_text(tomli_w.dumps(show_of(sizes, skips=True, per="controller", spare=False)))


@pytest.mark.parametrize(
    ("left", "right", "says"),
    [
        ((330, 0), (310, 2), "640 (1: 320, 2: 320 and 2 nulls) → 640 (1: 330, 2: 310 and 2 nulls)"),
        ((320, 1), (320, 1), "640 (1: 320, 2: 320 and 2 nulls) → 640 (1: 320 and 1 null, 2: 320 and 1 null)"),
    ],
)
def test_what_each_port_of_one_start_has_is_typed_in_too(
    tmp_path: Path, here: Patcher, left: tuple[int, int], right: tuple[int, int], says: str
) -> None:
    # Source: `patch` prints the pixels of each port under the start, to be typed in; found in use: 320 and 320 became
    # 330 and 310, and nothing was to do
    show = tmp_path / "house.toml"
    two_ports(show, (320, 0), (320, 2))
    assert here("patch", show).returncode == 0
    assert here("todo", show, "--typed", "all", "--told", "all").stdout.endswith("knows all addresses.\n")
    two_ports(show, left, right)
    pixels_differ = left[0] != 320
    # The patch file knows no null pixels that take no channels, so there they are no change.
    assert (says in " ".join(here("diff", show).stdout.split())) == pixels_differ
    assert json.loads(here("patch", show, "--json").stdout)["changed"] == ["house"] * pixels_differ
    listed = " ".join(here("todo", show).stdout.split())
    assert says in listed
    (one,) = json.loads(here("todo", show, "--json").stdout)["to_type"]
    assert [[port["pixels"], port["nulls"]] for port in one["new"]["ports"]] == [list(left), list(right)]
    assert "Nothing to type in or to tell" in here("todo", show, "--typed", "house", "--told", "all").stdout


def test_what_was_ticked_off_before_ports_were_kept_is_not_known(tmp_path: Path, here: Patcher) -> None:
    # Source: better unsure than wrong: nobody knows which pixels of each port were in the box when it was ticked off
    show = tmp_path / "house.toml"
    two_ports(show, (320, 0), (320, 0))
    here("patch", show)
    here("todo", show, "--typed", "all", "--told", "all")
    path = entered_path(show)
    path.write_text(re.sub(r"(?ms)^ports = \[.*?^\]\n", "", path.read_text()))
    assert "ports" not in path.read_text()
    said = here("todo", show).stdout
    assert "640 (of each port not known) → 640 (1: 320, 2: 320)" in " ".join(said.split())
    assert "Nothing to type in or to tell" in here("todo", show, "--typed", "house").stdout


@pytest.mark.parametrize("ports", ["[[1, 3]]", "[1, 2]", '[[1, "a", 0]]', "[[1, -2, 0]]", '"x"', "[[1, 2, 3, 4]]", "5"])
def test_ports_that_are_none_are_refused(tmp_path: Path, here: Patcher, ports: str) -> None:
    show = tmp_path / "house.toml"
    two_ports(show, (320, 0), (320, 0))
    here("patch", show)
    text = "format = 1\n[player]\n[box.house.house]\nuniverse = 1\nchannel = 1\npixels = 640\nnulls = 0\n"
    entered_path(show).write_text(f"{text}ports = {ports}\n")
    ran = here("todo", show)
    assert (ran.returncode, "house.entered.toml" in ran.stderr) == (2, True)


# --- nulls, wherever something is typed in --------------------------------------------------------------------------


def typed_tables(show: Path, here: Patcher) -> Iterator[tuple[str, dict[str, Setting]]]:
    """Every table of what is typed in, by where it stands: universe, channel, pixels and nulls of each start."""
    csv_rows = [line.split(",") for line in here("patch", show, "--csv").stdout.splitlines()]
    yield "patch --csv", numbers_of(csv_rows)
    yield "patch", numbers_of([re.split(r"\s{2,}", line.strip()) for line in here("patch", show).stdout.splitlines()])
    document = json.loads(here("patch", show, "--json").stdout)
    yield (
        "patch --json",
        {
            f"{one['controller']}/{one['port']}": (one["universe"], one["channel"], one["pixels"], one["nulls"])
            for one in document["starts"]
        },
    )
    here("sheet", show, "--out", "out")
    folder = show.parent / "out"
    yield (
        "tables/patch.csv",
        numbers_of([line.split(",") for line in (folder / "tables/patch.csv").read_text().splitlines()]),
    )
    for page in ("sheets.html", "boxes/house.html"):
        yield page, numbers_of(html_rows((folder / page).read_text()))


def numbers_of(table: list[list[str]]) -> dict[str, tuple[int, int, int, int]]:
    found, heads = {}, []
    for row in table:
        if "start of" in [cell.casefold() for cell in row]:
            short = {"univ.": "universe", "chan.": "channel"}
            heads = [short.get(cell.casefold(), cell.casefold()) for cell in row]
        elif heads and len(row) >= heads.index("nulls") + 1 and re.fullmatch(r"house/\d", row[heads.index("start of")]):
            cells = dict(zip(heads, row, strict=False))
            found[cells["start of"]] = tuple(int(cells[key]) for key in ("universe", "channel", "pixels", "nulls"))
    return found


def html_rows(text: str) -> list[list[str]]:
    return [
        [re.sub(r"<[^>]*>", "", cell).strip() for cell in re.findall(r"<t[hd][^>]*>(.*?)</t[hd]>", row, re.DOTALL)]
        for row in re.findall(r"<tr[^>]*>(.*?)</tr>", text, re.DOTALL)
    ]


@pytest.mark.parametrize("skips", [True, False])
def test_every_table_that_is_typed_in_tells_the_nulls(skips: bool, tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: nulls were missing in every table that is typed in
    show = tmp_path / "house.toml"
    tables = show_of({"roof": (100, 0), "porch": (60, 2), "hedge": (50, 1)}, skips=skips)
    show.write_text(tomli_w.dumps(tables))
    assert here("patch", show).returncode == 0
    wanted = planned(show)
    assert [held[3] for held in wanted.values()] == [0, 2, 1]
    seen = 0
    for where, table in typed_tables(show, here):
        assert table == wanted, where
        seen += 1
    assert seen == 6
    words = "take no channels" if skips else "take channels here"
    assert words in here("patch", show).stdout
    from patcher.phone.pages import Pages

    wiring = wired(tables)
    page = Pages(yard=False, hold=60).page(Content(1, show, wiring, allocate(wiring).patch)).body.decode()
    assert numbers_of(html_rows(page)) == wanted
    # The spare's, step by step.
    found = swap_box(wiring, allocate(wiring).patch, "house", "shelf")
    assert isinstance(found, BoxSwap)
    from patcher.swaps.swap_steps import box_steps

    lines = [line for step in box_steps(found, wiring, "house.toml") for line in step if line.startswith("  ")]
    table = [[cell.replace("shelf", "house") for cell in re.split(r"\s{2,}", line.strip())] for line in lines]
    assert numbers_of(table) == wanted


def test_a_null_inside_a_chain_is_told_with_its_place() -> None:
    tables = show_of({"roof": (100, 0), "porch": (60, 2)}, skips=True)
    tables["controller"]["house"]["port"] = {"1": ["roof", "porch"]}
    wiring = wired(tables)
    said = patch_tables.null_words(wiring, allocate(wiring).patch.starts)
    assert "porch has 2 null pixels before it, in the middle of its chain" in said


# ─── What the columns cannot say ─────────────────────────────────────────────────────────────────────────────────────


@pytest.mark.parametrize(
    ("per", "protocol", "reorders"),
    [
        ("controller", "artnet", False), ("port", "e131", True), ("run", "artnet", True), ("run", "e131", False),
        *later(
            ("controller", "artnet", True), ("controller", "e131", True), ("controller", "e131", False),
            ("port", "artnet", True), ("port", "artnet", False), ("port", "e131", False),
            ("run", "artnet", False), ("run", "e131", True),
        ),
    ],
)  # fmt: skip
def test_wherever_settings_are_typed_in_the_rest_of_them_is_said(
    per: str, protocol: str, reorders: bool, here: Patcher, tmp_path: Path
) -> None:
    # Source: sums by hand: 320 and 200 + 40 pixels; Art-Net 4: universe 19 is net 0, sub-net 1, universe 3
    tables = show_of({"roof": (320, 0), "porch": (200, 0), "door": (40, 0)}, skips=True, per=per)
    tables["show"]["first_universe"] = 19
    tables["controller"]["house"] |= {"port": {"1": ["roof"], "2": ["porch", "door"]}}
    for box in ("house", "shelf"):
        tables["controller"][box] |= {"reorders": reorders, "protocol": protocol}
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(tables))
    texts = {command: here(command, show).stdout for command in ("diff", "patch", "todo")}
    texts["swap"] = here("swap", show, "house", "shelf").stdout.replace("shelf", "house")
    assert here("sheet", show, "--out", tmp_path / "out").returncode == 0
    texts |= {name: (tmp_path / "out" / name).read_text() for name in ("sheets.html", "boxes/house.html")}
    texts["markdown"] = (tmp_path / "out/sheets.md").read_text().replace("\\", "")
    wiring = wired(tables)
    plan = Content(1, show, wiring, allocate(wiring).patch)
    texts["to do on the phone"] = str(left_on_the_phone(plan))
    from patcher.phone.pages import Pages

    texts["phone"] = Pages(yard=False, hold=60).page(plan).body.decode()
    ports = "pixels of each port: house/1 320, house/2 240"
    for name, text in texts.items():
        text = " ".join(text.split())
        assert (ports in text) == (per == "controller"), name
        assert ("19 is 0.1.3" in text) == (protocol == "artnet"), name
        assert ("as sent: the box does not reorder colours" in text) == (not reorders), name
    (head, *rows) = here("patch", show, "--csv").stdout.splitlines()
    assert head.endswith(",runs,port_pixels")
    assert [re.findall(r"\d+: (\d+)", row) for row in rows] == {
        "controller": [["320", "240"]], "port": [["320"], ["240"]], "run": [["320"], ["200"], ["40"]],
    }[per]  # fmt: skip


def test_the_player_is_told_the_colours_that_a_box_does_not_reorder(here: Patcher, tmp_path: Path) -> None:
    # Source: `help file`: a box with reorders = false passes colours on in the chip's own order
    tables = show_of({"roof": (30, 0), "porch": (20, 0), "door": (4, 0)}, skips=True, spare=False)
    tables["pixel"] |= {"foam": {"colour_order": "GRBW"}, "warm": {"colour_order": "W"}}
    tables["run"]["porch"]["pixel"], tables["run"]["door"]["pixel"] = "foam", "warm"
    show = tmp_path / "house.toml"
    for reorders, wanted in ((True, ["RGB", "RGBW", "W"]), (False, ["RGB", "GRBW", "W"])):
        tables["controller"]["house"]["reorders"] = reorders
        show.write_text(tomli_w.dumps(tables))
        heads, _, *rows = here("patch", show, "--player").stdout.partition("\n\n")[0].splitlines()
        assert re.split(r" {3,}", heads)[-2:] == ["channels a pixel", "colours to send"]
        assert [row.split()[-2:] for row in rows] == [[str(len(letters)), letters] for letters in wanted]
        csv = here("patch", show, "--player", "--csv").stdout.splitlines()
        assert csv[0].endswith(",channels,colours_to_send,protocol,send_to")
    assert here("patch", show, "--every-pixel").stdout.startswith("box ")
    assert here("patch", show, "--every-pixel", "--csv").stdout.startswith("controller,")


@pytest.mark.parametrize(
    ("keys", "line", "cells"),
    [
        ({}, "E1.31 to 192.0.2.11 (house)", "E1.31,192.0.2.11"),
        ({"protocol": "artnet"}, "Art-Net to 192.0.2.11 (house)", "Art-Net,192.0.2.11"),
        ({"delivery": "multicast"}, "E1.31 as multicast (house)", "E1.31,multicast"),
    ],
)
def test_the_player_is_told_where_each_box_takes_its_universes(
    here: Patcher, tmp_path: Path, keys: dict, line: str, cells: str
) -> None:
    # Source: found in use: `--player` gave channels, and neither address nor protocol nor the universes to send
    tables = show_of({"roof": (300, 0)}, skips=True, spare=False)
    tables["controller"]["house"] |= {"address": "192.0.2.11"} | keys
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(tables))
    assert f"universes 1–2: {line}" in here("patch", show, "--player").stdout
    rows = here("patch", show, "--player", "--csv").stdout.splitlines()
    assert all(row.endswith(f",{cells}") for row in rows[1:])
    here("sheet", show, "--out", tmp_path / "paper")
    for name in ("sheets.html", "sheets.md"):
        text = (tmp_path / "paper" / name).read_text().replace("\\", "")
        assert f"universes 1–2: {line}" in text
        own = f"house: address 192.0.2.11, {cells.split(',')[0]}, {keys.get('delivery', 'unicast')}"
        assert own in text.split("What to tell the player")[0]


def test_what_an_address_is_changed_from_has_a_heading_of_its_own(tmp_path: Path, here: Patcher) -> None:
    # Source: found in use: the column "now" meant the boxes in one list, and the patch file in another
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(show_of({"roof": (100, 0)}, skips=True)))
    here("patch", show)
    lists = {"todo": here("todo", show).stdout}
    assert re.search(r"^start of +in the box +change to ", lists["todo"], re.MULTILINE)
    assert re.search(r"^house/1 +not known +1/1 ", lists["todo"], re.MULTILINE)
    assert re.search(r"^run +player has +change to ", lists["todo"], re.MULTILINE)
    assert re.search(r"^roof +not known +1/1 ", lists["todo"], re.MULTILINE)
    show.write_text(tomli_w.dumps(show_of({"roof": (110, 0), "hedge": (20, 0)}, skips=True)))
    lists["diff"] = here("diff", show).stdout
    assert re.search(r"^start of +in the patch file +change to ", lists["diff"], re.MULTILINE)
    assert re.search(r"^house/1 +1/1 +same +100 → 110 ", lists["diff"], re.MULTILINE)
    assert re.search(r"^run +in the patch file +change to ", lists["diff"], re.MULTILINE)
    # A run that the patch file does not have has no address there, and that is known.
    assert re.search(r"^hedge +none +2/1 ", lists["diff"], re.MULTILINE)
    assert not any(re.search(r" now\b", text) for text in lists.values())


@pytest.mark.parametrize(
    ("words", "said"),
    [
        (("--typed", "house"), "Ticked off as typed in: house."),
        (("--told", "all"), "Ticked off as told to the player: all."),
        (("--told", "all", "--typed", "house"), "Ticked off as typed in: house; as told to the player: all."),
        (("--typed", "house", "--undo"), "No longer ticked off as typed in: house."),
    ],
)
def test_a_tick_says_what_was_done(words: tuple[str, ...], said: str, tmp_path: Path, here: Patcher) -> None:
    # Source: found by a reader: "Ticked off: barn, all." after --told all --typed barn, as if all were typed in
    path = tmp_path / "house.toml"
    path.write_text(tomli_w.dumps(show_of({"roof": (9, 0)}, skips=True)))
    here("patch", path)
    assert here("todo", path, *words).stdout.startswith(said + "\n")


@examples(30, 200)
@given(shows(most=90), st.data())
def test_what_the_player_is_told_rises_from_prop_to_prop_and_in_each(tables: dict, data: st.DataObject) -> None:
    # Source: found by a reader: universe 6 stood before 5, and both before 1. Addresses are those of the patch.
    names = data.draw(st.permutations(sorted(tables["run"])))
    half = data.draw(st.integers(1, len(names)))
    wiring = wired(tables | {"prop": {"whole-lot": {"runs": list(names[:half])}}})
    table = patch_tables.player(wiring, allocate(wiring).patch)
    rows = [dict(zip(table.heads, row, strict=True)) for row in table.rows]
    by_prop = [[(row["universe"], row["channel"]) for row in group] for _, group in groupby(rows, itemgetter("prop"))]
    assert len(by_prop) == len({row["prop"] for row in rows}), "the runs of a prop stand together"
    assert all(places == sorted(places) for places in by_prop)
    assert [places[0] for places in by_prop] == sorted(places[0] for places in by_prop)
