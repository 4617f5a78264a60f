"""Proposals held against what hangs now: on which ports, what moves, why something is left over, what is proved."""

import random
from dataclasses import replace

import pytest
import tomli_w

from patcher.chains.instance import instance
from patcher.limits.refresh import PortTime
from patcher.offers import comparison
from patcher.offers.comparison import Comparison, Tally, beats, compared, tally
from patcher.offers.left_over import why_left_over
from patcher.propose.proposal import Proposal, propose
from patcher.wiring import Wiring
from rig.unhung_shows import Tables, hung, unhung, wiring_of


def of(tables: Tables, **given: object) -> Comparison:
    return compared(tomli_w.dumps(tables), wiring_of(tables), None, lambda name: [], **given)  # type: ignore[arg-type]


def hung_once(seed: int) -> Tables:
    """A show that hangs as once proposed, but with its chains on other ports of their boxes."""
    tables = unhung(seed, runs=7, boxes=2, ports=4, width=16.0)
    tables = hung(tables, propose(instance(wiring_of(tables)), "least cable").places)
    for box in tables["controller"].values():
        numbers = random.Random(seed).sample(range(1, 5), 4)
        box["port"] = {str(numbers[at]): chain for at, chain in enumerate(box.get("port", {}).values())}
    return tables


@pytest.mark.parametrize("seed", range(4))
def test_what_hangs_as_proposed_already_is_not_moved_to_another_port(seed: int) -> None:
    # Source: free ports of a box are all alike: whoever plugs leads over for nothing works for nothing
    tables = hung_once(seed)
    [offer] = of(tables, afresh=True, kinds=("least cable",), seconds=60.0).offers
    now, after = wiring_of(tables).chains, offer.rehung.wiring.chains
    whole = {frozenset(chain) for chain in now.values()} & {frozenset(chain) for chain in after.values()}
    for port, chain in now.items():
        if frozenset(chain) in whole:
            assert frozenset(after.get(port, ())) == frozenset(chain)
    assert offer.made.cost == pytest.approx(propose(instance(wiring_of(tables), afresh=True), "least cable").cost)


def test_a_run_moves_where_its_port_the_run_before_or_its_entry_changes() -> None:
    # Source: the two wirings themselves
    tables = hung_once(1)
    for offer in of(tables, afresh=True, seconds=60.0).offers:
        now, after = wiring_of(tables), offer.rehung.wiring

        def stands(wiring: Wiring, run: str) -> tuple[object, ...]:
            [(port, chain)] = [(port, chain) for port, chain in wiring.chains.items() if run in chain]
            before = chain[: chain.index(run)][-1:]
            entries = [getattr(wiring.show.runs[each], "data_in", None) for each in (run, *before)]
            return (before or port, entries)

        moved = {run for run in now.show.runs if stands(now, run) != stands(after, run)}
        assert set(offer.rehung.moved) == moved


def test_a_tally_counts_what_hangs() -> None:
    # Source: the same added up by hand
    tables = unhung(1, runs=3, boxes=2, ports=2)
    tables["controller"]["box-1"]["port"] = {"1": ["run-1", "run-2"]}
    tables["run"]["run-1"] |= {"lead": 2.5, "lead_via": "booster"}
    tables["run"]["run-2"] |= {"lead": 1.25}
    tables["run"]["run-3"] |= {"lead": 99.0}
    found = tally(wiring_of(tables))
    assert (found.runs, found.metres, found.boosters, found.differentials, found.boxes) == (2, 3.75, 1, 0, 1)
    assert found.slowest is not None
    pixels = sum(wiring_of(tables).show.runs[run].pixels for run in ("run-1", "run-2"))
    assert found.slowest.pixels == pixels


