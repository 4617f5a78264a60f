"""The film on the phone: the code on the wire, clips that are taken, refused and read, and who may send them."""

import http.client
import inspect
import io
import json
import os
import re
import shutil
import tempfile
import threading
import time
from collections import namedtuple
from collections.abc import Callable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import pairwise
from pathlib import Path
from typing import get_args, get_type_hints

import av
import cv2
import numpy as np
import pytest

from patcher.cli.phone import _say, phone
from patcher.cli.phone_film import film_reader
from patcher.door import connections
from patcher.film import read as clip_reader
from patcher.frames.film_code import BIN, code_of
from patcher.frames.levels import Levels
from patcher.patch.patch_file import dump, patch_path
from patcher.phone import film_upload
from patcher.phone.content import Content
from patcher.phone.desk import FILM_HOLD, Desk
from patcher.phone.film_thread import FilmReader, FilmVerdict
from patcher.phone.frame_thread import FramePlayer
from patcher.phone.pages import Pages
from patcher.phone.state import Act, State, filmed, tap
from patcher.reference import parts_of, topics
from patcher.stream.reach import Reached
from patcher.trade import TEST_LEVEL
from patcher.walk.record import states
from patcher.walk.record_file import checks_path, read_record
from rig.examples import later
from rig.film_verdicts import perfect
from rig.heron_lock import heron
from rig.phones import Rig, evening, plan_of, until
from rig.shipped import ROOT, SHOWS

PLAN = plan_of(SHOWS / "heron-lock.toml")


# --- the code -----------------------------------------------------------------------------------------------------


class Clock:
    def __init__(self) -> None:
        self.now = 1000.03


class Heard:
    """In the place of a sender: what it was given, and when."""

    def __init__(self, clock: Clock) -> None:
        self.sent: list[tuple[float, Levels]] = []
        self.reached = Reached()
        self._clock = clock

    def send(self, levels: Levels) -> None:
        self.sent.append((self._clock.now, levels))

    def keep_alive(self) -> None:
        pass


def played(taps: dict[float, Act], seconds: float) -> list[tuple[float, np.ndarray]]:
    """What goes out while a desk is tapped at some seconds: the seconds, and all slots."""
    clock = Clock()
    begin = clock.now
    plan = replace(PLAN, number=2)
    plan.work_out_film(TEST_LEVEL)
    desk = Desk(plan, 60.0, now=lambda: clock.now)
    sender = Heard(clock)

    def wait(_: int, left: float) -> None:
        clock.now += min(left, 0.01)
        desk._heard = clock.now
        for at in [at for at in taps if begin + at <= clock.now]:
            desk.tap(taps.pop(at))

    desk.wait = wait  # type: ignore[method-assign]
    player = FramePlayer(desk, sender, list(plan.universes), {})  # type: ignore[arg-type]
    player.play(lambda: clock.now > begin + seconds)
    return [(at - begin, whole(levels)) for at, levels in sender.sent]


def whole(levels: Levels) -> np.ndarray:
    held = dict(zip(levels.universes, levels.slots, strict=True))
    return np.stack([held.get(universe, np.zeros(512, np.uint8)) for universe in PLAN.universes])


def test_the_code_goes_out_bin_by_bin_in_its_order_and_on_its_clock() -> None:
    # Source: the design: a bin lasts 0.1 s; `film` sends code.frames
    frames = [whole(one) for one in code_of(PLAN.patch).frames(PLAN.universes, TEST_LEVEL)]
    sent = [(at, slots) for at, slots in played({0.0: Act("film")}, 30.0) if slots.any()]
    changes = [sent[0]] + [new for old, new in pairwise(sent) if (new[1] != old[1]).any()]
    turns = [step for step, one in enumerate(frames) if (one != frames[step - 1]).any()]
    assert len(changes) > len(turns)
    first = next(number for number, step in enumerate(turns) if (frames[step] == changes[1][1]).all())
    for number, (at, slots) in enumerate(changes[1:], first):
        cycles, turn = divmod(number, len(turns))
        assert (slots == frames[turns[turn]]).all()
        due = BIN * (cycles * len(frames) + turns[turn] - turns[first])
        assert abs(at - changes[1][0] - due) < 0.02, "it does not drift"


