"""What is wrong, in one form: a `Finding` names the place, the reason and the remedy.

Every room reports with the same value, so that `check` can list them all and a command that cannot go on raises them
in one `PatcherError`.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from difflib import get_close_matches
from typing import Literal

Severity = Literal["error", "warning", "note"]
Area = Literal["file", "wiring", "address", "timing", "network", "power"]


@dataclass(frozen=True, slots=True)
class Finding:
    """One thing that a person should know of their show.

    Attributes:
        severity: `error` is a hazard or a patch that cannot be; `warning` a show that looks or works worse than
            planned; `note` neither.
        rule: the short name of the rule, which `[[accept]]` uses.
        area: the part of the work that it belongs to.
        where: the place, as it is written in the show file: `run.towpath.pixels`.
        says: what is wrong.
        remedy: what to do about it.
        accepted: a warning that the person has judged and kept.
        line: the line of the show file, counted from 1, where it is known.

    """

    severity: Severity
    rule: str
    area: Area
    where: str
    says: str
    remedy: str
    accepted: bool = False
    line: int | None = None


class PatcherError(Exception):
    """The input or the call is wrong; nothing was written."""

    def __init__(self, *findings: Finding) -> None:
        super().__init__("\n".join(f"{f.where}: {f.says}" for f in findings))
        self.findings = findings


def refuse(where: str, says: str, remedy: str, *, rule: str = "call", area: Area = "file") -> PatcherError:
    """An error of one finding, ready to be raised."""
    return PatcherError(Finding("error", rule, area, where, says, remedy))


CLOSE = 0.65
"""How like two words are, of 1, where one may be meant by the other: “cut” by “kut”, and not “gable” by “panle”."""
DID_YOU_MEAN = "did you mean “{}”?"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """The known word that `word` was most likely meant to be, or None where none is close."""
    by_lower = {name.lower(): name for name in known}
    close = get_close_matches(word.lower(), by_lower, n=1, cutoff=CLOSE)
    return by_lower[close[0]] if close else None


def choose_from(word: str, known: Iterable[str], *, most: int = 8) -> str:
    """The remedy for a word that is not known: the nearest one, else those there are."""
    names = list(known)
    if hint := nearest(word, names):
        return DID_YOU_MEAN.format(hint)
    if not names:
        return "there is none to choose from yet"
    return f"choose from: {first_few(names, most)}"


def first_few(names: Sequence[str], most: int) -> str:
    """The first names, and how many more there are: never one, for its name takes no more room."""
    if len(names) <= most + 1:
        return ", ".join(names)
    return f"{', '.join(names[:most])} and {len(names) - most} more"
