"""The nouns: the scene that is filmed, the camera that films it, and the truth about the film."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from film_camera.ambience import Ambient

Levels = Callable[[NDArray[np.float64]], NDArray]
"""Times in seconds, float[k], to each pixel's drive: uint8[k, n, 3] (255 is full) or float[k, n, 3] (1 is full)."""

WHITE_IS_ONE = np.array([[0.86, 0.10, 0.01], [0.11, 0.78, 0.16], [0.03, 0.12, 0.83]])
"""Row: the letter that is driven; column: what the camera's red, green and blue see of it. Columns add up to 1."""


@dataclass(frozen=True)
class Scene:
    """What stands there.

    Attributes:
        places: float[n, 2], metres, x to the right, y up, in the plane z = 0.
        depth: float[n], metres toward the camera; None where all hang in the plane.
        facing: float[n], the share of a pixel's light that goes to the camera: 1 all, 0 hidden; None where all do.
        ambient: everything else that is to be seen; None in perfect darkness.
        response: float[3, 3], what the camera's red, green and blue (columns) see of the driven letters (rows); beside
            the diagonal stands cross-talk. A white pixel is 1 in each column.
        pwm_hz: how often a pixel switches its light in a second; 0 for light that does not switch.
        pwm_spread: the rms by which each pixel's own clock differs from that, as a ratio.
        light_size: metres, the diameter of the disc that shines.
    """

    places: NDArray[np.float64]
    depth: NDArray[np.float64] | None = None
    facing: NDArray[np.float64] | None = None
    ambient: Ambient | None = None
    response: NDArray[np.float64] = field(default_factory=WHITE_IS_ONE.copy)
    pwm_hz: float = 0.0
    pwm_spread: float = 0.0
    light_size: float = 0.008

    @property
    def points(self) -> NDArray[np.float64]:
        """float[n, 3]: metres, x to the right, y up, z toward the camera."""
        depth = np.zeros(len(self.places)) if self.depth is None else self.depth
        return np.column_stack([self.places, depth])

    @property
    def faces(self) -> NDArray[np.float64]:
        """float[n]: the share of each pixel's light that goes to the camera."""
        return np.ones(len(self.places)) if self.facing is None else np.asarray(self.facing, float)