def test_a_blackout_ends_the_code_at_once_and_lights_bring_it_back_no_faster_than_an_eye_bears() -> None:
    # Source: the design: blackout from wherever; WCAG 2.2, 2.3.1: three flashes a second
    taps = {0.0: Act("film"), 2.0: Act("dark")}
    for number in range(8):
        taps |= {2.1 + number * 0.1: Act("light"), 2.15 + number * 0.1: Act("dark")}
    sent = played(taps, 6.0)
    assert any(slots.any() for at, slots in sent if at < 2.0)
    assert not any(slots.any() for at, slots in sent if 2.02 < at < 2.5), "the code's own flashes count"
    lit = [at for (_, old), (at, new) in pairwise(sent) if new.any() and not old.any()]
    assert all(sum(at - 1 < one <= at for one in lit) <= 3 for at in lit)
    assert not sent[-1][1].any()


def test_another_pattern_after_the_code_waits_for_the_second_to_be_over() -> None:
    # Source: WCAG 2.2, 2.3.1; the code flashes up to three times a second by itself
    sent = played({0.0: Act("film"), 2.0: Act("pattern", "steady")}, 4.0)
    steady = max(slots.sum() for at, slots in sent if at > 3.5)
    first = next(at for at, slots in sent if slots.sum() == steady and at > 2.0)
    assert 2.6 < first < 3.1


def test_film_lights_all_no_brighter_than_a_test_and_only_by_its_own_tap() -> None:
    # Source: the design: no brighter than pixels are tested; finding lights nothing
    bright = State(thing="gable", level=1.0, dark=True, rate=3.0)
    after = tap(bright, Act("film"), PLAN, 0.0)
    assert (after.mode, after.thing, after.level, after.dark) == ("film", "everything", TEST_LEVEL, False)
    assert filmed(replace(bright, level=0.1), PLAN).level == 0.1
    assert tap(after, Act("dark"), PLAN, 1.0).dark
    found = tap(after, Act("find", "gable"), PLAN, 1.0)
    assert (found.mode, found.dark) == ("patterns", True)


def test_a_show_that_has_no_words_for_all_its_pixels_says_so_and_lights_nothing(monkeypatch) -> None:
    plan = replace(PLAN, number=3)
    monkeypatch.setattr("patcher.frames.film_code.words", lambda segments: np.zeros((10, segments, 31), np.uint8))
    after = tap(State(), Act("film"), plan, 0.0)
    assert after.dark
    assert "words for 10 pixels at once" in after.problem
    assert "--on" in after.problem


def test_the_code_plays_on_while_the_camera_hides_the_page_but_not_for_ever() -> None:
    # Source: the brief: ends dark on a lost lease; a page sleeps behind the phone's camera
    now = [0.0]
    desk = Desk(PLAN, 60.0, now=lambda: now[0])
    desk.tap(Act("film"))
    now[0] = FILM_HOLD - 1
    desk.pass_time()
    assert not desk.state.dark
    now[0] = FILM_HOLD + 1
    desk.pass_time()
    assert desk.state.dark
    assert "no phone was heard" in desk.state.why


def goes_dark_after(act: str, hold: float) -> int:
    """The whole seconds without a page that a desk stays lit."""
    now = [0.0]
    desk = Desk(PLAN, hold, now=lambda: now[0])
    desk.tap(Act(act))  # type: ignore[arg-type]
    assert not desk.state.dark
    while not desk.state.dark:
        now[0] += 1.0
        desk.pass_time()
    return int(now[0]) - 1


def seconds_in(words: str) -> list[int]:
    """What is said in seconds or in minutes."""
    found = re.findall(r"(\d+)(?= (?:s|at least)\b|\))|(\d+) minutes?", words)
    return [int(seconds or 60 * int(minutes)) for seconds, minutes in found]


