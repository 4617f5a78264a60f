"""A kept patch under pins and limits that bite, held by the judge of test_retention.

There a pin or a limit is one edit of many and seldom matters. Here the show is small and each limit is near what the
box needs, so that a choice that forgets it is wrong at once.
"""

import copy

import pytest
from hypothesis import HealthCheck, given
from hypothesis import strategies as st

from patcher.patch.chains import chains
from patcher.patch.changes import changed_boxes, start_changes
from patcher.patch.patch import Patch, Start
from patcher.placement.allocation import allocate
from rig import retention_oracle as oracle
from rig.examples import examples
from rig.retention_verdict import hold_against_the_judge, typed
from rig.shipped import wired

slow = [HealthCheck.too_slow, HealthCheck.data_too_large, HealthCheck.filter_too_much]
quick = examples(20, 40)

SIZES = st.one_of(st.integers(1, 170), st.integers(150, 360), st.sampled_from((1, 60, 85, 110, 170, 171, 340)))


def box(number: int, chains_: list[list[str]], **keys) -> dict:
    """A box with these chains on its ports."""
    ports = {str(port): chain for port, chain in enumerate(chains_, start=1)}
    return {"address": f"192.0.2.{number}", "ports": 9, "port": ports} | keys


@st.composite
def tight(draw, placement: str) -> tuple[dict, dict]:
    """A show, and the same with some lengths, ports and limits changed; each limit near what the box has."""
    sizes = {name: [draw(SIZES) for _ in range(draw(st.integers(1, 3)))] for name in ("ann", "bea")}
    gaps = {name: draw(st.booleans()) for name in sizes}
    tables = {
        "show": {"title": "tight", "first_universe": draw(st.sampled_from((1, 4))), "placement": placement},
        "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": {
            name: box(n, [[f"{name}-{port}"] for port in range(len(of))], consecutive=not gaps[name])
            for n, (name, of) in enumerate(sizes.items(), start=1)
        },
        "run": {
            f"{name}-{n}": {"pixel": "rgb", "pixels": size} for name, of in sizes.items() for n, size in enumerate(of)
        },
    }
    after = copy.deepcopy(tables)
    for run in draw(st.sets(st.sampled_from(sorted(after["run"])), max_size=2)):
        after["run"][run]["pixels"] = draw(SIZES)
    for name in sizes:
        draw_tie(draw, after, name)
    return tables, after


def draw_tie(draw, tables: dict, name: str) -> None:
    """One more port, or a pin, or a limit that is about what the box needs."""
    controller, show = tables["controller"][name], tables["show"]
    needs = sum(len(oracle.footprint((1, 1), c.widths)) for c in oracle.chains_of(tables) if c.box == name)
    first = show["first_universe"]
    match draw(st.sampled_from(("", "port", "universes", "universes", "first_universe", "first_universe", "start"))):
        case "port":
            controller["port"]["9"] = [f"{name}-new"]
            tables["run"][f"{name}-new"] = {"pixel": "rgb", "pixels": draw(SIZES)}
        case "universes":
            controller["universes"] = max(1, needs - draw(st.integers(-1, 2)))
        case "first_universe":
            controller["first_universe"] = max(1, first + draw(st.integers(-2, 5)))
        case "start" if show["placement"] != "follow":
            channel = 1 if show["placement"] == "fresh" else draw(st.sampled_from((1, 4, 181, 256, 331)))
            port = draw(st.sampled_from(sorted(controller["port"])))
            controller["start"] = {port: f"{max(1, first + draw(st.integers(-2, 5)))}/{channel}"}


@pytest.mark.many
@pytest.mark.parametrize("placement", ["fresh", "follow", "whole"])
def test_no_patch_changes_less_where_limits_bite(placement):
    # Judge: OR-Tools CP-SAT 9.15, on the model of retention_oracle.py
    @quick
    @given(tight(placement))
    def held(shows_):
        hold_against_the_judge(*shows_)

    held()


# --- by hand ------------------------------------------------------------------------------------------------------


def by_hand(controllers: dict, runs: dict[str, int], **keys) -> dict:
    """A show of RGB runs of so many pixels."""
    return {
        "show": {"title": "by hand", "placement": "fresh"} | keys,
        "pixel": {"rgb": {"colour_order": "RGB"}},
        "controller": controllers,
        "run": {name: {"pixel": "rgb", "pixels": pixels} for name, pixels in runs.items()},
    }


