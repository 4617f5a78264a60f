"""The season's list through any order of commands: a thing is done if, and only if, it was ticked off for just what the
plan now asks for, and its tick was not taken away since.

The judge is a ledger kept with a pencil: what each thing was ticked off for, read from the tables of the show file and
of the patch file as any TOML reader reads them. It shares no code with `patcher.season` or `patcher.patch.entered`.
"""

import csv
import json
import shutil
import tempfile
import tomllib
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import settings
from hypothesis import strategies as st
from hypothesis.stateful import RuleBasedStateMachine, initialize, invariant, rule, run_state_machine_as_test

from patcher.dialogue.consultation import write
from patcher.errors import PatcherError
from patcher.faults import parse as fault_of
from patcher.faults import planned as as_planned
from patcher.patch.patch_file import read_patch
from patcher.remedies.rewrite import rewritten
from rig import examples
from rig.in_process import run as patcher
from rig.shipped import wired

BULB = {"colour_order": "RGB", "volts": 12.0, "channel_ma": 9.0, "awg": 18, "pitch": 0.1}
RUNS = ("roof", "eaves", "porch", "hedge", "quay")
FEEDS = ("roof-wire", "porch-wire", "hedge-wire", "quay-wire")
HANDS = {"tested": "bench", "hung": "hang", "joined": "leads", "powered": "power"}


def tables() -> dict[str, Any]:
    """Two boxes, a spare one, three supplies of which one is spare, five runs, four feeds."""

    def line(y: float, pixels: int, **more: object) -> dict[str, object]:
        path = [[0.0, y], [pixels * 0.1, y]]
        return {"pixel": "bulb", "shape": "line", "path": path, "pixels": pixels, "lead": 1.5, **more}

    def feed(supply: str, *taps: tuple[str, object]) -> dict[str, object]:
        joins = [{"run": run, "pixel": pixel, "length": 1.0} for run, pixel in taps]
        return {"supply": supply, "awg": 16, "fuse": 5.0, "taps": joins}

    return {
        "show": {"title": "House by the weir"},
        "pixel": {"bulb": BULB, "other": BULB | {"colour_order": "GRB"}},
        "controller": {
            "house": {"address": "192.0.2.1", "ports": 3, "logic": {"supply": "house-12v", "amps": 0.3},
                      "port": {"1": ["roof", "eaves"], "2": ["porch"], "3": ["hedge"]}},
            "shed": {"address": "192.0.2.2", "protocol": "artnet", "ports": 2, "port": {"1": ["quay"]}},
            "shelf": {"spare": True, "ports": 4},
        },
        "run": {
            "roof": line(4.0, 40), "eaves": line(3.0, 30), "porch": line(2.0, 25, batch="2020"),
            "hedge": {"pixel": "bulb", "pixels": 20, "lead": 9.0}, "quay": line(1.0, 50, nulls=1),
        },
        "supply": {
            "house-12v": {"volts": 12.0, "amps": 20.0, "box": "house"},
            "shed-12v": {"volts": 12.0, "amps": 20.0, "box": "shed"},
            "spare-12v": {"volts": 12.0, "amps": 30.0, "spare": True},
        },
        "feed": {
            "roof-wire": feed("house-12v", ("roof", "first"), ("eaves", "last")),
            "porch-wire": feed("house-12v", ("porch", 1)),
            "hedge-wire": {"from": "roof-wire", "tap": 1, "awg": 18,
                           "taps": [{"run": "hedge", "every": 8, "length": 2.0}]},
            "quay-wire": feed("shed-12v", ("quay", "last")),
        },
    }  # fmt: skip


# --- the pencil ---------------------------------------------------------------------------------------------------

Key = tuple[str, str, str]
"""Box, step, thing."""


def pixels_of(run: dict[str, Any]) -> int:
    return run["pixels"] - len(run.get("gaps", ()))


