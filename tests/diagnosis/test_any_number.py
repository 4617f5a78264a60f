"""Numbers typed into a box that are off by any amount."""

import json

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.answers.witness import Witness
from patcher.diagnosis.any_number import with_counts
from patcher.diagnosis.case import Diagnosis
from patcher.errors import PatcherError
from patcher.faults import build, departure, parse
from patcher.placement.allocation import allocate
from patcher.wiring import port_name
from rig.by_hand import by_hand
from rig.examples import examples
from rig.heron_lock import HERON_LOCK, heron
from rig.in_process import run
from rig.shipped import wired

WIRING, PATCH, PLAN, _ = heron()


@examples(8, 40)
@given(st.sampled_from(sorted(WIRING.ports)), st.data())
def test_behind_a_cut_stands_every_number_of_pixels_that_looks_the_same(name: str, data: st.DataObject) -> None:
    # Judge: every number, tried one by one. Source: a reader whose box had 200 typed for 256, and who remade a joint
    cut = parse(f"cut:{name}/{data.draw(st.integers(1, WIRING.show.runs[name].pixels))}", WIRING)
    port = port_name(*WIRING.ports[name])
    dark = departure(PLAN, (cut,)).takes
    most = sum(WIRING.show.runs[one].pixels + WIRING.show.runs[one].nulls for one in WIRING.chains[WIRING.ports[name]])
    alike = []
    for short in range(1, most + 1):
        try:
            fault = parse(f"count:{port}={-short}", WIRING)
        except PatcherError:  # more than the port has
            break
        takes = departure(PLAN, (fault,)).takes
        if takes.keys() == dark.keys() and all(np.array_equal(takes[one], dark[one]) for one in takes):
            alike.append((fault,))
    found = with_counts(PLAN, ((cut,),))
    assert found[0] == (cut,)
    assert bool(alike) == (len(found) > 1)
    assert {*found[1:]} <= {*alike}


@pytest.mark.long
@pytest.mark.parametrize("short", [1, 37, 56, 120])
def test_a_number_of_pixels_that_is_too_low_by_any_amount_is_named(short: int, tmp_path) -> None:
    fault = f"count:lockhouse/1={-short}"
    ran = run(tmp_path, "diagnose", HERON_LOCK, "lockhouse/1", "--yard", "--fault", fault, "--json")
    assert fault in json.loads(ran.stdout)["same_look"]
    said = " ".join(run(tmp_path, "diagnose", HERON_LOCK, "lockhouse/1", "--yard", "--fault", fault).stdout.split())
    number = "First read the number of pixels of lockhouse/1 in its box", "type in the planned number of pixels"
    assert any(words in said for words in number)


TYPED = [
    "universe-shift:lockhouse=3", "channel-shift:lockhouse/1=7", "shift:eaves=7", "universe-shift:gatepost=-2",
    "universe-shift:lockhouse/1=4", "universe-shift:mooring=-29", "channel-shift:weir=60",
]  # fmt: skip


@pytest.mark.long
@pytest.mark.parametrize("fault", TYPED)
def test_a_number_that_is_off_by_any_amount_is_found(fault: str) -> None:
    # Source: two readers who typed a start far off, and were told of something else
    diagnosis = diagnosed(fault)
    assert diagnosis.sure
    assert (parse(fault, WIRING),) in diagnosis.same_look


@pytest.mark.long
@pytest.mark.parametrize("fault", ["universe-shift:box-a=3", "shift:a=9", "channel-shift:box-a/1=45"])
def test_a_number_that_is_off_by_any_amount_is_found_in_a_small_show(fault: str) -> None:
    # Source: the same readers
    wiring = wired(by_hand({"box-a": "a:30", "box-b": "b:20", "box-c": "c:20", "box-d": "d:20"}))
    patch = allocate(wiring).patch
    witness = Witness(wiring, patch, build(wiring, [parse(fault, wiring)]))
    diagnosis = Diagnosis.start(wiring, patch, "box-a")
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    assert diagnosis.sure
    assert (parse(fault, wiring),) in diagnosis.same_look


@pytest.mark.long
def test_another_start_s_address_is_found() -> None:
    # Common practice, no source: who types many starts takes one from the wrong line
    here, there = (PATCH.start_of(name) for name in ("gable", "towpath"))
    off = there.universe - here.universe, there.channel - here.channel
    assert off[0]
    assert off[1] == 0
    fault = f"universe-shift:lockhouse/1={off[0]}"
    assert (parse(fault, WIRING),) in diagnosed(fault).same_look


@pytest.mark.long
def test_what_no_number_explains_stays_something_else() -> None:
    # Three faults at once are none that is known
    diagnosis = diagnosed("shift:gable=1", "colour-order:eaves=BRG", "dark:window-left/3")
    assert diagnosis.something_else or not diagnosis.sure


def diagnosed(*texts: str) -> Diagnosis:
    """How a diagnosis of the box of a fault ends, before a yard with it."""
    faults = [parse(text, WIRING) for text in texts]
    place = faults[0].places[0].split("/")[0]
    box = WIRING.ports[place][0] if place in WIRING.ports else place
    diagnosis, witness = Diagnosis.start(WIRING, PATCH, box), Witness(WIRING, PATCH, build(WIRING, faults))
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    return diagnosis
