"""What `propose` prints: proposals beside what hangs now, one of them port by port, and what was left over."""

from __future__ import annotations

from collections.abc import Iterator
from math import ceil
from typing import Any

from patcher.chains.instance import BOOSTER, EVERY_PLACE_TAKEN, NO_PLACE, NO_PLACE_BUT_RUNS, LeftOut
from patcher.ends import of_run
from patcher.errors import first_few
from patcher.limits.refresh import rate_text
from patcher.offers.comparison import Comparison, Offer, Tally, beats
from patcher.offers.rehung import hanging
from patcher.propose.proposal import Proposal
from patcher.show.schema import Show
from patcher.terminal.folds import on_screen
from patcher.terminal.printed import count, finding_json, in_words, say_table
from patcher.units import METRES_PER, length
from patcher.visible import argument
from patcher.wiring import Wiring, port_name

NUMBERS = "lead boosters boxes slowest frames/s moves"
COUNTED = f"; a booster counts as {BOOSTER:g} m of cable"
REMEDIES = {
    "is not hung this season": "hung = true decides about it, too",
    "has no picture, so where it begins and ends is not known": "draw it (shape = …), or hang it by hand",
    NO_PLACE: "give the box its place: at = [x, y], or places where it may stand: stands = [[x, y], [x, y]]",
    NO_PLACE_BUT_RUNS: "give the box its place: at = [x, y]; or decide about all runs anew: --afresh",
    EVERY_PLACE_TAKEN: "add a place to its stands",
}
"""What to do about what was left out, by why it was."""


def chosen(found: Comparison, number: int) -> Offer | None:
    """The proposal of a number; None where there is none."""
    return next((offer for offer in found.offers if offer.number == number), None)


def is_over(found: Comparison, offer: Offer | None) -> bool:
    """Whether a run hangs nowhere with a proposal, or as it is now where there is none."""
    return any(_nowhere(offer.rehung.wiring if offer else found.wiring))


def _nowhere(wiring: Wiring) -> Iterator[str]:
    for name, run in wiring.show.runs.items():
        if run.same_data_as is None and not any(name in chain for chain in wiring.chains.values()):
            yield name


# --- in words ---------------------------------------------------------------------------------------------------------


def say(found: Comparison, offer: Offer | None, show: str, *, afresh: bool, written: bool) -> None:
    """Print it for people.

    Args:
        found: the proposals.
        offer: the one that is printed port by port.
        show: the show file, as it was named.
        afresh: whether what hangs was decided anew, too.
        written: whether the proposal is in the show file now.
    """
    if offer is None:
        _say_nothing(found, show, afresh=afresh)
    else:
        _say_offers(found)
        print(f"\nProposal {offer.number}, port by port:\n")
        _say_ports(found.wiring, offer)
        _say_stands(found.wiring.show, offer)
        _say_after(found, offer)
    _say_left(found, offer)
    if offer is not None:
        _say_end(found, offer, show, afresh=afresh, written=written)


def _say_nothing(found: Comparison, show: str, *, afresh: bool) -> None:
    if found.decided:
        print(nothing_found(found))
    elif not afresh and any(found.wiring.chains.values()):
        print("Nothing to decide: every run that has a picture hangs on a port.")
        print(f"To decide about them anew: patcher propose {argument(show)} --afresh")
    elif found.wiring.show.runs:
        print("Nothing to decide: no run has a picture.")
    else:
        print("Nothing to decide: the file has no run.")


def nothing_found(found: Comparison) -> str:
    """Why there is no proposal though there is something to decide."""
    if any(run in hanging(found.wiring) for run in found.decided):
        return "No plan was found in the time that hangs as many runs as hang now. Search longer: --seconds 300."
    return "No port can take any of the runs."


def _say_offers(found: Comparison) -> None:
    units = found.wiring.show.settings.units
    rows = [("now", "", *_figures(found.now, units), "")] if found.now.runs else []
    for offer in found.offers:
        rows.append((str(offer.number), offer.kinds[0], *_figures(offer.tally, units), str(len(offer.rehung.moved))))
    say_table(("", "puts_first", *NUMBERS.split()), rows, right=NUMBERS)
    for offer in found.offers:
        print()
        for line in _of_offer(found, offer):
            print(on_screen(line))


def figures_in_words(tally: Tally, units: str) -> str:
    """Figures of a wiring for its title."""
    words = f"{length(tally.metres, units)} of lead, {count(tally.boxes, 'box')}"
    return words if tally.slowest is None else f"{words}, {rate_text(tally.slowest.max_rate)} frames a second"


def _figures(tally: Tally, units: str) -> tuple[str, ...]:
    time = tally.slowest
    helped = f"{tally.boosters}, {tally.differentials} diff" if tally.differentials else str(tally.boosters)
    speed = ("", "") if time is None else (f"{time.frame_ms:.1f} ms", rate_text(time.max_rate))
    return length(tally.metres, units), helped, str(tally.boxes), *speed


