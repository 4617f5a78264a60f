"""What `check` prints: findings by area, frame times of ports, and what the network carries."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any, get_args

from patcher.errors import Area, Finding
from patcher.limits.network import LINK_MBPS, Traffic
from patcher.limits.refresh import PortTime, rate_text, slowest_ports
from patcher.mains.circuits import MainsCircuit
from patcher.reports import mains_report
from patcher.terminal.folds import on_screen
from patcher.terminal.printed import count, finding_json, in_words


@dataclass(frozen=True)
class Checked:
    """All that `check` found.

    Attributes:
        findings: what is wrong or worth knowing.
        times: the frame time of each port; none where the show cannot be read.
        traffic: what the network carries; None where there can be no patch.
        frame_rate: frames a second that the show plays at; None where it cannot be read.
        powered: whether the file describes supplies, so that power was checked.
        tap_fuses: taps that need a fuse of their own.
        circuits: what each circuit of the mains takes.
        level: the show's level.
        unreadable: whether something in the file could not be read.
        cut_short: whether only the file and its wiring were checked, for the rest needs both without an error.
    """

    findings: Sequence[Finding]
    times: Sequence[PortTime] = ()
    traffic: Traffic | None = None
    frame_rate: float | None = None
    powered: bool = False
    tap_fuses: int = 0
    circuits: Sequence[MainsCircuit] = ()
    level: float = 1.0
    unreadable: bool = False
    cut_short: bool = False

    @property
    def wrong(self) -> bool:
        """Whether there is an error."""
        return any(finding.severity == "error" for finding in self.findings)


def say(checked: Checked, show: Path) -> None:
    """Print it for people."""
    for area in get_args(Area):
        here = [finding for finding in checked.findings if finding.area == area]
        if here:
            print(f"{area.capitalize()}")
            for finding in here:
                print(on_screen(in_words(finding)))
    numbers = _numbers(finding for finding in checked.findings if not finding.accepted)
    print(f"{show}: {', '.join(numbers) or 'OK: no problems found'}.")
    for line in _speed(checked):
        print(line)
    if checked.tap_fuses:
        says = f"Fuses to be fitted: {checked.tap_fuses} at {'a tap' if checked.tap_fuses == 1 else 'taps'}"
        print(f"{says}: patcher power {show} says why, patcher sheet {show} --out FOLDER which.")
    if checked.circuits:
        print(f"{mains_report.in_one_line(checked.circuits, checked.level)} patcher power {show} says more.")
    if checked.cut_short:
        rest = "the rest of the wiring, " * checked.unreadable
        print(f"Not checked yet: {rest}addresses, timing, network and power. Fix these first, then check again.")
    if checked.times and not checked.powered:
        print("Power: the file has no supply, so currents and voltages were not checked.")


def _speed(checked: Checked) -> Iterator[str]:
    """The slowest port, and what the network carries."""
    if checked.frame_rate is not None and checked.times:
        slowest = max(checked.times, key=lambda time: time.frame_ms)
        yield (
            f"Slowest port: {slowest.controller}/{slowest.port}, {slowest.frame_ms:.1f} ms a frame, "
            f"{rate_text(slowest.max_rate)} frames a second; the show plays {checked.frame_rate:g}."
        )
    if checked.traffic and checked.traffic.boxes:
        boxes, total = checked.traffic.boxes, checked.traffic.in_all
        most = max(boxes, key=lambda box: boxes[box].mbps)
        yield (
            f"Network: {count(round(total.packets), 'packet')} a second, {total.mbps:.1f} Mb/s in all, "
            f"{total.mbps / LINK_MBPS * 100:.1f} % of {LINK_MBPS} Mb/s; most to {most}, {boxes[most].mbps:.1f} Mb/s."
        )


def _numbers(findings: Iterable[Finding]) -> list[str]:
    """How many errors, warnings and notes, in words."""
    kinds = [finding.severity for finding in findings]
    return [count(kinds.count(kind), kind) for kind in ("error", "warning", "note") if kind in kinds]


def document(checked: Checked) -> dict[str, Any]:
    """The same for scripts."""
    traffic = checked.traffic
    sent = traffic.boxes if traffic else {}
    return {
        "findings": [finding_json(finding) for finding in checked.findings],
        "ports": [
            {"controller": time.controller, "port": time.port, "pixels": time.pixels} | _rate(time)
            for time in checked.times
        ],
        "boxes": [
            {
                "controller": box, **_rate(time), "packets": round(sent[box].packets, 4) if box in sent else None,
                "mbps": round(sent[box].mbps, 4) if box in sent else None,
            }
            for box, time in slowest_ports(checked.times).items()
        ],
        "network": traffic and {
            "packets": round(traffic.in_all.packets, 4), "mbps": round(traffic.in_all.mbps, 4), "link_mbps": LINK_MBPS,
        },
        "power_checked": checked.powered,
        "tap_fuses": checked.tap_fuses,
        "circuits": mains_report.document(checked.circuits)["circuits"],
    }  # fmt: skip


def _rate(time: PortTime) -> dict[str, float]:
    return {"frame_ms": round(time.frame_ms, 4), "max_rate": round(time.max_rate, 4)}