def asked_for(show: dict[str, Any], patch: dict[str, Any]) -> dict[Key, object]:
    """All that the plan asks for, and for each thing what hands or fingers would have to do again if it changed."""
    found: dict[Key, object] = {}
    at_box: dict[str, str] = {}
    for box, table in show["controller"].items():
        for port, chain in table.get("port", {}).items():
            hung = [name for name in chain if show["run"][name].get("hung", True)]
            for place, name in enumerate(hung):
                at_box[name] = box
                before = hung[place - 1] if place else f"{box}/{port}"
                found |= _of_run(box, name, show, before, first=not place)
    needed: dict[str, str] = {}
    for name, feed in show["feed"].items():
        trunk = feed if "supply" in feed else show["feed"][feed["from"]]
        hung = [tap["run"] for tap in feed["taps"] if tap["run"] in at_box]
        branches = [other for other in show["feed"].values() if other.get("from") == name]
        behind = [tap["run"] for other in branches for tap in other["taps"] if tap["run"] in at_box]
        if hung or behind:
            box = show["supply"][trunk["supply"]].get("box") or at_box[(hung or behind)[0]]
            needed[trunk["supply"]] = box
            joins = [
                (tap["run"], _tapped(tap, pixels_of(show["run"][tap["run"]])), tap["length"])
                for tap in feed["taps"] if tap["run"] in at_box
            ]  # fmt: skip
            wire = [feed.get(key) for key in ("supply", "from", "tap", "awg", "fuse")]
            found[box, "power", name] = [wire, joins]
    for box, table in show["controller"].items():
        if "logic" in table and any(table.get("port", {}).values()):
            supply = table["logic"]["supply"]
            needed.setdefault(supply, show["supply"][supply].get("box") or box)
    for name, box in needed.items():
        found[box, "power", name] = [show["supply"][name].get(key) for key in ("volts", "amps", "box", "socket")]
    return found | _of_desk(show, patch)


def _tapped(tap: dict[str, Any], pixels: int) -> list[int]:
    if "every" in tap:
        return sorted({*range(1, pixels + 1, tap["every"]), pixels})
    return [{"first": 1, "last": pixels}.get(tap["pixel"], tap["pixel"])]


def _of_run(box: str, name: str, show: dict[str, Any], before: str, *, first: bool) -> dict[Key, object]:
    run = show["run"][name]
    kind = show["pixel"][run["pixel"]]
    picture = [run.get("shape"), run.get("path"), run.get("gaps", []), run.get("data_in", "first")]
    power = not first and run.get("power_joined", True)
    lead = [before, run["lead"], run.get("lead_awg"), run.get("lead_via", "cable"), run.get("nulls", 0), power]
    return {
        (box, "bench", name): [kind["colour_order"], kind["volts"], pixels_of(run), run.get("batch", "")],
        (box, "hang", name): [pixels_of(run), picture],
        (box, "leads", name): lead,
    }  # fmt: skip


