"""Shows of supplies and feeds for the tests of power, and what is said of a cut."""

import re

from patcher.errors import Finding
from patcher.power import shortfalls
from patcher.power.flow import power
from rig.shipped import wired

LAMP = {
    "colour_order": "RGB",
    "volts": 12.0, "channel_ma": 20.0, "idle_ma": 1.0, "min_volts": 10.0, "awg": 18, "pitch": 0.1,
}  # fmt: skip


def show(
    runs: dict[str, dict], feeds: dict[str, dict], *, supplies: dict[str, dict] | None = None,
    kinds: dict[str, dict] | None = None, ports: dict[str, list[str]] | None = None, box: dict | None = None,
    **settings_: object,
) -> dict:  # fmt: skip
    """One box with its runs on port 1, pixels of 12 V, a supply of 30 A, where nothing else is said."""
    chain = [name for name, run in runs.items() if "same_data_as" not in run]
    return {
        "show": {"title": "power"} | settings_,
        "pixel": {"lamp": LAMP} | {name: LAMP | kind for name, kind in (kinds or {}).items()},
        "controller": {"box": {"address": "192.0.2.1", "ports": 8, "port": ports or {"1": chain}} | (box or {})},
        "run": {name: {"pixel": "lamp"} | run for name, run in runs.items()},
        "supply": {"s": {"volts": 12.0, "amps": 30.0}} if supplies is None else supplies,
        "feed": feeds,
    }


def tap(run: str, pixel: int | str = 1, length: float = 1.0) -> dict:
    return {"run": run, "pixel": pixel, "length": length}


def fed(*taps: dict, supply: str = "s", **keys: object) -> dict:
    return {"supply": supply, "awg": 12, "fuse": 20, "taps": list(taps)} | keys


def said(tables: dict, **keys: float) -> list[Finding]:
    wiring = wired(tables)
    found = shortfalls.findings(wiring, power(wiring, **keys) if keys else None)
    assert {finding.area for finding in found} <= {"power"}
    assert all(finding.remedy and "nan" not in finding.says + finding.remedy for finding in found)
    return found


def cut_as_said(tables: dict, finding: Finding) -> dict:
    """The show with V+ cut as a remedy has it."""
    runs = {name: dict(run) for name, run in tables["run"].items()}
    for cuts, run in re.findall(r"power_cuts = \[([\d, ]+)\] in \[run\.([\w-]+)\]", finding.remedy):
        runs[run]["power_cuts"] = [int(cut) for cut in cuts.split(",")]
    for run in re.findall(r"power_joined = false in \[run\.([\w-]+)\]", finding.remedy):
        runs[run]["power_joined"] = False
    return tables | {"run": runs}