def typed_in(tables: dict, **places: str) -> Patch:
    """The patch of a show, each start typed in where it is said, in the order of the file."""
    found = []
    for chain, place in zip(chains(wired(tables)), places.values(), strict=True):
        universe, channel = map(int, place.split("/"))
        found.append(Start(chain, universe, channel))
    return Patch(tuple(found))


def places(patch: Patch) -> list[str]:
    return [f"{start.universe}/{start.channel}" for start in patch.starts]


def test_any_start_of_a_pinned_box_may_be_its_first() -> None:
    # Source: the design: pins hold. By hand: bea has 8 and 9, so of ann's starts only the short one
    # can begin the box in 7; the long one lies anywhere behind.
    tables = by_hand(
        {"ann": box(1, [["a"], ["b"]], consecutive=False), "bea": box(2, [["c"], ["d"]])},
        {"a": 16, "b": 170, "c": 151, "d": 163},
        first_universe=4,
    )
    kept = typed_in(tables, a="4/1", b="5/1", c="6/1", d="7/1")
    tables["controller"]["ann"]["first_universe"] = 7
    tables["controller"]["bea"]["first_universe"] = 8
    tables["run"]["a"]["pixels"] = 185
    assert places(allocate(wired(tables), kept).patch)[1] == "7/1"
    hold_against_the_judge_kept(tables, kept)


def test_a_box_gives_up_its_middle_universe_where_that_keeps_one_start_more() -> None:
    # Source: the design: as few changes as can be; ann is pinned to 3; bea keeps what it has in 2.
    tables = by_hand(
        {"ann": box(1, [["a"]]), "bea": box(2, [["b"], ["c"], ["d"]])},
        {"a": 1, "b": 86, "c": 85, "d": 1},
        placement="whole",
    )
    kept = typed_in(tables, a="1/1", b="2/1", c="3/1", d="3/256")
    tables["controller"]["ann"]["first_universe"] = 3
    found = places(allocate(wired(tables), kept).patch)
    assert found[:3] == ["3/1", "2/1", "1/1"]
    hold_against_the_judge_kept(tables, kept)


def test_a_long_start_ends_in_the_free_front_of_a_universe_the_box_has() -> None:
    # Source: the design: 214 pixels touch two universes, and 85 are free before the pin in 2.
    tables = by_hand({"ann": box(1, [["a"], ["b"]], consecutive=False)}, {"a": 133, "b": 214}, placement="whole")
    kept = typed_in(tables, a="1/1", b="5/1")
    tables["controller"]["ann"]["start"] = {"1": "2/256"}
    tables["run"]["b"]["pixels"] = 215
    hold_against_the_judge_kept(tables, kept)


def hold_against_the_judge_kept(tables: dict, kept: Patch) -> None:
    verdict = oracle.judge(tables, typed(kept))
    assert verdict is not None
    now = typed(allocate(wired(tables), kept).patch)
    assert oracle.breaks(tables, now) == []
    # Judge: OR-Tools CP-SAT 9.15, on the model of retention_oracle.py
    assert oracle.cost(tables, typed(kept), now) == verdict[0], f"for example {verdict[1]}"


def test_no_box_is_laid_below_the_first_universe() -> None:
    # Source: the design: first_universe: where the patch begins; by hand: the new start has no room
    # behind, and none before, so the whole box moves.
    tables = by_hand({"ann": box(1, [["a"]]), "bea": box(2, [["b"]])}, {"a": 100, "b": 100}, first_universe=5)
    kept = typed_in(tables, a="5/1", b="6/1")
    tables["controller"]["ann"]["port"]["2"] = ["c"]
    tables["run"]["c"] = {"pixel": "rgb", "pixels": 9}
    assert places(allocate(wired(tables), kept).patch) == ["7/1", "8/1", "6/1"]
    # What lies lower already may stay there, and what grew in it too.
    tables["show"]["first_universe"] = 40
    del tables["controller"]["ann"]["port"]["2"], tables["run"]["c"]
    kept = typed_in(tables, a="5/1", b="9/1")
    tables["controller"]["ann"]["port"]["2"] = ["c"]
    tables["run"]["c"] = {"pixel": "rgb", "pixels": 9}
    assert places(allocate(wired(tables), kept).patch) == ["5/1", "6/1", "9/1"]


@pytest.mark.parametrize("placement", ["fresh", "whole"])
def test_what_grew_may_begin_where_it_began_below_a_later_first_universe(placement) -> None:
    # Source: the design: last year's addresses must not move; by hand: behind a there is room
    tables = by_hand({"ann": box(1, [["a"], ["b"]])}, {"a": 170, "b": 20}, placement=placement)
    kept = typed_in(tables, a="5/1", b="6/1")
    tables["show"]["first_universe"] = 40
    tables["run"]["a"]["pixels"] = 169
    assert places(allocate(wired(tables), kept).patch)[0] == "5/1"


