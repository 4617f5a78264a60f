"""`power`: what the supplies give, what the wires carry, what the pixels get; and which feeds to add."""

from __future__ import annotations

import re
import sys
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load
from patcher.cli.options import AsJson, ShowFile
from patcher.cli.working import working
from patcher.errors import choose_from, refuse
from patcher.terminal.printed import finding_json, say_json

if TYPE_CHECKING:
    from patcher.mains.energy import Season
    from patcher.power.flow import Power
    from patcher.power.plan import Plan
    from patcher.power.supply_choice import Kind
    from patcher.power.wires import Wire
    from patcher.show.writer import Seen
    from patcher.wiring import Wiring

WIRES = "write gauges and cross-sections, as 18,14 or 1.5mm2,2.5mm2"
KINDS = "write volts and amperes of each kind, as 5V60A,12V30A, and behind a colon how many there are: 12V30A:2"


Level = Annotated[
    float | None,
    typer.Option("--level", metavar="0..1", min=0.0, max=1.0, help="Brightness, in place of the show's."),
]
Celsius = Annotated[float, typer.Option("--celsius", metavar="N", min=-50, max=90, help="Temperature of the wires.")]
Slack = Annotated[
    float,
    typer.Option(
        "--slack", metavar="PERCENT", min=0, max=300, help="With --plan: extra wire, in % of the straight line."
    ),
]
Margin = Annotated[
    float,
    typer.Option(
        "--margin",
        metavar="PERCENT",
        min=0,
        max=50,
        help="With --plan: volts to spare at each pixel, in percent of its rated volts.",
    ),
]
Sizes = Annotated[
    str, typer.Option("--wire", metavar="SIZES", help="With --plan: wires to choose from, as 18,14,2.5mm2.")
]
Kinds = Annotated[
    str | None,
    typer.Option(
        "--supplies",
        metavar="KINDS",
        help="With --plan: supplies that you have or would buy, as 5V60A,12V30A:2 (two of them), for runs without one.",
    ),
]


Hours = Annotated[
    float | None,
    typer.Option("--hours", metavar="N", min=0, max=24, help="Energy of a season: hours a day. With --days."),
]
Days = Annotated[int | None, typer.Option("--days", metavar="N", min=0, max=366, help="Days of the season.")]
Price = Annotated[
    float | None,
    typer.Option("--price", metavar="N", min=0, max=1_000_000, help="Of a kilowatt-hour, in your money."),
]


def power(
    show: ShowFile,
    thing: Annotated[
        str | None, typer.Argument(metavar="[THING]", help="A run or a prop: plot the voltage along it.")
    ] = None,
    level: Level = None,
    celsius: Celsius = 20.0,
    svg: Annotated[Path | None, typer.Option("--svg", metavar="FILE", help="Write the plots as a drawing.")] = None,
    plan: Annotated[
        bool, typer.Option("--plan", help="Propose the fewest extra power injection points (taps).")
    ] = False,
    write: Annotated[bool, typer.Option("--write", help="With --plan: write the feeds into the show file.")] = False,
    wire: Sizes = "18,16,14,12,10",
    slack: Slack = 15.0,
    margin: Margin = 5.0,
    supplies: Kinds = None,
    hours: Hours = None,
    days: Days = None,
    price: Price = None,
    as_json: AsJson = False,
) -> None:  # fmt: skip
    """Work out amperes, volts and fuses, with every pixel white.

    What each supply gives, what each wire carries, and what each pixel gets.
    """
    from patcher.power import feed_plan, supply_plan
    from patcher.power.flow import power as solved
    from patcher.show.writer import as_read

    if write and not plan:
        raise refuse("--write", "writes what --plan proposes", "add --plan")
    if plan and (thing is not None or svg is not None):
        raise refuse("--plan", "plans the whole show and draws nothing", "leave out the other")
    if supplies is not None and not plan:
        raise refuse("--supplies", "says what --plan chooses from", "add --plan")
    season, seen = _season(hours, days, price, plan=plan), as_read(show)
    if plan:
        gauges, kinds = _wires(wire), None if supplies is None else _kinds(supplies)
        wiring = load(show)
        make = feed_plan.plan if kinds is None else partial(supply_plan.plan, kinds=kinds)
        with working("The plan of feeds"):
            planned = make(wiring, gauges=gauges, slack=slack / 100, margin=margin / 100, level=level, celsius=celsius)
        _say_plan(show, seen, wiring, planned, write=write, as_json=as_json)
    else:
        wiring = load(show)
        _say_power(wiring, solved(wiring, level=level, celsius=celsius), season, thing, svg, as_json=as_json)


def _season(hours: float | None, days: int | None, price: float | None, *, plan: bool) -> Season | None:
    """How long the show plays; None where its energy is not asked for."""
    from patcher.mains.energy import Season

    if hours is None and days is None and price is None:
        return None
    if plan:
        raise refuse("--plan", "plans feeds and counts no energy", "leave out --hours, --days and --price")
    if hours is None or days is None:
        raise refuse("--days" if days is None else "--hours", "is missing for the energy", "give --hours and --days")
    return Season(hours, days, price)


