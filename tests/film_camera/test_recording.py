"""How a film is stored, held against PyAV's decoder and the standards' numbers."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise
from pathlib import Path

import av
import numpy as np
import pytest
from numpy.typing import NDArray

from film_camera import Camera, Scene, film
from film_camera.recording import exposures, rate, record
from film_camera.sensor import tone

SMALL = Camera(width=160, height=90, focal=120.0, position=(0.0, 0.0, 3.0))
SIXTEEN = np.column_stack([0.2 * (np.arange(16) % 4), 0.2 * (np.arange(16) // 4)]) - 0.3


def full(times: NDArray) -> NDArray:
    return np.full((len(times), 16, 3), 255, np.uint8)


@pytest.mark.parametrize("codec", ["h264", "hevc"])
@pytest.mark.parametrize("rotation", [0, 90])
def test_a_decoded_film_has_the_frames_stamps_and_turn(tmp_path: Path, codec: str, rotation: int) -> None:
    # Judge: PyAV's decoder
    camera = replace(
        SMALL, codec=codec, rotation=rotation, fps=29.97, dropped=0.15, doubled=0.1, jitter=0.003, variable_rate=True,
        sound=True, bit_rate=2.0,
    )  # fmt: skip
    truth = film(Scene(SIXTEEN), camera, full, 1.2, tmp_path / "a.mp4", seed=2)
    with av.open(str(tmp_path / "a.mp4")) as container:
        stream = container.streams.video[0]
        frames = list(container.decode(stream))
        assert stream.codec_context.name == codec
        assert len(container.streams.audio) == 1
    assert len(frames) == len(truth.stamps) < 35
    np.testing.assert_allclose([frame.time for frame in frames], truth.stamps, atol=1 / 90_000)
    assert (frames[0].width, frames[0].height) == (160, 90)
    assert frames[0].rotation % 360 == -rotation % 360, "PyAV counts counter-clockwise"
    assert frames[0].to_ndarray(format="rgb24").max() > 150


@pytest.mark.parametrize("rotation", [90, 180, 270])
def test_a_player_that_turns_the_picture_shows_it_upright(tmp_path: Path, rotation: int) -> None:
    # Judge: PyAV, which says by how much to turn counter-clockwise; NumPy, which turns
    above = np.repeat([[0.1, 0.25]], 16, axis=0)
    film(Scene(above), replace(SMALL, rotation=rotation), full, 0.1, tmp_path / "a.mp4")
    with av.open(str(tmp_path / "a.mp4")) as container:
        frame = next(container.decode(video=0))
    shown = np.rot90(frame.to_ndarray(format="gray"), frame.rotation // 90)
    row, column = np.argwhere(shown > 128).mean(axis=0)
    tall, wide = shown.shape
    assert (row - tall / 2, column - wide / 2) == pytest.approx((-10, 4), abs=0.8)


@pytest.mark.long
def test_each_pixel_shows_its_own_word_at_its_own_place(tmp_path: Path) -> None:
    bits = np.random.default_rng(1).integers(0, 2, size=(40, 16))

    def words(times: NDArray) -> NDArray:
        return (
            np.where(bits[np.floor(times / 0.2).astype(int) % 40], 200, 50)[..., None]
            .repeat(3, axis=2)
            .astype(np.uint8)
        )

    camera = replace(SMALL, fps=29.97, exposure=0.01, readout=0.02, dropped=0.05, shake=0.1, bit_rate=1.0, bayer=True)
    truth = film(Scene(SIXTEEN), camera, words, 6.0, tmp_path / "a.mp4", start=1.3, seed=4)
    assert truth.visible.all()
    with av.open(str(tmp_path / "a.mp4")) as container:
        frames = [(each.time, each.to_ndarray(format="gray").astype(float)) for each in container.decode(video=0)]
    column, row = truth.places.round().astype(int).T
    seen = np.array([frame[row, column] for _, frame in frames])
    began = 1.3 + np.array([time for time, _ in frames])[:, None] + row / camera.height * camera.readout
    sent = np.stack([bits[np.floor((began + 0.005) / 0.2).astype(int) % 40, word] for word in range(16)], axis=2)
    likeness = np.array([[np.corrcoef(seen[:, k], sent[:, k, word])[0, 1] for word in range(16)] for k in range(16)])
    assert (likeness.argmax(axis=1) == np.arange(16)).all()
    assert np.diag(likeness).min() > 0.9


def test_a_film_for_bright_screens_says_so(tmp_path: Path) -> None:
    # Source: ITU-T H.273: 9, 18, 9 are BT.2020's primaries, HLG's transfer, BT.2020's matrix. Judge: PyAV's decoder
    camera = replace(SMALL, codec="hevc", hlg=True)
    film(Scene(SIXTEEN), camera, full, 0.2, tmp_path / "a.mov")
    with av.open(str(tmp_path / "a.mov")) as container:
        frame = next(container.decode(video=0))
    assert frame.format.name == "yuv420p10le"
    assert (frame.color_primaries, frame.color_trc, frame.colorspace) == (9, 18, 9)
    # Source: ITU-R BT.2100-2, table 5: the two parts of the curve meet at 1/12, where it is 1/2
    assert tone(camera, np.array([0, 1 / 12, 1 / 12 + 1e-6, 1])).tolist() == pytest.approx([0, 0.5, 0.5, 1], abs=1e-4)
    with pytest.raises(ValueError, match="choose hevc"):
        film(Scene(SIXTEEN), replace(camera, codec="h264"), full, 0.1, tmp_path / "b.mp4")


def test_stamps_follow_the_frames_or_pretend_an_even_rate() -> None:
    for variable in (True, False):
        camera = replace(SMALL, jitter=0.004, variable_rate=variable, fps=25.0)
        taken = exposures(camera, 0.0, 10.0, np.random.default_rng(1))
        times, stamps = (np.array([getattr(each, name) for each in taken]) for name in ("time", "stamp"))
        assert np.diff(times).std() > 0.004
        np.testing.assert_allclose(stamps, times if variable else np.arange(250) / 25, atol=1e-9)


def test_frames_are_lost_and_repeated_as_often_as_told() -> None:
    camera = replace(SMALL, dropped=0.1, doubled=0.05, fps=30.0)
    taken = exposures(camera, 5.0, 100.0, np.random.default_rng(1))
    assert 2640 < len(taken) < 2760
    assert 90 < sum(each.again for each in taken) < 190
    assert all(a.stamp < b.stamp for a, b in pairwise(taken))
    assert float(rate(replace(SMALL, fps=29.97))) == 30000 / 1001
    assert rate(replace(SMALL, fps=25.0)) == 25
    fast = exposures(replace(SMALL, clock_error=1e-3), 0.0, 100.0, np.random.default_rng(1))
    assert fast[-1].stamp / fast[-1].time == pytest.approx(1.001)


@pytest.mark.parametrize("wide", [False, True])
@pytest.mark.parametrize("codec", ["h264", "hevc"])
def test_colours_come_back_as_they_were(tmp_path: Path, codec: str, wide: bool) -> None:
    # Judge: swscale. Source: ITU-R BT.709-6, item 3: luma is 0.2126 R + 0.7152 G + 0.0722 B
    colours = np.array([[255, 255, 255], [200, 30, 30], [30, 200, 30], [30, 30, 200], [0, 0, 0]], np.uint8)
    picture = np.broadcast_to(colours.repeat(32, axis=0), (90, 160, 3)).copy()
    camera = replace(SMALL, codec=codec, full_range=wide, bit_rate=5.0)
    record(camera, ((k / 30, picture) for k in range(4)), tmp_path / "a.mp4")
    with av.open(str(tmp_path / "a.mp4")) as container:
        frame = list(container.decode(video=0))[2]
    np.testing.assert_allclose(frame.to_ndarray(format="rgb24")[45, 16::32].astype(int), colours, atol=4)
    luma = colours @ [0.2126, 0.7152, 0.0722]
    stored = frame.to_ndarray()[45, 16:160:32]
    np.testing.assert_allclose(stored, luma if wide else 16 + luma * 219 / 255, atol=2)
