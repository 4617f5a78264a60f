"""Two supplies on one V+: that is said, and nothing that would follow from currents that nobody knows."""

import re
from pathlib import Path

import pytest
import tomli_w

from patcher.power.flow import power
from patcher.reports import power_report
from rig.power_show import cut_as_said, fed, said, show, tap
from rig.shipped import Patcher, wired


def two_supplies(volts: float, fuse: float) -> dict:
    """A string of 12 V and one of 5 V on one port, each with its supply; only the supplies' volts differ."""
    runs = {"a": {"pixels": 50}, "b": {"pixels": 50, "pixel": "low"}, "c": {"pixels": 50, "pixel": "low"}}
    kinds = {"low": {"volts": volts, "min_volts": volts * 0.8}}
    supplies = {"s": {"volts": 12.0, "amps": 5.0}, "t": {"volts": volts, "amps": 5.0}}
    feeds = {"f": fed(tap("a"), fuse=fuse), "g": fed(tap("b"), supply="t", fuse=fuse)}
    feeds["h"] = fed(tap("c"), supply="t", fuse=fuse)
    return show(runs, feeds, supplies=supplies, kinds=kinds, ports={"1": ["a", "b"], "2": ["c"]})


@pytest.mark.parametrize("volts", [5.0, 12.0, 11.5])
@pytest.mark.parametrize("fuse", [1, 20])
def test_nothing_is_judged_by_currents_between_joined_supplies(
    volts: float, fuse: float, capsys: pytest.CaptureFixture[str]
) -> None:
    # Source: found by a reader: "fit a blade fuse of 15 A" stood beside two supplies joined, for the current that one
    # pushed into the other; the string with 12 V on 5 V was "OK".
    file = two_supplies(volts, fuse)
    rules = {finding.rule for finding in said(file)}
    assert "joined-supplies" in rules
    assert not rules & {"overload", "low-volts", "hot-wire", "wire", "fuse-reserve", "collapse"}
    assert not [each for each in said(file) if each.rule == "fuse" and each.severity == "warning"]
    (joined,) = [finding for finding in said(file) if finding.rule == "joined-supplies"]
    assert "not known" in joined.says
    state = power(wired(file))
    power_report.say(state, [])
    rows = {
        line.split()[0]: line for line in capsys.readouterr().out.splitlines() if line[:2].rstrip() in set("stfghabc")
    }
    assert set(rows) == set("stfghabc")
    for row in rows.values():
        assert "not known" in row, row
        assert not re.search(r"yes|NO|[-−]\d", row), row
    apart = cut_as_said(file, joined)
    assert "joined-supplies" not in {finding.rule for finding in said(apart)}
    assert all(run.holds is not None for run in power(wired(apart)).runs)


@pytest.mark.parametrize(("least", "other"), [(13.0, False), (12.0, False), (11.9, False), (4.0, True), (13.0, True)])
def test_no_remedy_is_named_that_cannot_help(least: float, other: bool, capsys: pytest.CaptureFixture[str]) -> None:
    # Source: no wire brings more than its supply gives: where min_volts is above that, the number is wrong, not the
    # wire; a string on a supply of other volts is not to be switched on.
    kinds = {"low": {"volts": 5.0 if other else 12.0, "min_volts": least}}
    file = show({"a": {"pixels": 100, "pixel": "low"}}, {"f": fed(tap("a"))}, kinds=kinds)
    found = {finding.rule: finding for finding in said(file)}
    assert ("other-volts" in found) == other
    assert ("low-volts" in found) != other
    if not other:
        remedy = found["low-volts"].remedy
        assert ("tap it" in remedy) == (least < 12.0)
        assert ("correct it in [pixel.low]" in remedy) == (least >= 12.0)
    state = power(wired(file))
    power_report.say(state, [])
    (row,) = [line for line in capsys.readouterr().out.splitlines() if line.startswith("a ")]
    assert row.endswith("NO")
    assert power_report.document(state)["runs"][0]["holds"] is False


def test_a_swap_says_why_currents_are_not_known(tmp_path: Path, here: Patcher) -> None:
    # Source: found by the long run: nothing is missing from the file, and the words of what is missing broke.
    file = two_supplies(5.0, 20)
    file["supply"]["spare"] = {"volts": 12.0, "amps": 2.0, "spare": True}
    path = tmp_path / "joined.toml"
    path.write_text(tomli_w.dumps(file))
    ran = here("swap", path, "s", "spare")
    assert ran.returncode == 1
    assert "two supplies are joined on one V+" in ran.stdout
