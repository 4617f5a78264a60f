"""Copper wires: resistance, the current that each may carry, and the blade fuse that protects it.

What a wire bears depends on how it lies, how warm it is and what is round it. The tables here are for wires in free
air at ordinary temperatures; where the local code says less, the local code holds.
"""

from __future__ import annotations

from bisect import bisect_right
from dataclasses import dataclass
from math import pi

RESISTIVITY = 1.7241e-8
"""Ohm-metres of annealed copper at 20 °C. Source: IEC 60028."""
PER_KELVIN = 0.00393
"""How much the resistance of copper rises a kelvin, as a part of that at 20 °C. Source: IEC 60028."""
CELSIUS = 20.0
"""The temperature that the tables are for."""
CLASS_5 = {
    0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21, 25.0: 0.780,
}  # fmt: skip
"""Largest ohms a kilometre at 20 °C of flexible copper, by mm². Source: IEC 60228, class 5 (16 and 25 from memory)."""
AWG_BEARS = {
    30: 0.5, 28: 0.8, 26: 1.0, 24: 2.0, 22: 3.0, 20: 5.0, 18: 7.0, 16: 10.0, 14: 15.0, 12: 20.0, 10: 30.0, 8: 40.0,
    6: 55.0, 4: 70.0, 2: 95.0, 0: 125.0,
}  # fmt: skip
"""Amperes by gauge. From memory: NFPA 70 (National Electrical Code), 240.4(D) for 18 to 10, table 522.22 for the
thinner, table 310.16 at 60 °C for the thicker."""
MM2_BEARS = {0.5: 3.0, 0.75: 6.0, 1.0: 10.0, 1.5: 16.0, 2.5: 25.0, 4.0: 32.0, 6.0: 40.0, 10.0: 63.0, 16.0: 82.0}
"""Amperes by mm². From memory: DIN VDE 0298-4, flexible leads of two or three cores."""
BLADES = (1.0, 2.0, 3.0, 4.0, 5.0, 7.5, 10.0, 15.0, 20.0, 25.0, 30.0)
"""Amperes of blade fuses. From memory: ISO 8820-3."""
FUSE_LOADED = 0.8
"""Part of its rating that a fuse carries for hours. From memory: NFPA 70 (National Electrical Code), 210.20(A) and
215.3: a fuse is rated for 125 % of a continuous load or more; makers of blade fuses say 75 to 80 % at 25 °C."""
SLACK_AMPS = 1e-9
"""Amperes that are none: what sums of floats differ by."""
SOURCES = {
    "resistance, by gauge": "solid copper: ASTM B258, IEC 60028",
    "resistance, by mm²": "flexible copper of class 5: IEC 60228",
    "amperes, by gauge": "NFPA 70 (National Electrical Code), 240.4(D), tables 522.22 and 310.16",
    "amperes, by mm²": "DIN VDE 0298-4, flexible leads of two or three cores",
    "blade fuses": "ISO 8820-3",
    "load of a fuse": "NFPA 70 (National Electrical Code), 210.20(A) and 215.3",
}
"""Sources of the numbers above, as `patcher help power` prints them."""
UNPRINTED = (
    "The amperes, the blade fuses and their load, the sizes of gauges and the resistance of 16 and 25 mm² are values "
    "without a printed source: they were not compared with these standards. Check them against your wire's data sheet."
)
"""What `patcher help power` says of the numbers above that are from memory."""