def _say_power(
    wiring: Wiring, state: Power, season: Season | None, thing: str | None, svg: Path | None, *, as_json: bool
) -> None:
    from patcher.limits.findings import accepted
    from patcher.mains import circuit_findings
    from patcher.mains.circuits import mains
    from patcher.power import shortfalls
    from patcher.reports import mains_report, power_report

    runs, circuits = _runs_of(state, thing), mains(state)
    if season is not None and not circuits:
        remedy = 'add [socket.NAME] with volts, and socket = "NAME" in the table of each supply'
        raise refuse("--hours", "counts the energy of sockets, and the file has none", remedy)
    found = shortfalls.findings(wiring, state) + circuit_findings.findings(wiring, state)
    # "accept" says that an [[accept]] meets nothing: here that only means that it is of another area.
    findings = [each for each in accepted(wiring.show, found) if each.rule != "accept"]
    if svg is not None:
        _write_svg(svg, state, runs)
    if as_json:
        documents = power_report.document(state) | mains_report.document(circuits, season)
        say_json({**documents, "findings": [finding_json(finding) for finding in findings]})
    elif thing is not None:
        power_report.say_plots(state, runs)
    else:
        power_report.say(state, findings, circuits, season)
    if any(finding.severity == "error" for finding in findings) or any(run.holds is False for run in state.runs):
        raise typer.Exit(1)


def _runs_of(state: Power, thing: str | None) -> list[str]:
    """The runs of a thing that are hung; all of them where no thing is named."""
    from patcher.patch.thing import split

    if thing is None:
        return list(state.circuit.runs)
    props = state.show.prop_runs()
    thing = split(thing, ("run", "prop"))[1]
    named = [thing] if thing in state.show.runs else list(props.get(thing, ()))
    if not named:
        raise refuse(thing, "is not a run or a prop of this show", choose_from(thing, [*state.show.runs, *props]))
    hung = [run for run in named if run in state.circuit.runs]
    if not hung:
        raise refuse(thing, "is not hung, so it has no voltage", "name another run or prop")
    return hung


def _write_svg(path: Path, state: Power, runs: list[str]) -> None:
    from patcher.charts.voltage_plot import svg
    from patcher.drawing.voltage_profile import profiles
    from patcher.show.writer import UNSEALED, write_output

    title = f"{state.show.settings.title}: volts at level {state.level:g}"
    write_output(path, f"<!-- {UNSEALED} -->\n{svg(title, list(profiles(state, runs)))}")
    print(f"Wrote {path}.", file=sys.stderr)


def _wires(text: str) -> tuple[Wire, ...]:
    """The wires that a person listed: gauges as bare numbers, cross-sections with mm2 behind."""
    from patcher.power.wires import Wire

    wires = []
    for word in filter(None, re.split(r"[,\s]+", text.strip())):
        if match := re.fullmatch(r"(\d+(?:\.\d+)?)mm2", word):
            wires.append(Wire(mm2=float(match[1])))
        elif re.fullmatch(r"\d{1,2}", word) and int(word) <= 40:
            wires.append(Wire(awg=int(word)))
        else:
            raise refuse("--wire", f"“{word}” is not a wire", WIRES)
    if not wires or any(not wire.area for wire in wires):
        raise refuse("--wire", "names no wire", WIRES)
    return tuple(wires)


def _kinds(text: str) -> tuple[Kind, ...]:
    """The kinds of supplies that a person listed, each with volts, amperes and, behind a colon, how many there are."""
    from patcher.power.supply_choice import Kind

    kinds = []
    for word in filter(None, re.split(r"[,\s]+", text.strip())):
        match = re.fullmatch(r"(\d{1,3}(?:\.\d+)?)V(\d{1,4}(?:\.\d+)?)A(?::(\d{1,4}))?", word, re.IGNORECASE)
        if match is None or not float(match[1]) or not float(match[2]):
            raise refuse("--supplies", f"“{word}” is not a kind of supply", KINDS)
        kinds.append(Kind(float(match[1]), float(match[2]), None if match[3] is None else int(match[3])))
    if not kinds:
        raise refuse("--supplies", "names no kind of supply", KINDS)
    return tuple(kinds)


def _say_plan(path: Path, seen: Seen, wiring: Wiring, plan: Plan, *, write: bool, as_json: bool) -> None:
    from patcher.reports import feed_plan_report

    if write and plan.feeds:
        _write_feeds(path, seen, wiring, plan)
    if as_json:
        say_json(feed_plan_report.document(plan))
    else:
        feed_plan_report.say(plan, path, written=write)
    if any(finding.severity == "error" for finding in feed_plan_report.wrong(plan)) or any(
        finding.severity != "note" for finding in plan.open
    ):
        raise typer.Exit(1)


def _write_feeds(path: Path, seen: Seen, wiring: Wiring, plan: Plan) -> None:
    from patcher.reports.feed_plan_report import with_slack
    from patcher.show.text_edits import edited, with_feeds, with_supplies
    from patcher.show.writer import write_together

    text = seen[path] or ""
    if plan.new is not None and plan.new.cuts:
        text = edited(text, wiring.show, plan.after.show, "")
    if plan.new is not None and plan.new.names:
        supplies = [plan.after.show.supplies[name] for name in plan.new.names]
        text = with_supplies(text, supplies, f"Chosen by patcher power --plan for level {plan.after.level:g}.")
    feeds = [plan.after.show.feeds[name] for name in plan.feeds]
    level, margin = plan.after.level, plan.margin * 100
    note = f"Planned by patcher power --plan for level {level:g}, with a margin of {margin:g} %; "
    note += f"lengths are straight lines, {with_slack(plan.slack)}."
    write_together(seen, {path: with_feeds(text, wiring.show, feeds, note)})
