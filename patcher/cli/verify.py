"""`verify`: a round to walk, look by look, until every port, run and prop is proved; and what is proved so far."""

from __future__ import annotations

import sys
from collections.abc import Callable, Collection, Iterable, Iterator, Mapping
from contextlib import ExitStack, contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson, ShowFile, load, load_patch
from patcher.errors import refuse
from patcher.frames.request import FASTEST_STREAM
from patcher.terminal.folds import fold
from patcher.terminal.tables import count, say_json, say_table
from patcher.trade import TEST_LEVEL
from patcher.visible import one_line

if TYPE_CHECKING:
    from patcher.dialogue.answerer import Answering
    from patcher.dialogue.walk_through import Walk
    from patcher.patch.patch import Patch
    from patcher.walk.items import Item
    from patcher.walk.record import Record, State
    from patcher.walk.step import Step
    from patcher.walk.unprovable import Passed
    from patcher.wiring import Wiring

CAUTION = (
    "Come down from the ladder to look and to type. Switch the supply off at its plug before you open a box or touch a "
    "connector; keep to your local rules, and leave mains wiring to a licensed electrician."
)


def verify(
    show: ShowFile,
    thing: Annotated[str | None, typer.Argument(metavar="[THING]", help="A box, port, run or prop; else all.")] = None,
    report: Annotated[bool, typer.Option("--report", help="Say what is proved, failed and open.")] = False,
    new_season: Annotated[bool, typer.Option("--new-season", help="Unprove all; notes stay.")] = False,
    again: Annotated[bool, typer.Option("--again", help="Look also at what is proved.")] = False,
    answers: Annotated[Path | None, typer.Option(metavar="FILE", help="Answers, one a line; nothing is sent.")] = None,
    yard: Annotated[bool, typer.Option("--yard", help="The yard's pixels answer, on this machine alone.")] = False,
    fault: Annotated[
        list[str] | None, typer.Option(metavar="KIND:WHERE=VALUE", help="With --yard: wired wrongly; repeats.")
    ] = None,
    by_hand: Annotated[
        bool, typer.Option("--by-hand", help="With --yard: you answer, and patcher yard shows the pixels.")
    ] = False,
    note: Annotated[str | None, typer.Option(metavar="TEXT", help="Keep a note of THING; nothing is sent.")] = None,
    replaced: Annotated[
        str | None, typer.Option(metavar="TEXT", help="Keep that the pixel THING was replaced, and by what.")
    ] = None,
    seed: Annotated[int, typer.Option(min=0, help="With --yard: of what the eye misses.")] = 0,
    interface: Annotated[str | None, typer.Option(help="Address of this machine to send from.")] = None,
    as_json: AsJson = False,
) -> None:
    """Walk a round of looks that prove every port, run and prop; every answer is kept at once."""
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    _fitting(yard=yard, fault=fault, by_hand=by_hand, answers=answers, interface=interface)
    wiring = load(show)
    patch = load_patch(show, wiring)
    if note is not None or replaced is not None:
        _add(show, wiring, patch, thing, note=note, replaced=replaced)
        return
    record = read_record(show)
    every = digests(wiring, patch, items(wiring))
    wanted = {item: every[item] for item in every if thing is None or item in _of_thing(thing, wiring, patch)}
    if not wanted:
        raise refuse(thing or str(show), "has nothing to prove this season", "name a box, port, run or prop that hangs")
    if new_season:
        record = _season(show, thing)
        if not (report or as_json):
            return
        report = True
    walked = 0
    if not report:
        walked = _round(
            show, wiring, patch, record, every, wanted, again=again, seed=seed, faults=fault or [],
            answers=answers, yard=yard, by_hand=by_hand, interface=interface, as_json=as_json,
        )  # fmt: skip
        record = read_record(show)
    _say_report(show, wiring, patch, record, wanted, looks=None if report else walked, as_json=as_json)


def _fitting(
    *, yard: bool, fault: list[str] | None, by_hand: bool, answers: Path | None, interface: str | None
) -> None:
    if (fault or by_hand) and not yard:
        raise refuse("--fault" if fault else "--by-hand", "is for the yard", "add --yard")
    if fault and by_hand:
        raise refuse("--fault", "is for the yard that answers by itself", "give it to patcher yard instead")
    if answers is not None and (yard or interface):
        raise refuse(
            "--answers", "sends nothing, so it does not go with --yard or --interface", "leave one of them out"
        )
    if yard and interface:
        raise refuse("--interface", "does not go with --yard, which stays on this machine", "leave one of them out")