@pytest.mark.parametrize("hold", [60.0, 300.0])
def test_what_is_said_of_when_pixels_go_dark_is_what_happens(capsys, hold: float) -> None:
    # Source: found in use: the terminal said 60 s, and the code lit for 180; the page said 3 minutes whatever was held
    lit, films = goes_dark_after("light", hold), goes_dark_after("film", hold)
    _say("http://127.0.0.1:1/#x", "127.0.0.1", hold)
    said = capsys.readouterr().out.splitlines()[-1]
    assert seconds_in(said) == list(dict.fromkeys([lit, films]))
    page = bytes(Pages(yard=True, hold=hold).page(PLAN).body).decode()
    (note,) = re.findall(r"<p class=\"minor\">(“Only light the code”.*?)</p>", page, re.DOTALL)
    assert seconds_in(note) == [films]
    if hold == default_hold():
        assert said in (ROOT / "README.md").read_text(encoding="utf-8")
        says = {part.term: part.says for part in parts_of(topics()["phone"])}
        assert seconds_in(says["Film"]) == [films]
        dropped = says["When the connection drops"].partition("Without any phone")[2]
        assert f"({lit}) all pixels go dark, after {films} at least while the code of Film" in dropped
        option = next(
            one for one in get_args(get_type_hints(phone, include_extras=True)["hold"]) if hasattr(one, "help")
        )
        assert str(films) in option.help


def default_hold() -> float:
    return float(inspect.signature(phone).parameters["hold"].default)


# --- clips ----------------------------------------------------------------------------------------------------------


def clip_of(seconds: float) -> bytes:
    """A clip of nothing."""
    made = io.BytesIO()
    with av.open(made, "w", format="mp4") as container:
        stream = container.add_stream("mpeg4", rate=Fraction(20))
        stream.width, stream.height, stream.pix_fmt = 64, 48, "yuv420p"
        for number in range(int(seconds * 20)):
            frame = av.VideoFrame.from_ndarray(np.full((48, 64, 3), number % 50, np.uint8), format="rgb24")
            container.mux(stream.encode(frame))
        container.mux(stream.encode())
    return made.getvalue()


@pytest.fixture(autouse=True)
def temporary(tmp_path: Path, monkeypatch) -> Iterator[Path]:
    """A temporary folder of the test's own; no clip is left in it at the end."""
    folder = tmp_path / "temporary"
    folder.mkdir()
    monkeypatch.setattr(tempfile, "tempdir", str(folder))
    yield folder
    assert list(folder.iterdir()) == []


def post(rig: Rig, octets: bytes, cookie: str | None = None, said: int | None = None) -> tuple[int, str]:
    """Upload as the page does; `said`: the length that is said in place of the true one."""
    line = http.client.HTTPConnection("127.0.0.1", rig.port, timeout=30)
    try:
        line.putrequest("POST", "/film", skip_host=True)
        for name, value in {
            "Host": rig.entry.host, "Origin": rig.entry.origin, "Cookie": rig.cookie() if cookie is None else cookie,
            "Content-Length": str(len(octets) if said is None else said),
        }.items():  # fmt: skip
            line.putheader(name, value)
        line.endheaders()
        line.send(octets)
        answer = line.getresponse()
        return answer.status, answer.read().decode()
    finally:
        line.close()


def refused(rig: Rig, size: int) -> str:
    """Why a clip of so many octets would not be taken."""
    status, _, told = rig.ask("GET", f"/film?size={size}", Cookie=rig.cookie())
    assert status == 200
    return json.loads(told)["refused"]


def stage(rig: Rig, *wanted: str) -> bool:
    return until(lambda: rig.desk.film.stage in wanted)


class Waiting:
    """In the place of what reads: it waits until it may go on."""

    def __init__(self) -> None:
        self.begun, self.go_on = threading.Event(), threading.Event()
        self.clips: list[bytes] = []

    def reader(self) -> FilmReader:
        return FilmReader(lambda: "", lambda plan: ["Prop the phone up."], self._read)

    def _read(self, plan: Content, clip: Path, tell: Callable[[float], None]) -> FilmVerdict:
        self.clips.append(clip.read_bytes())
        self.begun.set()
        while not self.go_on.wait(0.01):
            tell(0.5)
        return FilmVerdict(["Proved by film: 0 of 9 pixels."], False, b"PNG")


