"""Progress: what is proved, failed and open, box by box, in words."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from datetime import datetime

from patcher.diagnosis.place_words import listed
from patcher.faults import code_in_words
from patcher.walk.items import WHAT_WORDS, Item
from patcher.walk.record import Record, State, states, tally
from patcher.wiring import Wiring


def box_of(item: Item, wiring: Wiring) -> str:
    """The box at which an item is proved: of a prop, that of its first run."""
    if item.what == "identity":
        return item.thing.rpartition("/")[0]
    run = wiring.show.prop_runs()[item.thing][0] if item.what == "geometry" else item.thing
    return wiring.ports[run][0]


def by_box(wanted: Iterable[Item], wiring: Wiring) -> dict[str, list[Item]]:
    """Items by the box at which they are proved."""
    found: dict[str, list[Item]] = {}
    for item in wanted:
        found.setdefault(box_of(item, wiring), []).append(item)
    return found


def tallies(record: Record, wanted: Mapping[Item, str], wiring: Wiring) -> dict[str, dict[State, int]]:
    """How many items of each box are proved, failed and open."""
    found = states(record, wanted)
    return {box: tally(found[item] for item in own) for box, own in by_box(wanted, wiring).items()}


ONE_OF = "one of "


def one_of(things: Sequence[str]) -> str:
    """Of some things one is wrong, and nobody said which."""
    return f"{ONE_OF if len(things) > 1 else ''}{listed(things)}"


def failed(record: Record, wanted: Mapping[Item, str], wiring: Wiring | None = None) -> list[str]:
    """What failed, thing by thing, and what must be fixed first as far as that is known: the fault may be of another
    kind than what could not be proved, as of a string that is turned round in the right port.
    """
    found: dict[tuple[str, str], list[str]] = {}
    for item, state in states(record, wanted).items():
        if state == "failed":
            codes = record.answers[item].found
            if codes[:1] and codes[0].startswith(ONE_OF):
                whats = found.setdefault((codes[0], ", cause not known"), [])
                whats += [WHAT_WORDS[item.what]] * (WHAT_WORDS[item.what] not in whats)
                continue
            faults = [code_in_words(code, wiring) for code in codes]
            alike = f"; looks the same as: {'; '.join(faults[1:4])}" if faults[1:] else ""
            why = f", until this is fixed: {faults[0]}{alike}" if faults else ", cause not known"
            found.setdefault((item.thing, why), []).append(WHAT_WORDS[item.what])
    return [f"{thing} ({', '.join(whats)}){why}" for (thing, why), whats in found.items()]


def by_film(record: Record, wanted: Mapping[Item, str]) -> list[str]:
    """What films proved and no person: when each was read, its clips, and what of which things."""
    found: dict[tuple[datetime, tuple[str, ...]], dict[str, list[str]]] = {}
    for item, state in states(record, wanted).items():
        answer = record.answers.get(item)
        if state == "proved" and answer is not None and answer.film:
            found.setdefault((answer.when, answer.film), {}).setdefault(item.thing, []).append(WHAT_WORDS[item.what])
    lines = []
    for (when, clips), whats in sorted(found.items()):
        same: dict[str, list[str]] = {}
        for thing, own in whats.items():
            same.setdefault(", ".join(own), []).append(thing)
        proves = "; ".join(f"{own} of {', '.join(things)}" for own, things in same.items())
        lines.append(f"{when:%Y-%m-%d %H:%M}, clip{'s' * (len(clips) > 1)} {', '.join(clips)}: {proves}")
    return lines


OLDER = "checked by an older version, which did not show every pixel in every colour"


def by_older_round(record: Record, older: Mapping[Item, str]) -> set[Item]:
    """The items whose last answer was given to an older version, which meant less by it."""
    answers = record.answers
    return {item for item, digest in older.items() if item in answers and answers[item].against == digest}


def still_open(record: Record, wanted: Mapping[Item, str], older: Mapping[Item, str]) -> list[str]:
    """What is open, thing by thing, and whether that is because it was changed, or checked by an older version only."""
    before = by_older_round(record, older)
    found: dict[str, list[str]] = {}
    for item, state in states(record, wanted).items():
        if state == "open":
            changed = ", changed since" if record.changed(item, wanted[item]) else ""
            changed = f", {OLDER}" if item in before else changed
            found.setdefault(item.thing, []).append(WHAT_WORDS[item.what] + changed)
    return [f"{thing} ({', '.join(whats)})" for thing, whats in found.items()]