def _season(show: Path, thing: str | None) -> Record:
    """Unprove everything; the record as it then is."""
    from patcher.walk.record_file import change_record, read_record

    if thing is not None:
        raise refuse("--new-season", "is for the whole show", "leave the thing out")
    unproved = len(read_record(show).answers)
    record = change_record(show, lambda kept: kept.new_season())
    said = f"A new season: {count(unproved, 'answer')} forgotten, {count(len(record.notes), 'note')} kept."
    print(said, file=sys.stderr)
    return record


def _add(
    show: Path, wiring: Wiring, patch: Patch, thing: str | None, *, note: str | None, replaced: str | None
) -> None:
    """Keep what a person says of a thing, at any time."""
    from patcher.patch.thing import find
    from patcher.walk.record import Entry
    from patcher.walk.record_file import change_record, local_time

    if thing is None:
        raise refuse("--note or --replaced", "is about a thing", "name it: patcher verify SHOW gable/17 --replaced …")
    kind = find(thing, wiring, patch).kind
    if replaced is not None and kind not in ("pixel", "pixels"):
        raise refuse("--replaced", f"is about a pixel, and {thing} is a {kind}", "name it by its run: gable/17")
    now = local_time()
    if note is not None:
        change_record(show, lambda kept: kept.added("notes", Entry(thing, now, note)))
    if replaced is not None:
        change_record(show, lambda kept: kept.added("replaced", Entry(thing, now, replaced)))
    print(f"Kept of {thing}.")


def _of_thing(thing: str, wiring: Wiring, patch: Patch) -> set[Item]:
    """The items of a thing: its runs', its ports' and, where it is a prop or a run that is one, its picture's."""
    from patcher.patch.thing import find
    from patcher.walk.items import items

    found = find(thing, wiring, patch)
    if found.kind in ("pixel", "pixels", "channel"):
        raise refuse(thing, "is a part of a run", "name a box, port, run or prop")
    runs = {name for part in found.parts for name in (part.run, *wiring.tees(part.run))}
    ports = {f"{box}/{port}" for box, port in (wiring.ports[run] for run in runs)}
    whole = {prop for prop, members in wiring.show.prop_runs().items() if set(members) <= runs}
    return {item for item in items(wiring) if item.thing in runs | ports | whole}


def _round(
    show: Path, wiring: Wiring, patch: Patch, record: Record, every: Mapping[Item, str], wanted: Mapping[Item, str],
    *, again: bool, seed: int, faults: list[str], answers: Path | None, yard: bool, by_hand: bool,
    interface: str | None, as_json: bool,
) -> int:  # fmt: skip
    """Walk it, and begin anew where the show file is changed on the way; how many looks were shown."""
    from patcher.answers.terminal_answers import Written
    from patcher.walk.items import digests, items
    from patcher.walk.record_file import read_record

    stream = sys.stderr if as_json else sys.stdout

    def say(line: str) -> None:
        print(fold(line, stream), file=stream, flush=True)

    written = Written.read(answers) if answers is not None else None
    looks = 0
    while True:
        with _answering(
            show, wiring, patch, written=written, yard=yard, by_hand=by_hand, faults=faults, seed=seed,
            interface=interface, say=say,
        ) as answering:  # fmt: skip
            walk = _walk(show, wiring, patch, record, every, wanted, answering, say, again=again)
            if walk is None:
                return looks
            walk.go()
        looks += walk.looks
        if not walk.written:
            say("")
            return looks
        say("\nThe show file says something else now. What is open by it:")
        wiring, things = load(show), {item.thing for item in wanted}
        patch, record = load_patch(show, wiring), read_record(show)
        every = digests(wiring, patch, items(wiring))
        wanted, again = {item: every[item] for item in every if item.thing in things}, False