def _of_offer(found: Comparison, offer: Offer) -> Iterator[str]:
    """What is said of a proposal below the table."""
    indent = "   "
    for number, made in enumerate((offer.made, *offer.others)):
        says = proof(made)
        yield f"{f'{offer.number}.' if not number else '':3}{made.kind.capitalize()}. {says[0].upper()}{says[1:]}."
        if not beats(offer.tally, found.now, made.kind):
            yield f"{indent}What hangs now is as good at that, or better."
    was = hanging(found.wiring)
    new = [run for run in offer.rehung.moved if run not in was]
    moved = [run for run in offer.rehung.moved if run in was]
    work = [f"{count(len(new), 'run')} to hang"] if new else []
    work += [f"{count(len(moved), 'run')} to move"] if moved else []
    work += [f"left over: {first_few(offer.made.left_over, 12)}"] if offer.made.left_over else []
    boxes = f"settings change in {first_few(offer.boxes, 12)}" if offer.boxes else "no settings change"
    yield f"{indent}{'; '.join([*(work or ['nothing moves']), boxes])}."


def proof(made: Proposal) -> str:
    """What is known of how good a proposal is, by what it puts first."""
    cable = "cable" if not made.boosters + made.differentials else "cable, boosters counted in"
    short = f"no plan {'with so few boxes ' if made.kind == 'fewest boxes' else ''}needs less {cable}"
    if made.kind == "best frame rate":
        short = f"no plan as fast needs less {cable}"
    first = {
        "fewest boxes": "no plan needs fewer boxes",
        "least cable": "",
        "best frame rate": "no plan keeps a higher rate that players offer",
    }[made.kind]
    if made.proved:
        return f"proved: {first}, and {short}" if first else f"proved: {short}"
    known = made.boxes_proved and made.rate_proved
    begin = (f"proved: {first}; " if known else f"not proved that {first}; ") if first else ""
    return f"{begin}{_gap(made)}"


def _gap(made: Proposal) -> str:
    """How much too long its leads may be."""
    if made.bound <= 0:
        return "how much shorter its leads could be is not known"
    percent = ceil(made.gap * 1000 - 1e-6) / 10
    return f"its leads may be up to {percent:g} % too long" if percent > 0 else "no plan is known to need less cable"


def _say_ports(now: Wiring, offer: Offer) -> None:
    after, units = offer.rehung.wiring, offer.rehung.wiring.show.settings.units
    rows = []
    for (box, port), chain in after.chains.items():
        for number, run in enumerate(chain):
            table, at = after.show.runs[run], port_name(box, port) if number == 0 else ""
            via = "" if table.lead_via == "cable" else table.lead_via
            rows.append((at, run, _entry(after, run), length(table.lead, units), via, _before(now, offer, run)))
    heads = ("port", "run", "data_enters", "lead", "with", "now")
    keep = [at for at in range(len(heads)) if at < 4 or any(row[at] not in ("", "nowhere") for row in rows)]
    say_table([heads[at] for at in keep], [[row[at] for at in keep] for row in rows], right="lead")


def place_in_words(at: tuple[float, float] | None, units: str) -> str:
    """A place as the file says it, in its units."""
    if at is None:
        return "nowhere"
    return f"[{', '.join(f'{round(part / METRES_PER[units], 3) + 0.0:g}' for part in at)}] {units}"


def _say_stands(now: Show, offer: Offer) -> None:
    """Where boxes are to stand, and which are not placed."""
    units, boxes = now.settings.units, now.controllers
    rows = [
        (name, place_in_words(at, units), place_in_words(boxes[name].at, units))
        for name, at in offer.rehung.stood.items()
    ]
    if rows:
        print("\nWhere boxes are to stand:\n")
        say_table(("box", "at", "now"), rows)
    if idle := [name for name, (_, then) in offer.not_placed.items() if not then]:
        print(
            on_screen(f"\nNot placed, for no run hangs on {'it' if len(idle) == 1 else 'them'}: {first_few(idle, 12)}.")
        )


def _entry(wiring: Wiring, run: str) -> str:
    """The end at which data enters a run, in few words."""
    if wiring.show.runs[run].shape_name == "none":
        return "no picture"
    begin = of_run(wiring.show, run)[0]
    return begin.side or begin.begin


def _before(now: Wiring, offer: Offer, run: str) -> str:
    """Where a run hangs now, beside where it is proposed to hang."""
    if run not in hanging(now):
        return "nowhere"
    return _spot(now, run) if run in offer.rehung.moved else "the same"


def _spot(wiring: Wiring, run: str) -> str:
    box, port = hanging(wiring)[run]
    chain = wiring.chains[box, port]
    place = f", {chain.index(run) + 1} of {len(chain)}" if len(chain) > 1 else ""
    return f"{port_name(box, port)}{place}"


