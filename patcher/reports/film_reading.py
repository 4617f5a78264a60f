"""What `film --read` prints: how much of a show is proved, what is wrong with it, and what could not be read."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from contextlib import suppress
from itertools import groupby
from pathlib import Path
from typing import Any

import numpy as np

from patcher.dialogue.remedy_words import say_remedies
from patcher.errors import PatcherError, first_few
from patcher.faults import DARK, RANDOM, Fault, Planned, Takes, departure, in_words
from patcher.film.proofs import Reading
from patcher.film.verdict import PixelVerdict, Verdict, Word
from patcher.remedies.rewrite import Rewritten, rewritten
from patcher.shapes import positions
from patcher.sheets.figures import count, spaced
from patcher.show.show_file import read_text
from patcher.visible import argument

MOST_STRETCHES = 6
"""So many stretches of pixels are named for each word."""
FEW = 3
"""So few pixels that are not proved are said to keep a run's checks open."""
MOST_ALIKE = 4
"""So many faults that look the same are named beside one."""
LEFT: dict[Word, str] = {
    "other": "On another address than planned",
    "colour": "In another colour than planned, or without one",
    "dark-or-hidden": "Dark, or hidden from the camera",
    "faint": "Too faint to be read",
    "unproved": "Perhaps lit as planned, but not proved",
    "unseen": "Out of the picture",
}
"""What is said of pixels that are not proved, worst first."""
TO_DO: dict[Word, str] = {
    "dark-or-hidden": "film them from another place: what is dark from there, too, is dark",
    "faint": "film them from nearer, or raise the phone's exposure",
    "unproved": "film them from nearer, with the phone propped up",
    "unseen": "film them in a clip of their own, and read all clips together",
}
NOT_DRAWN = "no clip proves them before their places are known: check them in the walk-through"

Say = Callable[[str], None]


def stretches(pixels: Iterable[PixelVerdict]) -> list[str]:
    """Pixels in the order of their runs, as `RUN/FIRST-LAST`."""
    found = []
    for (run, _), group in groupby(enumerate(pixels), lambda each: (each[1].run, each[1].pixel - each[0])):
        numbers = [pixel.pixel for _, pixel in group]
        found.append(f"{run}/{numbers[0]}" + (f"-{numbers[-1]}" if numbers[1:] else ""))
    return found


def say(reading: Reading, say: Say) -> Rewritten | None:
    """Print it for people.

    Returns:
        The show file changed so that it describes what was found, as far as it can; None where it cannot.
    """
    for clip in reading.clips:
        facts = clip.facts
        say(f"{clip.file.name}: {facts.seconds:.0f} s, {facts.width} × {facts.height}: {clip.says}.")
    verdict = reading.joined.verdict
    say(f"Proved by film: {spaced(verdict.proved)} of {count(len(verdict.pixels), 'pixel')}.")
    change = _say_faults(reading, verdict.faults, say)
    _say_strange(reading, say)
    _say_contradictions(reading, say)
    _say_left(reading, say)
    _say_record(reading, say)
    return change


def _say_left(reading: Reading, say: Say) -> None:
    """Say what is not proved, and what to do about it."""
    for begins, those, todo in _left(reading):
        if those:
            where = first_few(stretches(those), MOST_STRETCHES)
            say(f"{begins}: {count(len(those), 'pixel')}: {where}{f'; {todo}' if todo else ''}.")


def _left(reading: Reading) -> Iterator[tuple[str, list[PixelVerdict], str]]:
    """The pixels that are not proved, by what is said of them, with what to do."""
    show, verdict = reading.plan.wiring.show, reading.joined.verdict
    dark, left = _dark_by(reading.plan, verdict), [pixel for pixel in verdict.pixels if pixel.word in LEFT]
    rest = [pixel for pixel in left if pixel not in dark]
    drawn = {name for name, run in show.runs.items() if positions(show, run) is not None}
    wrong = _takes(reading.plan, verdict)
    yield "Dark by what is named above", [pixel for pixel in left if pixel in dark], ""
    unsure = [pixel for pixel in rest if pixel.word == "unproved" and _differs(reading.plan, wrong, pixel)]
    yield "Not read for sure, where a fault is named above", unsure, "fix that, then film them again"
    rest = [pixel for pixel in rest if pixel not in unsure]
    for word, begins in LEFT.items():
        yield begins, [one for one in rest if one.word == word and one.run in drawn], TO_DO.get(word, "")
    yield "Not drawn in the show file", [pixel for pixel in rest if pixel.run not in drawn], NOT_DRAWN


def _dark_by(plan: Planned, verdict: Verdict) -> frozenset[PixelVerdict]:
    """The pixels that are dark by the faults that are named, or take channels that nothing plays; none where those make
    no sense together.
    """
    takes = _takes(plan, verdict)
    every = np.concatenate([[RANDOM], *(own.ravel() for own in plan.takes.values())])
    played = every[every != DARK]
    return frozenset(
        pixel for pixel in verdict.pixels
        if pixel.run in takes
        and not np.isin(takes[pixel.run][pixel.pixel - 1], played).any()
        and (plan.takes[pixel.run][pixel.pixel - 1] != DARK).any()
    )  # fmt: skip


def _takes(plan: Planned, verdict: Verdict) -> Mapping[str, Takes]:
    """What runs take that the faults that are named change; nothing where those make no sense together."""
    with suppress(PatcherError):
        return departure(plan, verdict.faults).takes
    return {}


