"""Two hundred random shows that hang somehow, proposed anew: `check` has nothing against any proposal, none is worse
than what the file had, and what is said to be proved is what another solver finds.
"""

from __future__ import annotations

import copy
import random

import pytest

from patcher.chains.chains import route
from patcher.chains.instance import Instance, instance
from patcher.limits.findings import check
from patcher.limits.refresh import OFFERED, frame_ms
from patcher.propose.proposal import KINDS, Kind, Proposal, propose
from propose.cp_sat import least
from rig.shipped import wired
from rig.unhung_shows import Tables, hung, unhung, wiring_of

SHOWS, QUICK = 200, 24
LIMIT = 800


def somehow(seed: int) -> tuple[Tables, Tables]:
    """A show whose runs hang nowhere, and the same with its runs hung at random, no port too full."""
    chance = random.Random(seed)
    tables = unhung(seed, runs=chance.randint(2, 5), boxes=chance.randint(2, 3), ports=2, width=chance.uniform(5, 30))
    full = copy.deepcopy(tables)
    ports = [(box, port) for box in full["controller"] for port in (1, 2)]
    room = dict.fromkeys(ports, LIMIT)
    names = list(full["run"])
    chance.shuffle(names)
    for name in names:
        run = full["run"][name]
        pixels = run.get("pixels") or run["columns"] * run["rows"]
        box, port = chance.choice([each for each in ports if room[each] >= pixels])
        room[box, port] -= pixels
        full["controller"][box].setdefault("port", {}).setdefault(str(port), []).append(name)
        if run["shape"] == "line":
            run["data_in"] = chance.choice(("first", "last"))
    return tables, full


def rate(ms: float) -> int:
    """The highest rate that players offer which a port keeps up."""
    return max(each for each in OFFERED if ms <= 1000 / each)


def value(kind: Kind, boxes: int, ms: float, cm: int) -> tuple[int, int]:
    """What a kind of proposal makes small, and then the cable."""
    return {"fewest boxes": boxes, "least cable": 0, "best frame rate": -rate(ms)}[kind], cm


def before(given: Instance, kind: Kind) -> tuple[int, int]:
    """The value of what the file had."""
    routes = [route(given, outlet, stops) for outlet, stops in given.present]
    pixels = max(sum(given.runs[run].pixels for run, _ in each.stops) for each in routes)
    boxes = len({given.outlets[each.outlet].box for each in routes})
    return value(kind, boxes, frame_ms([(1, 3 * pixels)], 800_000, 300), sum(each.price for each in routes))


def of(made: Proposal) -> tuple[int, int]:
    """The value of a proposal."""
    return value(made.kind, made.boxes, made.frame_ms, round(made.cost * 100))


@pytest.mark.parametrize(
    "seed", [each if each < QUICK else pytest.param(each, marks=pytest.mark.long) for each in range(SHOWS)]
)
def test_a_proposal_passes_check_is_never_worse_and_is_the_best_where_proved(seed: int) -> None:
    # Source: the program's own check, the show file, and OR-Tools CP-SAT over single leads
    kind = KINDS[seed % len(KINDS)]
    tables, full = somehow(seed)
    given = instance(wiring_of(full), afresh=True)
    made = propose(given, kind, seconds=20)
    assert made.left_over == ()
    assert made.present is not None
    assert of(made) <= before(given, kind)
    findings = check(wired(hung(tables, made.places)))[1]
    assert [each for each in findings if each.severity != "note" and each.area != "power"] == []
    assert made.bound <= made.cost
    if made.proved:
        # 3 channels of 8 bits at 800 kHz are 30 µs a pixel, after 300 µs of quiet
        most = LIMIT if kind != "best frame rate" else min(LIMIT, int((1e6 / rate(made.frame_ms) - 300) / 30))
        boxes, cm = least(given, most, fewest_boxes=kind == "fewest boxes")
        assert (boxes or made.boxes, cm) == (made.boxes, round(made.cost * 100))


@pytest.mark.parametrize("seed", range(24))
def test_also_without_time_a_proposal_is_never_worse_than_what_the_file_had(seed: int) -> None:
    # Hung as proposed already, a plan that is begun anew would be worse more often than not.
    tables, _ = somehow(seed)
    kind = KINDS[seed % len(KINDS)]
    best = propose(instance(wiring_of(tables)), kind)
    given = instance(wiring_of(hung(tables, best.places)), afresh=True)
    made = propose(given, kind, seconds=0)
    assert made.present == best.cost
    assert of(made) == of(best)


def test_what_the_file_had_is_no_start_where_it_does_not_keep_the_rules() -> None:
    _, full = somehow(0)
    names = list(full["run"])
    for box in full["controller"].values():
        box.pop("port", None)
        box["port_pixels"] = 300
    full["controller"]["box-1"]["port"] = {"1": names}
    made = propose(instance(wiring_of(full), afresh=True), "least cable")
    assert made.present is None
    assert all(place.number < len(names) for place in made.places)
