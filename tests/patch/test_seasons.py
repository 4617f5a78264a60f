"""From one season to the next, as a person does it: `patch`, `diff`, `adopt`, and patch files meddled with."""

import json
import shlex
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st

from patcher.limits.findings import check
from patcher.patch.changes import run_changes, start_changes
from patcher.patch.patch import first_fit
from patcher.patch.patch_file import patch_path, read_patch
from patcher.placement.allocation import allocate
from patcher.placement.explanation import part_empty, savings
from rig.by_hand import by_hand, starts, typed_in
from rig.examples import examples
from rig.retention_oracle import footprint
from rig.shipped import Patcher, wired

# --- diff ---------------------------------------------------------------------------------------------------------


def test_diff_says_what_patch_then_does_and_writes_nothing(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: `diff` says what a new patch would change, box by box and run by run; writes nothing.
    assert here("patch", heron_lock).returncode == 0
    old = read_patch(heron_lock)
    before = patch_path(heron_lock).read_bytes()
    text = heron_lock.read_text(encoding="utf-8")
    heron_lock.write_text(text.replace("pixels = 89\n", "pixels = 120\n").replace("pixels = 58\n", "pixels = 60\n"))
    told = json.loads(here("diff", heron_lock, "--json").stdout)
    assert patch_path(heron_lock).read_bytes() == before
    made = json.loads(here("patch", heron_lock, "--json").stdout)
    new = read_patch(heron_lock)
    assert old is not None
    assert new is not None
    assert {one["controller"] for one in told["starts"]} == set(made["changed"]) == {"lockhouse", "weirside"}
    assert {one["run"] for one in told["runs"]} == set(made["moved_runs"])
    # Each line of the difference, worked out from the two patch files alone.
    typed = [{start.chain.name: (start.universe, start.channel, start.chain.pixels) for start in patch.starts}
             for patch in (old, new)]  # fmt: skip
    keys = ("universe", "channel", "pixels")
    assert {
        one["start"]: tuple({key: one[age][key] for key in keys} for age in ("old", "new")) for one in told["starts"]
    } == {
        name: tuple(dict(zip(keys, now[name], strict=True)) for now in typed)
        for name in typed[1]
        if typed[0][name] != typed[1][name]
    }
    assert "No start address changed" in here("diff", heron_lock).stdout


def test_what_goes_and_what_is_renamed_is_said_as_such() -> None:
    # Source: the design: a box's settings are its starts with their pixel counts; a rename is none.
    old = allocate(wired(by_hand({"near": "a:50 b:60", "far": "c:70"}))).patch
    new = allocate(wired(by_hand({"near": "a2:50 b:61"})), old).patch
    assert [(c.name, c.old is None, c.new is None) for c in start_changes(old, new)] == [
        ("near/2", False, False), ("far/1", False, True),
    ]  # fmt: skip
    assert [(c.run, c.old is None, c.new is None) for c in run_changes(old, new)] == [
        ("b", False, False), ("c", False, True),
    ]  # fmt: skip


# --- what must not be overwritten ---------------------------------------------------------------------------------


@pytest.mark.parametrize("meddled", ["half", "conflict", "cut line", "start taken out", "not TOML"])
def test_a_patch_file_that_cannot_be_read_is_named_and_left(meddled: str, heron_lock: Path, here: Patcher) -> None:
    # Source: the design: written whole or not at all; when it exists, it is kept.
    assert here("patch", heron_lock).returncode == 0
    path = patch_path(heron_lock)
    good = path.read_text(encoding="utf-8")
    lines = good.splitlines(keepends=True)
    bad = {
        "half": "".join(lines[: len(lines) // 2]),
        "conflict": f"<<<<<<< ours\n{good}=======\n{good}>>>>>>> theirs\n",
        "cut line": good[: len(good) // 2],
        "start taken out": "".join(line for line in lines if 'start = "31/1"' not in line),
        "not TOML": good.replace("[controller", "[[controller", 1),
    }[meddled]
    assert bad != good
    path.write_text(bad, encoding="utf-8")
    for command in ("patch", "diff", "where"):
        ran = here(command, heron_lock, *(["gable/1"] if command == "where" else []))
        assert ran.returncode == 2, ran.stdout
        assert path.name in ran.stderr
        assert path.read_text(encoding="utf-8") == bad
    assert path.name in here("check", heron_lock).stdout
    assert here("patch", heron_lock, "--fresh").returncode == 0
    assert path.read_text(encoding="utf-8") == good


@pytest.mark.parametrize("ending", ["\r\n", "no newline", "blank lines"])
def test_what_editors_do_to_line_ends_is_no_damage(ending: str, heron_lock: Path, here: Patcher) -> None:
    # Source: TOML 1.0, Spec: a newline is LF or CRLF.
    assert here("patch", heron_lock).returncode == 0
    path = patch_path(heron_lock)
    good = path.read_text(encoding="utf-8")
    edited = {"\r\n": good.replace("\n", "\r\n"), "no newline": good.rstrip(), "blank lines": good + "\n\n"}[ending]
    path.write_bytes(edited.encode())
    ran = here("patch", heron_lock)
    assert ran.returncode == 0, ran.stderr
    assert "no start address changed" in ran.stdout


# --- a table of one's own, afterwards -----------------------------------------------------------------------------

OVERLAPPING = """\
box,port,run,universe,channel,pixels
lockhouse,1,gable,1,1,89
lockhouse,2,window-left,1,499,52
gatepost,1,gate-left,2,300,560
"""


def test_adopted_addresses_are_kept_even_where_they_break_a_rule(heron_lock: Path, here: Patcher) -> None:
    # Source: the old table is the truth about the boxes; which of two starts on one channel is right, only they know.
    table = heron_lock.with_name("table.csv")
    table.write_text(OVERLAPPING)
    assert here("adopt", heron_lock, table).returncode == 1
    checked = here("check", heron_lock)
    assert checked.returncode == 1
    assert "[overlap]" in checked.stdout
    ran = here("patch", heron_lock)
    assert ran.returncode == 1
    assert "controller.gatepost.start.gatepost" in ran.stderr
    assert "[overlap]" in ran.stderr
    kept = read_patch(heron_lock)
    assert kept is not None
    wanted = {"lockhouse/1": "1/1", "lockhouse/2": "1/499", "gatepost": "2/300"}
    assert {name: place for name, place in starts(kept).items() if name in wanted} == wanted
    assert "[overlap]" in here("check", heron_lock).stdout
    told = here("diff", heron_lock)
    assert told.returncode == 1
    assert "[overlap]" in told.stderr
    # Mended by a pin: the box that is pinned moves, the other stays.
    text = heron_lock.read_text(encoding="utf-8")
    pin = '[controller.gatepost.start]\ngatepost = "3/1"\n\n[controller.gatepost.port]'
    heron_lock.write_text(text.replace("[controller.gatepost.port]", pin), encoding="utf-8")
    assert here("patch", heron_lock).returncode == 0
    kept = read_patch(heron_lock)
    assert kept is not None
    assert starts(kept)["gatepost"] == "3/1"
    assert starts(kept)["lockhouse/2"] == "1/499"


@pytest.mark.parametrize("share", [False, True])
def test_channels_given_twice_stay_while_others_are_laid(share: bool) -> None:
    # Source: the old table is the truth about the boxes; nobody else is laid on what they hold.
    old = typed_in(by_hand({"near": "a:50", "far": "b:60"}), "1/1 1/100")
    kept = allocate(wired(by_hand({"near": "a:50", "far": "b:60", "new": "c:100"}, share_universes=share)), old)
    assert starts(kept.patch) == {"near/1": "1/1", "far/1": "1/100", "new/1": "2/1"}
    assert [fault.rule for fault in kept.faults] == ["overlap"]
    tables = by_hand({"near": "a:50", "far": "b:60"}, share_universes=share)
    _, found = check(wired(tables), typed_in(tables, "1/1 1/100"))
    assert [finding.rule for finding in found].count("overlap") == 1, "what both patches break is said once"


def test_adopted_addresses_off_the_placement_stay_when_another_run_grows() -> None:
    # Source: the design: last year's addresses must not move; `fresh` says where a start falls anew.
    old = allocate(wired(by_hand({"near": "a:50 b:50 c:50"}, placement="follow"))).patch
    assert starts(old) == {"near/1": "1/1", "near/2": "1/151", "near/3": "1/301"}
    assert starts(allocate(wired(by_hand({"near": "a:50 b:50 c:60"})), old).patch) == starts(old)
    # no room before b: it alone moves
    assert starts(allocate(wired(by_hand({"near": "a:60 b:50 c:60"})), old).patch) == starts(old) | {"near/1": "2/1"}


# --- pixels kept free ---------------------------------------------------------------------------------------------


@examples(10, 40)
@given(
    st.lists(st.integers(1, 400), min_size=1, max_size=5),
    st.integers(1, 200),
    st.sampled_from(("fresh", "whole")),
    st.booleans(),
)
def test_spare_pixels_stay_free_behind_every_start(lengths, spare, placement, share) -> None:
    # Source: the pixels of next year's longer run must find their channels free: laid by the judge's own pencil.
    boxes = {f"box-{n}": f"run-{n}:{length}" for n, length in enumerate(lengths)}
    gaps = {box: {"consecutive": False} for box in boxes}
    tables = by_hand(boxes, gaps, placement=placement, share_universes=share)
    wiring = wired(tables)
    patch = allocate(wiring, spare_pixels=spare).patch
    taken = {
        (universe, channel)
        for start in patch.starts
        for universe, first, last in footprint((start.universe, start.channel), (3,) * start.chain.pixels)
        for channel in range(first, last + 1)
    }
    for start in patch.starts:
        own = set(footprint((start.universe, start.channel), (3,) * start.chain.pixels))
        longer = footprint((start.universe, start.channel), (3,) * (start.chain.pixels + spare))
        own_channels = {(u, c) for u, first, last in own for c in range(first, last + 1)}
        reserve = {(u, c) for u, first, last in longer for c in range(first, last + 1)} - own_channels
        assert len(reserve) == 3 * spare
        assert not reserve & taken
    # So a run that grows by as much moves nobody.
    tables["run"]["run-0"]["pixels"] += spare
    grown = allocate(wired(tables), patch).patch
    if placement == "fresh":
        assert starts(grown) == starts(patch)


def test_spare_pixels_that_cannot_be_are_refused_in_words(heron_lock: Path, here: Patcher) -> None:
    # Source: the design: `consecutive`: a box's universes have no gap.
    ran = here("patch", heron_lock, "--spare-pixels", "30")
    assert ran.returncode == 2
    assert "30 spare pixels after each start would leave whole universes empty" in ran.stderr
    assert not patch_path(heron_lock).exists()
    text = heron_lock.read_text(encoding="utf-8").replace("frame_rate = 40", 'frame_rate = 40\nplacement = "follow"', 1)
    heron_lock.write_text(text, encoding="utf-8")
    ran = here("patch", heron_lock, "--spare-pixels", "30")
    assert ran.returncode == 2
    assert "--spare-pixels" in ran.stderr


def test_a_fresh_patch_says_what_it_changes_and_commands_can_be_copied(heron_lock: Path, here: Patcher) -> None:
    # Judge: Python's shlex, which splits a line as a POSIX shell does
    show = heron_lock.rename(heron_lock.with_name("heron lock.toml"))
    said = here("patch", show).stdout
    assert "all of it is new to the boxes" in said
    command = next(line.partition("done: ")[2] for line in said.splitlines() if "done: patcher" in line)
    assert shlex.split(command) == ["patcher", "todo", str(show)]
    assert "no start address changed" in here("patch", show, "--fresh").stdout


# --- reserved -----------------------------------------------------------------------------------------------------


def test_a_run_that_is_not_hung_keeps_its_addresses() -> None:
    # Source: the design: hung = false: not up this season; its addresses stay reserved.
    tables = by_hand({"near": "a:50 b:60", "far": "c:70"})
    old = allocate(wired(tables)).patch
    tables["run"]["b"]["hung"] = False
    new = allocate(wired(tables), old).patch
    assert starts(new) == starts(old)
    assert start_changes(old, new) == []


# --- why so many universes ----------------------------------------------------------------------------------------


@examples(10, 40)
@given(st.lists(st.integers(1, 600), min_size=1, max_size=6), st.sampled_from(("fresh", "follow", "whole")))
def test_part_empty_universes_are_those_where_a_pixel_fits(lengths, placement) -> None:
    # Source: counted channel by channel by the judge's pencil.
    runs = " ".join(f"run-{number}:{length}" for number, length in enumerate(lengths))
    wiring = wired(by_hand({"near": runs}, placement=placement))
    patch = allocate(wiring).patch
    used: dict[int, int] = {}
    for start in patch.starts:
        for universe, first, last in footprint((start.universe, start.channel), (3,) * start.chain.pixels):
            used[universe] = used.get(universe, 0) + last - first + 1
    every = part_empty(wiring.show, patch)
    last = max(patch.starts, key=lambda start: start.at)
    assert all(one.why == "the last start ends there" for one in every if one.start == last.chain.name)
    assert all("next" not in one.why for one in every if one.universe == max(used))
    assert all("box" not in one.why for one in every), "there is one"
    found = {one.universe: one.free for one in every}
    assert found == {universe: 512 - channels for universe, channels in used.items() if 512 - channels >= 3}
    assert all(first_fit(start.at, 3) == start.at for start in patch.starts)


def test_a_saving_is_what_the_setting_then_gives() -> None:
    # Source: the setting changed by hand in the show file, and patched anew.
    tables = by_hand({"near": "a:50 b:60", "far": "c:30"})
    told = {one.setting: one.universes for one in savings(wired(tables), 3)}
    assert told == {'placement = "follow" and patch --fresh': 2, 'placement = "whole" and patch --fresh': 2}
    tables["show"]["placement"] = "follow"
    assert {one.setting: one.universes for one in savings(wired(tables), 2)} == {
        "share_universes = true and patch --fresh": 1
    }
    tables["show"]["share_universes"] = True
    assert allocate(wired(tables)).patch.universe_count == 1


@examples(10, 30)
@given(
    st.lists(st.lists(st.integers(1, 400), min_size=1, max_size=4), min_size=1, max_size=3),
    st.sampled_from(("fresh", "follow", "whole")), st.booleans(),
)  # fmt: skip
def test_the_placement_that_is_proposed_takes_the_fewest_of_the_three(boxes, placement, share) -> None:
    # Source: found in use: `whole` took 42 universes, `follow` 41; here each placement is written into the show in turn
    runs = {f"box-{b}": " ".join(f"run-{b}-{r}:{n}" for r, n in enumerate(some)) for b, some in enumerate(boxes)}
    wirings = {
        other: wired(by_hand(runs, placement=other, share_universes=share)) for other in ("fresh", "follow", "whole")
    }
    counts = {other: allocate(wiring).patch.universe_count for other, wiring in wirings.items()}
    told = savings(wirings[placement], counts[placement])
    proposed = {one.placement: one.universes for one in told if one.fewest}
    least = min(counts.values())
    if counts[placement] == least:
        assert proposed == {}
    else:
        assert proposed == {other: least for other in counts if counts[other] == least}
    assert {one.placement: one.universes for one in told if one.placement} == {
        other: universes for other, universes in counts.items() if universes < counts[placement]
    }


def test_whole_may_take_more_than_follow_and_patch_says_so(tmp_path: Path, here: Patcher) -> None:
    # Source: by hand: ten chains of 150 pixels, 450 channels each; none may be cut, or 1500 pixels at 170 a universe
    path = tmp_path / "weir.toml"
    runs = " ".join(f"run-{number}:150" for number in range(10))
    path.write_text(tomli_w.dumps(by_hand({"near": runs}, placement="whole")))
    said = here("patch", path).stdout
    assert "10 universes." in said
    said_so = 'With placement = "follow", patch --fresh would take 9 universes, the fewest of the three placements.'
    assert said_so in said.splitlines()


def test_two_placements_that_take_as_many_universes_are_one_sentence(heron_lock: Path, here: Patcher) -> None:
    # Source: found in use: two lines said "the fewest of the three placements"
    said = here("patch", heron_lock).stdout
    more = [line for line in said.splitlines() if "the fewest of the three placements" in line]
    assert more == [
        'With placement = "follow" or "whole", patch --fresh would take 19 universes, '
        "the fewest of the three placements."
    ]


def test_universes_that_are_not_full_are_said_plainly(tmp_path: Path, here: Patcher) -> None:
    # By hand: 170 pixels fill 510 of 512 channels, 10 pixels of a second universe take 30; 482 are left.
    path = tmp_path / "weir.toml"
    path.write_text(tomli_w.dumps(by_hand({"near": "weir:180"}, placement="follow")))
    lines = here("patch", path).stdout.splitlines()
    at = lines.index("1 universe is not full, 482 channels are free:")
    assert lines[at + 1] == "  2: the last start ends there."
