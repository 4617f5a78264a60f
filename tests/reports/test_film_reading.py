"""What `film --read` says, to people and to scripts."""

import json
import random
from dataclasses import replace

import jsonschema
import pytest

from patcher.faults import departure, parse
from patcher.film.joined import Joined
from patcher.film.verdict import PixelVerdict
from patcher.reports.film_reading import document, in_file, say, stretches
from patcher.visible import as_json
from rig.film_readings import reading
from rig.film_verdicts import faults_of, perfect
from rig.heron_lock import HERON_LOCK, heron

WIRING, PATCH, PLAN, _ = heron()
WORDS = ["proved", "other", "colour", "dark-or-hidden", "unseen", "faint", "unproved"]
# Source: the form that whoever judges the readings relies on
ADDRESS = {
    "type": ["object", "null"], "required": ["universe", "channel"],
    "properties": {"universe": {"type": "integer", "minimum": 1},
                   "channel": {"type": "integer", "minimum": 1, "maximum": 512}},
}  # fmt: skip
SCHEMA = {
    "type": "object", "required": ["clips", "pixels", "found", "proved", "of"],
    "properties": {
        "clips": {"type": "array", "items": {
            "type": "object", "required": ["file", "seconds", "frames", "good", "says"],
            "properties": {"file": {"type": "string"}, "seconds": {"type": "number"}, "frames": {"type": "integer"},
                           "good": {"type": "boolean"}, "says": {"type": "string"}},
        }},
        "pixels": {"type": "array", "items": {
            "type": "object", "required": ["run", "pixel", "verdict", "lit_by", "at"],
            "properties": {
                "run": {"type": "string"}, "pixel": {"type": "integer", "minimum": 1}, "verdict": {"enum": WORDS},
                "lit_by": ADDRESS,
                "at": {"type": ["array", "null"], "items": {"type": "number"}, "minItems": 2, "maxItems": 2},
            },
        }},
        "found": {"type": "array", "items": {"type": "string"}},
        "proved": {"type": "integer"}, "of": {"type": "integer"},
    },
}  # fmt: skip


def said(*verdicts, **more) -> str:
    lines: list[str] = []
    say(reading(HERON_LOCK, PLAN, *verdicts, **more), lines.append)
    return "\n".join(lines)


def mixed(seed: int = 1):
    draw, sound = random.Random(seed), perfect(PLAN)
    return replace(sound, pixels=tuple(
        replace(one, word=draw.choice(["proved", "colour", "faint", "unproved", "dark-or-hidden"]))
        if draw.random() < 0.02 else one for one in sound.pixels
    ))  # fmt: skip


@pytest.mark.parametrize("codes", [[], ["reversed:eaves", "swapped-ports:mooring/1,mooring/2"]])
def test_the_document_has_the_form_that_is_agreed(codes: list[str]) -> None:
    faults = faults_of(PLAN, *codes)
    found = json.loads(as_json(document(reading(HERON_LOCK, PLAN, perfect(PLAN, faults), None))))
    jsonschema.validate(found, SCHEMA)
    assert found["found"] == codes
    assert found["of"] == sum(run.pixels for run in WIRING.show.runs.values() if run.hung) == len(found["pixels"])
    assert found["proved"] == sum(pixel["verdict"] == "proved" for pixel in found["pixels"])
    assert [clip["good"] for clip in found["clips"]] == [True, False]
    assert [parse(code, WIRING) for code in found["found"]] == list(faults)


def test_each_pixel_says_which_clip_its_place_is_in() -> None:
    # Source: clip 0 could not be laid on the plan; clip 1 has the gable, clip 2 all else
    rest = {run.name for run in WIRING.show.runs.values()} - {"gable"}
    clips = [None, perfect(PLAN, unseen=rest), perfect(PLAN, unseen=["gable"])]
    for pixel in document(reading(HERON_LOCK, PLAN, *clips))["pixels"]:
        if pixel["at"] is not None:
            assert pixel["clip"] == (1 if pixel["run"] == "gable" else 2)


