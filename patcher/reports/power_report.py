"""What `power` prints: tables of supplies, feeds and runs, plots, and the level up to which everything is OK."""

from __future__ import annotations

import shutil
from collections.abc import Iterable, Sequence
from typing import Any

from patcher.charts.other_loads import boxes_not_counted
from patcher.charts.voltage_plot import terminal
from patcher.drawing.voltage_profile import profiles
from patcher.errors import Finding, first_few
from patcher.mains.circuits import MainsCircuit
from patcher.mains.energy import Season
from patcher.mains.whole_level import WholeLevel, named, whole_level
from patcher.power import shortfalls
from patcher.power.flow import FeedLoad, Power, RunVolts, SupplyLoad, if_known
from patcher.power.unknown import Reasons
from patcher.reports import mains_report
from patcher.sheets.figures import amps, fuses, highest_level, lowest
from patcher.terminal.printed import count, in_words, say_table

NARROWEST_PLOT, WIDEST_PLOT = 40, 100
MOST_NAMED = 3
SMALLEST_FUSE = (
    "Smallest fuse: the smallest blade fuse that holds: it protects the wires, and is loaded to 80 % at most."
)
"""What stands below a table of feeds."""


def say(
    state: Power, findings: Iterable[Finding], circuits: Sequence[MainsCircuit] = (), season: Season | None = None
) -> None:
    """Print tables of all supplies, feeds, runs and circuits of the mains, and what is wrong with them."""
    why = Reasons(state)
    print(f"Every pixel white at level {state.level:g}, wires at {state.celsius:g} °C.\n")
    _say_supplies(state, why)
    _say_feeds(state, why)
    _say_table(
        ("run", "lowest", "at_pixel", "needs", "OK"),
        [(*_run_row(state, run), why.run(run)) for run in state.runs],
        right="lowest at_pixel needs",
    )
    print()
    if shortfalls.described(state.show):
        _say_whole(whole_level(state))
    mains_report.say(circuits, state.level, season)
    for finding in findings:
        print(in_words(finding))


def _say_supplies(state: Power, why: Reasons) -> None:
    if not state.supplies:
        print("The file has no supply in use, so no current and no voltage is known.")
        if state.runs:
            print("To have supplies and feeds proposed: patcher power SHOW --plan --supplies 5V60A,12V30A (your kinds)")
        print()
        return
    _say_table(
        ("supply", "volts", "rated", "idle", "at_level", "of_rated", "full_white", "highest_level"),
        [(*_supply_row(load), why.supply(load)) for load in state.supplies],
        right="volts rated idle at_level of_rated full_white highest_level",
    )
    print("Highest level: up to which that supply alone stays within 80 % of its rating. That for everything is below.")
    if boxes := boxes_not_counted(state.show):
        draws = "itself" if len(boxes) == 1 else "themselves"
        print(
            f"Not counted: what {first_few(boxes, 4)} draw{'s' * (len(boxes) == 1)} {draws} (logic in the box’s table)."
        )
    print()


def _say_feeds(state: Power, why: Reasons) -> None:
    if not state.feeds:
        print("The file has no feed, so no supply reaches a run.\n")
        return
    _say_table(
        ("feed", "supply", "wire", "carries", "wire_rating", "fuse", "smallest_fuse", "taps"),
        [(*_feed_row(load), why.feed(load)) for load in state.feeds],
        right="carries wire_rating fuse smallest_fuse taps",
    )
    print(f"Fuse: as the show file has it. {SMALLEST_FUSE}")
    say_thin_strings(state, tuple(state.show.feeds))
    print()


def _say_table(heads: tuple[str, ...], rows: Sequence[tuple[object, ...]], *, right: str) -> None:
    """A table whose rows end with why something in them is not known; that column is there where any row has it."""
    if any(row[-1] for row in rows):
        say_table((*heads, "why_not_known"), rows, right=right)
    else:
        say_table(heads, [row[:-1] for row in rows], right=right)


def _supply_row(load: SupplyLoad) -> tuple[str, ...]:
    of_rated = "" if load.amps != load.amps else f"{load.amps / load.supply.amps:.0%}"
    return (
        load.supply.name, f"{load.supply.volts:g} V", f"{load.supply.amps:g} A", amps(load.dark), amps(load.amps),
        of_rated, amps(load.full_white), highest_level(load),
    )  # fmt: skip


