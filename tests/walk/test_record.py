"""The record of what was proved: as a value, as a file, and what each proof depends on."""

import copy
import tomllib
from datetime import UTC, datetime, timedelta, timezone
from pathlib import Path

import numpy as np
import pytest
from hypothesis import assume, given
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.faults import planned
from patcher.placement.allocation import allocate
from patcher.shapes import positions
from patcher.walk.items import OF_RUN, WHAT_WORDS, WHATS, Item, digests, items
from patcher.walk.progress import failed, still_open
from patcher.walk.record import CHAPTERS, SAYS, Entry, Record, RecordedAnswer, states, tally
from patcher.walk.record_file import change_record, checks_path, dump, parse, read_record
from rig.examples import examples
from rig.shipped import SHOWS, wired

WORDS = st.text(st.characters(exclude_categories=("Cs",)), min_size=1, max_size=30)
ZONES = st.integers(-840, 840).map(lambda minutes: timezone(timedelta(minutes=minutes)))
TIMES = st.builds(
    lambda at, zone: at.replace(tzinfo=zone, microsecond=0),
    st.datetimes(datetime(2001, 1, 1), datetime(2099, 1, 1)), ZONES,
)  # fmt: skip
CODES = st.lists(WORDS, max_size=3).map(tuple)
ANSWERS = st.builds(RecordedAnswer, st.sampled_from(SAYS), TIMES, WORDS, CODES, CODES)
ENTRIES = st.lists(st.builds(Entry, WORDS, TIMES, WORDS), max_size=3).map(tuple)
RECORDS = st.builds(
    Record, st.dictionaries(st.builds(Item, WORDS, st.sampled_from(WHATS)), ANSWERS, max_size=5),
    ENTRIES, ENTRIES, ENTRIES,
)  # fmt: skip

NOON = datetime(2026, 11, 25, 12, 0, tzinfo=timezone(timedelta(hours=1)))
SMALL = Record(
    {Item("gable", "colours"): RecordedAnswer("no", NOON, "ab12", ("reversed:gable",)),
     Item("gate", "geometry"): RecordedAnswer("yes", NOON, "cd34")},
    notes=(Entry("gable", NOON, "Знак: клипса треснула"),),
)  # fmt: skip


@given(RECORDS)
def test_a_record_comes_back_from_its_file_as_it_was(record: Record) -> None:
    # Source: the record is the value; a file must not lose any of it. tomllib reads it too
    text = dump(record)
    tomllib.loads(text)
    back = parse(text)
    assert back == record
    assert [one.when.utcoffset() for one in back.notes] == [one.when.utcoffset() for one in record.notes]


def test_a_file_that_is_half_or_changed_anywhere_is_refused() -> None:
    # Common practice, no source: a checksum names damage of any one octet
    text = dump(SMALL)
    for end in range(len(text.rstrip())):
        with pytest.raises((ValueError, KeyError, TypeError, AttributeError)):
            parse(text[:end])
    for place, letter in enumerate(text.rstrip()):
        changed = text[:place] + ("x" if letter != "x" else "y") + text[place + 1 :]
        with pytest.raises((ValueError, KeyError, TypeError, AttributeError)):
            parse(changed)
    assert parse(text.replace("\n", "\r\n")) == SMALL