def test_a_clip_that_is_too_short_is_uploaded_read_and_says_so(heron_lock: Path) -> None:
    with evening(heron_lock) as rig:
        rig.desk.tap(Act("film"))
        assert until(lambda: len(rig.lit()) > 100)
        status, _ = post(rig, clip_of(1.0))
        assert status == 202
        assert until(lambda: not rig.lit()), "the code ends when the clip comes"
        assert stage(rig, "said")
        told = json.loads(rig.desk.document())["film"]
        assert told["says"][0].startswith("The clip: 1 s, 64 × 48: lasts 1 s: film for at least 25 s")
        assert not told["good"]
        assert "patcher" not in " ".join(told["says"])
        assert str(heron_lock) not in " ".join(told["says"])
        assert rig.ask("GET", "/film.png", Cookie=rig.cookie())[0] == 404
        assert not checks_path(heron_lock).exists()


@pytest.mark.parametrize("octets", [b"\0" * 3_000_000, b"not a clip"])
def test_what_is_no_video_is_said_to_be_none_and_the_next_clip_is_taken(heron_lock: Path, octets: bytes) -> None:
    with evening(heron_lock) as rig:
        assert post(rig, octets)[0] == 202
        assert stage(rig, "failed")
        assert rig.desk.film.says[0].startswith("The clip: cannot be read as a video. Film it once more")
        assert post(rig, clip_of(1.0))[0] == 202
        assert stage(rig, "said")
        assert post(rig, b"") == (400, "The clip is empty. Film again.")


@pytest.mark.parametrize("practice", [True, *later(False)])
def test_a_clip_that_reads_well_is_kept_in_the_record_and_drawn(heron_lock: Path, practice: bool, monkeypatch) -> None:
    _, patch, plan, _ = heron()
    patch_path(heron_lock).write_text(dump(patch))
    said = perfect(plan, hidden=[("gable", 20)])
    monkeypatch.setattr(
        clip_reader, "read_clip", lambda facts, *_: clip_reader.Reading(facts, 20, True, "", said, None)
    )
    if practice:
        monkeypatch.setattr("rig.phones.plan_of", lambda path, number=1: replace(plan_of(path, number), practice=True))
    with evening(heron_lock) as rig:
        before = rig.desk.record
        assert post(rig, clip_of(1.0))[0] == 202
        assert stage(rig, "said", "failed")
        says = rig.desk.film.says
        assert any(line.startswith("Proved by film: ") for line in says), says
        assert any(f"Saved in the record{' of practice' * practice}: " in line for line in says)
        assert any(line.endswith("the walk-through asks only for those.") for line in says)
        assert until(lambda: rig.desk.record > before)
        proved = states(read_record(heron_lock, practice=practice), rig.plan.digests)
        assert "proved" in proved.values()
        assert checks_path(heron_lock).exists() == (not practice)
        status, headers, picture = rig.ask("GET", "/film.png", Cookie=rig.cookie())
        assert (status, headers["content-type"]) == (200, "image/png")
        drawn = cv2.imdecode(np.frombuffer(picture, np.uint8), cv2.IMREAD_COLOR)
        assert drawn is not None
        assert drawn.shape[1] > 1000


def test_one_clip_at_a_time_and_every_key_works_meanwhile(heron_lock: Path) -> None:
    waiting = Waiting()
    clip = os.urandom(3_000_000)
    with evening(heron_lock, reader=waiting.reader()) as rig:
        assert post(rig, clip)[0] == 202
        assert waiting.begun.wait(10)
        assert waiting.clips == [clip]
        cookie = rig.cookie()
        assert post(rig, b"another", cookie)[0] == 409
        assert "Another clip" in refused(rig, 7)
        assert rig.desk.film.stage == "read", "who is refused does not take the place of who was first"
        with rig.page() as page:
            page.send(json.dumps({"do": "find", "text": "gable/3"}))
            page.send(json.dumps({"do": "light"}))
            assert until(lambda: rig.lit() == {"gable/3"})
            page.send(json.dumps({"do": "dark"}))
            assert until(lambda: not rig.lit(), 2.0)
        assert until(lambda: rig.desk.film.part == 0.5)
        waiting.go_on.set()
        assert stage(rig, "said")
        assert rig.ask("GET", "/film.png", Cookie=cookie)[2] == b"PNG"
        assert refused(rig, 7) == ""


