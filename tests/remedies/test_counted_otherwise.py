"""What is said of a box whose page counts universes or channels from another number than the plan."""

from itertools import product

import pytest

from patcher.errors import PatcherError
from patcher.faults import departure, parse
from patcher.faults.sent import port_of
from patcher.remedies.remedies import remedy, start_far_off
from patcher.trade import CHANNELS
from patcher.wiring import port_name
from rig.heron_lock import HERON_LOCK, heron

WIRING, PATCH, PLAN, _ = heron()
SENT_TO = PATCH.universes[-1] * CHANNELS
FAR = 1000
"""So many universes up nothing of the shipped show is sent."""
# Source: ANSI E1.31-2018, 6.2.7: universes are 1 to 63 999; Art-Net 4, "Universe Addressing": Port-Addresses from 0 on
FIRST = {"e131": 1, "artnet": 0}
BOXES = sorted(name for name, box in WIRING.show.controllers.items() if not box.spare)


def causes(text: str) -> str:
    return " ".join(remedy(HERON_LOCK, WIRING, parse(text, WIRING)).causes)


@pytest.mark.parametrize(("box", "counts_from"), [*product(BOXES, (0, 1))])
def test_what_to_type_lands_on_the_planned_universe(box: str, counts_from: int) -> None:
    """Of a box whose page counts from 0 or from 1: typed as planned it is off, typed as the cause says it is right."""
    first = FIRST[WIRING.show.controllers[box].protocol]

    def on_the_wire(typed: int) -> int:
        return typed + first - counts_from

    planned = 7
    off = on_the_wire(planned) - planned
    if not off:
        return
    said = causes(f"universe-shift:{box}={off}")
    instead = planned - 1 if "type one less" in said else planned + 1 if "type one more" in said else None
    assert instead is not None
    assert on_the_wire(instead) == planned
    assert f"counts universes from {counts_from}" in said
    assert "counts universes" not in causes(f"universe-shift:{box}={-off}")


@pytest.mark.parametrize("off", [-3, -1, 1, 2, 3])
def test_a_box_that_counts_channels_from_0_is_one_too_high(off: int) -> None:
    assert ("counts channels from 0" in causes(f"channel-shift:lockhouse/1={off}")) == (off == 1)


def test_both_protocols_are_tried() -> None:
    assert {WIRING.show.controllers[box].protocol for box in BOXES} == set(FIRST)


DEAD = [*BOXES, *(port_name(*where) for where in WIRING.chains)]


@pytest.mark.parametrize("where", DEAD)
def test_a_dead_box_or_port_may_have_its_start_universe_far_off_where_it_has_one(where: str) -> None:
    # Source: a reader whose box listened to universes that nobody sends, and who was told to swap it. Whether a start
    # is its own: the fault is written so, and leaves all dark that a dead one leaves dark, and nothing else.
    dead = departure(PLAN, [parse(f"dead:{where}", WIRING)]).takes
    names = [where, *(WIRING.chains[port_of(where)] if "/" in where else ())]
    same = []
    for name in names:
        try:
            takes = departure(PLAN, [parse(f"universe-shift:{name}={FAR}", WIRING)]).takes
        except PatcherError:
            continue
        nothing = [(takes[run] < 0) | (takes[run] >= SENT_TO) for run in takes]
        same.append(takes.keys() == dead.keys() and all(own.all() for own in nothing))
    advice = remedy(HERON_LOCK, WIRING, parse(f"dead:{where}", WIRING))
    assert bool(start_far_off(WIRING, parse(f"dead:{where}", WIRING))) == any(same)
    assert ("start universe" in advice.says) == any(same)
    assert any("start universe" in cause for cause in advice.causes) == any(same)


def test_both_kinds_of_port_are_tried() -> None:
    named = [bool(start_far_off(WIRING, parse(f"dead:{where}", WIRING))) for where in DEAD if "/" in where]
    assert len({*named}) == 2


@pytest.mark.parametrize("fault", ["dark:eaves/3", "cut:eaves/1", "universe-shift:mooring=1"])
def test_no_other_fault_is_called_far_off(fault: str) -> None:
    assert not start_far_off(WIRING, parse(fault, WIRING))