def test_a_start_at_home_is_worth_more_than_a_longer_one_that_begins_where_it_began() -> None:
    # Source: the design: a box's settings are its starts with their pixel counts: the longer one is retyped
    # in any case. By hand: it takes 3 and 4, or leaves 4 to b and goes behind.
    tables = by_hand({"ann": box(1, [["a"], ["b"]])}, {"a": 100, "b": 100}, first_universe=3)
    kept = typed_in(tables, a="3/1", b="4/1")
    tables["run"]["a"]["pixels"] = 200
    assert places(allocate(wired(tables), kept).patch) == ["5/1", "4/1"]
    hold_against_the_judge_kept(tables, kept)


@pytest.mark.parametrize("gaps", [False, True])
def test_a_limit_of_universes_moves_only_what_it_must(gaps) -> None:
    # Source: the design: universes: most universes it listens to; by hand: 100 + 60 pixels fit into one
    tables = by_hand({"ann": box(1, [["a"], ["b"]], consecutive=not gaps)}, {"a": 100, "b": 60}, placement="whole")
    kept = typed_in(tables, a="3/1", b="4/1")
    tables["controller"]["ann"]["universes"] = 1
    assert places(allocate(wired(tables), kept).patch) in (["3/1", "3/301"], ["4/181", "4/1"])
    hold_against_the_judge_kept(tables, kept)


def test_a_new_start_bridges_the_gap_between_those_that_stay() -> None:
    # Source: the design: `consecutive`: no gap; by hand: b is gone from 4, so d goes there, though there is
    # room right behind a.
    runs = {"a": 100, "b": 170, "c": 100}
    tables = by_hand({"ann": box(1, [["a"], ["b"], ["c"]])}, runs, placement="whole")
    kept = typed_in(tables, a="3/1", b="4/1", c="5/1")
    tables["controller"]["ann"]["port"] = {"1": ["a"], "3": ["c"], "4": ["d"]}
    tables["run"] = {name: {"pixel": "rgb", "pixels": pixels} for name, pixels in (("a", 100), ("c", 100), ("d", 20))}
    assert places(allocate(wired(tables), kept).patch) == ["3/1", "5/1", "4/1"]
    hold_against_the_judge_kept(tables, kept)


def test_a_new_box_is_laid_in_the_order_that_takes_the_fewest_universes() -> None:
    # Source: the design: the fewest distinct universes; by hand: 100 + 70 pixels twice
    tables = by_hand({"ann": box(1, [["a"]])}, {"a": 20}, placement="whole")
    kept = typed_in(tables, a="3/1")
    tables["controller"]["bea"] = box(2, [["b"], ["c"], ["d"], ["e"]])
    tables["run"] |= {name: {"pixel": "rgb", "pixels": n} for name, n in zip("bcde", (100, 100, 70, 70), strict=True)}
    assert allocate(wired(tables), kept).patch.universe_count == 3
    hold_against_the_judge_kept(tables, kept)


def test_a_pinned_box_with_gaps_begins_where_it_is_pinned() -> None:
    # Source: the design: pins hold; by hand: all of it lies from 9 on, though 1 to 8 are free.
    tables = by_hand({"ann": box(1, [["a"], ["b"], ["c"]], consecutive=False)}, dict.fromkeys("abc", 100))
    kept = typed_in(tables, a="1/1", b="2/1", c="3/1")
    tables["controller"]["ann"]["first_universe"] = 9
    found = allocate(wired(tables), kept).patch
    assert min(start.universe for start in found.starts) == 9
    # Pinned below where it lay, only what must begin it moves.
    tables["controller"]["ann"]["first_universe"] = 3
    kept = typed_in(tables, a="10/1", b="12/1", c="14/1")
    found = places(allocate(wired(tables), kept).patch)
    assert "3/1" in found
    assert len({"10/1", "12/1", "14/1"} & set(found)) == 2


def test_no_box_is_laid_behind_the_last_universe_of_its_protocol() -> None:
    # Source: Art-Net 4: a 15-bit Port-Address; by hand: behind 32767 there is none
    tables = by_hand({"ann": box(1, [["a"]], protocol="artnet")}, {"a": 170}, placement="whole")
    kept = typed_in(tables, a="32767/1")
    tables["controller"]["ann"]["port"]["2"] = ["b"]
    tables["run"]["b"] = {"pixel": "rgb", "pixels": 100}
    assert places(allocate(wired(tables), kept).patch) == ["32767/1", "32766/1"]


