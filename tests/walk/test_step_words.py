"""Where a step says to look: the runs that it names are those that light, and those it calls dark are sent nothing."""

from __future__ import annotations

import random
import re

import pytest

from patcher.faults import planned
from patcher.frames.levels import levels
from patcher.phone.desk import Desk, PhoneScreen
from patcher.phone.walk_thread import WalkThread
from patcher.trade import CHANNELS
from patcher.walk.items import items
from patcher.walk.round_plan import plan
from patcher.walk.step import Step
from rig.any_show import any_show
from rig.examples import seeds
from rig.heron_lock import HERON_LOCK, heron
from rig.phones import plan_of
from rig.shipped import laid


def words(text: str, begin: str, end: str) -> set[str]:
    """The names in a sentence between two words."""
    found = re.search(f"{begin}(.*?){end}", text)
    return set(filter(None, re.split(r", | and ", found[1]))) if found else set()


# Judge: the slots that are sent, and which of them each run's pixels take as planned.
@pytest.mark.parametrize("seed", seeds(8, 60))
def test_a_step_for_colours_names_what_lights_and_what_stays_dark(seed: int) -> None:
    # Source: found in use: "everything" was to be looked over while runs were dark on purpose
    chance, (wiring, patch) = random.Random(seed), laid(any_show(seed, 20))
    takes, every = planned(wiring, patch).takes, items(wiring)
    wanted = [item for item in every if chance.random() < 0.6] or list(every)
    for whole in plan(wiring, wanted):
        things = [subject.thing for subject in whole.subjects]
        for step in (whole, whole.only(chance.sample(things, chance.randint(1, len(things))), wiring)):
            if not step.name.startswith("colours"):
                continue
            lit = set[str]()
            for look in step.looks:
                sent = levels(look, wiring, patch, patch.universes, 1.0)
                on = {
                    (universe - 1) * CHANNELS + channel
                    for row, universe in enumerate(sent.universes) for channel in sent.slots[row].nonzero()[0].tolist()
                }  # fmt: skip
                lit |= {run for run, own in takes.items() if not on.isdisjoint(own.ravel().tolist())}
            here = {run for run in takes if wiring.ports[run][0] == step.box and wiring.show.runs[run].hung}
            meant = [subject.thing for subject in step.subjects]
            if step.where.startswith("Look over everything"):
                assert lit == here == {*meant}
                assert all(name in step.where for name in meant[:8])
                continue
            assert words(step.where, "Look over ", ", on ") == {*meant}
            assert words(step.where, r"colour\. ", r" lights? too") == lit - {*meant}
            unlit = words(re.sub(r"^.*(colour| too)\. ", "", step.where), "", r" stays? dark")
            assert unlit == here - lit


@pytest.mark.parametrize("seed", seeds(4, 30))
def test_a_step_for_ports_does_not_call_some_of_them_everything(seed: int) -> None:
    wiring, _ = laid(any_show(seed, 20))
    every = items(wiring)
    for whole in plan(wiring, every):
        things = [subject.thing for subject in whole.subjects]
        for step in [whole, whole.only(things[:1], wiring)] if whole.name.startswith("ports") else []:
            own = [subject.thing for subject in step.subjects]
            ports = {item.thing for item in every if item.what == "identity"}
            all_of_it = {*own} == {port for port in ports if port.startswith(f"{step.box}/")}
            assert ("everything" in step.where) is all_of_it
            assert all_of_it or all(port in step.where for port in own)


def test_the_phone_shows_the_names_of_the_runs_that_are_meant() -> None:
    # Source: found in use: the phone's step had a line of colour and no name
    wiring, _, _, steps = heron()
    whole = next(step for step in steps if step.name == "colours lockhouse")
    step = whole.only(["eaves"], wiring)
    asked = shown_on_the_phone(step)
    assert "eaves, on lockhouse" in " ".join(asked)
    assert "gable, window-left and window-right stay dark on purpose" in " ".join(asked)
    assert "gable, eaves, window-left, window-right" in " ".join(shown_on_the_phone(whole))


def shown_on_the_phone(step: Step) -> tuple[str, ...]:
    """What the page asks of a step."""
    plan_ = plan_of(HERON_LOCK)
    walks, found = WalkThread(Desk(plan_, 60.0), lambda number: plan_), list[PhoneScreen]()
    walks._asked = found.append  # type: ignore[method-assign, assignment]  (nobody answers)
    sent = [levels(look, plan_.wiring, plan_.patch, plan_.patch.universes, 0.3) for look in step.looks]
    assert walks.step(step, sent).word == "stop"
    return found[0].asks
