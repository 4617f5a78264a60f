"""What `power --plan` prints: the feeds that it proposes, what they give, and what is still wrong."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

from patcher.errors import Finding
from patcher.power import shortfalls
from patcher.power.flow import Power
from patcher.power.flow import power as solved
from patcher.power.plan import Plan, RailPlan, level_that_holds
from patcher.power.stretches import cut_at
from patcher.power.wires import Wire, sizes_above, wire_of
from patcher.reports import power_report
from patcher.sheets.figures import amps
from patcher.show.schema import Feed
from patcher.terminal.printed import count, finding_json, in_words, say_table
from patcher.units import length

SAFETY = "Switch the mains off before you join a wire. Local code, and whoever is licensed for it, come first."

TAP_FUSE = (
    "Tap fuse: where the tap joins the string, for the string’s own wire may carry less than the feed’s fuse passes."
)


def wrong(plan: Plan) -> list[Finding]:
    """What is wrong with the power of the show as planned, besides what could not be planned.

    What is not so without the plan says that it is for the plan: `check` has other currents, and another remedy.
    """
    said = {finding.where for finding in plan.open}
    every = shortfalls.findings(plan.after.wiring, plan.after)
    found = [finding for finding in every if not (finding.where in said and finding.rule in ("unfed", "low-volts"))]
    before = shortfalls.findings(plan.before.wiring, plan.before) if plan.feeds and found else found
    return [each if each in before else replace(each, remedy=f"with this plan: {each.remedy}") for each in found]


def say(plan: Plan, path: Path, *, written: bool) -> None:
    """Print it for people; `written` says whether the feeds are in the show file now."""
    state = plan.after
    if not plan.feeds and not plan.open:
        print(f"Every pixel has its volts at level {state.level:g}{_margin(plan)}: no extra feed is needed.")
    else:
        _say_supplies(plan)
        _say_feeds(plan)
        _say_what_it_gives(plan)
    for finding in [*plan.open, *wrong(plan)]:
        print(in_words(finding))
    if plan.feeds:
        what = "supplies, cuts and feeds" if plan.new and (plan.new.names or plan.new.cuts) else "feeds"
        print(f"Written into {path}." if written else f"Nothing was written; --write puts the {what} into {path}.")
        print(SAFETY)


def _say_supplies(plan: Plan) -> None:
    """Print the supplies that are added, and where V+ is cut; nothing where neither is."""
    new, state = plan.new, plan.after
    if new is None:
        return
    loads = {load.supply.name: load for load in state.supplies}
    rows = []
    for name in new.names:
        load, feeds = loads[name], sum(feed.supply == name for feed in state.show.feeds.values())
        rated = f"{load.supply.volts:g} V, {load.supply.amps:g} A"
        of_rated = "" if load.amps != load.amps else f"{load.amps / load.supply.amps:.0%}"
        rows.append((name, rated, load.supply.box, feeds, amps(load.amps), of_rated))
    if rows:
        say_table(
            ("new_supply", "rated", "box", "feeds", "at_level", "of_rated"), rows, right="feeds at_level of_rated"
        )
        print(f"Each gives at most 80 % of its rating at level {state.level:g} (common practice); {_fewest(plan)}.")
    if new.cuts:
        cut = cut_at(plan.before.show, list(new.cuts))
        print(f"Where two supplies meet, {cut}; leave the ground whole, the data needs it.")
    if rows or new.cuts:
        print()


def _fewest(plan: Plan) -> str:
    """What is known of fewer supplies."""
    assert plan.new is not None  # noqa: S101
    number, bound = len(plan.new.names), plan.new.bound
    if number <= bound:
        return "fewer cannot carry it"
    if plan.new.best:
        return "fewer cannot, where each run is fed from its own box or the nearest one"
    return f"{bound} may be enough, fewer are not"


def _say_feeds(plan: Plan) -> None:
    if plan.feeds:
        long = f"length,_{with_slack(plan.slack).replace(' ', '_')}"
        own = any(tap.fuse for name in plan.feeds for tap in plan.after.show.feeds[name].taps)
        say_table(
            ("feed", "from", "wire", "smallest_fuse", "tap", "joins", long, "carries", *(["tap_fuse"] if own else [])),
            [row if own else row[:-1] for name in plan.feeds for row in _feed_rows(plan.after, name)],
            right=f"smallest_fuse tap {long} carries tap_fuse",
        )
        print(power_report.SMALLEST_FUSE)
        if own:
            print(TAP_FUSE)
        print()
    for rail in plan.rails:
        what = ", ".join(f"{run}/{first}–{last}" for run, first, last in rail.parts)
        print(f"{what}: {count(len(rail.taps), 'new tap')} from {rail.supply}; {_proof(rail)}.")


def _say_what_it_gives(plan: Plan) -> None:
    state = plan.after
    unplanned = {finding.where for finding in plan.open}
    if plan.rails and not any(f"run.{rail.parts[0][0]}" in unplanned for rail in plan.rails):
        conditions = f"At level {state.level:g} and {state.celsius:g} °C"
        print(f"{conditions} each pixel there has its least volts{_margin(plan)}.")
    for words in second_wires(plan):
        print(words)
    for size, metres in plan.metres.items():
        print(
            f"Wire to buy, {with_slack(plan.slack)}: {length(metres, state.show.settings.units)} of {size}, two cores."
        )
    power_report.say_thin_strings(state, plan.feeds)
    without = level_that_holds(plan.before)
    if without is not None and without < state.level:
        print(f"Without extra feeds, what is fed now has its volts up to level {without:g}.")
    for words in (*plan.assumed, *(plan.new.places if plan.new else ())):
        print(f"Assumed: {words}.")


def second_wires(plan: Plan) -> Iterator[str]:
    """Where a planned feed joins a pixel that a feed joins already: why, and which thicker wire would do instead."""
    before, after = plan.before, plan.after
    had = {(join.run, join.pixel): name for name, joins in before.circuit.joins.items() for join in joins}
    for name in plan.feeds:
        for join in after.circuit.joins[name]:
            if (old := had.get((join.run, join.pixel))) is None:
                continue
            at, feed = f"{join.run}/{join.pixel}", before.show.feeds[old]
            load = next(load for load in before.feeds if load.feed.name == old)
            lost = before.show.supplies[load.supply].volts - before.volts(join.run)[join.pixel - 1]
            words = f"{at} has a tap of {old} already: {name} is a second pair of wires to it, "
            words += f"for {lost:.2f} V are lost on the way there." if lost > 0 else "for its wire brings too little."
            size = _thicker_instead(plan, feed, join.run)
            yield words + (f" Or use {size} for {old}, and leave {name} out." if size else "")


def _thicker_instead(plan: Plan, feed: Feed, run: str) -> Wire | None:
    """The thinnest wire of a feed with which a run has its volts and the margin, without any of the planned feeds."""
    state, wire = plan.before, wire_of(feed.awg, feed.mm2)
    for size in () if wire is None else sizes_above(wire):
        feeds = {**state.show.feeds, feed.name: feed.model_copy(update={"awg": size.awg, "mm2": size.mm2})}
        wiring = replace(state.wiring, show=state.show.model_copy(update={"feeds": feeds}))
        found = next(each for each in solved(wiring, level=state.level, celsius=state.celsius).runs if each.run == run)
        spare = plan.margin * (state.show.type_of(state.show.runs[run]).volts or 0.0)
        if found.least is not None and found.lowest >= found.least + spare:
            return size
    return None


def with_slack(slack: float) -> str:
    """What a planned length has more than the straight line, in words."""
    return f"with {slack * 100:g} % slack" if slack else "without slack"


def _proof(rail: RailPlan) -> str:
    """What is known of fewer taps."""
    if rail.proved:
        return "fewer are not enough"
    if rail.bound:
        return f"{rail.bound} may be enough, fewer are not"
    return "fewer are not enough, the other feeds staying as they are"


def _margin(plan: Plan) -> str:
    return f" and {plan.margin * 100:g} % of its rated volts to spare" if plan.margin else ""


def _feed_rows(state: Power, name: str) -> Iterator[tuple[object, ...]]:
    """A row for each tap of a feed."""
    units = state.show.settings.units
    load = next(load for load in state.feeds if load.feed.name == name)
    source = load.feed.supply or f"{load.feed.source}, tap {load.feed.tap}"
    fuse = "" if load.feed.fuse is None else f"{load.feed.fuse:g} A"
    for number, join in enumerate(state.circuit.joins[name], start=1):
        head = (name, source, load.wire, fuse) if number == 1 else ("", "", "", "")
        carries = amps(abs(float(state.drop.amps[join.wire])))
        size = load.feed.taps[join.tap - 1].fuse
        own = "" if size is None else f"{size:g} A"
        yield (*head, number, f"{join.run}/{join.pixel}", length(join.metres, units), carries, own)


def document(plan: Plan) -> dict[str, Any]:
    """It for scripts: as `power`, of the show as planned."""
    power = power_report.document(plan.after)
    return power | {
        "feeds": [feed for feed in power["feeds"] if feed["feed"] in plan.feeds],
        "rails": [
            {
                "parts": [{"run": run, "first_pixel": first, "last_pixel": last} for run, first, last in rail.parts],
                "supply": rail.supply, "taps": len(rail.taps), "lower_bound": rail.bound, "proved": rail.proved,
            }
            for rail in plan.rails
        ],
        "level_without": level_that_holds(plan.before),
        "wire_metres": {size: round(metres, 3) for size, metres in plan.metres.items()},
        "margin": round(plan.margin * 100, 6),
        "slack": round(plan.slack * 100, 6),
        "open": [finding_json(finding) for finding in plan.open],
        "findings": [finding_json(finding) for finding in wrong(plan)],
        "assumed": [*plan.assumed, *(plan.new.places if plan.new else ())],
        "new_supplies": None if plan.new is None else {
            "supplies": list(plan.new.names), "lower_bound": plan.new.bound,
            "proved": len(plan.new.names) <= plan.new.bound, "fewest_by_rule": plan.new.best,
            "cuts": [{"run": run, "pixel": pixel} for run, pixel in plan.new.cuts],
        },
    }  # fmt: skip