def _walk(
    show: Path, wiring: Wiring, patch: Patch, record: Record, every: Mapping[Item, str], wanted: Mapping[Item, str],
    answering: Answering, say: Callable[[str], None], *, again: bool,
) -> Walk | None:  # fmt: skip
    """The round that is left to walk; None where all is proved."""
    from patcher.dialogue.walk_through import Walk, open_items
    from patcher.frames.levels import levels
    from patcher.walk.items import older_digests
    from patcher.walk.progress import by_older_round
    from patcher.walk.round_plan import plan

    steps = plan(wiring, set(wanted) if again else open_items(record, wanted))
    if not steps:
        say("All of it is proved already: --again looks once more, --new-season unproves all.")
        return None
    say(_begin(steps, record, wanted, by_older_round(record, older_digests(wiring, patch, wanted))))
    return Walk(
        show, wiring, patch, every, steps, answering,
        lambda look: levels(look, wiring, patch, patch.universes, TEST_LEVEL), say,
    )  # fmt: skip


def _begin(steps: Collection[Step], record: Record, wanted: Mapping[Item, str], before: set[Item]) -> str:
    from patcher.walk.progress import OLDER

    boxes = list(dict.fromkeys(step.box for step in steps))
    first = f"{count(len(steps), 'step')}, from box to box: {', '.join(boxes)}.\n{CAUTION}"
    changed = sorted({item.thing for item in wanted if record.changed(item, wanted[item]) and item not in before})
    first += f"\nChanged since they were looked at: {', '.join(changed)}." if changed else ""
    again = sorted({item.thing for item in before & {*wanted}})
    return first + (f"\nOpen again, since {OLDER}: the colours of {', '.join(again)}." if again else "")


@contextmanager
def _answering(
    show: Path, wiring: Wiring, patch: Patch, *, written: Answering | None, yard: bool, by_hand: bool,
    faults: list[str], seed: int, interface: str | None, say: Any,
) -> Iterator[Answering]:  # fmt: skip
    """Who answers; whatever is lit is dark at the end."""
    from patcher.answers.terminal_answers import Person
    from patcher.cli.frame_target import frame_goals
    from patcher.cli.send import need_yard
    from patcher.stream.sender import Sender
    from patcher.terminal.key_source import typed
    from patcher.terminal.signals import stopping
    from patcher.yard.yard import LOOPBACK

    if written is not None:
        yield written
        return
    table = wiring.show
    goals = frame_goals(show, wiring, patch, yard=yard)
    if by_hand:
        need_yard(goals, show)
    universes = sorted({goal.universe for goal in goals})
    with ExitStack() as stack:
        stop = stack.enter_context(stopping())
        if yard and not by_hand:
            yield stack.enter_context(_lamps(show, wiring, patch, faults, seed, stop))
            return
        keys = stack.enter_context(typed())
        sender = stack.enter_context(Sender(goals, interface=LOOPBACK if yard else interface))
        yield Person(keys, sender, universes, min(table.settings.frame_rate, FASTEST_STREAM), stop, say)
    for (host, _), reason in sender.reached.lost.items():
        print(
            f"{host} could not be reached: {reason}. Is the box on, and this machine on its network?", file=sys.stderr
        )


@contextmanager
def _lamps(
    show: Path, wiring: Wiring, patch: Patch, faults: list[str], seed: int, stopped: Callable[[], bool]
) -> Iterator[Answering]:
    import uuid

    from patcher.answers.witness import Loopback, Witness
    from patcher.faults import build, parse
    from patcher.listener.receiver import Receiver
    from patcher.stream.sender import Sender, targets
    from patcher.yard.yard import LOOPBACK, Yard, addresses, ears

    table = wiring.show
    built = build(wiring, [parse(text, wiring) for text in faults])
    simulated = Yard(wiring, patch, built, seed=seed)
    hosts = addresses(show, table)
    heard_by = ears(table, patch, hosts)
    for ear, boxes in ears(table, patch, hosts, simulated.universes).items():
        heard_by[ear] = list(dict.fromkeys([*heard_by.get(ear, []), *boxes]))
    near = {box: host for box, host in hosts.items() if table.controllers[box].delivery == "unicast"}
    goals = targets(table, patch, patch.boxes, near)
    own = f"Patcher {uuid.uuid4()}"
    with Receiver(heard_by) as receiver, Sender(goals, interface=LOOPBACK, source=own) as sender:
        steps = Loopback(simulated, sender, own, receiver, heard_by, stopped)
        yield Witness(wiring, patch, built, seed=seed, steps=steps, stopped=stopped)


