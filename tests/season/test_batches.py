"""Failures by purchase: the interval against scipy and the formula, the counts against a bag of single pixels."""

import json
from datetime import UTC, datetime, timedelta
from math import sqrt
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given
from hypothesis import strategies as st
from scipy.stats import binomtest, norm

from patcher.season.batches import SURE, failures, wilson
from patcher.walk.record import Entry
from patcher.walk.record_file import change_record, read_record
from rig.shipped import Patcher, wired

NOON = datetime(2025, 12, 1, 12, tzinfo=UTC)


def tables(**batches: str) -> dict:
    """A house of one port a run, each run of 30 pixels and of its batch."""
    return {
        "show": {"title": "House by the weir"},
        "pixel": {"bulb": {"colour_order": "RGB"}},
        "controller": {"house": {"address": "192.0.2.1", "ports": len(batches), "port": {
            str(number): [run] for number, run in enumerate(batches, start=1)}}},
        "run": {run: {"pixel": "bulb", "pixels": 30, "batch": batch} for run, batch in batches.items()},
    }  # fmt: skip


@given(st.integers(1, 100_000).flatmap(lambda of: st.tuples(st.integers(0, of), st.just(of))))
def test_the_interval_is_scipys(count: tuple[int, int]) -> None:
    # Judge: scipy.stats.binomtest(...).proportion_ci(method="wilson")
    failed, of = count
    judged = binomtest(failed, of).proportion_ci(0.95, method="wilson")
    assert wilson(failed, of) == pytest.approx((judged.low, judged.high), abs=1e-12)
    low, high = wilson(failed, of)
    assert 0 <= low <= failed / of <= high <= 1


def test_the_interval_by_hand() -> None:
    # Source: Wilson 1927: the two p at which (p - 7/300)² = z² p (1 - p) / 300: a quadratic, solved with a pencil
    z, part, of = 1.96, 7 / 300, 300
    a, b, c = 1 + z * z / of, -(2 * part + z * z / of), part * part
    roots = tuple((-b + sign * sqrt(b * b - 4 * a * c)) / (2 * a) for sign in (-1, 1))
    assert wilson(7, 300, z) == pytest.approx(roots)
    assert roots == pytest.approx((0.01135, 0.04738), abs=1e-5)
    assert pytest.approx(norm.ppf(0.975)) == SURE


@pytest.mark.parametrize("count", [(1, 0), (0, 0), (-1, 3), (4, 3)])
def test_what_is_no_part_is_refused(count: tuple[int, int]) -> None:
    with pytest.raises(ValueError, match="is no part"):
        wilson(*count)


replacements = st.lists(
    st.tuples(
        st.sampled_from(["roof", "quay", "hedge"]), st.integers(1, 30), st.sampled_from([None, "2021-b", "2024"])
    ),
    max_size=25,
)


@given(replacements)
def test_each_pixel_counts_for_the_batch_that_it_is_of(season: list[tuple[str, int, str | None]]) -> None:
    # Judge: a bag of single pixels, each with its batch; what fails is thrown out, what is new is put in its place
    given_batches = {"roof": "2020", "quay": "2021-b", "hedge": ""}
    show = wired(tables(**given_batches)).show
    there = {(run, pixel): batch for run, batch in given_batches.items() for pixel in range(1, 31)}
    bought = list(there.values())
    thrown: list[str] = []
    entries = []
    for number, (run, pixel, batch) in enumerate(season):
        thrown.append(there[run, pixel])
        there[run, pixel] = batch or ""
        bought.append(batch or "")
        entries.append(Entry(f"{run}/{pixel}", NOON + timedelta(days=number), "new", batch, given_batches[run] or None))
    found = failures(show, entries[::-1])
    assert {one.batch: (one.replaced, one.pixels) for one in found.batches} == {
        batch: (thrown.count(batch), bought.count(batch)) for batch in set(bought)
    }
    assert {(one.run, one.pixel, one.batch) for one in found.strangers} == {
        (run, pixel, batch)
        for (run, pixel), batch in there.items() if batch and given_batches[run] and batch != given_batches[run]
    }  # fmt: skip


