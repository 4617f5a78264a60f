"""Cameras and scenes at random, at strengths that films of phones at night have.

Common practice, no source, for all ranges: they are meant to hold what a good phone and a poor one do.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from film_camera.ambience import Ambient, Branch, Car, Glass, StreetLight, Surface
from film_camera.optics import nearest, projected, seen
from film_camera.recording import rate
from film_camera.things import WHITE_IS_ONE, Camera, Scene

Floats = NDArray[np.float64]
Rng = np.random.Generator

WIDE_FOCAL = 0.72
"""The focal length of a phone's usual lens as a share of the whole sensor's width: like 26 mm on film 36 mm wide."""
FILLS = 0.92
"""The share of the picture that a display fills at most."""
RATES = (24.0, 25.0, 29.97, 30.0, 60.0)


def _between(rng: Rng, low: float, high: float) -> float:
    """A ratio between two: each octave as likely as the next."""
    return float(np.exp(rng.uniform(np.log(low), np.log(high))))


def _sometimes(rng: Rng, share: float, low: float, high: float, otherwise: float = 0.0) -> float:
    """A strength between two with this likelihood, else none."""
    value = _between(rng, low, high)
    return value if rng.random() < share else otherwise


def random_camera(
    rng: Rng, places: Floats, kind: str = "propped", *, width: int = 1920, height: int = 1080,
    spacing: float | None = None,
) -> Camera:  # fmt: skip
    """A camera that stands so that a display is in its picture.

    Args:
        kind: "propped", still or in a little wind, or "hand".
        width, height: of the stored picture; smaller than 1920 × 1080 is a crop of that with the same lens.
        spacing: points between neighbours; None for 2 to 12. A display that would not fit gets less.

    Raises:
        ValueError: the kind is none of the two.
    """
    if kind not in ("propped", "hand"):
        raise ValueError(f"kind {kind!r}: choose propped or hand")
    wanted = _between(rng, 2.0, 12.0) if spacing is None else spacing
    zoom = float(rng.choice([0.55, 1.0, 1.0, 1.0, 2.0, 3.0]))
    turned = int(rng.choice([0, 0, 0, 90, 180, 270])) if spacing is None else 0
    k1 = float(rng.normal() * 0.02) if zoom >= 1 else -_between(rng, 0.01, 0.06)
    camera = Camera(
        width=width,
        height=height,
        focal=WIDE_FOCAL * max(width, 1920) * zoom,
        distortion=(k1, float(rng.normal() * 0.005)),
        roll=float(rng.normal() * (1.0 if kind == "propped" else 2.5)),
        rotation=turned,
        fps=float(rng.choice(RATES)),
    )
    camera = _placed(rng, camera, places, wanted)
    camera = _taken(rng, camera, kind)
    return _processed(rng, camera, kind)


def _placed(rng: Rng, camera: Camera, places: Floats, spacing: float) -> Camera:
    """The camera at the distance that gives the spacing, aimed at the display's middle, give or take."""
    apart = nearest(places)
    apart = apart[np.isfinite(apart) & (apart > 1e-4)]
    pitch = float(np.median(apart)) if len(apart) else 0.05
    low, high = places.min(axis=0), places.max(axis=0)
    middle = np.append((low + high) / 2, 0.0)
    sideways, upward = np.radians(rng.normal() * 10), np.radians(-abs(rng.normal()) * 6)
    from_there = np.array([np.sin(sideways), np.tan(upward), np.cos(sideways)])
    away = camera.focal * pitch / spacing
    some = places[:: max(1, len(places) // 2000)]
    ends = np.array([low, high, [low[0], high[1]], [high[0], low[1]]])
    points = np.column_stack([np.vstack([some, ends]), np.zeros(len(some) + 4)])
    off = rng.uniform(-1, 1, size=2)
    for _ in range(8):
        x, y, z = middle + away * from_there
        ahead = middle - [x, y, z]
        yaw = float(np.degrees(np.arctan2(ahead[0], -ahead[2])))
        up = float(np.degrees(np.arctan2(ahead[1], np.hypot(ahead[0], ahead[2]))))
        camera = replace(camera, position=(float(x), float(y), float(z)), yaw=yaw, pitch=up)
        at = projected(camera, seen(camera, points))
        fills = (np.nanmax(at, axis=0) - np.nanmin(at, axis=0)) / [camera.width, camera.height]
        if fills.max() <= FILLS and np.isfinite(at).all():
            break
        away *= 1.02 * max(fills.max() / FILLS, 1.0) if np.isfinite(at).all() else 2.0
    free = np.clip(1 - 0.04 - fills, 0, 0.5) / 2 * off * [camera.width, camera.height]
    if camera.rotation in (90, 270):
        free = free[::-1]
    yaw, up = np.degrees(np.arctan(free / camera.focal))
    return replace(camera, yaw=camera.yaw + float(yaw), pitch=camera.pitch + float(up))


def _taken(rng: Rng, camera: Camera, kind: str) -> Camera:
    """How it gathers light: the sensor, the lens, the hand."""
    each = 1 / float(rate(camera))
    exposure = _between(rng, 1 / 500, 0.98 * each)
    shake = _between(rng, 0.4, 3.0) if kind == "hand" else _sometimes(rng, 0.4, 0.03, 0.3)
    return replace(
        camera,
        blur=_between(rng, 0.5, 1.4),
        focus_drift=_sometimes(rng, 0.4, 0.1, 1.0),
        exposure=exposure,
        gain=_between(rng, 0.2, 6.0),
        readout=min(rng.uniform(0.006, 0.03), 0.95 * each),
        shake=shake,
        exposure_drift=_sometimes(rng, 0.6, 0.02, 0.3),
        auto_exposure=_sometimes(rng, 0.5, 0.2, 0.9),
        white_balance_drift=_sometimes(rng, 0.6, 0.005, 0.06),
        bayer=bool(rng.random() < 0.5),
        electrons=_between(rng, 400, 8000),
        read_noise=_between(rng, 1.5, 6.0),
        bloom=_sometimes(rng, 0.7, 0.005, 0.06),
        jitter=_sometimes(rng, 0.5, 0.0002, 0.003),
        clock_error=float(rng.normal() * 4e-5),
    )


def _processed(rng: Rng, camera: Camera, kind: str) -> Camera:
    """What the phone does to its pictures, and how it stores them."""
    size = (camera.width * camera.height / (1920 * 1080)) ** 0.75
    hevc = bool(rng.random() < 0.4)
    rate_1080 = _between(rng, 5.0, 14.0) if hevc else _between(rng, 8.0, 22.0)
    steadied = rng.random() < (0.5 if kind == "hand" else 0.15)
    return replace(
        camera,
        knee=_sometimes(rng, 0.6, 0.5, 0.9, 1.0),
        local_tone=_sometimes(rng, 0.4, 0.1, 0.6),
        spatial_denoise=_sometimes(rng, 0.4, 0.4, 0.8),
        temporal_denoise=_sometimes(rng, 0.4, 0.2, 0.7),
        sharpen=_sometimes(rng, 0.5, 0.2, 0.8),
        stabilise=float(rng.uniform(0.6, 0.97)) if steadied else 0.0,
        wobble=_sometimes(rng, 0.5, 0.1, 0.6) if steadied else 0.0,
        dropped=_sometimes(rng, 0.5, 0.001, 0.03),
        doubled=_sometimes(rng, 0.3, 0.001, 0.02),
        variable_rate=bool(rng.random() < 0.5),
        codec="hevc" if hevc else "h264",
        hlg=hevc and bool(rng.random() < 0.4),
        bit_rate=max(1.0, rate_1080 * size * (1.5 if camera.fps > 40 else 1.0)),
        full_range=bool(rng.random() < 0.3),
        sound=bool(rng.random() < 0.5),
    )


def random_scene(rng: Rng, places: Floats) -> Scene:
    """A display on a house at night, some of its pixels faint or hidden."""
    n = len(places)
    low, high = places.min(axis=0), places.max(axis=0)
    facing = np.clip(1 - np.abs(rng.normal(size=n)) * rng.uniform(0, 0.2), 0.1, 1)
    facing[rng.random(n) < _sometimes(rng, 0.5, 0.002, 0.03)] *= 0.15
    facing[rng.random(n) < _sometimes(rng, 0.5, 0.002, 0.03)] = 0.0
    cross = np.clip(WHITE_IS_ONE * rng.uniform(0.4, 1.6, size=(3, 3)), 0, None)
    depth = None
    if rng.random() < 0.4:
        wide = max(float(high[0] - low[0]), 0.5)
        across = (places[:, 0] - low[0]) / wide
        depth = wide * rng.uniform(0.005, 0.03) * np.sin(2 * np.pi * (across * rng.uniform(0.3, 1.2) + rng.random()))
    return Scene(
        places=places,
        depth=depth,
        facing=facing,
        ambient=_surroundings(rng, low, high) if rng.random() < 0.9 else None,
        response=cross / cross.sum(axis=0),
        pwm_hz=float(rng.choice([0.0, 400.0, 1000.0, 2000.0, 4000.0])),
        pwm_spread=float(rng.uniform(0, 0.05)),
        light_size=float(rng.uniform(0.005, 0.012)),
    )


def _surroundings(rng: Rng, low: Floats, high: Floats) -> Ambient:
    """A house whose front holds the display, and what else there may be."""
    wide, tall = np.maximum(high - low, 0.5)
    ground = float(low[1] - rng.uniform(0.05, 0.6) * max(float(tall), 1.0))
    dim = _between(rng, 0.1, 2.0)
    sky = dim * rng.uniform(0.5, 1.5, size=3)
    left, right = float(low[0] - 0.08 * wide), float(high[0] + 0.08 * wide)
    eaves, ridge = float(low[1] + 0.62 * tall), float(high[1] + 0.12 * tall)
    return Ambient(
        sky_top=tuple(sky * [0.0012, 0.0014, 0.0026]),
        sky_low=tuple(sky * [0.006, 0.005, 0.005]),
        ground=tuple(dim * np.array([0.003, 0.003, 0.002])),
        ground_y=ground,
        surfaces=_house(rng, (left, right, ground, eaves, ridge), dim),
        street_light=StreetLight((right + 0.15 * wide, float(high[1] + 0.05 * tall))) if rng.random() < 0.4 else None,
        car=_car(rng, left, right, ground) if rng.random() < 0.3 else None,
        branch=_branch(rng, low, high) if rng.random() < 0.35 else None,
        glass=_glass(rng, low, high, ground) if rng.random() < 0.4 else None,
    )


def _house(rng: Rng, box: tuple[float, float, float, float, float], dim: float) -> tuple[Surface, ...]:
    """Walls, a roof, windows of which some are lit, each with a bar across."""
    left, right, ground, eaves, ridge = box
    middle, over = (left + right) / 2, 0.05 * (right - left)
    wall = tuple(dim * rng.uniform(0.004, 0.02) * np.array([1.0, 0.85, 0.7]))
    gable = Surface(((left, ground), (left, eaves), (middle, ridge), (right, eaves), (right, ground)), wall, 0.15, 0.15)
    edges = ((left - over, eaves), (middle, ridge), (right + over, eaves), (right, eaves + 0.4), (middle, ridge + 0.4))
    dark = tuple(dim * np.array([0.0015, 0.0015, 0.002]))
    found = [gable, Surface((edges[0], edges[1], edges[2], edges[3], edges[4], (left, eaves + 0.4)), dark, 0.2)]
    many = int(rng.integers(1, 5))
    step, size = (right - left) / many, min((right - left) / many * 0.35, 1.2)
    for number in range(many):
        x, y = left + (number + 0.5) * step, ground + (eaves - ground) * rng.uniform(0.3, 0.6)
        lit = np.array([0.5, 0.34, 0.16]) * _between(rng, 0.05, 1.5) if rng.random() < 0.5 else np.full(3, 0.002 * dim)
        found.append(_board(x - size / 2, y, x + size / 2, y + 1.3 * size, tuple(lit), 0.15))
        bar = 0.03 * size
        found.append(_board(x - bar, y, x + bar, y + 1.3 * size, wall))
        found.append(_board(x - size / 2, y + 0.65 * size - bar, x + size / 2, y + 0.65 * size + bar, wall))
    return tuple(found)


def _board(x0: float, y0: float, x1: float, y1: float, colour: tuple, grain: float = 0.0) -> Surface:
    return Surface(((x0, y0), (x0, y1), (x1, y1), (x1, y0)), colour, grain)


def _car(rng: Rng, left: float, right: float, ground: float) -> Car:
    """A car that passes in front, from one side to the other."""
    begin = float(rng.uniform(0, 25))
    ends = [(left - 6.0, ground + 0.6), (right + 6.0, ground + 0.6)]
    if rng.random() < 0.5:
        ends.reverse()
    bright = _between(rng, 2.0, 12.0)
    colour = (bright, bright, 0.9 * bright)
    return Car(begin, begin + float(rng.uniform(2, 6)), ends[0], ends[1], colour, glow=float(rng.uniform(0.4, 1.5)))


def _branch(rng: Rng, low: Floats, high: Floats) -> Branch:
    """A branch from a side over part of the display, with leaves."""
    wide, tall = np.maximum(high - low, 0.5)
    side = float(rng.choice([-1.0, 1.0]))
    root = np.array([(low[0] + high[0]) / 2 + side * 0.65 * wide, low[1] + rng.uniform(0.3, 1.0) * tall])
    long = rng.uniform(0.15, 0.4) * wide
    tip = root - [side * long, rng.normal() * 0.15 * tall]
    twigs = [(*root, *tip, 0.03)]
    for share in rng.uniform(0.2, 1.0, size=24):
        begin = root + share * (tip - root)
        end = begin + 0.5 * share * (tip - root) * rng.uniform(0.1, 1) + rng.normal(size=2) * 0.15 * long
        twigs.append((*begin, *end, 0.008))
        for leaf in rng.uniform(0.2, 1.0, size=4):
            at = begin + leaf * (end - begin)
            twigs.append((*at, *(at + rng.normal(size=2) * 0.04), 0.022))
    return Branch(tuple(root), tuple(twigs), float(rng.uniform(0.3, 3)), float(rng.uniform(0.15, 0.5)), 0.5)


def _glass(rng: Rng, low: Floats, high: Floats, ground: float) -> Glass:
    """Wet ground below the display, or a window beside part of it."""
    wide, tall = np.maximum(high - low, 0.5)
    share = _between(rng, 0.03, 0.35)
    if rng.random() < 0.5:
        return Glass(low[0] - wide, ground - tall, high[0] + wide, ground, "y", ground, share)
    at = float(low[0] + rng.uniform(0.3, 0.7) * wide)
    x, y = float(low[0] + rng.uniform(0, 0.7) * wide), float(low[1] + rng.uniform(0, 0.6) * tall)
    return Glass(x, y, x + 0.25 * float(wide), y + 0.35 * float(tall), "x", at, share)
