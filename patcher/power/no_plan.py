"""Why no feed can be planned for a stretch of V+, and what to do instead, in words."""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from patcher.errors import first_few
from patcher.power.circuit import Floats
from patcher.power.flow import LOADED, TINY, Power
from patcher.power.shortfalls import unsaid
from patcher.power.stretches import Stretch, cut_at
from patcher.power.wires import Wire
from patcher.show.schema import Show
from patcher.units import apart

Reason = tuple[str, str]
"""What is wrong, and what to do."""
_MISSING = "patcher check names what is missing: write it in the show file"


def named(part: Stretch) -> str:
    """A stretch as a person reads it: `eaves/1–50, gable/1–20`."""
    return ", ".join(f"{run}/{first}–{last}" for run, first, last in part.parts)


def not_ready(state: Power, part: Stretch) -> Reason | None:
    """What must be put right in the file before a stretch is planned; None where nothing."""
    show = state.show
    kinds = {show.runs[run].pixel: show.type_of(show.runs[run]) for run, _, _ in part.parts}
    if missing := {name: unsaid(kind) for name, kind in kinds.items() if unsaid(kind)}:
        says = "; ".join(f"pixel.{name} lacks {', '.join(keys)}" for name, keys in missing.items())
        return says, "write it in the show file"
    for name, kind in kinds.items():
        if (kind.min_volts or 0.0) >= (kind.volts or 0.0):
            says = f"min_volts = {kind.min_volts:g} of pixel.{name} is not below its own {kind.volts:g} V, and every "
            return says + "wire takes some", f"correct min_volts in [pixel.{name}]"
    supplies = sorted(part.supplies)
    if len(supplies) > 1:
        return f"{' and '.join(supplies)} share its V+", "cut it first: patcher check says where"
    volts = {name: kind.volts for name, kind in kinds.items()}
    if len(set(volts.values())) > 1:
        needs = ", ".join(f"{name} of {volt:g} V" for name, volt in volts.items())
        return f"{named(part)} has {needs} on one V+", "cut it between them (power_joined = false, or power_cuts)"
    return _wrong_supply(show, supplies[0], volts) if supplies else None


def _wrong_supply(show: Show, name: str, volts: Mapping[str, float | None]) -> Reason | None:
    """Why a stretch must get nothing more from the supply that it hangs on; None where it may."""
    supply = show.supplies[name]
    if supply.spare:
        says = f"{name}, which feeds it, is marked as a spare"
        return says, "take spare = true out, or feed it from another supply"
    if supply.volts not in volts.values():
        needs = ", ".join(f"{kind} needs {volt:g} V" for kind, volt in volts.items())
        says = f"{name} gives it {supply.volts:g} V, but {needs}"
        return says, "do not switch it on: feed it from another supply"
    return None


def load_not_known(part: Stretch) -> Reason:
    """The file does not say all that hangs on the supply of a stretch."""
    return f"the file does not say all of what hangs on {min(part.supplies)}, so its voltages are not known", _MISSING


def ground_not_known(part: Stretch) -> Reason:
    """The file does not say all that the ground of a planned stretch is joined with."""
    return f"{named(part)} cannot be checked: the file does not say all that its ground is joined with", _MISSING


def not_enough(part: Stretch, volts: Floats) -> Reason:
    """A planned stretch still has too few volts: these, at its pixels."""
    sags = "collapses" if np.isnan(volts).any() else f"sags to {volts.min():.2f} V"
    return f"{named(part)} still {sags} with all that was added", "allow a thicker wire (--wire), or lower the level"


def no_fuse(state: Power, part: Stretch) -> Reason | None:
    """Why a stretch with volts enough is not fed well: taps for which no fuse can be had; None where there are none."""
    here = set(state.circuit.points_of(part).tolist())
    taps = [tap for tap in state.tap_fuses if tap.overloaded and tap.join.point in here]
    if not taps:
        return None
    places = first_few(list(dict.fromkeys(f"{tap.join.run}/{tap.join.pixel}" for tap in taps)), 4)
    says = f"no fuse both carries what goes into {places} and protects the string there, and nothing was found "
    says += "that takes enough of it"
    cut = f"cut its V+ into parts (power_cuts in [run.{part.parts[0][0]}])"
    return says, f"move or add taps by hand, {cut}, use strings of thicker wire, or lower the level"


