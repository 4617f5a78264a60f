"""Clips read one by one: what each says of a show, and what to do about one that is not good enough."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path

from patcher.clip import video
from patcher.clip.video import Facts
from patcher.faults import Planned
from patcher.film.measured import Sight
from patcher.film.verdict import Verdict
from patcher.frames.film_code import Code

PART_FAINT, PART_UNPROVED = 0.1, 0.3
"""Of the pixels in the picture: where so many are too faint, or lit but not proved, the clip is to be made again."""


@dataclass(frozen=True, eq=False)
class ClipReading:
    """A clip, and what it says.

    Attributes:
        file: the clip.
        digest: by which the record knows it again.
        facts: what it is.
        frames: how many of its frames were looked at.
        verdict: what it says; None where it could not be laid on the show's plan.
        says: whether it is good enough, and what to do if it is not.
        sights: where it shows the runs that are not drawn.
    """

    file: Path
    digest: str
    facts: Facts
    frames: int
    verdict: Verdict | None
    says: str
    sights: Mapping[str, Sight] = field(default_factory=dict)

    @property
    def good(self) -> bool:
        """Whether there is nothing to do about it."""
        return self.says == GOOD


GOOD = "good"
FILM_AGAIN = "film again while patcher film plays, in the dark, with the phone propped up and all of it in the picture"


def read_clips(
    paths: Iterable[Path], plan: Planned, code: Code, tell: Callable[[Path, float], None] = lambda file, part: None
) -> list[ClipReading]:
    """Read some clips.

    Args:
        paths: the clips.
        plan: the show.
        code: what it played.
        tell: is told how far each is read.

    Raises:
        PatcherError: one of them cannot be read as a video.
    """
    from patcher.film.read import read_clip

    every = [(path, video.facts(path)) for path in paths]
    found = []
    for path, facts in every:
        reading = read_clip(facts, plan, code, lambda part, path=path: tell(path, part))  # type: ignore[misc]
        tell(path, 1.0)
        verdict = reading.verdict and _of_lit(reading.verdict, plan, code)
        says = list(filter(None, (reading.says, to_do(verdict) if verdict else "")))
        words = "; ".join(says) or GOOD
        found.append(ClipReading(path, video.digest(path), facts, reading.frames, verdict, words, reading.sights))
    return found


def _of_lit(verdict: Verdict, plan: Planned, code: Code) -> Verdict:
    """A verdict of the runs that played."""
    played = {}
    for run, takes in plan.takes.items():
        pixel = code.word_of(takes)
        played[run] = bool((code.lit[pixel] & (pixel >= 0)).any())
    return replace(verdict, pixels=tuple(pixel for pixel in verdict.pixels if played[pixel.run]))


def to_do(verdict: Verdict) -> str:
    """What to do about a clip of which much could not be read; empty where there is nothing to do."""
    words = [pixel.word for pixel in verdict.pixels if pixel.word != "unseen"]
    if not words:
        return f"no pixel is in the picture; {FILM_AGAIN}"
    if words.count("faint") > PART_FAINT * len(words):
        return "too dark: many pixels are too faint to be read; raise the phone's exposure, or film from nearer"
    if words.count("unproved") > PART_UNPROVED * len(words):
        return "not sharp enough: many pixels are lit but not told apart; prop the phone up, and film from nearer"
    return ""