def test_who_leaves_while_a_clip_is_read_leaves_no_clip(heron_lock: Path, temporary: Path) -> None:
    waiting = Waiting()
    with evening(heron_lock, reader=waiting.reader()) as rig:
        assert post(rig, b"a clip")[0] == 202
        assert waiting.begun.wait(10)
        assert len(list(temporary.iterdir())) == 1


def test_an_upload_that_breaks_off_is_deleted_and_said(heron_lock: Path, temporary: Path) -> None:
    with evening(heron_lock, reader=Waiting().reader()) as rig:
        line = http.client.HTTPConnection("127.0.0.1", rig.port, timeout=30)
        line.putrequest("POST", "/film", skip_host=True)
        for name, value in {
            "Host": rig.entry.host, "Origin": rig.entry.origin, "Cookie": rig.cookie(), "Content-Length": "9000000",
        }.items():  # fmt: skip
            line.putheader(name, value)
        line.endheaders()
        line.send(b"x" * 2_000_000)
        assert until(lambda: sum(one.stat().st_size for one in temporary.rglob("clip")) > 1_000_000)
        assert until(lambda: 0 < rig.desk.film.part < 1)
        line.close()
        assert stage(rig, "failed")
        assert "broke off" in rig.desk.film.says[0]
        assert list(temporary.iterdir()) == []
        assert post(rig, b"a clip")[0] == 202


@pytest.mark.parametrize("said", [True, False])
def test_a_clip_that_is_too_large_is_refused_without_filling_the_disk(
    heron_lock: Path, temporary: Path, monkeypatch, said: bool
) -> None:
    # Source: RFC 9110, 15.5.14: 413 Content Too Large
    most = []
    take = film_upload.Upload.take

    def taken(upload: film_upload.Upload, octets: bytes) -> None:
        take(upload, octets)
        most.append(upload.path.stat().st_size)

    monkeypatch.setattr(film_upload.Upload, "take", taken)
    with evening(heron_lock, reader=Waiting().reader()) as rig:
        if said:
            status, says = post(rig, b"", said=film_upload.MOST_OCTETS + 1)
            assert (status, "larger than 1024 MiB" in says) == (413, True)
            assert refused(rig, film_upload.MOST_OCTETS + 1) == says
            assert "larger than" not in refused(rig, film_upload.MOST_OCTETS)
            assert most == []
            return
        monkeypatch.setattr(film_upload, "MOST_OCTETS", 2_500_000)
        line = http.client.HTTPConnection("127.0.0.1", rig.port, timeout=30)
        headers = {"Host": rig.entry.host, "Origin": rig.entry.origin, "Cookie": rig.cookie()}
        chunks = iter([b"x" * 100_000] * 30)
        line.request("POST", "/film", chunks, headers, encode_chunked=True)
        assert line.getresponse().status == 413
        line.close()
        assert max(most) <= 2_500_000
        assert stage(rig, "failed")
        assert list(temporary.iterdir()) == []


Usage = namedtuple("Usage", "total used free")


def test_a_disk_that_is_nearly_full_is_left_alone(heron_lock: Path, monkeypatch) -> None:
    free = [film_upload.SPARE_OCTETS + 5_000_000]
    monkeypatch.setattr(shutil, "disk_usage", lambda path: Usage(10**12, 0, free[0]))
    with evening(heron_lock, reader=Waiting().reader()) as rig:
        status, says = post(rig, b"", said=6_000_000)
        assert (status, "MiB left" in says) == (507, True)
        upload = film_upload.Upload(4_000_000)
        upload.take(b"x" * 1_000_000)
        free[0] = film_upload.SPARE_OCTETS - 1
        with pytest.raises(film_upload.RefusedClipError) as full:
            upload.take(b"x" * 1_000_000)
        assert full.value.status == 507
        assert upload.path.stat().st_size == 1_000_000
        upload.leave()