@dataclass(frozen=True)
class Camera:
    """What films it, from where, and how.

    Lengths in the picture are in picture points. `gain` is told by the light: at 1 the middle of a median pixel, white
    and full, just reaches the sensor's full scale; below, the film is underexposed, above, pixels clip.

    Attributes:
        width, height: of the picture as it is stored.
        fps: frames a second, as the camera's clock means it; 29.97 is 30 000/1 001.
        position: metres, in the scene's coordinates; z is the distance to its plane.
        yaw, pitch, roll: degrees; to the right, up, clockwise as seen from behind the camera.
        focal: the focal length in points.
        distortion: k1, k2 of Brown and Conrady's radial distortion.
        rotation: 0, 90, 180 or 270: by how many degrees clockwise a player turns the stored picture to show it.
        blur: rms radius of the lens's point spread, per axis.
        focus_drift: rms of a slow wandering of the focus, as more blur of the pixels.
        exposure: seconds that each row gathers light; drive, PWM and shake are integrated over it.
        gain: how bright, see above.
        readout: seconds from the first row's start to the last row's (rolling shutter).
        shake: rms displacement per axis at the middle of the picture; its spectrum is 1/f up to 10 Hz, as a hand's.
        exposure_drift: rms in stops of a slow wandering of the exposure.
        auto_exposure: share, 0 to 1, of a change of the mean light that the camera takes back, within a second.
        white_balance_drift: rms, as a ratio, of a slow wandering of red and of blue.
        bayer: whether colours come from a mosaic of RGGB and demosaicing.
        electrons: at full scale; fewer are noisier (shot noise).
        read_noise: electrons, rms.
        bloom: share of the light that goes into a wide halo (veiling glare).
        local_tone: 0 to 1, how much local tone mapping evens out bright and dark regions.
        knee: where, as a share of full scale, the tone curve's shoulder begins; 1 for none.
        spatial_denoise: rms radius of smoothing after demosaicing; 0 for none.
        temporal_denoise: share of the frame before that stays where little has changed; 0 for none.
        sharpen: strength of an unsharp mask; 0 for none.
        stabilise: share, 0 to 1, of the shake that electronic stabilisation takes out; 0 for none.
        crop: share of the picture on each side that stabilisation has for it.
        wobble: rms of the warps that stabilisation adds by itself, at the picture's edge.
        dropped, doubled: share of frames that are missing (their time is passed over), or shown twice.
        jitter: seconds rms by which a frame is taken early or late.
        variable_rate: whether time stamps follow that jitter, or pretend an even rate.
        clock_error: as a ratio, by how much the camera's clock runs too fast.
        codec: "h264" or "hevc".
        bit_rate: Mb/s.
        hlg: whether levels are stored for bright screens, by the HLG curve in 10 bits and marked so; only with "hevc".
        full_range: whether levels are stored 0 to 255 or 16 to 235.
        key_seconds: seconds between key frames.
        sound: whether a track of silence is stored before the picture's.
    """

    width: int = 1920
    height: int = 1080
    fps: float = 30.0
    position: tuple[float, float, float] = (0.0, 0.0, 10.0)
    yaw: float = 0.0
    pitch: float = 0.0
    roll: float = 0.0
    focal: float = 1400.0
    distortion: tuple[float, float] = (0.0, 0.0)
    rotation: int = 0
    blur: float = 0.8
    focus_drift: float = 0.0
    exposure: float = 1 / 60
    gain: float = 1.0
    readout: float = 0.0
    shake: float = 0.0
    exposure_drift: float = 0.0
    auto_exposure: float = 0.0
    white_balance_drift: float = 0.0
    bayer: bool = False
    electrons: float = 4000.0
    read_noise: float = 4.0
    bloom: float = 0.0
    local_tone: float = 0.0
    knee: float = 1.0
    spatial_denoise: float = 0.0
    temporal_denoise: float = 0.0
    sharpen: float = 0.0
    stabilise: float = 0.0
    crop: float = 0.05
    wobble: float = 0.0
    dropped: float = 0.0
    doubled: float = 0.0
    jitter: float = 0.0
    variable_rate: bool = False
    clock_error: float = 0.0
    codec: str = "h264"
    bit_rate: float = 12.0
    hlg: bool = False
    full_range: bool = False
    key_seconds: float = 1.0
    sound: bool = False


@dataclass(frozen=True)
class Truth:
    """What a judge may know of a film.

    Attributes:
        places: float[n, 2]: where each pixel is in the first frame, in points as stored, x to the right, y down, whole
            numbers in the middle of a point; NaN behind the camera.
        in_picture: float[n]: the share of frames in which it lies inside the picture.
        uncovered: float[n]: the share of its light, over the film, that no branch took away.
        levels: float[n]: how many grey levels of 255 it rose above its background, in the best frame and channel.
        noise: float: grey levels rms that the sensor's noise makes in a dark place (before any denoising).
        spacing: float[n]: points to the nearest other pixel in the first frame.
        reflections: float[n, 2]: where its mirror image is in the first frame; NaN without one.
        visible: bool[n]: whether it could be proven: in the picture in 95 % of the frames, its light half uncovered,
            at least 6 grey levels and three times the noise above its background.
        times: float[frames]: the scene's time at which each stored frame's first row began to gather light.
        stamps: float[frames]: the time stamp that each frame got, seconds.
        path: float[frames, 2]: by how much the middle of the field stands elsewhere than in the first frame, points.
    """

    places: NDArray[np.float64]
    in_picture: NDArray[np.float64]
    uncovered: NDArray[np.float64]
    levels: NDArray[np.float64]
    noise: float
    spacing: NDArray[np.float64]
    reflections: NDArray[np.float64]
    visible: NDArray[np.bool_]
    times: NDArray[np.float64]
    stamps: NDArray[np.float64]
    path: NDArray[np.float64]
