"""`film --demo`: faults put into the yard, filmed and read; nothing is kept."""

from pathlib import Path

import pytest

from patcher.cli import yard_film
from patcher.film import read as reader
from patcher.reports import yard_film_report
from rig.film_readings import reading
from rig.film_verdicts import faults_of, perfect
from rig.heron_lock import HERON_LOCK, heron


@pytest.mark.parametrize(("put_in", "named", "good"), [
    (["reversed:eaves"], ["reversed:eaves"], True),
    ([], [], True),
    (["reversed:eaves", "cut:gable/40"], ["reversed:eaves"], False),
    (["reversed:eaves"], ["reversed:eaves", "cut:gable/40"], False),
    (["data-in:gate-left=top-left"], ["data-in:gate-left=top-left"], True),
])  # fmt: skip
def test_the_reading_is_held_against_what_was_put_in(put_in: list[str], named: list[str], good: bool) -> None:
    _, _, plan, _ = heron()
    faults = faults_of(plan, *put_in)
    # whatever is named is seen, too: else the reading withdraws it
    verdict = perfect(plan, faults=faults_of(plan, *{*put_in, *named}), named=faults_of(plan, *named))
    told = yard_film_report.held_against(reading(HERON_LOCK, plan, verdict), faults)
    assert (told.good, told.false) == (good, 0)
    assert len(told.named) + len(told.missed) == len(put_in)
    assert "no proof" in yard_film_report.ends(told, plan.wiring)[-1]


def test_false_proofs_are_counted_and_said() -> None:
    _, _, plan, _ = heron()
    told = yard_film_report.held_against(reading(HERON_LOCK, plan, perfect(plan)), faults_of(plan, "reversed:eaves"))
    run = plan.takes["eaves"]
    assert told.false == sum((run != run[::-1]).any(axis=1))
    assert not told.good
    assert any("Falsely proved" in line for line in yard_film_report.ends(told, plan.wiring))


def test_a_clip_that_says_nothing_is_not_good(heron_lock: Path) -> None:
    _, _, plan, _ = heron()
    assert not yard_film_report.held_against(reading(HERON_LOCK, plan, None), ()).good


def test_it_keeps_nothing_and_says_what_it_is_worth(heron_lock: Path, here, monkeypatch) -> None:
    """The clip is read by a perfect reader; a small one is filmed all the same."""
    clips: list[Path] = []

    def read_clip(facts, plan, code, tell):
        clips.append(facts.path)
        assert facts.path.exists()
        return reader.Reading(facts, 234, True, "", perfect(plan, faults=faults_of(plan, "reversed:towpath")), None)

    monkeypatch.setattr(reader, "read_clip", read_clip)
    monkeypatch.setattr(yard_film, "WIDTH", 64)
    monkeypatch.setattr(yard_film, "HEIGHT", 36)
    monkeypatch.setattr(yard_film, "MORE", -17.0)
    there = {path.name: path.read_bytes() for path in heron_lock.parent.iterdir()}
    ran = here("film", heron_lock, "--demo", "--fault", "reversed:towpath", "--on", "mooring/1")
    assert ran.returncode == 0, ran.stdout + ran.stderr
    for words in ("Its faults: reversed:towpath", "It names all that was put in (1)", "Nothing of this is kept",
                  "no proof of a phone"):  # fmt: skip
        assert words in ran.stdout
    assert "Saved in the record" not in ran.stdout
    assert {path.name: path.read_bytes() for path in heron_lock.parent.iterdir()} == there
    assert len(clips) == 1
    assert not clips[0].exists()


@pytest.mark.parametrize("options", [
    ["--demo", "--yard"], ["--demo", "--seconds", "3"], ["--demo", "--to", "127.0.0.1"], ["--demo", "--write"],
    ["--demo", "--read", "clip.mp4"], ["--fault", "reversed:eaves"], ["--demo", "--picture", "out.jpg"],
    ["--demo", "--fault", "reversed:none"], ["--demo", "--on", "hedge"],
])  # fmt: skip
def test_what_makes_no_sense_is_refused(heron_lock: Path, here, options: list[str]) -> None:
    ran = here("film", heron_lock, *options)
    assert ran.returncode == 2
    assert "error" in ran.stderr