def test_nobody_uploads_or_sees_a_clip_without_the_cookie(heron_lock: Path, temporary: Path) -> None:
    # Source: the design: a cookie from the secret, nothing without it
    waiting = Waiting()
    with evening(heron_lock, reader=waiting.reader()) as rig:
        for cookie in ("none=1", f"{rig.entry.cookie}={rig.entry.secret}"):
            assert post(rig, b"a clip", cookie)[0] == 403
            for path in ("/film?size=1", "/film.png", "/filming", "/film.js"):
                assert rig.ask("GET", path, Cookie=cookie)[0] == 403
        assert rig.ask("POST", "/film", "a clip", Cookie=rig.cookie(), Origin="http://elsewhere")[0] == 421
        assert rig.ask("POST", "/film", "a clip", Cookie=rig.cookie(), Origin="")[0] == 421
        assert list(temporary.iterdir()) == []
        assert rig.desk.film.stage == "none"


def test_an_upload_may_last_longer_than_other_requests(heron_lock: Path, monkeypatch) -> None:
    monkeypatch.setattr(connections, "WHOLE_IN", 0.5)
    waiting = Waiting()
    waiting.go_on.set()
    with evening(heron_lock, reader=waiting.reader()) as rig:
        line = http.client.HTTPConnection("127.0.0.1", rig.port, timeout=30)
        headers = {
            "Host": rig.entry.host, "Origin": rig.entry.origin, "Cookie": rig.cookie(), "Content-Length": "10",
        }  # fmt: skip

        def slowly() -> Iterator[bytes]:
            for _ in range(10):
                time.sleep(0.1)
                yield b"x"

        line.request("POST", "/film", slowly(), headers)
        assert line.getresponse().status == 202
        line.close()
        assert stage(rig, "said")
        assert waiting.clips == [b"x" * 10]


def test_a_phone_that_stops_sending_is_not_waited_for_long(heron_lock: Path, monkeypatch) -> None:
    monkeypatch.setattr(film_upload, "CHUNK_IN", 0.3)
    with evening(heron_lock, reader=Waiting().reader()) as rig:
        status, says = post(rig, b"x" * 100, said=1000)
        assert status == 408
        assert "too slow" in says


def test_without_the_extra_it_says_how_to_install_it(heron_lock: Path, monkeypatch) -> None:
    monkeypatch.setattr("patcher.clip.video.find_spec", lambda name: None if name == "av" else name)
    with evening(heron_lock) as rig:
        told = json.loads(rig.ask("GET", "/filming", Cookie=rig.cookie())[2])
        assert 'pip install ".[film]"' in told["missing"]
        assert post(rig, b"a clip") == (501, told["missing"])


def test_how_to_film_is_told_with_the_caution_before_anything_is_lit(heron_lock: Path) -> None:
    # Source: the issue: the caution about flashing light
    with evening(heron_lock) as rig:
        told = json.loads(rig.ask("GET", "/filming", Cookie=rig.cookie())[2])
        assert told["missing"] == ""
        assert any("seizures" in line for line in told["advice"])
        assert any("Prop the phone up" in line for line in told["advice"])
        assert not rig.lit()


def test_whatever_goes_wrong_in_reading_is_said_and_the_place_is_free_again(heron_lock: Path) -> None:
    def breaks(plan: Content, clip: Path, tell: Callable[[float], None]) -> FilmVerdict:
        raise MemoryError("no room")

    with evening(heron_lock, reader=replace(film_reader(), read=breaks)) as rig:
        assert post(rig, b"a clip")[0] == 202
        assert stage(rig, "failed")
        assert "MemoryError" in rig.desk.film.says[0]
        assert post(rig, b"a clip")[0] == 202
