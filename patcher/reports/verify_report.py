"""What `verify` prints: what is proved, failed and open, box by box, and what no step proves."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from dataclasses import dataclass, field
from functools import cached_property
from pathlib import Path
from typing import Any

from patcher.patch.patch import Patch
from patcher.patch.thing import called
from patcher.reports import batch_report
from patcher.season.batches import Failures, failures
from patcher.sheets.figures import spaced
from patcher.terminal.folds import fold
from patcher.terminal.printed import count, say_table
from patcher.trade import TEST_LEVEL
from patcher.visible import one_line, sent_from
from patcher.walk.items import WHAT_WORDS, Item, older_digests
from patcher.walk.progress import OLDER, by_box, by_film, by_older_round, failed, still_open
from patcher.walk.record import CHAPTERS, STATES, Record, State, states, tally
from patcher.walk.record_file import checks_path
from patcher.walk.step import Step
from patcher.walk.unprovable import Passed
from patcher.walk.unproved import TOO_MANY, concerns, in_words, left_open
from patcher.wiring import Wiring

CAUTION = (
    "Look from the ground where you can. On the ladder: both feet firm, one hand for the phone, no leaning. Switch the "
    "supply off at its plug before you open a box or touch a connector; keep to your local rules, and leave mains "
    "wiring to a licensed electrician."
)
PRACTICE = "Practice with simulated boxes"


@dataclass(frozen=True)
class Progress:
    """Where a show stands.

    Attributes:
        show: the show file.
        wiring: of the show.
        patch: its patch.
        record: the answers that are kept.
        wanted: the items that are asked about, each with its digest.
        shown: how many steps were shown just now; None where only a report is wanted.
        practice: whether the record is that of practice with the simulated yard.
        seasons: how many seasons are over.
    """

    show: Path
    wiring: Wiring
    patch: Patch
    record: Record
    wanted: Mapping[Item, str] = field(repr=False)
    shown: int | None = None
    practice: bool = False
    seasons: int = 0

    @property
    def failures(self) -> Failures:
        """What the replaced pixels say of each purchase."""
        return failures(self.wiring.show, self.record.replaced)

    @cached_property
    def states(self) -> dict[Item, State]:
        """Whether each item is proved, failed or open."""
        return states(self.record, self.wanted)

    @property
    def older(self) -> dict[Item, str]:
        """The digests of an older round, whose answers meant less."""
        return older_digests(self.wiring, self.patch, self.wanted)

    @property
    def boxes(self) -> dict[str, list[Item]]:
        """The items by the box at which they are proved."""
        return by_box(self.wanted, self.wiring)

    def counts(self, items: Iterable[Item]) -> dict[str, int]:
        """How many of some items are proved, failed and open."""
        return {str(state): number for state, number in tally(self.states[item] for item in items).items()}

    @property
    def proved_boxes(self) -> list[str]:
        """The boxes at which something is proved."""
        return [box for box, items in self.boxes.items() if any(self.states[item] == "proved" for item in items)]

    def unproved(self) -> list[Passed] | None:
        """Faults that may be there though all steps passed; None where those are too many to work out at once."""
        boxes = self.proved_boxes
        return left_open(self.wiring, self.patch, boxes) if boxes else []


def all_passed(progress: Progress, *, by_hand: bool = False) -> str:
    """What to say where no step is left; in practice nothing is proved, and a person may answer `by_hand`."""
    if progress.practice:
        said = f"{PRACTICE}: all of it has passed already. What is proved of your boxes does not change."
        again = "--yard --by-hand --again" if by_hand else "--yard --again"
        return f"{said} To practise it again: {again}; to reset all results of practice: --yard --new-season."
    return "All of it is proved already. To check it again: --again; to reset all results: --new-season."


def begin(steps: Collection[Step], progress: Progress, *, again: bool = False) -> str:
    """What to say before the first step: the way, the caution, and what is open again.

    Args:
        steps: that will be shown.
        progress: where the show stands.
        again: whether what has passed already is shown too.
    """
    record, wanted = progress.record, progress.wanted
    before = by_older_round(record, progress.older)
    boxes = dict.fromkeys(step.box for step in steps)
    changed = sorted({item.thing for item in wanted if record.changed(item, wanted[item]) and item not in before})
    reopened = sorted({item.thing for item in before & {*wanted}})
    way = ", from box to box" * (len(boxes) > 1)
    lines = [
        f"{count(len(steps), 'step')}{way}: {', '.join(boxes)}. Pixels light at {TEST_LEVEL * 100:.0f} %.",
        CAUTION,
    ]
    if proved := list(progress.states.values()).count("proved"):
        passed = "have passed in practice" if progress.practice else "are proved"
        more = "they are shown again" if again else "--again shows them too"
        lines.append(f"{spaced(proved)} of {count(len(wanted), 'check')} {passed} already; {more}.")
    if progress.practice:
        kept = checks_path(progress.show, practice=True).name
        said = f"{PRACTICE}: the answers go to {kept}."
        lines.insert(0, f"{said} What is proved of your boxes does not change.")
    if changed:
        lines.append(f"Changed since they were checked: {', '.join(changed)}.")
    if reopened:
        lines.append(f"Open again, since {OLDER}: the colours of {', '.join(reopened)}.")
    return "\n".join(lines)


def say(progress: Progress) -> None:
    """Print it for people."""
    rows = [[box, *progress.counts(items).values()] for box, items in progress.boxes.items()]
    whats = list(dict.fromkeys(WHAT_WORDS[item.what] for item in progress.wanted))
    practised = "In practice, with simulated boxes: " if progress.practice else ""
    checks = count(len(progress.wanted), "check")
    print(fold(f"{practised}{checks}, each of one port, run or prop: {', '.join(whats)}."))
    rows.append(["in all", *progress.counts(progress.wanted).values()])
    say_table(["box", *STATES], rows, right=" ".join(STATES))
    for line in failed(progress.record, progress.wanted, progress.wiring):
        print(f"failed: {one_line(line)}")
    if progress.shown is None:
        for line in by_film(progress.record, progress.wanted):
            print(fold(f"proved by film: {one_line(line)}"))
        for line in still_open(progress.record, progress.wanted, progress.older):
            print(fold(f"open: {one_line(line)}"))
        _say_unproved(progress)
    for chapter in CHAPTERS:
        word = chapter.removesuffix("s")
        for entry in progress.record.chapter(chapter):
            print(f"{word}, {entry.when:%Y-%m-%d %H:%M}: {one_line(f'{entry.thing}: {entry.what}')}")
    if progress.shown is None:
        batch_report.say(progress.failures, progress.seasons)


def _say_unproved(progress: Progress) -> None:
    unproved = progress.unproved()
    if unproved is None:
        box = called("controller", progress.proved_boxes[0], progress.wiring.show)
        command = f"patcher verify {sent_from(progress.show, practice=progress.practice)} {box} --report"
        print(fold(f"What no step proves {TOO_MANY}: {command}"))
    for line in in_words(unproved or ()):
        print(fold(line))


def document(progress: Progress) -> dict[str, Any]:
    """It for scripts."""
    record, unproved = progress.record, progress.unproved()
    entries = {
        str(chapter): [{"thing": e.thing, "when": e.when.isoformat(), "what": e.what} for e in record.chapter(chapter)]
        for chapter in CHAPTERS
    }
    older = by_older_round(record, progress.older)
    return {
        "show": str(progress.show), "practice": progress.practice, **progress.counts(progress.wanted),
        "looks": progress.shown,
        "boxes": [{"controller": box, **progress.counts(items)} for box, items in progress.boxes.items()],
        "items": [
            _item_json(progress, item, state, unproved or ()) | {"older_round": item in older}
            for item, state in progress.states.items()
        ],
        "unproved": None if unproved is None else _unproved_json(unproved), **entries,
        **batch_report.document(progress.failures),
    }  # fmt: skip


def _item_json(progress: Progress, item: Item, state: State, unproved: Iterable[Passed]) -> dict[str, Any]:
    """What is known of an item; `unproved` are the faults that no step shows."""
    answer = progress.record.answers.get(item)
    hidden = [each for each in unproved if each.unprovable] if state == "proved" else []
    return {
        "thing": item.thing, "what": item.what, "state": state,
        "changed": progress.record.changed(item, progress.wanted[item]),
        "when": answer.when.isoformat() if answer else None,
        "found": list(answer.found) if answer and state == "failed" else [],
        "film": list(answer.film) if answer and state == "proved" else [],
        "unprovable": [str(each.fault) for each in hidden if concerns(item, each, progress.wiring)],
    }  # fmt: skip


def _unproved_json(passed: Iterable[Passed]) -> list[dict[str, Any]]:
    """Faults that may pass every step, with their chance; of those that an eye may overlook the worst of each run."""
    worst: dict[tuple[str, ...], Passed] = {}
    for each in passed:
        key = (str(each.fault),) if each.unprovable else each.runs
        if key not in worst or worst[key].chance < each.chance:
            worst[key] = each
    return [
        {"fault": str(each.fault), "runs": list(each.runs), "chance": round(each.chance, 6)} for each in worst.values()
    ]
