"""Which items of the record a film proves."""

import json
import random
from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from patcher.film.proofs import proved_items, recorded
from patcher.patch.patch_file import dump as patch_dump
from patcher.patch.patch_file import patch_path
from patcher.walk.items import digests, drawn_runs, hung_chain, items
from patcher.walk.record import Entry, Record, RecordedAnswer
from patcher.walk.record_file import change_record, dump, parse
from rig.film_verdicts import perfect
from rig.heron_lock import heron

WIRING, PATCH, PLAN, _ = heron()
EVERY = items(WIRING)
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=UTC)


def test_an_item_is_proved_where_every_pixel_of_its_runs_is_and_only_there() -> None:
    # Source: counted pixel by pixel, item by item
    draw = random.Random(3)
    sound = perfect(PLAN)
    for _ in range(40):
        lost = draw.sample(sound.pixels, draw.choice([0, 1, 2, 5, 40]))
        word = draw.choice(["other", "colour", "dark-or-hidden", "unseen", "faint", "unproved"])
        pixels = [replace(one, word=word) if one in lost else one for one in sound.pixels]
        bad = {one.run for one in pixels if one.word != "proved"}
        found = proved_items(WIRING, pixels, EVERY)
        for item in EVERY:
            if item.what == "identity":
                box, _, port = item.thing.rpartition("/")
                runs = {*hung_chain(WIRING, (box, int(port)))}
                runs |= {tee for run in runs for tee in WIRING.tees(run) if WIRING.show.runs[tee].hung}
            else:
                runs = {*drawn_runs(WIRING, item.thing)} if item.what == "geometry" else {item.thing}
            assert (item in found) == (not runs & bad), item
    assert proved_items(WIRING, [], EVERY) == []
    assert proved_items(WIRING, sound.pixels[1:], EVERY)
    assert sound.pixels[0].run not in {item.thing for item in proved_items(WIRING, sound.pixels[1:], EVERY)}


def test_the_record_says_that_a_film_proved_it_and_keeps_all_else() -> None:
    gable, eaves = (item for item in EVERY if item.what == "ends" and item.thing in ("gable", "eaves"))
    note = Entry("gable", NOON, "a clip is cracked")
    before = Record({eaves: RecordedAnswer("no", NOON, "x", ("reversed:eaves",))}, (note,))
    after = recorded(before, {gable: "ab12"}, ["cafe", "beef"], NOON)
    assert after.answers[gable] == RecordedAnswer("yes", NOON, "ab12", (), ("cafe", "beef"))
    assert (after.answers[eaves], after.notes) == (before.answers[eaves], before.notes)
    assert after.state(gable, "ab12") == "proved"
    assert after.state(gable, "other") == "open"
    text = dump(after)
    assert parse(text) == after
    assert 'film = [\n    "cafe",\n    "beef",\n]' in text


@pytest.mark.long
def test_the_report_says_what_films_proved_and_when_and_by_which_clips(heron_lock: Path, here) -> None:
    # Source: the record itself; what a person said yes to, what failed, and what was changed since is not by film
    every = digests(WIRING, PATCH, EVERY)
    of = {(item.thing, item.what): item for item in EVERY}
    filmed = [of["gable", "colours"], of["gable", "ends"], of["gable", "direction"], of["lockhouse/1", "identity"]]
    later, said, changed, failed = (of[thing, "ends"] for thing in ("willow", "eaves", "weir", "towpath"))
    record = recorded(Record(), {item: every[item] for item in filmed}, ["cafe", "beef"], NOON)
    record = recorded(record, {later: every[later], changed: "before"}, ["f00d"], NOON + timedelta(days=1))
    record = record.answered({
        said: RecordedAnswer("yes", NOON, every[said]),
        failed: RecordedAnswer("no", NOON, every[failed], film=("f00d",)),
    })  # fmt: skip
    patch_path(heron_lock).write_text(patch_dump(PATCH))
    change_record(heron_lock, lambda _: record)
    ran = here("verify", heron_lock, "--report")
    told = " ".join(ran.stdout.split()).split("proved by film: ")[1:]
    assert told[0].startswith("2026-11-25 12:00, clips cafe, beef: ")
    assert {"colours, ends, direction of gable", "right port of lockhouse/1"} == {*told[0][36:].strip().split("; ")}
    assert told[1].startswith("2026-11-26 12:00, clip f00d: ends of willow ")
    assert len(told) == 2
    found = json.loads(here("verify", heron_lock, "--report", "--json").stdout)["items"]
    by = {(item["thing"], item["what"]): (item["state"], item["film"], item["when"]) for item in found}
    for item in filmed:
        assert by[item.thing, item.what] == ("proved", ["cafe", "beef"], NOON.isoformat())
    assert by["willow", "ends"][:2] == ("proved", ["f00d"])
    assert [by[item.thing, item.what][:2] for item in (said, changed, failed)] == [
        ("proved", []), ("open", []), ("failed", []),
    ]  # fmt: skip


def test_a_record_without_films_is_written_as_it_always_was() -> None:
    text = dump(Record({EVERY[0]: RecordedAnswer("yes", NOON, "ab12")}))
    assert "film" not in text
    assert parse(text).answers[EVERY[0]].film == ()