def _say_report(
    show: Path, wiring: Wiring, patch: Patch, record: Record, wanted: Mapping[Item, str],
    *, looks: int | None, as_json: bool,
) -> None:  # fmt: skip
    from patcher.walk.items import older_digests
    from patcher.walk.progress import by_box, failed, still_open
    from patcher.walk.record import STATES, states, tally
    from patcher.walk.unproved import TOO_MANY, in_words, left_open

    found = states(record, wanted)
    of_box = by_box(wanted, wiring)
    in_all = tally(found.values())
    proved = [box for box, own in of_box.items() if any(found[item] == "proved" for item in own)]
    unproved = left_open(wiring, patch, proved) if proved and (as_json or looks is None) else []
    if as_json:
        say_json(_document(show, wiring, patch, record, wanted, of_box, looks, unproved))
    else:
        rows = [[box, *(tally(found[item] for item in own)[state] for state in STATES)] for box, own in of_box.items()]
        say_table(["box", *STATES], [*rows, ["in all", *in_all.values()]], right=" ".join(STATES))
        for line in failed(record, wanted):
            print(f"failed: {one_line(line)}")
        for line in still_open(record, wanted, older_digests(wiring, patch, wanted)) if looks is None else ():
            print(fold(f"open: {one_line(line)}"))
        if unproved is None:
            print(fold(f"no yes proves: that {TOO_MANY}: patcher verify {show} {proved[0]} --report"))
        for line in in_words(unproved or ()):
            print(fold(f"no yes proves: {line}"))
        for word, entries in (("note", record.notes), ("replaced", record.replaced), ("bench", record.bench)):
            for entry in entries:
                print(f"{word}, {entry.when:%Y-%m-%d %H:%M}: {one_line(f'{entry.thing}: {entry.what}')}")
    if in_all["failed"]:
        raise typer.Exit(1)


def _document(
    show: Path, wiring: Wiring, patch: Patch, record: Record, wanted: Mapping[Item, str],
    by_box: Mapping[str, list[Item]], looks: int | None, unproved: list[Passed] | None,
) -> dict[str, Any]:  # fmt: skip
    from patcher.walk.items import older_digests
    from patcher.walk.progress import by_older_round
    from patcher.walk.record import CHAPTERS, states
    from patcher.walk.unproved import concerns

    found = states(record, wanted)
    things, before = [], by_older_round(record, older_digests(wiring, patch, wanted))
    for item, state in found.items():
        answer = record.answers.get(item)
        things.append({
            "thing": item.thing, "what": item.what, "state": state,
            "changed": record.changed(item, wanted[item]), "older_round": item in before,
            "when": answer.when.isoformat() if answer else None,
            "found": list(answer.found) if answer and state == "failed" else [],
            "unprovable": [
                str(one.fault)
                for one in unproved or () if state == "proved" and one.unprovable and concerns(item, one, wiring)
            ],
        })  # fmt: skip
    entries = {
        str(chapter): [{"thing": e.thing, "when": e.when.isoformat(), "what": e.what} for e in record.chapter(chapter)]
        for chapter in CHAPTERS
    }
    return {
        "show": str(show), **_counts(found.values()), "looks": looks,
        "boxes": [{"controller": box, **_counts(found[item] for item in own)} for box, own in by_box.items()],
        "items": things, "unproved": None if unproved is None else _unproved(unproved), **entries,
    }  # fmt: skip


def _unproved(found: Iterable[Passed]) -> list[dict[str, Any]]:
    """Faults that pass the round, with their chance; of those that an eye may overlook the worst of each run."""
    worst: dict[tuple[str, ...], Passed] = {}
    for one in found:
        key = (str(one.fault),) if one.unprovable else one.runs
        if key not in worst or worst[key].chance < one.chance:
            worst[key] = one
    return [{"fault": str(one.fault), "runs": list(one.runs), "chance": round(one.chance, 6)} for one in worst.values()]


def _counts(states: Iterable[State]) -> dict[str, int]:
    from patcher.walk.record import tally

    return {str(state): number for state, number in tally(states).items()}
