"""What stands around a display at night. Lights are told as shares of the camera's full scale at gain 1.

Places are metres in the scene's plane, x to the right, y up.
"""

from __future__ import annotations

from dataclasses import dataclass

Colour = tuple[float, float, float]
Spot = tuple[float, float]


@dataclass(frozen=True)
class Surface:
    """A polygon of one colour: a wall, a roof, a lit window.

    Attributes:
        grain: rms of its texture, as a ratio of its colour.
        rows: metres between courses of brick or board; 0 for none.
    """

    corners: tuple[Spot, ...]
    colour: Colour
    grain: float = 0.0
    rows: float = 0.0


@dataclass(frozen=True)
class StreetLight:
    """A bright lantern that burns steadily, with a glow around it."""

    at: Spot
    colour: Colour = (6.0, 4.2, 2.2)
    radius: float = 0.08
    glow: float = 1.0


@dataclass(frozen=True)
class Car:
    """A pair of headlights that passes along a line from one time to another, seconds of the film."""

    begin: float
    end: float
    left: Spot
    right: Spot
    colour: Colour = (12.0, 12.0, 11.0)
    radius: float = 0.1
    glow: float = 1.5


@dataclass(frozen=True)
class Branch:
    """A branch in front that sways about its root and hides what is behind its twigs and leaves.

    Attributes:
        twigs: lines from one spot to another, each with its thickness in metres: (x, y, x, y, thickness).
        degrees: how far it sways to either side.
        hertz: how often.
        depth: metres in front of the plane.
    """

    root: Spot
    twigs: tuple[tuple[float, float, float, float, float], ...]
    degrees: float = 1.5
    hertz: float = 0.3
    depth: float = 1.0


@dataclass(frozen=True)
class Glass:
    """A surface that mirrors pixels, dimmed, inside a rectangle: a window, or wet ground.

    Attributes:
        left, bottom, right, top: metres; only what falls inside is mirrored.
        axis: "x" mirrors left and right about `at`, "y" up and down.
        share: the share of light that is mirrored.
    """

    left: float
    bottom: float
    right: float
    top: float
    axis: str
    at: float
    share: float = 0.1


@dataclass(frozen=True)
class Ambient:
    """The whole surroundings, from the back to the front.

    Attributes:
        sky_top, sky_low: the sky's colours at the picture's upper edge and at the ground.
        ground: the ground's colour, below `ground_y`.
    """

    sky_top: Colour = (0.002, 0.002, 0.004)
    sky_low: Colour = (0.006, 0.005, 0.006)
    ground: Colour = (0.003, 0.003, 0.002)
    ground_y: float = 0.0
    surfaces: tuple[Surface, ...] = ()
    street_light: StreetLight | None = None
    car: Car | None = None
    branch: Branch | None = None
    glass: Glass | None = None
