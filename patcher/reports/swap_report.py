"""What `swap` prints: what the swap comes to, its steps, or why the spare is too small."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import asdict
from textwrap import wrap
from typing import Any

from patcher.errors import Finding
from patcher.patch.patch import address
from patcher.swaps.box_swap import BoxSwap
from patcher.swaps.shortfall import Shortfall
from patcher.swaps.supply_swap import SupplySwap
from patcher.terminal.printed import finding_json, start_json

WIDTH = 100
NOT_WRITTEN = "Nothing was written."


def say_paragraphs(texts: Iterable[str]) -> None:
    """Print each text folded; a list item hangs under its dash."""
    for text in texts:
        _say_folded(text, "", "  " if text.startswith("- ") else "")


def say_steps(steps: Sequence[Sequence[str]]) -> None:
    """Print numbered steps; a line that begins with two spaces stands as it is, for a table keeps its columns."""
    indent = " " * 4
    for number, (first, *rest) in enumerate(steps, start=1):
        print()
        _say_folded(first, f"{number}.".ljust(4), indent)
        for line in rest:
            if line.startswith("  "):
                print(indent + line.rstrip())
            else:
                _say_folded(f"- {line}", indent, indent + "  ")


def _say_folded(text: str, begin: str, hang: str) -> None:
    print("\n".join(wrap(text, WIDTH, break_on_hyphens=False, initial_indent=begin, subsequent_indent=hang)))


def say_end(wrote: Sequence[str]) -> None:
    """Print what was written."""
    print(f"\nWrote {' and '.join(wrote)}." if wrote else f"\n{NOT_WRITTEN}")


def say_shortfall(short: Shortfall) -> None:
    """Print why a spare cannot take over all of a dead box, and what it could."""
    dead, spare = short.dead.name, short.spare.name
    say_paragraphs([f"{spare} cannot take over all of {dead}:", *(f"- {reason}." for reason in short.short)])
    best = f"The most that fits: {', '.join(short.lit)}. Left dark: {', '.join(short.dark)}."
    more = "Name a larger spare; or move the dark runs in the file to free ports of other boxes, then swap again."
    say_paragraphs([best if short.lit else "No run fits.", more, NOT_WRITTEN])


def _steps(steps: Sequence[Sequence[str]], wrote: Sequence[str]) -> dict[str, Any]:
    return {"steps": [" ".join(step) for step in steps], "wrote": list(wrote)}


def shortfall_document(short: Shortfall) -> dict[str, Any]:
    """Why a spare box is too small, for scripts."""
    return {
        "dead": short.dead.name, "spare": short.spare.name, "possible": False,
        "short": list(short.short), "lit": list(short.lit), "dark": list(short.dark),
    }  # fmt: skip


def box_document(
    swap: BoxSwap, steps: Sequence[Sequence[str]], findings: Sequence[Finding], wrote: Sequence[str]
) -> dict[str, Any]:
    """The swap of a box, for scripts."""
    return {
        "dead": swap.dead.name, "spare": swap.spare.name, "possible": True, "proved": swap.proved,
        "frame_ms": round(swap.worst_ms, 4),
        "ports": [{"port": port, "runs": list(runs)} for port, runs in swap.spare_ports.items()],
        "cables": [asdict(cable) | {"metres": round(cable.metres, 4)} for cable in swap.cables],
        "starts": [start_json(start, swap.show) for start in swap.starts],
        "moved_runs": [
            {"run": run, "from": address(old), "to": address(new)} for run, (old, new) in swap.moves.items()
        ],
        "findings": [finding_json(finding) for finding in findings],
    } | _steps(steps, wrote)  # fmt: skip


def supply_document(
    swap: SupplySwap, steps: Sequence[Sequence[str]], findings: Sequence[Finding], wrote: Sequence[str]
) -> dict[str, Any]:
    """The swap of a supply, for scripts."""
    fitting = None if swap.holds or not swap.known else swap.fitting()
    return {
        "dead": swap.dead.name, "spare": swap.spare.name, "possible": swap.holds,
        "volts": swap.spare.volts, "amps": swap.spare.amps, "most_amps": round(swap.load.limit, 4),
        "amps_at_level": round(swap.load.amps, 4) if swap.known else None, "level": swap.before.level,
        "max_level": swap.load.max_level if swap.known else None,
        "feeds": [feed.name for feed in swap.feeds], "boxes": list(swap.boxes),
        "fitting": fitting and list(fitting), "unknown": list(swap.unknown),
        "missing": [] if swap.known else list(swap.missing), "unfed": list(swap.unfed),
        "findings": [finding_json(finding) for finding in findings],
    } | _steps(steps, wrote)  # fmt: skip