def _say_after(found: Comparison, offer: Offer) -> None:
    """What else is to be known before it is hung so."""
    boosters = offer.made.boosters + offer.made.differentials
    way = "way along the routes" if found.wiring.show.routes else "straight way"
    says = [f"A new lead is the {way} and a tenth{COUNTED if boosters else ''}: measure it on site."]
    if offer.tally.differentials:
        says.append("diff: leads with a differential sender and receiver, for one booster does not help so far.")
    if offer.rehung.cut:
        says.append(
            f"No V+ goes on to {first_few(offer.rehung.cut, 8)}: there power_joined = false keeps supplies apart."
        )
    if offer.rehung.moved and found.wiring.show.feeds:
        says.append("Feeds stay as they are.")
    print()
    for line in says:
        print(on_screen(line))
    if offer.findings:
        print("\nWith it, check finds what it does not find now:")
    for finding in offer.findings:
        print(on_screen(in_words(finding)))


def _say_left(found: Comparison, offer: Offer | None) -> None:
    """Runs without a port, and what was not decided about."""
    lines = [(run, says, then) for run, (says, then) in (offer.left_over if offer else {}).items()]
    lines += [(box, says, then) for box, (says, then) in (offer.not_placed if offer else {}).items() if then]
    lines += [(left.name, _where_now(found, left), REMEDIES.get(left.why, "")) for left in found.left_out]
    if lines:
        print("\nLeft over:" if offer and offer.left_over else "\nNot decided about:")
    for name, says, then in lines:
        print(on_screen(f"{name}: {says}."))
        print(on_screen(f"   → {then}" if then else ""))


def _where_now(found: Comparison, left: LeftOut) -> str:
    port = hanging(found.wiring).get(left.name)
    return f"{left.why}; it stays on {port_name(*port)}" if port else left.why


def _say_end(found: Comparison, offer: Offer, show: str, *, afresh: bool, written: bool) -> None:
    named = argument(show)
    if written:
        print(f"\nWritten into {show}. Then: patcher check {named}; patcher patch {named}")
    elif offer.rehung.moved or offer.rehung.stood:
        print(f"\nNothing was written: patcher propose {named}{' --afresh' * afresh} --write {offer.number}")
    if len(found.offers) > 1 and not written:
        others = " or ".join(str(other.number) for other in found.offers if other is not offer)
        print(f"Another one port by port: --number {others}")


# --- for scripts ------------------------------------------------------------------------------------------------------


def document(found: Comparison, written: int | None, path: str) -> dict[str, Any]:
    """It for scripts; lengths in metres."""
    return {
        "show": found.wiring.show.settings.title,
        "now": _tally(found.now),
        "proposals": [_offer(found, offer) for offer in found.offers],
        "left_out": [
            {"name": left.name, "why": left.why, "try": REMEDIES.get(left.why, "")} for left in found.left_out
        ],
        "written": None if written is None else {"number": written, "file": path},
    }


def _tally(tally: Tally) -> dict[str, Any]:
    time = tally.slowest
    slowest = None
    if time is not None:
        slowest = {"controller": time.controller, "port": time.port, "frame_ms": round(time.frame_ms, 4)}
        slowest["max_rate"] = round(time.max_rate, 4)
    return {
        "runs": tally.runs, "metres": tally.metres, "boosters": tally.boosters,
        "differentials": tally.differentials, "boxes": tally.boxes, "slowest": slowest,
    }  # fmt: skip


def _offer(found: Comparison, offer: Offer) -> dict[str, Any]:
    after, moved = offer.rehung.wiring, set(offer.rehung.moved)
    proofs = [
        {
            "first": made.kind, "beats_now": beats(offer.tally, found.now, made.kind),
            "proved": made.proved, "says": proof(made),
            "cost": round(made.cost, 2), "bound": round(made.bound, 2), "gap": round(made.gap * 100, 2),
        }
        for made in (offer.made, *offer.others)
    ]  # fmt: skip
    chains = [
        {
            "controller": box, "port": port,
            "runs": [
                {
                    "run": run, "data_in": getattr(after.show.runs[run], "data_in", None),
                    "lead": round(after.show.runs[run].lead, 3), "lead_via": after.show.runs[run].lead_via,
                    "moves": run in moved,
                }
                for run in chain
            ],
        }
        for (box, port), chain in after.chains.items()
    ]  # fmt: skip
    return {
        "number": offer.number, **_tally(offer.tally), "proofs": proofs, "chains": chains,
        "moved_runs": list(offer.rehung.moved), "changed": list(offer.boxes), "power_cut": list(offer.rehung.cut),
        "left_over": [{"run": run, "why": says, "try": then} for run, (says, then) in offer.left_over.items()],
        "stands": [
            {"controller": box, "at": at and [round(part, 4) for part in at]} for box, at in offer.rehung.stood.items()
        ],
        "not_placed": [{"controller": box, "why": says, "try": then} for box, (says, then) in offer.not_placed.items()],
        "findings": [finding_json(finding) for finding in offer.findings],
    }  # fmt: skip