def test_a_renamed_box_keeps_its_addresses() -> None:
    # Source: the design: what counts as a box's settings is its list of starts: its name is not typed in.
    tables = by_hand({"ann": box(1, [["a"]]), "bea": box(2, [["b"]])}, {"a": 100, "b": 100})
    kept = typed_in(tables, a="20/1", b="30/1")
    tables["controller"] = {"ann": tables["controller"]["ann"], "cis": tables["controller"]["bea"]}
    assert places(allocate(wired(tables), kept).patch) == ["20/1", "30/1"]
    tables["run"]["b"]["pixels"] = 99  # with other runs it is another box
    assert places(allocate(wired(tables), kept).patch)[0] == "20/1"


def test_a_renamed_run_keeps_its_start_though_another_of_its_port_grew() -> None:
    # Source: the design: a box's settings are its starts with their pixel counts; a name is none of them.
    tables = by_hand({"ann": box(1, [["a", "b", "c"]], start_per="run")}, {"a": 50, "b": 60, "c": 70})
    kept = typed_in(tables, a="3/1", b="4/1", c="5/1")
    tables["controller"]["ann"]["port"]["1"] = ["new", "b", "c"]
    tables["run"] = {"new": tables["run"]["a"], "b": tables["run"]["b"], "c": {"pixel": "rgb", "pixels": 80}}
    assert places(allocate(wired(tables), kept).patch) == ["3/1", "4/1", "5/1"]


def test_of_two_equal_starts_each_keeps_its_own_place() -> None:
    # Source: the design: the starts of a box, with their names; by hand: a is gone, b and c are as they were
    tables = by_hand({"ann": box(1, [["a", "b", "c"]], start_per="run")}, {"a": 50, "b": 50, "c": 50})
    kept = typed_in(tables, a="3/1", b="4/1", c="5/1")
    tables["controller"]["ann"]["port"]["1"] = ["b", "c"]
    del tables["run"]["a"]
    assert places(allocate(wired(tables), kept).patch) == ["4/1", "5/1"]


def test_a_box_on_channels_given_twice_stays_and_is_named() -> None:
    # Source: the design: it is kept; which of two starts on one channel is wrong, only the boxes know.
    tables = by_hand({"ann": box(1, [["a"]]), "bea": box(2, [["b"]]), "cis": box(3, [["c"]])}, dict.fromkeys("abc", 50))
    kept = typed_in(tables, a="1/1", b="1/31", c="7/1")
    tables["run"]["c"]["pixels"] = 60
    made = allocate(wired(tables), kept)
    assert places(made.patch) == ["1/1", "1/31", "7/1"]
    assert {fault.where.split(".")[1] for fault in made.faults} <= {"ann", "bea"}
    assert "overlap" in {fault.rule for fault in made.faults}


def test_what_is_not_proved_is_not_said_to_be() -> None:
    # Source: the design: lower_bound, proved. By hand: both runs fit into one universe, but stay in two; of a box
    # with nine starts not every order is tried, and where controllers share universes none is.
    tables = by_hand({"ann": box(1, [["a"], ["b"]], consecutive=False)}, {"a": 20, "b": 20}, placement="whole")
    made = allocate(wired(tables), typed_in(tables, a="5/1", b="9/1"))
    assert (made.patch.universe_count, made.lower_bound, made.proved, made.excess) == (2, 1, False, 0)
    names = "abcdefghi"
    tables = by_hand(
        {"ann": box(1, [[name] for name in names]), "bea": box(2, [["x"]])}, dict.fromkeys([*names, "x"], 10)
    )
    tables["controller"]["ann"]["ports"] = 10
    kept = typed_in(tables, **{name: f"{universe}/1" for universe, name in enumerate(names, start=1)}, x="10/1")
    assert allocate(wired(tables), kept).excess == 0
    tables["controller"]["ann"]["port"]["10"] = ["new"]
    tables["run"]["new"] = {"pixel": "rgb", "pixels": 10}
    assert allocate(wired(tables), kept).excess == 0  # bea leaves no room for the tenth: all nine must move
    # By hand: the fifth grows to two universes behind the ninth, which takes its place: one other start moves. Where
    # the starts that stay keep their order, four do, and that fewer might is said.
    tables = by_hand({"ann": box(1, [[name] for name in names])}, dict.fromkeys(names, 10))
    tables["controller"]["ann"]["ports"] = 10
    kept = typed_in(tables, **{name: f"{universe}/1" for universe, name in enumerate(names, start=1)})
    tables["run"]["e"]["pixels"] = 171
    assert allocate(wired(tables), kept).excess == 4
    tables = by_hand({"ann": box(1, [["a"], ["b"]])}, {"a": 20, "b": 20}, share_universes=True)
    kept = typed_in(tables, a="5/1", b="6/1")
    tables["controller"]["ann"]["first_universe"] = 6
    assert allocate(wired(tables), kept).excess == 1