def test_a_run_of_another_batch_by_now_keeps_its_old_failures_apart() -> None:
    show = wired(tables(roof="2026")).show
    found = failures(show, [Entry("roof/3-5", NOON, "water", None, "2020"), Entry("the gate", NOON, "?")])
    by_batch = {one.batch: one for one in found.batches}
    assert (by_batch["2020"].replaced, by_batch["2020"].pixels, by_batch["2020"].low) == (3, None, None)
    assert (by_batch["2026"].replaced, by_batch["2026"].pixels) == (0, 30)
    assert found.not_told == ("the gate",)


def test_the_batch_that_surely_fails_most_comes_first() -> None:
    # By hand (Wilson): of 15 of 45 the lower end is 21.4 %, of 1 of 1 20.7 %, of 1 of 31 0.6 %
    show = wired(tables(roof="2020", quay="2021")).show
    again = [Entry("quay/1", NOON, "dark", "2024"), Entry("quay/1", NOON + timedelta(days=1), "dark", "2021")]
    found = failures(show, [Entry("roof/1-15", NOON, "water", "2020", "2020"), *again])
    by_batch = [(one.batch, one.replaced, one.pixels) for one in found.batches]
    assert by_batch == [("2020", 15, 45), ("2024", 1, 1), ("2021", 1, 31)]


def test_a_pixel_that_the_run_has_no_more_is_no_stranger() -> None:
    show = wired(tables(roof="2020")).show
    gone, last = (Entry(f"roof/{pixel}", NOON, "dark", "2024", "2020") for pixel in (31, 30))
    assert [one.pixel for one in failures(show, [gone, last]).strangers] == [30]


def test_a_purchase_has_a_name(tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(tables(roof="2021-b")))
    here("patch", show)
    refused = here("verify", show, "roof/3", "--replaced", "went dark", "--batch", " ")
    assert refused.returncode == 2
    assert "leave --batch out" in refused.stderr
    assert read_record(show).replaced == ()


def test_verify_saves_batches_warns_and_reports_them(tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(tables(roof="2021-b", quay="2020")))
    assert here("patch", show).returncode == 0
    assert here("verify", show, "roof/3", "--batch", "2024").returncode == 2
    mixed = here("verify", show, "roof/3", "--replaced", "went dark", "--batch", "2024")
    assert mixed.returncode == 0
    assert "warning: roof/3 is now of batch 2024, its run of 2021-b" in mixed.stderr
    assert here("verify", show, "roof/5-6", "--replaced", "flickers", "--batch", "2021-b").stderr == ""
    kept = read_record(show).replaced
    assert [(one.thing, one.batch, one.of) for one in kept] == [
        ("roof/3", "2024", "2021-b"), ("roof/5-6", "2021-b", "2021-b"),
    ]  # fmt: skip
    checked = here("check", show)
    assert checked.returncode == 0
    assert "warning: run.roof (line " in checked.stdout
    assert "roof/3 is of batch 2024, the run of 2021-b: " in checked.stdout
    accept = '\n[[accept]]\nrule = "other-batch"\nwhere = "run.roof"\nwhy = "hidden by the chimney"\n'
    show.write_text(show.read_text() + accept)
    assert "accepted: run.roof" in here("check", show).stdout
    assert "there is no such warning" not in here("patch", show).stdout + here("sheet", show, "--out", "out").stdout
    said = here("verify", show, "--report").stdout
    low, high = (f"{end:.1%}".replace("%", " %") for end in binomtest(3, 32).proportion_ci(method="wilson"))
    assert f"  2021-b: 3 of 32 replaced: 9.4 %, between {low} and {high}\n" in said
    assert "  2020: 0 of 30 replaced" in said
    assert "warning: of batch 2024 in a run of 2021-b: roof/3" in said
    document = json.loads(here("verify", show, "--report", "--json").stdout)
    assert [(one["batch"], one["replaced"], one["pixels"]) for one in document["batches"]] == [
        ("2021-b", 3, 32), ("2020", 0, 30), ("2024", 0, 1),
    ]  # fmt: skip
    assert document["other_batch"] == [{"run": "roof", "pixel": 3, "batch": "2024", "of": "2021-b"}]


def test_entries_of_before_batches_were_kept_are_read(tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "house.toml"
    show.write_text(tomli_w.dumps(tables(roof="2021-b")))
    change_record(show, lambda record: record.added("replaced", Entry("roof/9", NOON, "batch 2026")))
    assert "batch =" not in show.with_name("house.checks.toml").read_text()
    assert "2021-b: 1 of 30 replaced" in here("verify", show, "--report").stdout