@pytest.mark.parametrize(
    ("damage", "named"),
    [
        (lambda text: text[: len(text) // 2], "cannot be read as a record"),
        (lambda text: "<<<<<<< mine\n" + text + "=======\n>>>>>>> theirs\n", "merge conflict"),
        (lambda text: text.replace('says = "no"', 'says = "yes"'), "changed by something other"),
        (lambda text: text.replace("format = 1", "format = 7"), "format 7"),
        (lambda text: "", "missing"),
        (lambda text: text[text.index("# The end") :], "missing"),
    ],
)
def test_a_damaged_file_is_named_and_left_alone(heron_lock: Path, damage, named: str) -> None:
    path = checks_path(heron_lock)
    before = damage(dump(SMALL))
    path.write_text(before)
    with pytest.raises(PatcherError) as refused:
        read_record(heron_lock)
    finding = refused.value.findings[0]
    assert finding.where == str(path)
    assert named in finding.says
    assert finding.remedy
    with pytest.raises(PatcherError):
        change_record(heron_lock, lambda record: record.new_season())
    assert path.read_text() == before


def test_a_change_keeps_what_another_program_wrote_meanwhile(heron_lock: Path) -> None:
    change_record(heron_lock, lambda record: record.answered({Item("gable", "ends"): RecordedAnswer("yes", NOON, "1")}))
    change_record(heron_lock, lambda record: record.added("bench", Entry("willow", NOON, "500 pixels, all white")))
    found = read_record(heron_lock)
    assert set(found.answers) == {Item("gable", "ends")}
    assert found.bench[0].what == "500 pixels, all white"
    assert read_record(heron_lock.with_name("other.toml")) == Record()


def test_a_new_season_forgets_answers_and_nothing_else() -> None:
    full = SMALL.added("replaced", Entry("gable/17", NOON, "batch 2025")).added("bench", Entry("eaves", NOON, "good"))
    fresh = full.new_season()
    assert fresh.answers == {}
    assert (fresh.notes, fresh.replaced, fresh.bench) == (full.notes, full.replaced, full.bench)


@examples(60, 300)
@given(RECORDS, RECORDS, ENTRIES)
def test_what_is_added_takes_nothing_away_and_stands_last(record: Record, newer: Record, entries: tuple) -> None:
    # Source: an answer stands in the place of the one before it, to the same item; all else stays
    after = record.answered(newer.answers)
    for item in {*record.answers, *newer.answers}:
        assert after.answers[item] == newer.answers.get(item, record.answers.get(item))
    assert after.answers.keys() == record.answers.keys() | newer.answers.keys()
    assert (after.notes, after.replaced, after.bench) == (record.notes, record.replaced, record.bench)
    for chapter in CHAPTERS:
        full = record
        for entry in entries:
            full = full.added(chapter, entry)
        assert full.answers == record.answers
        for each in CHAPTERS:
            assert full.chapter(each) == getattr(record, each) + (entries if each == chapter else ())


@pytest.mark.long
@examples(60, 300)
@given(RECORDS, st.data())
def test_how_things_stand_follows_from_the_answer_and_what_it_was_given_against(record: Record, data: st.DataObject):
    # Source: the rule, one item after another
    against = {item: data.draw(st.sampled_from([answer.against, "else"])) for item, answer in record.answers.items()}
    against[Item("never-asked", "colours")] = "else"
    wanted = {}
    for item, digest in against.items():
        answer = record.answers.get(item)
        holds = answer is not None and answer.against == digest
        wanted[item] = {"yes": "proved", "no": "failed"}.get(answer.says, "open") if holds else "open"
        assert record.changed(item, digest) == (answer is not None and not holds)
    assert states(record, against) == wanted
    counts = tally(iter(wanted.values()))
    assert counts == {state: sum(each == state for each in wanted.values()) for state in ("proved", "failed", "open")}


def test_an_answer_holds_only_against_what_it_was_given_for() -> None:
    colours, geometry = Item("gable", "colours"), Item("gate", "geometry")
    assert SMALL.state(colours, "ab12") == "failed"
    assert SMALL.state(geometry, "cd34") == "proved"
    assert SMALL.state(geometry, "ab12") == "open"
    assert SMALL.changed(geometry, "ab12")
    assert not SMALL.changed(Item("eaves", "ends"), "ab12")
    unsure = SMALL.answered({geometry: RecordedAnswer("cannot tell", NOON, "cd34")})
    assert unsure.state(geometry, "cd34") == "open"


TABLES = {
    "show": {"title": "Sluice", "placement": "follow"},
    "pixel": {
        "rope": {"colour_order": "RGB"},
        "dots": {"colour_order": "GRB"},
        "foam": {"colour_order": "GRBW"},
    },
    "controller": {
        "hut": {"address": "192.0.2.1", "ports": 4, "port": {"1": ["sill", "beam", "rail"], "2": ["wheel"]}},
        "quay": {"address": "192.0.2.2", "protocol": "artnet", "ports": 2, "reorders": False, "skips_nulls": False,
                 "port": {"1": ["buoy"]}},
        "loft": {"address": "192.0.2.3", "ports": 1, "start_per": "run", "port": {"1": ["near", "far"]}},
    },
    "run": {
        "sill": {"pixel": "rope", "shape": "line", "path": [[0.0, 0.0], [2.0, 0.0]], "pixels": 9, "lead": 1.0},
        "beam": {"pixel": "dots", "shape": "line", "path": [[0.0, 1.0], [2.0, 1.0]], "pixels": 7},
        "rail": {"pixel": "rope", "pixels": 5, "nulls": 1},
        "echo": {"pixel": "rope", "pixels": 5, "nulls": 1, "same_data_as": "rail"},
        "wheel": {"pixel": "foam", "shape": "grid", "area": [[3.0, 0.0], [4.0, 1.0]], "columns": 4, "rows": 3,
                  "lines": "rows", "turns": "serpentine", "data_in": "bottom-left"},
        "near": {"pixel": "rope", "pixels": 6},
        "far": {"pixel": "rope", "shape": "line", "path": [[8.0, 0.0], [9.0, 0.0]], "pixels": 6},
        "buoy": {"pixel": "dots", "shape": "line", "path": [[6.0, 0.0], [6.0, 2.0]], "pixels": 8, "nulls": 1},
    },
    "prop": {"hall": {"runs": ["sill", "beam"]}},
}  # fmt: skip


def put(*path: object):
    *keys, last, value = path

    def edit(tables: dict) -> None:
        for key in keys:
            tables = tables.setdefault(key, {})
        tables[last] = value

    return edit


def called(old: str, new: str):
    """A box gets another name."""

    def edit(tables: dict) -> None:
        boxes = tables["controller"]
        tables["controller"] = {new if name == old else name: box for name, box in boxes.items()}

    return edit


HARMLESS = [
    put("show", "title", "Sluice by night"),
    put("show", "level", 0.2),
    put("show", "frame_rate", 25),
    put("run", "sill", "lead", 7.0),
    put("run", "rail", "batch", "2031"),
    put("controller", "hut", "level", 0.5),
    put("controller", "hut", "at", [3.0, 0.0]),
    put("controller", "hut", "port_pixels", 500),
    put("pixel", "rope", "volts", 12.0),
    put("supply", "big", {"volts": 12.0, "amps": 9.0}),
]
EDITS = [
    *HARMLESS,
    put("run", "sill", "pixels", 11),
    put("run", "sill", "path", [[0.0, 0.0], [2.5, 0.0]]),
    put("run", "sill", "path", [[0.0, 0.0], [1.0, 0.5], [2.0, 0.0]]),
    put("run", "sill", "gaps", [4]),
    put("run", "beam", "data_in", "last"),
    put("run", "beam", "nulls", 2),
    put("run", "beam", "pixel", "rope"),
    put("run", "beam", "pixel", "foam"),
    put("run", "wheel", "turns", "same-way"),
    put("run", "wheel", "data_in", "top-right"),
    put("run", "buoy", "pixel", "rope"),
    put("run", "echo", "pixel", "dots"),
    put("pixel", "dots", "colour_order", "BRG"),
    put("controller", "hut", "address", "192.0.2.9"),
    put("controller", "hut", "protocol", "artnet"),
    put("controller", "hut", "reorders", False),
    put("controller", "quay", "reorders", True),
    put("controller", "quay", "skips_nulls", True),
    put("controller", "hut", "first_universe", 40),
    put("controller", "hut", "port", "1", ["beam", "sill", "rail"]),
    put("controller", "hut", "port", {"1": ["sill", "beam", "rail"], "3": ["wheel"]}),
    put("show", "placement", "fresh"),
    put("show", "first_universe", 3),
    put("run", "rail", "hung", False),
    put("prop", "hall", "runs", ["beam", "sill"]),
    put("run", "near", "nulls", 3),
    put("run", "near", "pixels", 4),
    put("controller", "loft", "port", "1", ["far", "near"]),
    put("controller", "loft", "delivery", "multicast"),
    called("quay", "pier"),
    called("loft", "attic"),
]


def evidence(wiring, patch) -> dict[Item, object]:
    """What a proof rests on, by a second road: the channels that each pixel takes as the simulated boxes send them,
    what stands on the wire before it pixel by pixel, and where its pixels are.
    """
    show, takes = wiring.show, planned(wiring, patch).takes

    def before(run: str) -> list[tuple[str, int]]:
        box, port = wiring.ports[run]
        source = wiring.source(run)
        found: list[tuple[str, int]] = []
        for name in show.controllers[box].port[port]:
            table, letters = show.runs[name], show.type_of(show.runs[name]).colour_order
            if table.hung:
                kind = "skipped null" if show.controllers[box].skips_nulls else "null"
                found += [(kind, len(letters))] * table.nulls
                if name == source:
                    break
                found += [("lamp", len(letters))] * table.pixels
        return found

    def data(run: str) -> tuple:
        box, port = wiring.ports[run]
        c = show.controllers[box]
        address = c.address if c.delivery == "unicast" else "each universe's group"
        return box, port, c.protocol, address, before(run), np.sort(takes[run], axis=1).tolist()

    def places(run: str) -> list | None:
        found = positions(show, show.runs[run])
        return None if found is None else (found * 1000).round().tolist()

    def colours(run: str) -> tuple:
        order = show.type_of(show.runs[run]).colour_order
        return order, sorted((letter, takes[run][:, at].tolist()) for at, letter in enumerate(order))

    found: dict[Item, object] = {}
    for item in items(wiring):
        name = item.thing
        match item.what:
            case "identity":
                box, _, port = name.partition("/")
                runs = [run for run in show.controllers[box].port[int(port)] if show.runs[run].hung]
                found[item] = [(run, data(run)) for run in runs]
            case "colours":
                found[item] = data(name), colours(name)
            case "ends":
                found[item] = data(name), (places(name) or [None])[0], (places(name) or [None])[-1]
            case "direction":
                found[item] = data(name), places(name)
            case "geometry":
                found[item] = sorted((run, data(run), places(run)) for run in show.prop_runs()[name])
    return found


def laid(tables: dict, kept=None):
    wiring = wired(tables)
    return wiring, allocate(wiring, kept).patch


@examples(20, 60)
@given(st.lists(st.sampled_from(range(len(EDITS))), min_size=1, max_size=3, unique=True), st.booleans())
def test_an_edit_unproves_what_depends_on_it_and_nothing_else(numbers: list[int], keep: bool) -> None:
    try:
        unproved_by(*(EDITS[number] for number in numbers), keep=keep)
    except (AssertionError, PatcherError):
        assume(False)  # these edits do not go together


@pytest.mark.parametrize("edit", EDITS)
def test_each_edit_unproves_what_depends_on_it_and_nothing_else(edit) -> None:
    changed = unproved_by(edit)
    unproved_by(edit, keep=False)
    assert edit not in HARMLESS or changed == set()


def unproved_by(*edits, keep: bool = True) -> set[str]:
    """What differs after some edits by its digest, and by the evidence; and nowhere else."""
    # Source: the evidence, which is gathered from the simulated boxes and not from the patch
    wiring, patch = laid(TABLES)
    tables = copy.deepcopy(TABLES)
    for edit in edits:
        edit(tables)
    wiring_after, patch_after = laid(tables, patch if keep else None)
    before, after = (digests(w, p, items(w)) for w, p in ((wiring, patch), (wiring_after, patch_after)))
    rests, rests_after = evidence(wiring, patch), evidence(wiring_after, patch_after)
    if before.keys() != rests.keys() or any(
        (before[item] == after[item]) != (rests[item] == rests_after[item]) for item in before.keys() & after.keys()
    ):
        pytest.fail("a digest differs from its evidence")
    return {f"{item.thing} {item.what}" for item in before if before[item] != after.get(item)}


def test_known_edits_unprove_known_things() -> None:
    # Source: worked by hand from the small show above
    assert unproved_by(put("run", "wheel", "turns", "same-way")) == {"wheel direction", "wheel geometry"}
    assert unproved_by(put("run", "sill", "path", [[0.0, 0.0], [1.0, 0.5], [2.0, 0.0]])) == {
        "sill direction",
        "hall geometry",
    }
    assert unproved_by(put("controller", "quay", "reorders", True)) == {"buoy colours"}
    assert unproved_by(put("controller", "hut", "port", "1", ["beam", "sill", "rail"])) == {
        "hut/1 identity", "hall geometry", *(f"{run} {what}" for run in ("sill", "beam") for what in OF_RUN),
    }  # fmt: skip
    assert unproved_by(put("controller", "quay", "address", "192.0.2.77")) == {
        "quay/1 identity", "buoy colours", "buoy ends", "buoy direction", "buoy geometry",
    }  # fmt: skip


def test_the_shipped_show_has_something_to_prove_of_everything_that_hangs() -> None:
    tables = tomllib.loads((SHOWS / "heron-lock.toml").read_text())
    del tables["run"]["willow"]["file"]
    tables["run"]["willow"]["at"] = [[float(x), 0.0] for x in range(500)]
    wiring = wired(tables)
    things = {item.thing for item in items(wiring)}
    ports = {f"{box}/{port}" for box, port in wiring.chains}
    assert things == ports | set(tables["run"]) | set(tables["prop"])


def test_a_person_reads_right_port_and_layout_and_the_file_keeps_its_keys() -> None:
    # The project's own rule: a person reads plain words; a key of a file stays as it is
    now = datetime(2026, 11, 29, 18, 0, tzinfo=UTC)
    wanted = {Item("box/1", "identity"): "a", Item("gate", "geometry"): "b", Item("eaves", "ends"): "c"}
    record = Record({item: RecordedAnswer("no", now, digest) for item, digest in wanted.items() if digest != "c"})
    said = [*failed(record, wanted), *still_open(record, wanted, {})]
    assert said == ["box/1 (right port), cause not known", "gate (layout), cause not known", "eaves (ends)"]
    assert "identity" in dump(record)
    assert set(WHAT_WORDS) == set(WHATS)


def test_what_failed_is_open_until_its_fault_is_fixed_and_is_not_said_to_be_the_fault() -> None:
    # Source: found in use: "shed/1 (right port): arch is fed from its other end", where the port was right
    now, item = datetime(2026, 11, 29, 18, 0, tzinfo=UTC), Item("box/1", "identity")
    record = Record({item: RecordedAnswer("no", now, "a", ("reversed:gable", "cut:gable/3"))})
    assert failed(record, {item: "a"}) == [
        "box/1 (right port), until this is fixed: gable is fed from its other end (reversed:gable); "
        "looks the same as: no data from pixel gable/3 on (cut:gable/3)"
    ]
