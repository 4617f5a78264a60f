"""`power`: what the supplies give, what the wires carry, what the pixels get."""

from __future__ import annotations

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from patcher.cli.inputs import AsJson, ShowFile, load
from patcher.errors import Finding, choose_from, refuse
from patcher.terminal.tables import count, finding_json, in_words, say_json, say_table

if TYPE_CHECKING:
    from patcher.power.feed_plan import Plan, RailPlan
    from patcher.power.flow import Power
    from patcher.power.wires import Wire
    from patcher.show.writer import Seen
    from patcher.wiring import Wiring

Sizes = Annotated[
    str, typer.Option("--wire", metavar="SIZES", help="With --plan: the wires to choose from, as 18,14,2.5mm2.")
]
Slack = Annotated[
    float,
    typer.Option("--slack", metavar="PERCENT", help="With --plan: wire beyond the straight line.", min=0, max=300),
]
Margin = Annotated[
    float,
    typer.Option(
        "--margin", metavar="PERCENT", help="With --plan: volts above a pixel's least, of its rated volts.",
        min=0, max=50,
    ),
]  # fmt: skip
Level = Annotated[float | None, typer.Option("--level", help="Instead of the show's level.", min=0.0, max=1.0)]
Celsius = Annotated[float, typer.Option("--celsius", help="Temperature of the wires.", min=-50, max=90)]


def power(
    show: ShowFile,
    thing: Annotated[str | None, typer.Argument(help="A run or a prop: its voltage as a plot.")] = None,
    level: Level = None,
    celsius: Celsius = 20.0,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the plots as a drawing.")] = None,
    plan: Annotated[bool, typer.Option("--plan", help="The fewest feeds that the show wants besides its own.")] = False,
    write: Annotated[bool, typer.Option("--write", help="With --plan: write the feeds into the show file.")] = False,
    wire: Sizes = "18,16,14,12,10",
    slack: Slack = 15.0,
    margin: Margin = 5.0,
    as_json: AsJson = False,
) -> None:
    """Loads, voltages and feeds: what each supply gives, each wire carries and each pixel gets."""
    from patcher.limits.findings import accepted
    from patcher.power import shortfalls
    from patcher.power.flow import power as solved

    if write and not plan:
        raise refuse("--write", "writes what --plan proposes", "add --plan")
    if plan and (thing is not None or svg is not None):
        raise refuse("--plan", "plans the whole show and draws nothing", "leave out the other")
    if plan:
        asked = {"gauges": _wires(wire), "slack": slack / 100, "margin": margin / 100}
        _plan(show, {**asked, "level": level, "celsius": celsius}, write=write, as_json=as_json)
        return
    wiring = load(show)
    state = solved(wiring, level=level, celsius=celsius)
    runs = _runs_of(state, thing)
    rules = ("accept",)  # that an [[accept]] of another area meets nothing here is no news
    found = [
        finding for finding in accepted(wiring.show, shortfalls.findings(wiring, state)) if finding.rule not in rules
    ]
    if svg is not None:
        _write_svg(svg, state, runs)
    if as_json:
        say_json({**power_json(state), "findings": [finding_json(finding) for finding in found]})
    elif thing is not None:
        _say_plots(state, runs)
    else:
        _say_power(state)
        if shortfalls.described(wiring.show):
            _say_brightest(*shortfalls.brightest(state))
        for finding in found:
            print(in_words(finding))
    if any(finding.severity == "error" for finding in found) or any(run.holds is False for run in state.runs):
        raise typer.Exit(1)


def _runs_of(state: Power, thing: str | None) -> list[str]:
    """The runs that a thing means, of those that are hung."""
    from patcher.patch.thing import split

    props = state.show.prop_runs()
    if thing is None:
        return list(state.circuit.runs)
    thing = split(thing, ("run", "prop"))[1]
    named = [thing] if thing in state.show.runs else list(props.get(thing, ()))
    if not named:
        raise refuse(thing, "is no run and no prop of this show", choose_from(thing, [*state.show.runs, *props]))
    hung = [run for run in named if run in state.circuit.runs]
    if not hung:
        raise refuse(thing, "is not hung, so it has no voltage", "name another run or prop")
    return hung


