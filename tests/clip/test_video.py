"""Clips of every kind: real files by real encoders, whole, turned, cut off and broken."""

from __future__ import annotations

import hashlib
import os
import socket
import subprocess
import sys
from pathlib import Path

import av
import numpy as np
import pytest

from patcher.clip import video
from patcher.errors import PatcherError
from rig.clips import SIZE, picture, sound_only, steady, turned, written

WIDE, HIGH = SIZE
CODECS = ["libx264", "libx265"]


def read(path: Path) -> list[tuple[float, np.ndarray]]:
    return list(video.frames(video.facts(path)))


def number_of(seen: np.ndarray) -> int:
    """The number of a picture by its grey, in its lower half."""
    return round((float(seen[HIGH // 2 + 4 : -4, 8:-8].mean()) - 40) / 5)


def refused(path: Path) -> PatcherError:
    """Words, and no other error; they name the clip and say what to do."""
    with pytest.raises(PatcherError) as caught:
        read(path)
    (finding,) = caught.value.findings
    assert finding.where == str(path)
    assert finding.says
    assert finding.remedy
    return caught.value


@pytest.mark.parametrize("codec", CODECS)
def test_frames_come_in_order_with_their_times(tmp_path: Path, codec: str) -> None:
    path = written(tmp_path / "clip.mp4", steady(25, 25), codec=codec, rate=25)
    facts = video.facts(path)
    assert (facts.width, facts.height, facts.turn) == (WIDE, HIGH, 0)
    assert facts.seconds == pytest.approx(1.0, abs=0.05)
    assert facts.rate == pytest.approx(25, rel=0.01)
    found = read(path)
    assert [time for time, _ in found] == pytest.approx(steady(25, 25), abs=1e-3)
    assert [number_of(seen) for _, seen in found] == list(range(25))
    for _, seen in found:
        assert seen.shape == (HIGH, WIDE, 3)
        assert seen.dtype == np.uint8
        assert np.abs(seen[10, 20].astype(int) - picture(0)[10, 20]).max() < 25
        assert np.abs(seen[10, 80].astype(int) - picture(0)[10, 80]).max() < 25


@pytest.mark.parametrize("codec", CODECS)
def test_a_variable_rate_keeps_the_times_that_the_file_says(tmp_path: Path, codec: str) -> None:
    rng = np.random.default_rng(1)
    times = np.cumsum([0, *rng.choice([0.033, 0.04, 0.05, 0.1, 0.4], 30)]).tolist()
    found = read(written(tmp_path / "clip.mp4", times, codec=codec))
    assert [time for time, _ in found] == pytest.approx(times, abs=1e-3)
    assert [number_of(seen) for _, seen in found] == [n % 30 for n in range(31)]


def test_times_begin_with_the_first_frame(tmp_path: Path) -> None:
    found = read(written(tmp_path / "clip.mkv", [5 + t for t in steady(10, 25)]))
    assert [time for time, _ in found] == pytest.approx(steady(10, 25), abs=2e-3)


@pytest.mark.parametrize("codec", CODECS)
@pytest.mark.parametrize(
    ("degrees", "red", "green"),
    [(0, (0, 0), (0, 1)), (90, (0, 1), (1, 1)), (180, (1, 1), (1, 0)), (270, (1, 0), (0, 0))],
)
def test_a_clip_is_turned_as_its_metadata_says(
    tmp_path: Path, codec: str, degrees: int, red: tuple[int, int], green: tuple[int, int]
) -> None:
    """The upper left quarter is red, the upper right one green; turned clockwise they stand elsewhere.

    # Judge: the matrix as ISO/IEC 14496-12 writes it, and a sheet of paper turned by hand.
    """
    path = turned(written(tmp_path / "clip.mp4", steady(8, 25), codec=codec, rate=25), degrees)
    facts = video.facts(path)
    wide, high = (HIGH, WIDE) if degrees in (90, 270) else (WIDE, HIGH)
    assert (facts.width, facts.height) == (wide, high)
    _, seen = read(path)[0]
    assert seen.shape == (high, wide, 3)
    for (down, right), colour in ((red, 0), (green, 1)):
        quarter = seen[high // 4 + down * high // 2, wide // 4 + right * wide // 2].astype(int)
        assert quarter.argmax() == colour
        assert quarter[colour] > 150


def test_a_clip_of_sixty_frames_a_second_is_read_by_every_other(tmp_path: Path) -> None:
    found = read(written(tmp_path / "clip.mp4", steady(40, 60), rate=60))
    assert [time for time, _ in found] == pytest.approx(steady(20, 30), abs=1e-3)


def test_eight_frames_a_second_are_read_and_said(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", steady(12, 8), rate=8)
    assert video.facts(path).rate == pytest.approx(8, rel=0.05)
    assert video.facts(path).rate < video.SLOWEST
    assert len(read(path)) == 12


def test_no_more_is_read_than_the_longest(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Only frames up to `LONGEST` are decoded, one at a time: a clip of hours takes no more time and no more memory."""
    path = written(tmp_path / "clip.mkv", steady(200, 2), rate=2)
    monkeypatch.setattr(video, "LONGEST", 10.0)
    found = read(path)
    assert [time for time, _ in found] == pytest.approx(steady(21, 2), abs=2e-3)


def test_frames_are_made_as_they_are_asked_for(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", steady(170, 30), size=(320, 240))
    frames = video.frames(video.facts(path))
    for _ in range(20):
        next(frames)
    before = resident()
    seen = [next(frames)[0] for _ in range(140)]
    assert len(seen) == 140
    # All of those frames at once would be 140 × 320 × 240 × 3 = 32 MB.
    assert resident() - before < 12e6
    frames.close()


def resident() -> int:
    return int(Path("/proc/self/statm").read_text().split()[1]) * os.sysconf("SC_PAGE_SIZE")


def test_a_picture_of_too_many_points_is_made_smaller(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = written(tmp_path / "clip.mp4", steady(3, 25))
    monkeypatch.setattr(video, "MOST_POINTS", WIDE * HIGH // 4)
    facts = video.facts(path)
    assert (facts.width, facts.height) == (WIDE // 2, HIGH // 2)
    assert all(seen.shape == (HIGH // 2, WIDE // 2, 3) for _, seen in read(path))


@pytest.mark.parametrize("codec", CODECS)
@pytest.mark.parametrize("part", [0.3, 0.5, 0.9, 0.99])
@pytest.mark.parametrize("kind", ["mp4", "mkv"])
def test_a_clip_that_is_cut_off_gives_what_is_there_or_words(
    tmp_path: Path, codec: str, part: float, kind: str
) -> None:
    whole = written(tmp_path / f"whole.{kind}", steady(60, 25), codec=codec, rate=25)
    cut = tmp_path / f"cut.{kind}"
    cut.write_bytes(whole.read_bytes()[: int(whole.stat().st_size * part)])
    try:
        found = read(cut)
    except PatcherError:
        # An MP4's index stands at its end.
        refused(cut)
        return
    assert len(found) <= 60
    assert [number_of(seen) for _, seen in found][:-2] == [n % 30 for n in range(len(found))][:-2]


@pytest.mark.parametrize("codec", CODECS)
def test_a_clip_that_is_cut_off_in_the_middle_gives_its_first_half(tmp_path: Path, codec: str) -> None:
    """Where the index does not stand at the end."""
    whole = written(tmp_path / "whole.mkv", steady(60, 25), codec=codec, rate=25, noise=40)
    cut = tmp_path / "cut.mkv"
    cut.write_bytes(whole.read_bytes()[: whole.stat().st_size // 2])
    found = read(cut)
    assert 15 < len(found) < 45
    assert [time for time, _ in found] == pytest.approx(steady(len(found), 25), abs=2e-3)


@pytest.mark.parametrize("seed", range(12))
def test_a_clip_with_broken_octets_gives_frames_or_words(tmp_path: Path, seed: int) -> None:
    rng = np.random.default_rng(seed)
    path = written(tmp_path / "clip.mp4", steady(40, 25), codec=CODECS[seed % 2], rate=25)
    octets = np.frombuffer(path.read_bytes(), dtype=np.uint8).copy()
    where = rng.integers(0, len(octets), int(rng.choice([3, 30, 300])))
    octets[where] = rng.integers(0, 256, len(where))
    path.write_bytes(octets.tobytes())
    try:
        found = read(path)
    except PatcherError:
        refused(path)
        return
    times = [time for time, _ in found]
    assert len(found) <= 40
    assert times == sorted(times)


@pytest.mark.parametrize(
    ("name", "octets"),
    [
        ("empty.mp4", b""), ("text.mp4", b"title = 'a show'\n" * 50),
        ("random.mp4", np.random.default_rng(1).bytes(70_000)),
        ("head.mp4", b"\x00\x00\x00\x18ftypmp42\x00\x00\x00\x00mp42isom"), ("zeros.mov", bytes(10_000)),
    ],
)  # fmt: skip
def test_what_is_no_video_is_refused_in_words(tmp_path: Path, name: str, octets: bytes) -> None:
    path = tmp_path / name
    path.write_bytes(octets)
    assert "cannot be read as a video" in str(refused(path))


def test_a_clip_without_pictures_is_refused_in_words(tmp_path: Path) -> None:
    assert "has no video in it" in str(refused(sound_only(tmp_path / "song.m4a")))


def test_a_folder_and_a_file_that_is_not_there_are_refused_in_words(tmp_path: Path) -> None:
    assert "is not there" in str(refused(tmp_path / "nowhere.mp4"))
    refused(tmp_path)
    pipe = tmp_path / "name\nwith a new line.mp4"
    pipe.write_bytes(b"")
    refused(pipe)


def test_what_looks_like_an_address_is_a_file_that_is_not_there(tmp_path: Path) -> None:
    """A name is a file's name: nothing is fetched."""
    for name in ("http://127.0.0.1:9/a.mp4", "concat:a.mp4|b.mp4", "lavfi:testsrc", "pipe:0"):
        with pytest.raises(PatcherError):
            read(Path(name))


@pytest.mark.parametrize(
    ("name", "text"),
    [
        ("list.m3u8", "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:{port}/a.ts\n#EXT-X-ENDLIST\n"),
        ("list.mp4", "#EXTM3U\n#EXT-X-TARGETDURATION:10\n#EXTINF:10,\nhttp://127.0.0.1:{port}/a.ts\n#EXT-X-ENDLIST\n"),
        ("several.mp4", "ffconcat version 1.0\nfile http://127.0.0.1:{port}/a.mp4\n"),
        ("stream.mp4", "v=0\no=- 0 0 IN IP4 127.0.0.1\ns=x\nc=IN IP4 127.0.0.1\nm=video {port} RTP/AVP 96\n"),
    ],
)  # fmt: skip
def test_a_list_that_names_other_places_is_refused_and_nothing_is_fetched(tmp_path: Path, name: str, text: str) -> None:
    with socket.create_server(("127.0.0.1", 0)) as server:
        server.setblocking(False)
        path = tmp_path / name
        path.write_text(text.format(port=server.getsockname()[1]))
        refused(path)
        with pytest.raises(BlockingIOError):
            server.accept()


def test_the_digest_is_that_of_the_octets(tmp_path: Path) -> None:
    path = tmp_path / "clip.mp4"
    octets = np.random.default_rng(2).bytes((1 << 20) + 77)
    path.write_bytes(octets)
    assert hashlib.sha256(octets).hexdigest().startswith(video.digest(path))
    assert len(video.digest(path)) >= 16


def test_who_lacks_the_libraries_is_told_what_to_install(tmp_path: Path) -> None:
    path = written(tmp_path / "clip.mp4", steady(3, 25))
    program = (
        "import sys; sys.modules['av'] = None\n"
        "from pathlib import Path\nfrom patcher.clip import video\nfrom patcher.errors import PatcherError\n"
        f"try:\n    video.facts(Path({str(path)!r}))\n"
        "except PatcherError as error:\n    print(error.findings[0].remedy)\n"
    )
    said = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True).stdout
    assert "pip install" in said
    assert "film" in said


def test_frames_are_those_of_another_decoder_call(tmp_path: Path) -> None:
    # Judge: PyAV's own loop over a container, without the reader.
    path = written(tmp_path / "clip.mp4", steady(20, 25), rate=25)
    with av.open(str(path)) as container:
        theirs = [frame.to_ndarray(format="rgb24") for frame in container.decode(video=0)]
    ours = [seen for _, seen in read(path)]
    assert len(ours) == len(theirs)
    assert all(np.array_equal(one, other) for one, other in zip(ours, theirs, strict=True))


def test_a_film_for_bright_screens_is_read_with_the_levels_of_a_usual_one(tmp_path: Path) -> None:
    # Source: ITU-R BT.2100-2, table 5: HLG's OETF, from light to level; ITU-R BT.709-6, item 1.2, the usual one.
    light = np.array([0.005, 0.02, 1 / 12, 0.2, 0.5, 1.0])
    a, b, c = 0.17883277, 0.28466892, 0.55991073
    hlg = np.where(light <= 1 / 12, np.sqrt(3 * light), a * np.log(np.maximum(12 * light - b, 1e-9)) + c)
    usual = np.where(light < 0.018, 4.5 * light, 1.099 * light**0.45 - 0.099)
    path = tmp_path / "clip.mp4"
    with av.open(str(path), "w") as container:
        stream = container.add_stream("libx265", rate=25, options={"x265-params": "log-level=none:lossless=1"})
        stream.width, stream.height, stream.pix_fmt = 32 * len(light), 32, "yuv420p10le"
        stream.codec_context.color_trc, stream.codec_context.color_primaries = 18, 9
        stream.codec_context.colorspace = 9
        luma = np.repeat(np.round(64 + 876 * hlg), 32).astype(np.uint16)  # Source: BT.2100-2, table 9: narrow range
        for number in range(25):
            frame = av.VideoFrame(stream.width, 32, "yuv420p10le")
            for plane, level in zip(frame.planes, (luma, 512, 512), strict=True):
                own = np.zeros((plane.height, plane.line_size // 2), dtype=np.uint16)
                own[:, : plane.width] = level if np.ndim(level) == 0 else level[: plane.width]
                plane.update(own.tobytes())
            frame.pts = number
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    assert av.open(str(path)).streams.video[0].codec_context.color_trc == video.HLG
    seen = read(path)[3][1][16, 16::32].mean(axis=1)
    assert seen == pytest.approx(255 * usual, abs=6)