def test_a_run_on_another_port_is_typed_anew() -> None:
    # Source: the design: `changed` names the boxes whose list of starts, with their pixel counts, differs.
    tables = by_hand({"ann": box(1, [["a"]]), "bea": box(2, [["b"]])}, {"a": 50, "b": 50})
    kept = typed_in(tables, a="3/1", b="4/1")
    tables["controller"]["ann"]["port"] = {"2": ["a"]}
    found = allocate(wired(tables), kept).patch
    assert changed_boxes(kept, found) == ["ann"]
    changes = [(change.name, change.new is None) for change in start_changes(kept, found)]
    assert changes == [("ann/2", False), ("ann/1", True)]


@pytest.mark.parametrize("share", [False, True])
@pytest.mark.parametrize("placement", ["fresh", "whole"])
@quick
@given(
    st.lists(st.integers(1, 300), min_size=2, max_size=4),
    st.integers(1, 90),
    st.lists(st.integers(1, 200), min_size=1, max_size=2),
    st.booleans(),
)
def test_pixels_stay_free_behind_what_is_laid_anew_beside_a_kept_patch(placement, share, sizes, spare, added, own):
    # Source: the pixels of next year's longer run must find their channels free; laid by the judge's pencil.
    names = [f"run-{n}" for n in range(len(sizes))]
    boxes = {f"box-{n}": box(n, [[name]], consecutive=False) for n, name in enumerate(names, start=1)}
    tables = by_hand(boxes, dict(zip(names, sizes, strict=True)), placement=placement, share_universes=share)
    kept = allocate(wired(tables)).patch
    for number, pixels in enumerate(added, start=7):
        tables["run"][f"new-{number}"] = {"pixel": "rgb", "pixels": pixels}
        if own:
            tables["controller"][f"box-{number}"] = box(number, [[f"new-{number}"]], consecutive=False)
        else:
            tables["controller"]["box-1"]["port"][str(number)] = [f"new-{number}"]
    patch = allocate(wired(tables), kept, spare_pixels=spare).patch
    held: dict[tuple[int, int], str] = {}
    for start in patch.starts:
        room = 0 if start.chain.links[0].run in names else spare
        pixels = (3,) * (start.chain.pixels + room)
        for universe, first, last in oracle.footprint((start.universe, start.channel), pixels):
            for channel in range(first, last + 1):
                assert held.setdefault((universe, channel), start.chain.name) == start.chain.name


def test_a_box_grows_to_the_left_where_the_right_is_held() -> None:
    # By hand: b stays on 5/1 before bea's 6; two runs of 100 fit into no universe together, nor beside b: 3 and 4.
    tables = by_hand({"ann": box(1, [["b"]]), "bea": box(2, [["x"]])}, {"b": 100, "x": 100}, placement="whole")
    kept = typed_in(tables, b="5/1", x="6/1")
    tables["controller"]["ann"] = box(1, [["b"], ["m"], ["n"]])
    tables["run"] |= {name: {"pixel": "rgb", "pixels": 100} for name in ("m", "n")}
    found = allocate(wired(tables), kept)
    assert sorted(places(found.patch)) == ["3/1", "4/1", "5/1", "6/1"]
    assert (places(found.patch)[0], found.excess) == ("5/1", 0)


def test_a_box_does_not_grow_past_the_end_of_its_protocol() -> None:
    # Source: Art-Net 4: a 15-bit Port-Address, so 32767 is the last. By hand: the other box stays all the same.
    boxes = {"ann": box(1, [["a"]], protocol="artnet"), "bea": box(2, [["x"]])}
    tables = by_hand(boxes, {"a": 100, "x": 100}, placement="whole")
    kept = typed_in(tables, a="32767/1", x="7/1")
    tables["run"]["a"]["pixels"] = 171
    grown, other = allocate(wired(tables), kept).patch.starts
    assert grown.universes[-1] <= 32_767
    assert (other.universe, other.channel) == (7, 1)