def too_long(part: Stretch, pixels: int, most: int) -> Reason:
    """A stretch has more pixels than are planned for."""
    says = f"{named(part)} has {pixels} pixels on one V+, and no more than {most} are planned for"
    return says, f"cut its V+ into parts (power_cuts in [run.{part.parts[0][0]}]), then plan again"


def too_many(part: Stretch, few: int) -> Reason:
    """A stretch needs `few` taps or more, whatever the volts."""
    says = f"wires and fuses for the current of {named(part)} would need {few} taps or more: too many for one V+"
    return says, f"cut its V+ into parts (power_cuts in [run.{part.parts[0][0]}]), or lower the level"


def not_held(
    part: Stretch, able: Sequence[str], volts: float, thickest: Wire, asked: float, least: float, margin: float
) -> Reason:
    """No taps were found that give a stretch the volts asked for.

    Args:
        part: the stretch.
        able: the supplies that were tried.
        volts: the highest of theirs.
        thickest: the thickest wire that was tried.
        asked: the most volts that a pixel of it is to have.
        least: the same without the margin.
        margin: the part of its rated volts that is asked for above its least.
    """
    says = f"no feeds were found that keep {named(part)} supplied from {' or '.join(able)}, even with {thickest}"
    remedy = "allow a thicker wire (--wire), stand the supply nearer, or lower the level"
    if not margin:
        return says, remedy
    at, needed = apart(asked, least, decimals=2)
    says += f", at {at} V: {needed} V and the margin of {margin * 100:g} %"
    less = "ask for less margin (--margin)"
    return says, less if asked >= volts else f"{remedy}, or {less}"


def too_weak(state: Power, part: Stretch, left: Mapping[str, float], load: float, asked: Floats) -> Reason:
    """No supply of the volts of a stretch has enough left for it.

    Args:
        state: the power of the show.
        part: the stretch.
        left: amperes that each supply of those volts can still give.
        load: amperes that the stretch needs.
        asked: volts that each of its pixels is to have.
    """
    kind = state.show.type_of(state.show.runs[part.parts[0][0]])
    best = max(left, key=lambda name: left[name], default=None)
    has, cut, needs = f"the file has no supply of {kind.volts:g} V", "", f"{load:.1f}"
    if best is not None:
        most = max(left[best], 0.0)
        needs, most_left = apart(load, most)
        has = f"{best} has most left, {most_left} A of {LOADED * 100:.0f} % of its rating"
        cut = _cut(state, part, left, asked)
    says = f"{named(part)} needs {needs} A at {kind.volts:g} V, and {has}"
    lower = ", or lower the level" if _has_enough_in_the_dark(state, part, left, asked) else ""
    return says, f"{cut}add a supply of {kind.volts:g} V, in the file or with --supplies{lower}"


def _has_enough_in_the_dark(state: Power, part: Stretch, left: Mapping[str, float], asked: Floats) -> bool:
    """Whether one of some supplies has enough left for a stretch where every pixel is dark."""
    needs = float(state.circuit.drawn(state.circuit.points_of(part), 0.0, asked).sum())
    dark = zip(state.show.supplies.values(), state.given(0.0), strict=True)
    return any(supply.name in left and supply.amps * LOADED - amps >= needs for supply, amps in dark)


def _cut(state: Power, part: Stretch, left: Mapping[str, float], asked: Floats) -> str:
    """Where V+ would be cut for what is left of one supply to feed the pixels before it; nowhere, where what the others
    have left is not enough for those behind it.
    """
    drawn = np.cumsum(state.drawn(part, asked))
    pixels = [(run, pixel) for run, first, last in part.parts for pixel in range(first, last + 1)]
    fed: list[int] = []  # the pixels that are fed once another supply has given what it has
    for amps in sorted((amps for amps in left.values() if amps > 0), reverse=True):
        before = drawn[fed[-1] - 1] if fed and fed[-1] else 0.0
        fed.append(int(np.searchsorted(drawn, before + amps + TINY, side="right")))
    if not fed or fed[-1] < len(pixels) or not 0 < fed[0] < len(pixels):
        return ""
    return f"{cut_at(state.show, [pixels[fed[0]]])} and plan again, or "