def _of_desk(show: dict[str, Any], patch: dict[str, Any]) -> dict[Key, object]:
    """What is typed into each box, and what the player is told: what the patch file and the show file say."""
    found: dict[Key, object] = {}
    for box, keys in patch["controller"].items():
        table = show["controller"][box]
        own = [table.get("address"), table.get("protocol", "e131")]
        found[box, "type", box] = own
        for port, held in keys["port"].items():
            universe, channel = map(int, held["start"].split("/"))
            nulls = {run: show["run"][run].get("nulls", 0) for run in held["pixels"]}
            orders = [show["pixel"][show["run"][run]["pixel"]]["colour_order"] for run in held["pixels"]]
            pixels = sum(held["pixels"].values())
            found[box, "type", f"{box}/{port}"] = [
                universe, channel, pixels, sum(nulls.values()), " ".join(dict.fromkeys(orders)),
            ]  # fmt: skip
            at = (universe - 1) * 170 + (channel - 1) // 3  # RGB pixels from 1/1, 170 to a universe
            for run, count in held["pixels"].items():
                place = [at // 170 + 1, at % 170 * 3 + 1, count]
                found[box, "tell", run] = [place, own, _begins(show["run"][run])]
                at += count
    return found


def _begins(run: dict[str, Any]) -> object:
    """Whether its first pixel is at its left end, as the audience sees it; nothing of one that is not drawn."""
    if "path" not in run:
        return None
    rightwards = run["path"][0][0] < run["path"][-1][0]
    return rightwards == (run.get("data_in", "first") == "first")


# --- any order of commands ----------------------------------------------------------------------------------------


def _edits(tables: str, names: tuple[str, ...], key: str, values: object) -> st.SearchStrategy[tuple]:
    return st.tuples(st.just(tables), st.sampled_from(names), st.just(key), values)


EDITS = st.one_of(
    _edits("run", RUNS, "pixels", st.integers(9, 60)),
    _edits("run", RUNS, "lead", st.sampled_from([0.5, 1.5, 9.0])),
    _edits("run", RUNS, "nulls", st.integers(0, 2)),
    _edits("run", ("roof", "eaves", "porch", "quay"), "data_in", st.sampled_from(["first", "last"])),
    _edits("run", RUNS, "pixel", st.sampled_from(["bulb", "other"])),
    _edits("run", RUNS, "batch", st.sampled_from(["2020", "2024-b"])),
)
OTHER_EDITS = st.one_of(
    _edits("run", ("eaves", "porch", "hedge"), "hung", st.booleans()),
    _edits("feed", FEEDS, "awg", st.sampled_from([14, 16, 18])),
    st.tuples(st.just("show"), st.just("title"), st.sampled_from(["House by the weir", "Weir house"])),
    st.tuples(st.just("show"), st.just("level"), st.sampled_from([0.3, 1.0])),
)
"""A title and a level are no work for anybody."""


class Season(RuleBasedStateMachine):
    """What a person may do in a season, in any order."""

    @initialize()
    def begin(self) -> None:
        self.folder = Path(tempfile.mkdtemp())
        self.show = self.folder / "weir.toml"
        self.patch = self.folder / "weir.patch.toml"
        self.hands: dict[tuple[str, str], object] = {}
        self.typed: dict[tuple[str, str], object] = {}
        self.told: dict[str, object] = {}
        self.show.write_text(tomli_w.dumps(tables()))
        assert self.do("patch", self.show) == 0
        self.tick_everything()

    def teardown(self) -> None:
        shutil.rmtree(self.folder)

    def do(self, *words: object) -> int:
        return patcher(self.folder, *words).returncode

    @property
    def read(self) -> tuple[dict[str, Any], dict[str, Any]]:
        return tomllib.loads(self.show.read_text()), tomllib.loads(self.patch.read_text())

    @invariant()
    def done_is_what_was_ticked_off_for_what_is_planned(self) -> None:
        said = {
            (box["controller"], task["step"], task["thing"]): task["done"]
            for box in json.loads(patcher(self.folder, "todo", self.show, "--json").stdout)["boxes"]
            for task in box["tasks"]
            if task["step"] != "prove"
        }
        wanted = asked_for(*self.read)
        expected = {key: self.kept(key) == wants for key, wants in wanted.items()}
        boxes = {box for box, step, _ in wanted if step == "type"}
        gone = {(box, start) for box, start in self.typed if box in boxes and (box, "type", start) not in wanted}
        assert said == expected | {(box, "type", start): False for box, start in gone}

    def kept(self, key: Key) -> object:
        box, step, thing = key
        if step == "type":
            return self.typed.get((box, thing))
        return self.told.get(thing) if step == "tell" else self.hands.get((step, thing))

    # ticking

    @rule()
    def tick_everything(self) -> None:
        """So that what is changed next opens again just what it touches."""
        ticks = [word for option in (*HANDS, "typed", "told") for word in (f"--{option}", "all")]
        assert self.do("todo", self.show, *ticks) == 0
        wanted = asked_for(*self.read)
        self.hands |= {(step, thing): asks for (_, step, thing), asks in wanted.items() if step in HANDS.values()}
        self.typed = {(box, thing): asks for (box, step, thing), asks in wanted.items() if step == "type"}
        self.told = {thing: asks for (_, step, thing), asks in wanted.items() if step == "tell"}

    @rule(option=st.sampled_from(sorted(HANDS)), name=st.sampled_from([*RUNS, *FEEDS, "house", "shelf", "shed", "all"]),
          undo=st.booleans())  # fmt: skip
    def tick_hands(self, option: str, name: str, undo: bool) -> None:
        step = HANDS[option]
        meant = {
            key: wants for key, wants in asked_for(*self.read).items()
            if key[1] == step and name in ("all", key[0], key[2])
        }  # fmt: skip
        ran = self.do("todo", self.show, f"--{option}", name, *["--undo"] * undo)
        assert ran == (0 if meant else 2)
        for (_, _, thing), wants in meant.items():
            self.hands.pop((step, thing), None)
            self.hands |= {} if undo else {(step, thing): wants}

    @rule(name=st.sampled_from(["house", "shelf", "shed", "house/1", "shed/1", "all"]), undo=st.booleans())
    def tick_typed(self, name: str, undo: bool) -> None:
        wanted = {(box, thing): wants for (box, step, thing), wants in asked_for(*self.read).items() if step == "type"}
        meant = [key for key in {**wanted, **self.typed} if name in ("all", key[0]) or name == key[1]]
        assert self.do("todo", self.show, "--typed", name, *["--undo"] * undo) == (0 if meant or name == "all" else 2)
        for key in meant:
            self.typed.pop(key, None)
            self.typed |= {} if undo or key not in wanted else {key: wanted[key]}

    @rule(name=st.sampled_from([*RUNS, "house", "shelf", "shed", "all"]), undo=st.booleans())
    def tick_told(self, name: str, undo: bool) -> None:
        wanted = {thing: (box, wants) for (box, step, thing), wants in asked_for(*self.read).items() if step == "tell"}
        meant = [run for run, (box, _) in wanted.items() if name in ("all", box, run)]
        assert self.do("todo", self.show, "--told", name, *["--undo"] * undo) == (0 if meant else 2)
        for run in meant:
            self.told.pop(run, None)
            self.told |= {} if undo else {run: wanted[run][1]}

    @rule()
    def new_season(self) -> None:
        assert self.do("verify", self.show, "--new-season") == 0
        self.hands.clear()

    # changing the plan

    def edit(self, *path: str, to: object) -> None:
        show, _ = self.read
        table = show
        for key in path[:-1]:
            table = table[key]
        table[path[-1]] = to
        self.show.write_text(tomli_w.dumps(show))
        assert self.do("patch", self.show) == 0

    @rule(edit=EDITS)
    def change_a_run(self, edit: tuple[str, str, str, object]) -> None:
        *path, to = edit
        self.edit(*path, to=to)

    @rule(edits=st.lists(EDITS, min_size=2, max_size=3))
    def change_several_runs(self, edits: list[tuple[str, str, str, object]]) -> None:
        for edit in edits:
            self.change_a_run(edit)

    @rule(edit=OTHER_EDITS)
    def change_something_else(self, edit: tuple[str, str, object]) -> None:
        *path, to = edit
        last = [chain[-1] for box in self.read[0]["controller"].values() for chain in box.get("port", {}).values()]
        if path[-1] != "hung" or path[1] in last:
            self.edit(*path, to=to)

    @rule(fresh=st.booleans())
    def patch_again(self, fresh: bool) -> None:
        assert self.do("patch", self.show, *["--fresh"] * fresh) == 0

    @rule(pair=st.sampled_from([("house", "shelf"), ("shed", "shelf"), ("house-12v", "spare-12v"),
                                ("shed-12v", "spare-12v"), ("shelf", "house")]))  # fmt: skip
    def swap(self, pair: tuple[str, str]) -> None:
        self.do("swap", self.show, *pair, "--write")

    @rule(fault=st.sampled_from(["missing:roof/7", "missing:hedge/3", "reversed:porch", "reversed:quay",
                                 "swapped-runs:roof,eaves"]))  # fmt: skip
    def diagnose_and_write(self, fault: str) -> None:
        wiring, patch = wired(self.read[0]), read_patch(self.show)
        runs = fault.partition(":")[2].replace("/", ",").split(",")
        if all(wiring.show.runs[run].hung for run in runs if run in wiring.show.runs):
            try:
                found = rewritten(self.show.read_text(), as_planned(wiring, patch), [fault_of(fault, wiring)])
            except PatcherError:
                return  # as it stands now, no edit of the file can say that
            write(self.show, found, lambda line: None)

    @rule(by=st.integers(0, 9))
    def adopt(self, by: int) -> None:
        table = self.folder / "table.csv"
        with table.open("w", newline="") as file:
            rows = csv.writer(file)
            rows.writerow(["box", "port", "run", "universe", "channel", "pixels"])
            for box, keys in self.read[1]["controller"].items():
                for port, held in keys["port"].items():
                    universe, channel = map(int, held["start"].split("/"))
                    run, pixels = next(iter(held["pixels"].items()))
                    rows.writerow([box, port, run, universe + by, channel, pixels])
        self.patch.unlink()
        assert self.do("adopt", self.show, table) == 0


@pytest.mark.many
def test_the_list_survives_every_order_of_commands() -> None:
    runs = 150 if examples.many else 18
    run_state_machine_as_test(Season, settings=settings(max_examples=runs, stateful_step_count=14, deadline=None))