def test_which_of_two_wirings_is_better() -> None:
    # Source: a run that hangs counts most, then what the kind puts first, then metres, a booster as ten of them
    slow, fast = PortTime("box", 1, 500, 24.0), PortTime("box", 1, 300, 19.0)
    one = Tally(5, 40.0, 1, 0, 2, slow)
    every = ("fewest boxes", "least cable", "best frame rate")
    assert [beats(replace(one, metres=39.9), one, kind) for kind in every] == [True] * 3
    assert [beats(one, one, kind) for kind in every] == [False] * 3
    assert [beats(replace(one, metres=49.0, boosters=0), one, kind) for kind in every] == [True] * 3
    assert [beats(replace(one, metres=51.0, boosters=0), one, kind) for kind in every] == [False] * 3
    assert [beats(replace(one, boosters=0, differentials=1), one, kind) for kind in every] == [False] * 3
    assert [beats(replace(one, boxes=1, metres=90.0), one, kind) for kind in every] == [True, False, False]
    assert [beats(replace(one, slowest=fast, metres=90.0), one, kind) for kind in every] == [False, False, True]
    assert [beats(replace(one, runs=6, metres=90.0), one, kind) for kind in every] == [True] * 3
    assert [beats(replace(one, runs=4, metres=9.0), one, kind) for kind in every] == [False] * 3


REASONS = [
    ({"pixels": 1200}, {}, "take 36.3 ms: 27.5 frames a second, and the show plays 40"),
    ({"pixels": 1200}, {"port_pixels": 1000}, "the show plays 40; and a port takes 1000 pixels at most"),
    ({"pixels": 500}, {"port_pixels": 400}, "500 pixels, and the most that a port has room for is 400"),
    ({"pixels": 500}, {"universes": 2}, "no box has as many universes left"),
    ({"pixels": 500}, {"at": None}, "no box has a place"),
    ({"pixels": 700}, {}, "are full with other runs"),
]


@pytest.mark.parametrize(("run", "box", "why"), REASONS)
def test_why_a_run_is_left_over(run: Tables, box: Tables, why: str) -> None:
    # Source: the trade's rules, one at a time
    tables = unhung(1, runs=1, boxes=1, ports=1)
    tables["run"] = {"run-1": {"pixel": "bulb", "shape": "line", "path": [[0.0, 0.0], [9.0, 0.0]]} | run}
    tables["controller"]["box-1"] |= box
    tables["controller"]["box-1"] = {
        key: value for key, value in tables["controller"]["box-1"].items() if value is not None
    }
    if "port_pixels" not in box:
        tables["controller"]["box-1"].pop("port_pixels")
    says, then = why_left_over(instance(wiring_of(tables)), "run-1")
    assert why in says
    assert then


def test_nothing_is_given_up_for_want_of_time(monkeypatch: pytest.MonkeyPatch) -> None:
    # Source: the design: never worse than what the file had; here a search that found too little
    tables = hung_once(1)
    real = comparison.proposals

    def poor(*given: object, **more: object) -> list[Proposal]:
        return [
            replace(made, places=made.places[:-1], left_over=(made.places[-1].run,), proved=False, bound=0.0)
            for made in real(*given, **more)  # type: ignore[arg-type]
        ]

    monkeypatch.setattr(comparison, "proposals", poor)
    assert of(tables, afresh=True, seconds=60.0).offers == ()
    for box in tables["controller"].values():
        box["port"] = {}
    offers = of(tables, seconds=60.0).offers
    assert offers
    assert all("search longer" in then for offer in offers for _, then in offer.left_over.values())


def test_no_port_for_a_kind_of_pixels() -> None:
    # Source: one bit rate a line
    tables = unhung(1, runs=2, boxes=1, ports=1, kinds=("bulb", "quick"))
    tables["run"]["run-1"]["pixel"], tables["run"]["run-2"]["pixel"] = "bulb", "quick"
    tables["controller"]["box-1"]["port"] = {"1": ["run-1"]}
    says, _ = why_left_over(instance(wiring_of(tables)), "run-2")
    assert says == "no free port can take its kind of pixels"