def _write_svg(path: Path, state: Power, runs: list[str]) -> None:
    from patcher.charts.run_plots import profiles
    from patcher.charts.voltage_plot import svg
    from patcher.show.writer import UNSEALED, write_output

    title = f"{state.show.settings.title}: volts at level {state.level:g}"
    write_output(path, f"<!-- {UNSEALED} -->\n{svg(title, list(profiles(state, runs)))}")
    print(f"Wrote {path}.", file=sys.stderr)


def _say_plots(state: Power, runs: list[str]) -> None:
    import shutil

    from patcher.charts.run_plots import profiles
    from patcher.charts.voltage_plot import terminal

    width = min(shutil.get_terminal_size().columns, 100)
    for profile in profiles(state, runs):
        print("\n".join(terminal(profile, width)))


def _say_power(state: Power) -> None:
    from patcher.sheets.figures import amps, fuses, highest_level, lowest

    print(f"Every pixel white at level {state.level:g}, wires at {state.celsius:g} °C.\n")
    say_table(
        ("supply", "volts", "rated", "dark", "at_level", "of_rated", "full_white", "highest_level"),
        (
            (
                load.supply.name, f"{load.supply.volts:g} V", f"{load.supply.amps:g} A", amps(load.dark),
                amps(load.amps), "" if load.amps != load.amps else f"{load.amps / load.supply.amps:.0%}",
                amps(load.full_white), highest_level(load),
            )
            for load in state.supplies
        ),
        right="volts rated dark at_level of_rated full_white highest_level",
    )  # fmt: skip
    print("The highest level is where a supply alone gives 80 % of its rating; the level of all is below.\n")
    say_table(
        ("feed", "supply", "wire", "carries", "bears", "fuse", "next_blade", "taps"),
        (
            (
                load.feed.name, load.supply, load.wire or "not said", amps(load.amps),
                "" if load.wire is None else f"{load.wire.bears:g} A",
                *fuses(load), len(load.into),
            )
            for load in state.feeds
        ),
        right="carries bears fuse next_blade taps",
    )  # fmt: skip
    _say_thinner_strings(state, tuple(state.show.feeds))
    print()
    say_table(
        ("run", "lowest", "at_pixel", "needs", "holds"),
        (
            (
                found.run, lowest(state, found),
                "" if found.lowest != found.lowest else f"{found.pixel} of {state.show.runs[found.run].pixels}",
                "not said" if found.least is None else f"{found.least:g} V",
                {True: "yes", False: "NO", None: "not known"}[found.holds],
            )
            for found in state.runs
        ),
        right="lowest at_pixel needs",
    )  # fmt: skip
    print()


def _say_brightest(level: float | None, ends: list[Finding]) -> None:
    """The level that everything holds at, and what ends it."""
    what = "supplies to 80 %, volts, wires and fuses"
    if level is None:
        print(f"At no level does all of it hold ({what}). Dark already:")
    else:
        print(f"All that is fed holds up to level {level:g}: {what}.{f' At {level + 0.01:g}:' if ends else ''}")
    for end in ends[:3]:
        print(f"  {end.where} {end.says}")
    if len(ends) > 3:
        print(f"  and {count(len(ends) - 3, 'more place')}")
    print()


def _say_thinner_strings(state: Power, among: tuple[str, ...]) -> None:
    """Where a fuse of some feeds lets through more than a string's own wire bears."""
    for wire, every in state.thinner_strings.items():
        feeds = [feed for feed in every if feed in among]
        if not feeds:
            continue
        print(
            f"The strings' own {wire} bears {wire.bears:g} A, less than fuses before it let through: "
            f"{', '.join(feeds[:3])}{' …' if len(feeds) > 3 else ''}."
        )
        print("Where such a string could be crushed or cut, give its tap a fuse of its own.")


def _number(value: float | None) -> float | None:
    return None if value is None or value != value else value


