"""Leads and runs of two boxes in each other's place: thought of, named, and named before anything to type or to cut."""

from __future__ import annotations

import random
from itertools import combinations

import pytest

from patcher.answers.witness import Witness
from patcher.diagnosis.case import Diagnosis
from patcher.diagnosis.hypotheses import BOXES_OFF, likeliest_first, singles, weights
from patcher.faults import Fault, build, codes, departure, parse, planned
from patcher.patch.patch import Patch
from patcher.remedies.remedies import TYPED
from patcher.wiring import Wiring
from rig.any_show import any_show
from rig.examples import later
from rig.heron_lock import heron
from rig.shipped import laid

BY_HAND = ("swapped-ports", "swapped-runs", "swapped-with-leads")


def three_boxes() -> dict:
    """Boxes side by side, whose ports have as many pixels as another's, and others."""
    pixels = {"sill": 40, "porch": 24, "fence": 40, "pump": 24, "bench": 15, "shed": 31}
    chains = {"left": [["sill"], ["porch"]], "middle": [["fence"], ["pump", "bench"]], "right": [["shed"]]}
    return {
        "show": {"title": "Ferry stage"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {
            box: {
                "address": f"192.0.2.{number}", "ports": 4, "protocol": "artnet" if box == "middle" else "e131",
                "port": {str(port): chain for port, chain in enumerate(own, start=1)},
            } for number, (box, own) in enumerate(chains.items(), start=1)
        },
        "run": {
            run: {"pixel": "rgb", "shape": "line", "path": [[0.0, at], [count * 0.1, at]], "pixels": count}
            for at, (run, count) in enumerate(pixels.items())
        },
    }  # fmt: skip


def diagnosed(wiring: Wiring, patch: Patch, thing: str, text: str, seed: int = 0) -> Diagnosis:
    """The end of a diagnosis before the pixels of a yard with a fault."""
    witness = Witness(wiring, patch, build(wiring, [parse(text, wiring)]), seed=seed)
    diagnosis = Diagnosis.start(wiring, patch, thing)
    while (question := diagnosis.ask()) is not None:
        diagnosis.tell(witness.answer(question))
    return diagnosis


def hands_off(same: tuple[tuple[Fault, ...], ...], text: str) -> bool:
    """Whether a fault is named, and nothing that would be typed in again or cut open stands before it."""
    texts = [codes(faults) for faults in same]
    before = same[: texts.index(text)] if text in texts else same
    return text in texts and not any(fault.kind in (*TYPED, "cut") for faults in before for fault in faults)


# Source: found in use: of two leads in each other's socket a typing error was named, and a cut, both with certainty.
@pytest.mark.parametrize(
    ("thing", "text"),
    [
        ("sill", "swapped-ports:left/1,middle/1"),
        *later(
            ("middle/2", "swapped-ports:middle/2,right/1"), ("right/1", "swapped-ports:left/1,right/1"),
            ("sill", "swapped-ports:left/1,middle/2"), ("porch", "swapped-ports:left/2,middle/1"),
            ("left", "swapped-ports:left/2,right/1"),
            ("middle", "swapped-runs:pump,shed"), ("sill", "swapped-runs:sill,fence"),
            ("bench", "swapped-runs:porch,bench"),
        ),
    ],
)  # fmt: skip
def test_what_two_boxes_have_of_each_other_is_named(thing: str, text: str) -> None:
    wiring, patch = laid(three_boxes())
    diagnosis = diagnosed(wiring, patch, thing, text)
    plan = planned(wiring, patch)
    order = [text, *(f"{kind}:{','.join(parse(text, wiring).places[::-1])}" for kind in BY_HAND)]
    assert diagnosis.sure
    assert any(hands_off(diagnosis.same_look, one) for one in order)
    own = departure(plan, [parse(text, wiring)]).takes
    for faults in diagnosis.same_look:  # and nothing is said to look the same that does not
        takes = departure(plan, faults).takes
        assert takes.keys() == own.keys()
        assert all((takes[run] == own[run]).all() for run in own)


@pytest.mark.long
@pytest.mark.parametrize(
    ("thing", "text"),
    [("towpath", "swapped-ports:lockhouse/1,mooring/1"), ("gate-left", "swapped-ports:gatepost/1,mooring/3")],
)
def test_leads_of_two_boxes_are_named_on_heron_lock(thing: str, text: str) -> None:
    plan = heron()[2]
    assert hands_off(diagnosed(plan.wiring, plan.patch, thing, text).same_look, text)


@pytest.mark.long
@pytest.mark.parametrize("seed", range(8))
def test_leads_of_two_boxes_are_named_on_random_shows(seed: int) -> None:
    chance = random.Random(seed)
    tables = next(show for n in range(99) if len((show := any_show(seed + 100 * n, 30))["controller"]) > 1)
    wiring, patch = laid(tables)
    used = [port for port in wiring.chains if wiring.chains[port]]
    pairs = [(one, other) for one, other in combinations(used, 2) if one[0] != other[0]]
    one, other = chance.choice(pairs)
    diagnosis = diagnosed(wiring, patch, f"{one[0]}/{one[1]}", f"swapped-ports:{one[0]}/{one[1]},{other[0]}/{other[1]}")
    assert not diagnosis.something_else
    if diagnosis.sure:
        assert hands_off(diagnosis.same_look, f"swapped-ports:{one[0]}/{one[1]},{other[0]}/{other[1]}")


# Judge: every two used ports, and every two runs, of boxes that stand near each other, put down by hand.
@pytest.mark.parametrize("boxes", [2, 5, 6])
def test_every_two_leads_and_runs_of_boxes_nearby_are_thought_of_once(boxes: int) -> None:
    wiring, patch = laid(street(boxes, 3))
    plan = planned(wiring, patch)
    for box in range(boxes):
        thought = [str(fault) for fault, _ in singles(plan, [f"r{box}-2"], lambda run: ())]
        assert len(thought) == len({*thought})
        for other in range(boxes):
            near = 0 < abs(other - box) <= BOXES_OFF
            for port in (1, 2, 3) if other != box else ():
                low, high = sorted(((box, 2), (other, port)))
                leads = f"swapped-ports:b{low[0]}/{low[1]},b{high[0]}/{high[1]}"
                runs = {f"swapped-runs:r{box}-2,r{other}-{port}", f"swapped-runs:r{other}-{port},r{box}-2"}
                assert (leads in thought) is near
                assert len(runs & {*thought}) == near


def street(boxes: int, ports: int) -> dict:
    """Boxes in a row, each port of which has one run."""
    names = {box: {str(port): [f"r{box}-{port}"] for port in range(1, ports + 1)} for box in range(boxes)}
    return {
        "show": {"title": "Row"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {
            f"b{box}": {"address": f"192.0.2.{box + 1}", "ports": ports, "port": own} for box, own in names.items()
        },
        "run": {
            run[0]: {"pixel": "rgb", "pixels": 10 + 5 * (int(port) % 4)}
            for own in names.values() for port, run in own.items()
        },
    }  # fmt: skip


def test_what_is_thought_of_at_one_port_grows_with_the_ports_and_not_with_their_pairs() -> None:
    wiring, patch = laid(street(5, 16))
    found = [fault for fault, _ in singles(planned(wiring, patch), ["r2-7"], lambda run: ())]
    assert sum(fault.kind.startswith("swapped") for fault in found) <= 4 * 80


# Source: common practice: a look at two sockets comes before a number that is typed in again.
@pytest.mark.parametrize("seed", range(12))
def test_leads_are_named_before_starts_however_the_ports_lie(seed: int) -> None:
    chance = random.Random(seed)
    wiring, patch = laid(street(chance.randint(2, 5), chance.randint(1, 6)))
    plan, by_look = planned(wiring, patch), dict[bytes, list[tuple[Fault, ...]]]()
    every = [((fault,), differs.takes) for fault, differs in singles(plan, ["r1-1"], lambda run: ())]
    weight = dict(zip([faults for faults, _ in every], weights(wiring, [faults for faults, _ in every]), strict=True))
    for faults, takes in every:
        key = b"".join(takes.get(run, plan.takes[run]).tobytes() for run in wiring.show.runs)
        by_look.setdefault(key, []).append(faults)
    leads = 0
    for members in by_look.values():
        ordered = likeliest_first(wiring, sorted(members, key=weight.__getitem__, reverse=True))
        assert {*ordered} == {*members}
        texts = [codes(faults) for faults in ordered]
        two = [n for n, (fault,) in enumerate(ordered) if fault.kind == "swapped-ports" and _boxes(fault) == 2]
        typed = [n for n, (fault,) in enumerate(ordered) if fault.kind == "swapped-starts" and _boxes(fault) == 2]
        leads += bool(two and typed)
        assert not (two and typed) or max(two) < min(typed), texts
    assert leads


def _boxes(fault: Fault) -> int:
    return len({place.partition("/")[0] for place in fault.places})


@pytest.mark.parametrize("turned", [False, True])
@pytest.mark.parametrize("kind", BY_HAND[:2])
def test_a_swap_is_fixed_in_the_yard_in_whichever_order_its_two_are_written(kind: str, turned: bool) -> None:
    wiring, patch = laid(three_boxes())
    two = ["left/1", "middle/2"] if kind == "swapped-ports" else ["sill", "pump"]
    built, named = (parse(f"{kind}:{','.join(each)}", wiring) for each in (two, two[::-1] if turned else two))
    witness = Witness(wiring, patch, build(wiring, [built]), mends=True)
    assert witness.goes_on(wiring, [(named,)], ())
    assert witness.deed(writable=False) == "leave"