def _differs(plan: Planned, takes: Mapping[str, Takes], pixel: PixelVerdict) -> bool:
    """Whether a pixel takes other data than planned."""
    run, at = pixel.run, pixel.pixel - 1
    return run in takes and bool((takes[run][at] != plan.takes[run][at]).any())


def _say_faults(reading: Reading, faults: Sequence[Fault], say: Say) -> Rewritten | None:
    for number, fault in enumerate(faults, start=1):
        says = in_words([fault], reading.plan.wiring)
        say(f"Fault {number}: {says}" if faults[1:] else f"Found: {says}")
        if others := reading.same_look.get(fault):
            alike = [in_words([other], reading.plan.wiring) for other in others]
            say(f"  Or, for it looks the same on film: {first_few(alike, MOST_ALIKE)}.")
    if not faults:
        return None
    described = in_file(reading.path, reading.plan, faults)
    whole = tuple(faults)
    same = [whole] if described in (whole, ()) else [whole, described]
    change, _ = say_remedies(
        reading.path, reading.plan, same, say, others=reading.same_look, practice=reading.practice
    )  # fmt: skip
    return change


def in_file(path: Path, plan: Planned, faults: Sequence[Fault]) -> tuple[Fault, ...]:
    """As many of some faults as the show file can describe together, taken in their order."""
    text, found = read_text(path), tuple(faults)
    if _says(text, plan, found):
        return found
    found = ()
    for fault in faults:
        if _says(text, plan, (*found, fault)):
            found = (*found, fault)
    return found


def _says(text: str, plan: Planned, faults: Sequence[Fault]) -> bool:
    try:
        rewritten(text, plan, faults)
    except PatcherError:
        return False
    return True


def _say_strange(reading: Reading, say: Say) -> None:
    runs = [run for run in reading.plan.wiring.show.runs if run in reading.joined.verdict.strange]
    if runs:
        each = f"patcher diagnose {argument(reading.path)} {runs[0]}{' --yard' if reading.practice else ''}"
        say(
            f"What lights on {first_few(runs, MOST_STRETCHES)} goes neither with the plan nor with faults that are "
            f"thought of: {each} asks what it is. Then film it again."
        )


def _say_contradictions(reading: Reading, say: Say) -> None:
    joined = reading.joined
    if joined.contradicted:
        say(
            f"Two clips contradict each other about {first_few(joined.contradicted, MOST_STRETCHES)}: nothing of it is "
            "proved, and nothing is said to be wrong. Film it alone, from nearer."
        )
    if joined.withdrawn:
        says = in_words(joined.withdrawn, reading.plan.wiring)
        say(f"One clip says so, another one shows that it is not so: {says}.")


def _say_record(reading: Reading, say: Say) -> None:
    path = argument(reading.path)
    yard = " --yard" if reading.practice else ""
    if reading.recorded:
        kept = " of practice" if reading.practice else ""
        say(f"Saved in the record{kept}: {count(len(reading.recorded), 'check')} proved by film.")
    if few := _few_left(reading):
        say(f"A run's checks stay open until each of its pixels is proved; few are left of {few}.")
    if reading.left:
        say(f"Still to check: {reading.left}; patcher verify {path}{yard} asks only for those.")
    elif reading.recorded:
        say("Nothing is left to check.")


def _few_left(reading: Reading) -> str:
    """The runs without a named fault of which only a few pixels are not proved, each with how many."""
    pixels, wrong = reading.joined.verdict.pixels, _takes(reading.plan, reading.joined.verdict)
    left = Counter(pixel.run for pixel in pixels if pixel.word != "proved" and pixel.run not in wrong)
    every = Counter(pixel.run for pixel in pixels)
    few = [f"{run} ({number})" for run, number in left.items() if number <= FEW and number < every[run] / 2]
    return first_few(few, MOST_STRETCHES) if few else ""


def document(reading: Reading) -> dict[str, Any]:
    """It for scripts."""
    verdict = reading.joined.verdict
    laid = [number for number, clip in enumerate(reading.clips) if clip.verdict is not None] or [0]
    return {
        "show": str(reading.path), "practice": reading.practice,
        "clips": [
            {
                "file": str(clip.file), "seconds": round(clip.facts.seconds, 3),
                "frames": clip.frames, "good": clip.good, "says": clip.says,
                "digest": clip.digest,
            }
            for clip in reading.clips
        ],
        "pixels": [
            _pixel_json(pixel, laid[clip]) for pixel, clip in zip(verdict.pixels, reading.joined.clip, strict=True)
        ],
        "found": [str(fault) for fault in verdict.faults],
        "same_look": {str(fault): list(map(str, others)) for fault, others in reading.same_look.items()},
        "strange": [run for run in reading.plan.wiring.show.runs if run in verdict.strange],
        "contradicted": list(reading.joined.contradicted),
        "withdrawn": [str(fault) for fault in reading.joined.withdrawn],
        "recorded": [{"thing": item.thing, "what": item.what} for item in reading.recorded],
        "proved": verdict.proved, "of": len(verdict.pixels),
    }  # fmt: skip


def _pixel_json(pixel: PixelVerdict, clip: int) -> dict[str, Any]:
    lit_by = None if pixel.lit_by is None else {"universe": pixel.lit_by[0], "channel": pixel.lit_by[1]}
    return {
        "run": pixel.run, "pixel": pixel.pixel, "verdict": pixel.word, "lit_by": lit_by,
        "at": None if pixel.at is None else list(pixel.at), "clip": clip,
    }  # fmt: skip