def power_json(state: Power) -> dict[str, Any]:
    """The power of a show as scripts read it; what is not known is null."""
    from patcher.power import shortfalls

    holds, ends = shortfalls.brightest(state) if shortfalls.described(state.show) else (None, [])
    return {
        "level": state.level,
        "celsius": state.celsius,
        "holds_up_to": holds,
        "limited_by": [{"where": end.where, "rule": end.rule, "says": end.says} for end in ends],
        "supplies": [
            {
                "supply": load.supply.name, "volts": load.supply.volts, "amps": load.supply.amps,
                "full_white_amps": _number(load.full_white), "amps_at_level": _number(load.amps),
                "dark_amps": _number(load.dark), "max_level": load.max_level,
            }
            for load in state.supplies
        ],
        "runs": [
            {
                "run": found.run, "lowest_volts": _number(found.lowest), "at_pixel": found.pixel,
                "min_volts": found.least, "holds": found.holds,
                "volts": [_number(volts) for volts in state.volts(found.run).tolist()],
            }
            for found in state.runs
        ],
        "feeds": [
            {
                "feed": load.feed.name, "supply": load.supply, "amps": _number(load.amps), "fuse": load.feed.fuse,
                "awg": load.feed.awg, "mm2": load.feed.mm2, "bears": load.wire.bears if load.wire else None,
                "next_blade": load.blade,
                "taps": [
                    {"run": join.run, "pixel": join.pixel, "metres": _number(join.metres), "amps": _number(amps)}
                    for join, amps in zip(state.circuit.joins[load.feed.name], load.into, strict=True)
                ],
            }
            for load in state.feeds
        ],
    }  # fmt: skip


def _wires(text: str) -> tuple[Wire, ...]:
    """The wires that a person listed: gauges as bare numbers, cross-sections with mm2 behind."""
    from patcher.power.wires import Wire

    found = []
    for word in filter(None, re.split(r"[,\s]+", text.strip())):
        if match := re.fullmatch(r"(\d+(?:\.\d+)?)mm2", word):
            found.append(Wire(mm2=float(match[1])))
        elif re.fullmatch(r"\d{1,2}", word) and int(word) <= 40:
            found.append(Wire(awg=int(word)))
        else:
            raise refuse("--wire", f"“{word}” is no wire", "write gauges and cross-sections, as 18,14 or 1.5mm2,2.5mm2")
    if not found or any(not wire.area for wire in found):
        raise refuse("--wire", "names no wire", "write gauges and cross-sections, as 18,14 or 1.5mm2,2.5mm2")
    return tuple(found)


def _plan(path: Path, asked: dict[str, Any], *, write: bool, as_json: bool) -> None:
    from patcher.power import feed_plan
    from patcher.show.writer import as_read

    seen = as_read(path)
    wiring = load(path)
    found = feed_plan.plan(wiring, **asked)
    if write and found.feeds:
        _write_feeds(path, seen, wiring, found)
    if as_json:
        document = power_json(found.after)
        document["feeds"] = [feed for feed in document["feeds"] if feed["feed"] in found.feeds]
        say_json({**document, **_plan_json(found)})
    else:
        _say_plan(path, found, write=write)
    wrong = any(finding.severity == "error" for finding in _wrong_still(found))
    if wrong or any(finding.severity != "note" for finding in found.open):
        raise typer.Exit(1)


def _wrong_still(found: Plan) -> list[Finding]:
    """What is wrong with the power of the show as planned, besides what could not be planned."""
    from patcher.power import shortfalls

    said = {finding.where for finding in found.open}
    every = shortfalls.findings(found.after.wiring, found.after)
    return [finding for finding in every if not (finding.where in said and finding.rule in ("unfed", "low-volts"))]