def test_every_pixel_that_is_not_proved_is_in_one_line_and_no_other_is() -> None:
    clip = mixed()
    left = [one for one in clip.pixels if one.word != "proved"]
    numbers: dict[str, list] = {}
    for one in left:
        numbers.setdefault("not drawn" if one.run == "hedge" else one.word, []).append(one)
    text = said(clip)
    proved, of = (f"{number:,}".replace(",", "\u00a0") for number in (2941 - len(left), 2941))
    assert f"Proved by film: {proved} of {of} pixels." in text
    for own in numbers.values():
        assert f": {len(own)} pixel" in text
        back = [(name.rpartition("/")[0], number) for name in stretches(own) for number in _numbers(name)]
        assert back == [(one.run, one.pixel) for one in own]
    assert len(text.splitlines()) < 12


def _numbers(stretch: str) -> range:
    first, _, last = stretch.rpartition("/")[2].partition("-")
    return range(int(first), int(last or first) + 1)


def test_stretches_end_where_a_run_does() -> None:
    pixels = [PixelVerdict(run, number, "faint", None, None) for run, number in
              [("a", 1), ("a", 2), ("b", 3), ("b", 4), ("b", 6), ("c", 7)]]  # fmt: skip
    assert stretches(pixels) == ["a/1-2", "b/3-4", "b/6", "c/7"]


def test_faults_are_said_with_what_to_do_and_what_the_file_could_say() -> None:
    text = said(perfect(PLAN, faults_of(PLAN, "reversed:eaves")))
    assert "Found: eaves is fed from its other end (reversed:eaves)" in text
    assert "To fix it: turn eaves round" in text
    assert "Switch the supply off" in text
    assert "change heron-lock.toml" in text
    assert "Found" not in said(perfect(PLAN))
    assert "Switch" not in said(perfect(PLAN))


def test_of_many_faults_each_remedy_says_what_it_is_for() -> None:
    codes = ["reversed:eaves", "cut:gable/40", "swapped-ports:mooring/1,mooring/2"]
    text = said(perfect(PLAN, faults_of(PLAN, *codes)))
    assert all(f"To fix {code}: " in text and f"({code})" in text for code in codes)
    assert "To fix it" not in text


def test_of_many_faults_the_file_takes_as_many_as_it_can_describe() -> None:
    both = faults_of(PLAN, "reversed:eaves", "cut:gable/40")
    assert in_file(HERON_LOCK, PLAN, both) == both[:1]
    assert in_file(HERON_LOCK, PLAN, both[:1]) == both[:1]
    assert in_file(HERON_LOCK, PLAN, both[1:]) == ()


def test_a_dark_pixel_is_never_called_dark_alone() -> None:
    text = said(perfect(PLAN, hidden=[("gable", 20), ("gable", 21)]))
    assert "Dark, or hidden from the camera: 2 pixels: gable/20-21; film them from another place" in text
    assert "gable/20 is dark" not in text


def test_what_a_fault_leaves_dark_is_not_to_be_filmed_again() -> None:
    # Source: a reader who was told to film from another place what the same answer had called cut
    clip = perfect(PLAN, faults_of(PLAN, "cut:gable/40"))
    pixels = [
        replace(one, word="unproved") if (one.run, one.pixel) in (("gable", 42), ("gable", 7)) else one
        for one in clip.pixels
    ]  # fmt: skip
    text = said(replace(clip, pixels=tuple(pixels)))
    # Source: the show file: gable has 89 pixels, and the 77 of eaves come after them on the same port
    told = text.partition("Dark by what is named above: ")[2].splitlines()[0]
    assert told.startswith("127 pixels: ")
    assert "gable/40-89" in told
    assert "eaves/1-77" in told
    assert "Perhaps lit as planned, but not proved: 1 pixel: gable/7;" in text
    assert "from another place" not in text


def test_what_takes_channels_that_nothing_plays_is_dark_by_its_fault() -> None:
    # Source: a reader whose last two pixels were pushed behind all that is sent
    end = max(PLAN.takes, key=lambda run: PLAN.takes[run].max())
    last, shifted = PLAN.takes[end].max(), faults_of(PLAN, "channel-shift:mooring/4=6")
    behind = [pixel for pixel, own in enumerate(departure(PLAN, shifted).takes[end], 1) if (own > last).all()]
    clip = perfect(PLAN, shifted)
    pixels = [
        replace(one, word="dark-or-hidden", lit_by=None) if one.run == end and one.pixel in behind else one
        for one in clip.pixels
    ]  # fmt: skip
    text = said(replace(clip, pixels=tuple(pixels)))
    assert behind
    told = text.partition("Dark by what is named above: ")[2].splitlines()[0]
    assert f"{len(behind)} pixel" in told
    assert "from another place" not in text