@dataclass(frozen=True, slots=True)
class Wire:
    """A copper wire by its gauge or by its cross-section, one of the two.

    Attributes:
        awg: American wire gauge.
        mm2: cross-section in square millimetres.
    """

    awg: int | None = None
    mm2: float | None = None

    def __str__(self) -> str:
        return f"AWG {self.awg}" if self.awg is not None else f"{self.mm2:g} mm²"

    @property
    def area(self) -> float:
        """Square millimetres of copper. Source for gauges, from memory: ASTM B258."""
        if self.awg is None:
            assert self.mm2 is not None  # noqa: S101
            return self.mm2
        diameter: float = 0.127 * 92 ** ((36 - self.awg) / 39)
        return pi / 4 * diameter**2

    def ohms(self, celsius: float = CELSIUS) -> float:
        """Ohms a metre of one conductor: solid by gauge, flexible class 5 by cross-section.

        A cross-section that IEC 60228 does not list has the resistance of the next smaller one, less in proportion, but
        no less than the next larger one.
        """
        warmth = 1 + PER_KELVIN * (celsius - CELSIUS)
        if self.awg is not None:
            return RESISTIVITY / (self.area * 1e-6) * warmth
        listed = _listed(CLASS_5, self.area)
        larger = [ohms for area, ohms in CLASS_5.items() if area > self.area]
        return max(CLASS_5[listed] * listed / self.area, *larger, 0.0) / 1000 * warmth

    @property
    def bears(self) -> float:
        """Amperes that it may carry; a size that is not listed bears what the next thinner one does.

        Below the table it bears less in proportion to its copper.
        """
        if self.awg is not None:
            thinner = [gauge for gauge in AWG_BEARS if gauge >= self.awg]
            if not thinner:
                return AWG_BEARS[30] * self.area / Wire(awg=30).area
            return AWG_BEARS[min(thinner)]
        listed = _listed(MM2_BEARS, self.area)
        return MM2_BEARS[listed] * min(1.0, self.area / listed)


def wire_of(awg: int | None, mm2: float | None) -> Wire | None:
    """The wire that a table of the show file names; None where it names none."""
    return None if awg is None and mm2 is None else Wire(awg, mm2)


def thicker(wire: Wire, amps: float) -> Wire | None:
    """The thinnest listed wire that may carry a current, and that a blade fuse for it protects where there is one.

    None where none is listed. By gauge or by cross-section, as the wire that is too thin.
    """
    most = BLADES[-1] * FUSE_LOADED
    fit = (size for size in sizes_above(wire) if size.bears >= amps and (amps > most or blade(amps, size.bears)))
    return next(fit, None)


def sizes_above(wire: Wire) -> list[Wire]:
    """The listed wires thicker than one, the thinnest first: by gauge or by cross-section, as it is."""
    every = [Wire(awg) for awg in AWG_BEARS] if wire.awg is not None else [Wire(mm2=area) for area in MM2_BEARS]
    return [size for size in every if size.area > wire.area]


def _listed(table: dict[float, float], area: float) -> float:
    """The largest listed size that is no larger; the smallest, where all are."""
    sizes = sorted(table)
    return sizes[max(0, bisect_right(sizes, area) - 1)]


def most_carried(fuse: float) -> float:
    """The most amperes that a fuse of so many should carry for hours."""
    return fuse * FUSE_LOADED


def carries(fuse: float, amps: float) -> bool:
    """Whether a fuse carries a current for hours with its reserve; not where the current is NaN."""
    return amps <= most_carried(fuse) + SLACK_AMPS


def most_into(bears: float) -> float:
    """The most amperes that may go for hours into a string whose wire bears so many, where it needs a fuse of its own.

    What the largest blade carries that protects the wire; of a wire too thin for any, a fuse of as much as it bears.
    """
    return most_carried(max((size for size in BLADES if size <= bears), default=bears))


def tap_is_safe(bears: float, passes: float, amps: float) -> bool:
    """Whether a string is protected where a feed joins it, or a fuse of its own can be had that protects it there.

    A thinner wire behind a fuse needs one of its own where it begins, and a fuse is rated for 125 % of what it carries
    for hours: see `FUSE_LOADED`. What is not known (NaN) is safe as far as is known.
    From memory: NFPA 70 (National Electrical Code), 240.4 and 240.21; IEC 60364-4-43, 433.1.1 and 433.2.1.

    Args:
        bears: amperes that the string's own wire may carry.
        passes: amperes that the last fuse before it lets through.
        amps: what goes into the string there.
    """
    return bears >= passes or not amps > most_into(bears) + SLACK_AMPS


def blade(amps: float, bears: float) -> float | None:
    """The smallest blade fuse that carries a current for hours and protects a wire rated `bears` amperes, or None."""
    return next((size for size in BLADES if carries(size, amps) and size <= bears), None)