def _feed_row(load: FeedLoad) -> tuple[object, ...]:
    rating = "" if load.wire is None else f"{load.wire.bears:g} A"
    return (
        load.feed.name, load.supply, load.wire or "not said", amps(load.amps), rating, *fuses(load), len(load.into),
    )  # fmt: skip


def _run_row(state: Power, run: RunVolts) -> tuple[str, ...]:
    return (
        run.run, lowest(state, run),
        "" if run.lowest != run.lowest else f"{run.pixel} of {state.show.runs[run.run].pixels}",
        "not said" if run.least is None else f"{run.least:g} V",
        {True: "yes", False: "NO", None: "not known"}[run.holds],
    )  # fmt: skip


def _say_whole(whole: WholeLevel) -> None:
    """Print the level up to which everything is OK with what limits it, then what is counted, and what is said above
    that level.
    """
    print(f"{whole.says}.")
    above = ""
    if whole.limits and whole.known != "nothing":
        above = " With all pixels dark:" if whole.level is None else f" At {whole.level + 0.01:g}:"
    print(f"Counted: {whole.counted}.{above}")
    limits = whole.limits if above else ()
    shown = limits if len(limits) == MOST_NAMED + 1 else limits[:MOST_NAMED]
    for limit in shown:
        print(f"  {limit.where} {limit.says}")
    if len(limits) > len(shown):
        print(f"  and {count(len(limits) - len(shown), 'more place')}")
    print()


def say_thin_strings(state: Power, among: Sequence[str]) -> None:
    """Print where a fuse of some feeds lets through more than a string's own wire may carry."""
    for wire, every in state.thinner_strings.items():
        feeds = [feed for feed in every if feed in among]
        if feeds:
            said = f"may carry {wire.bears:g} A, less than these feeds let through"
            print(f"The strings' own {wire} {said}: {', '.join(feeds)}.")
            print(
                "Each tap on such a string gets a fuse of its own, a tap fuse (fuse = … in its tap): patcher sheet "
                "says which tap gets which."
            )


def say_plots(state: Power, runs: Sequence[str]) -> None:
    """Print the voltage along some runs."""
    width = min(max(shutil.get_terminal_size().columns, NARROWEST_PLOT), WIDEST_PLOT)
    for profile in profiles(state, runs):
        print("\n".join(terminal(profile, width)))


def document(state: Power) -> dict[str, Any]:
    """The power of a show for scripts; what is not known is null."""
    why = Reasons(state)
    whole = whole_level(state) if shortfalls.described(state.show) else None
    return {
        "level": state.level,
        "celsius": state.celsius,
        "holds_up_to": whole and whole.level,
        "limited_by": [
            {"what": named(limit), "where": limit.where, "rule": limit.rule, "says": limit.says}
            for limit in (whole.limits if whole else ())
        ],
        "supplies": [
            {
                "supply": load.supply.name, "volts": load.supply.volts, "amps": load.supply.amps,
                "full_white_amps": if_known(load.full_white), "amps_at_level": if_known(load.amps),
                "dark_amps": if_known(load.dark), "max_level": load.max_level, "why": why.supply(load) or None,
            }
            for load in state.supplies
        ],
        "runs": [
            {
                "run": run.run, "lowest_volts": if_known(run.lowest), "at_pixel": run.pixel,
                "min_volts": run.least, "holds": run.holds, "why": why.run(run) or None,
                "volts": [if_known(volts) for volts in state.volts(run.run).tolist()],
            }
            for run in state.runs
        ],
        "feeds": [_feed_json(state, load) | {"why": why.feed(load) or None} for load in state.feeds],
    }  # fmt: skip


def _feed_json(state: Power, load: FeedLoad) -> dict[str, Any]:
    return {
        "feed": load.feed.name, "supply": load.supply, "amps": if_known(load.amps), "fuse": load.feed.fuse,
        "awg": load.feed.awg, "mm2": load.feed.mm2, "bears": load.wire.bears if load.wire else None,
        "next_blade": load.smallest_fuse,
        "taps": [
            {
                "run": tap.join.run, "pixel": tap.join.pixel, "metres": if_known(tap.join.metres),
                "amps": if_known(into), "fuse": tap.given,
            }
            for tap, into in zip(state.taps[load.feed.name], load.into, strict=True)
        ],
    }  # fmt: skip