@pytest.mark.parametrize("more", [[], ["reversed:willow"]])
def test_a_number_in_a_box_is_read_before_a_joint_is_opened_that_looks_the_same(more: list[str]) -> None:
    # Source: a reader who was sent up the ladder for a number that was typed in; `diagnose` says it so
    cut, count, *others = faults_of(PLAN, "cut:eaves/58", "count:lockhouse/1=-20", *more)
    found = replace(reading(HERON_LOCK, PLAN, perfect(PLAN, [cut, *others])), same_look={cut: (count,)})
    lines: list[str] = []
    say(found, lines.append)
    first = next(
        number for number, line in enumerate(lines) if "First read the number of pixels of lockhouse/1" in line
    )
    assert "remake the joint" in lines[first + 1]
    found = replace(reading(HERON_LOCK, PLAN, perfect(PLAN, [count, *others])), same_look={count: (cut,)})
    lines.clear()
    say(found, lines.append)
    typed = next(number for number, line in enumerate(lines) if "type in the planned number" in line)
    assert lines[typed + 1].startswith("  If the box has it as planned: ")
    assert "remake the joint" in lines[typed + 1]


def test_what_was_not_read_where_a_fault_is_named_is_not_called_lit_as_planned() -> None:
    # Source: a reader who was told so of pixels of a panel that the same answer said is fed from another corner
    clip = perfect(PLAN, faults_of(PLAN, "reversed:eaves"))
    some = (("eaves", 7), ("willow", 1))
    pixels = [replace(one, word="unproved") if (one.run, one.pixel) in some else one for one in clip.pixels]
    text = said(replace(clip, pixels=tuple(pixels)))
    assert "Not read for sure, where a fault is named above: 1 pixel: eaves/7; fix that" in text
    assert "Perhaps lit as planned, but not proved: 1 pixel: willow/1;" in text
    assert "few are left of willow (1)." in text


@pytest.mark.parametrize("count", [1, 3, 4])
def test_a_run_that_a_few_pixels_keep_open_is_named(count: int) -> None:
    clip = perfect(PLAN, hidden=[("willow", 10 * number) for number in range(1, count + 1)])
    assert ("willow (" in said(clip)) == (count <= 3)


def test_what_is_not_drawn_is_not_to_be_filmed_again() -> None:
    clip = perfect(PLAN)
    hedge = [replace(one, word="unseen", at=None) if one.run == "hedge" else one for one in clip.pixels]
    text = said(replace(clip, pixels=tuple(hedge)))
    assert "Not drawn in the show file: " in text
    assert "hedge/1-" in text.partition("Not drawn")[2].splitlines()[0]
    assert "check them in the walk-through" in text
    assert "a clip of their own" not in text


def test_contradictions_and_withdrawn_faults_are_said() -> None:
    slipped = perfect(PLAN, faults_of(PLAN, "missing:gable/40"))
    text = said(perfect(PLAN), slipped)
    assert "Two clips contradict each other about gable" in text
    assert "(missing:gable/40)" in text
    assert "Found" not in text
    assert isinstance(reading(HERON_LOCK, PLAN, slipped).joined, Joined)


def test_a_clip_that_is_no_use_says_so() -> None:
    assert "clip-0.mp4: 31 s, 640 × 360: nothing in it." in said(None)
    assert "Proved by film: 0 of" in said(None)
    assert not reading(HERON_LOCK, PLAN, None).good
    assert reading(HERON_LOCK, PLAN, perfect(PLAN)).good


def test_what_looks_the_same_is_said_beside_its_fault_and_stands_in_the_document() -> None:
    fault, other = faults_of(PLAN, "reversed:gable", "dead:lockhouse/1")
    found = replace(reading(HERON_LOCK, PLAN, perfect(PLAN, [fault])), same_look={fault: (other,)})
    lines: list[str] = []
    say(found, lines.append)
    at = next(number for number, line in enumerate(lines) if "(reversed:gable)" in line)
    assert (
        lines[at + 1]
        == "  Or, for it looks the same on film: lockhouse/1 sends nothing to its pixels (dead:lockhouse/1)."
    )
    assert document(found)["same_look"] == {"reversed:gable": ["dead:lockhouse/1"]}
