r"""A rail of pixels with the taps that feed it, and what a tap more does to its volts.

A *rail* is one unbroken V+ with its ground beside it: n pixels in a row, each drawing a constant current. A *tap*
joins a pixel to the supply by wires of its own. Resistances are those of the loop, out and back, so only the difference
between V+ and ground is reckoned with; the supply is an ideal source. That is exact where V+ has the same part of the
ohms in all wires (one gauge for both will do).

**What adding a tap does.** With L the Laplacian of the rail, a ≥ 0 the loads, G the taps' conductances (diagonal) and E
the supply's volts, the pixels' volts v solve (L + G) v = G E − a. L + G is a nonsingular M-matrix, as L is connected
and G not 0, so its inverse has no negative entry.

1. Let v′ be the volts with one tap more, of conductance g at pixel q. Then (L + G + g e eᵀ)(v′ − v) = g e (E − v_q),
   e being the unit vector of q. So a tap lowers no pixel where E is at least the volts that its pixel had before; and
   as all sources are of one supply, v ≤ E, and adding never lowers. Therefore "not even a tap everywhere holds" is a
   proof. It would be none for sources of different volts, nor where a tap's current is limited.
2. Let new taps be fed by trunks that share wires: u = E − R j are the volts at them, j ≥ 0 their currents, R_kl the
   ohms that the paths from the supply to k and to l share. Let D be diagonal with 0 < D_kk ≤ R_kk; as R ≥ 0, then
   R − D ≥ 0. With wires of their own of D, let w be how much higher the volts are. S puts taps to their pixels, L takes
   in the given taps. From L w = S (j′ − j) and j′ − j = D⁻¹((R − D) j − Sᵀw) follows
   (L + S D⁻¹ Sᵀ) w = S D⁻¹ (R − D) j ≥ 0, so w ≥ 0. (D_kk = 0 is the limit.) So wires of each tap's own, of no more
   ohms than its path, give no pixel fewer volts than the trunk, and the fewest taps with them is a lower bound for
   every such trunk. Refuted where some j < 0: current then flows through the trunk from one tap to another, a path
   that own wires lack.

Both are tried, and the refutation shown, in tests/power/test_injection.py.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.linalg import solve_banded

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Rail:
    """Pixels in a row on one V+.

    Attributes:
        ohms: between each pixel and the next, out and back; n − 1 of them, more than 0.
        amps: what each pixel draws, at any voltage; n of them, 0 or more.
        least: volts that each pixel needs; n of them.
    """

    ohms: Floats
    amps: Floats
    least: Floats

    def reversed(self) -> Rail:
        """The rail from its other end."""
        return Rail(self.ohms[::-1], self.amps[::-1], self.least[::-1])


@dataclass(frozen=True, slots=True)
class Source:
    """A tap.

    Attributes:
        pixel: where it is joined, from 0.
        ohms: of its own wires, out and back, 0 or more.
    """

    pixel: int
    ohms: float


def voltages(rail: Rail, volts: float, sources: Sequence[Source]) -> Floats:
    """Volts at each pixel, fed from a supply of so many by one source or more, of those without ohms one a pixel."""
    n = len(rail.amps)
    at: dict[int, list[float]] = {}
    for source in sources:
        at.setdefault(source.pixel, []).append(source.ohms)
    # Unknowns in turn: volts of a pixel, amperes to the next. So nothing is divided by ohms, which may be 0.
    band, right = np.zeros((3, 2 * n - 1)), np.zeros(2 * n - 1)
    band[0, 1::2], band[2, 1::2], right[::2] = -1, 1, rail.amps
    band[2, 0:-1:2], band[1, 1::2], band[0, 2::2] = 1, -rail.ohms, -1
    for pixel, ohms in at.items():
        least, row = min(ohms), 2 * pixel
        parts = [least / each if each else 1.0 for each in sorted(ohms)]
        band[1, row] = -sum(parts)
        right[row] = least * right[row] - sum(part * volts for part in parts)
        band[0, row + 1 : row + 2] *= least
        band[2, max(row - 1, 0) : row] *= least
    found: Floats = solve_banded((1, 1), band, right)[::2]
    return found
