"""Readings of clips that are made up: no film is read."""

from pathlib import Path

from patcher.clip.video import Facts
from patcher.film.clip_reading import GOOD, ClipReading
from patcher.film.joined import joined
from patcher.film.proofs import Reading
from patcher.film.verdict import Verdict

CLIP = Facts(Path("clip.mp4"), 31.2, 640, 360, 29.97, 0)


def reading(show: Path, plan, *verdicts: Verdict | None, says: str = GOOD) -> Reading:
    clips = tuple(
        ClipReading(Path(f"clip-{number}.mp4"), f"d{number}", CLIP, 900, verdict, says if verdict else "nothing in it")
        for number, verdict in enumerate(verdicts)
    )
    together = joined(plan, [verdict for verdict in verdicts if verdict is not None])
    return Reading(show, plan, clips, together, (), 3)