def _plan_json(found: Plan) -> dict[str, Any]:
    from patcher.power.feed_plan import level_that_holds

    return {
        "rails": [
            {
                "parts": [{"run": run, "first_pixel": first, "last_pixel": last} for run, first, last in rail.parts],
                "supply": rail.supply, "taps": len(rail.taps), "lower_bound": rail.bound, "proved": rail.proved,
            }
            for rail in found.rails
        ],
        "level_without": level_that_holds(found.before),
        "wire_metres": {size: round(metres, 3) for size, metres in found.metres.items()},
        "margin": round(found.margin * 100, 6),
        "open": [finding_json(finding) for finding in found.open],
        "findings": [finding_json(finding) for finding in _wrong_still(found)],
        "assumed": list(found.assumed),
    }  # fmt: skip


def _write_feeds(path: Path, seen: Seen, wiring: Wiring, found: Plan) -> None:
    from patcher.show.text_edits import with_feeds
    from patcher.show.writer import write_together

    feeds = [found.after.show.feeds[name] for name in found.feeds]
    note = (
        f"Planned by patcher power --plan for level {found.after.level:g}, with a margin of {found.margin * 100:g} %; "
    )
    note += "lengths are straight lines and slack."
    write_together(seen, {path: with_feeds(seen[path] or "", wiring.show, feeds, note)})


def _say_plan(path: Path, found: Plan, *, write: bool) -> None:
    from patcher.power.feed_plan import level_that_holds
    from patcher.sheets.figures import length

    state = found.after
    wrong = _wrong_still(found)
    if not found.feeds and not found.open:
        print(f"Every pixel has its volts at level {state.level:g}{_spare(found)}: no more feeds are wanted.")
        for finding in wrong:
            print(in_words(finding))
        return
    without = level_that_holds(found.before)
    if found.feeds:
        say_table(
            ("feed", "from", "wire", "fuse", "tap", "joins", "length", "carries"),
            [row for name in found.feeds for row in _feed_rows(state, name)],
            right="fuse tap length carries",
        )
        print()
    for rail in found.rails:
        what = ", ".join(f"{run}/{first}–{last}" for run, first, last in rail.parts)
        print(f"{what}: {count(len(rail.taps), 'new tap')} from {rail.supply}; {_proof(rail)}.")
    said = {finding.where for finding in found.open}
    if found.rails and not any(f"run.{rail.parts[0][0]}" in said for rail in found.rails):
        print(f"At level {state.level:g} and {state.celsius:g} °C each pixel there has its least volts{_spare(found)}.")
    for size, metres in found.metres.items():
        print(f"Wire to buy: {length(metres, state.show.settings.units)} of {size}, two cores.")
    _say_thinner_strings(state, found.feeds)
    if without is not None and without < state.level:
        print(f"With no more feeds, what is fed now holds up to level {without:g}.")
    for words in found.assumed:
        print(f"Assumed: {words}.")
    for finding in [*found.open, *wrong]:
        print(in_words(finding))
    if found.feeds:
        print(f"Written into {path}." if write else f"Nothing was written; --write puts the feeds into {path}.")
        print("Switch the mains off before you join a wire. Local code, and whoever is licensed for it, come first.")


def _proof(rail: RailPlan) -> str:
    """What is known of fewer taps."""
    if rail.proved:
        return "fewer cannot hold it"
    if rail.bound:
        return f"{rail.bound} may do, fewer cannot"
    return "as the other feeds are, it does not hold without"


def _spare(found: Plan) -> str:
    return f" and {found.margin * 100:g} % of its rated volts to spare" if found.margin else ""


def _feed_rows(state: Power, name: str) -> Iterator[tuple[object, ...]]:
    from patcher.sheets.figures import amps, length

    units = state.show.settings.units
    load = next(load for load in state.feeds if load.feed.name == name)
    source = load.feed.supply or f"{load.feed.source}, tap {load.feed.tap}"
    fuse = "" if load.feed.fuse is None else f"{load.feed.fuse:g} A"
    for number, join in enumerate(state.circuit.joins[name], start=1):
        head = (name, source, load.wire, fuse) if number == 1 else ("", "", "", "")
        carries = amps(abs(float(state.drop.amps[join.wire])))
        yield (*head, number, f"{join.run}/{join.pixel}", length(join.metres, units), carries)
