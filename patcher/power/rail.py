r"""A rail of pixels with the taps that feed it, and what a tap more does to its volts.

A *rail* is one unbroken V+ with its ground beside it: n pixels in a row, each drawing a constant current. A *tap*
joins a pixel to a supply by wires of its own. Resistances are those of the loop, out and back, so only the difference
between V+ and ground is reckoned with; a supply is an ideal source, which may also take current. That is exact where
supplies meet only on the rail, and V+ has the same part of the ohms in all wires (one gauge for both will do). Where
grounds of supplies of different volts also meet elsewhere, the volts are right, but more current goes round between
those supplies than is said here.

**What adding a tap does.** With L the Laplacian of the rail, a ≥ 0 the loads, G the taps' conductances (diagonal) and E
their sources' volts, the pixels' volts v solve (L + G) v = G E − a. L + G is a nonsingular M-matrix, as L is connected
and G not 0, so its inverse has no negative entry.

1. Let v′ be the volts with one tap more, of conductance g at pixel q. Then (L + G + g e eᵀ)(v′ − v) = g e (E_q − v_q),
   e being the unit vector of q. So a tap lowers no pixel where its source has at least the volts that its pixel had
   before, and raises none where it has fewer. Where all sources have the same volts, v ≤ E, and adding never lowers.
   Refuted for sources of different volts: a tap of 5 V beside one of 6 V draws the rail down. Refuted also where a
   tap's current is limited, since a tap of few ohms takes its neighbours' share. Therefore "not even a tap
   everywhere holds" is used as a proof only where all volts are equal and new taps have no limit.
2. Let new taps be fed by trunks that share wires: u = E − R j are the volts at them, j ≥ 0 their currents, R_kl the
   ohms that the paths from the supply to k and to l share. Let D be diagonal with 0 < D_kk ≤ R_kk; as R ≥ 0, then
   R − D ≥ 0. With wires of their own of D, let w be how much higher the volts are. S puts taps to their pixels, L takes
   in the given taps. From L w = S (j′ − j) and j′ − j = D⁻¹((R − D) j − Sᵀw) follows
   (L + S D⁻¹ Sᵀ) w = S D⁻¹ (R − D) j ≥ 0, so w ≥ 0. (D_kk = 0 is the limit.) So wires of each tap's own, of no more
   ohms than its path, give no pixel fewer volts than the trunk, and the fewest taps with them is a lower bound for
   every such trunk. Refuted where some j < 0: current then flows through the trunk from one tap to another, a path
   that own wires lack. No bound either where currents are limited: own wires may share them out less evenly.

Both are tried, and both refutations shown, in tests/power/test_injection.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Rail:
    """Pixels in a row on one V+.

    Attributes:
        ohms: between each pixel and the next, out and back; n − 1 of them, 0 or more.
        amps: what each pixel draws, at any voltage; n of them, 0 or more.
        least: volts that each pixel needs; n of them.

    Raises:
        ValueError: no pixel; lengths that do not agree; ohms or amperes that are negative or not finite.
    """

    ohms: Floats
    amps: Floats
    least: Floats

    def __post_init__(self) -> None:
        pixels = len(self.amps)
        if not pixels or len(self.ohms) != pixels - 1 or len(self.least) != pixels:
            raise ValueError("a rail has n amps, n least volts and n − 1 ohms, n being 1 or more")
        for values in (self.ohms, self.amps):
            if not (np.isfinite(values).all() and (values >= 0).all()):
                raise ValueError("ohms and amperes of a rail are finite and not negative")


@dataclass(frozen=True, slots=True)
class Source:
    """A tap with its supply.

    Attributes:
        pixel: where it is joined, from 0.
        ohms: of its own wires, out and back, 0 or more.
        volts: of its supply.
        most_amps: what its wires and fuse bear; what flows back into the supply is not limited.
    """

    pixel: int
    ohms: float
    volts: float
    most_amps: float = inf


def voltages(rail: Rail, sources: Sequence[Source]) -> tuple[Floats, Floats]:
    """Volts at each pixel, and amperes through each source, negative where it takes current.

    Raises:
        ValueError: no source, or two without ohms on one node, whose shares nothing determines.
    """
    n = len(rail.amps)
    at: dict[int, list[int]] = {}
    for k, source in enumerate(sources):
        at.setdefault(source.pixel, []).append(k)
    # Unknowns in turn: volts of a pixel, amperes to the next. So nothing is divided by ohms, which may be 0.
    band, right = np.zeros((3, 2 * n - 1)), np.zeros(2 * n - 1)
    band[0, 1::2], band[2, 1::2], right[::2] = -1, 1, rail.amps
    band[2, 0:-1:2], band[1, 1::2], band[0, 2::2] = 1, -rail.ohms, -1
    for pixel, there in at.items():
        there.sort(key=lambda k: sources[k].ohms)
        least, row = sources[there[0]].ohms, 2 * pixel
        parts = [1.0, *(least / sources[k].ohms if sources[k].ohms else inf for k in there[1:])]
        band[1, row] = -sum(parts)
        right[row] = least * right[row] - sum(part * sources[k].volts for part, k in zip(parts, there, strict=True))
        band[0, row + 1 : row + 2] *= least
        band[2, max(row - 1, 0) : row] *= least
    if not sources or not np.isfinite(band).all():
        raise ValueError("a rail needs a source, and no two without ohms on one pixel")
    try:
        found = solve_banded((1, 1), band, right)
    except np.linalg.LinAlgError as wrong:
        raise ValueError("two sources without ohms on one node") from wrong
    volts, along = found[::2], np.concatenate([[0.0], found[1::2], [0.0]])
    amps = np.array([(s.volts - volts[s.pixel]) / s.ohms if s.ohms else 0.0 for s in sources])
    for pixel, there in at.items():
        # By Kirchhoff, as with next to no ohms the difference of volts would be lost in rounding.
        amps[there[0]] = rail.amps[pixel] + along[pixel + 1] - along[pixel] - amps[there[1:]].sum()
    return volts, amps
