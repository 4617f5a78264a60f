"""The program from end to end, as a person and as a script run it: in processes of its own, over the loopback."""

import csv
import io
import json
import os
import pty
import re
import selectors
import signal
import socket
import subprocess
import sys
import tomllib
from pathlib import Path

import jsonschema
import pytest
import tomli_w

from patcher.cli.inputs import load
from patcher.frames.request import PatternName
from patcher.listener.receiver import Receiver
from patcher.placement.allocation import allocate
from patcher.yard.yard import addresses, ears, sign
from rig.diagnosed_shows import tables
from rig.examples import later
from rig.shipped import SHOWS, Patcher
from rig.yard_process import PATIENCE, a_yard, colours_of, document, refused, running

BASE = 10_000 + os.getpid() % 20_000
"""First universe of the shows that are sent as multicast, so that two runs of the tests do not hear each other."""

SMALL = f"""\
[show]
title = "Small"
first_universe = {BASE}
[pixel.rgb]
colour_order = "RGB"
[pixel.grbw]
colour_order = "GRBW"
[controller.near]
address = "192.0.2.1"
ports = 2
port = {{ 1 = ["line"], 2 = ["wall"] }}
[controller.far]
delivery = "multicast"
reorders = false
ports = 1
port = {{ 1 = ["white"] }}
[controller.art]
address = "192.0.2.3"
protocol = "artnet"
ports = 1
port = {{ 1 = ["branch"] }}
[run.line]
pixel = "rgb"
pixels = 3
[run.twin]
pixel = "rgb"
pixels = 3
same_data_as = "line"
[run.wall]
pixel = "rgb"
shape = "grid"
area = [[0.0, 0.0], [1.0, 1.0]]
columns = 2
rows = 2
lines = "rows"
turns = "serpentine"
data_in = "bottom-left"
[run.white]
pixel = "grbw"
pixels = 2
[run.branch]
pixel = "rgb"
pixels = 2
"""


@pytest.fixture
def small(tmp_path: Path) -> Path:
    show = tmp_path / "small.toml"
    show.write_text(SMALL)
    return show


# --- the way of a new show ----------------------------------------------------------------------------------------


def test_from_new_to_where(patcher: Patcher, here: Patcher, tmp_path: Path) -> None:
    # Source: the design: new writes a show that passes check; patch keeps the patch file beside the show.
    made = patcher("new", "my.toml")
    assert (made.returncode, made.stderr) == (0, "")
    assert document(here("check", "my.toml", "--json"))["findings"] == []
    assert not (tmp_path / "my.patch.toml").exists()
    patched = document(here("patch", "my.toml", "--json"))
    assert (tmp_path / "my.patch.toml").exists()
    assert (patched["pixels"], patched["changed"], patched["moved_runs"]) == (100, ["box"], ["roof", "panel"])
    kept = here("where", "my.toml", "panel/1", "--json")
    assert kept.stderr == ""
    # Source: arithmetic: behind 50 pixels of 3 channels comes channel 151.
    (span,) = document(kept)
    assert (span["run"], span["first_pixel"], span["universe"], span["first_channel"]) == ("panel", 1, 1, 151)
    (back,) = document(here("where", "my.toml", "1/152", "--json"))
    assert back == span
    again = here("new", "my.toml")
    refused(again, "my.toml", "exists already")


def test_the_same_show_twice_gives_the_same_octets(patcher: Patcher, here: Patcher, heron_lock: Path) -> None:
    # Source: the design: the same show and kept patch give the same patch, to the byte.
    first = document(here("patch", heron_lock, "--json"))
    kept = heron_lock.with_name("heron-lock.patch.toml")
    octets = kept.read_bytes()
    second = document(patcher("patch", heron_lock, "--json"))
    assert kept.read_bytes() == octets
    assert (second["changed"], second["moved_runs"]) == ([], [])
    assert first["changed"] == ["lockhouse", "gatepost", "weirside", "mooring"]
    assert first["spans"] == second["spans"]


def test_only_the_box_that_changed_is_named(here: Patcher, small: Path) -> None:
    # Source: the design: changed names the controllers whose settings differ from the kept patch file.
    here("patch", small)
    small.write_text(
        SMALL.replace('[run.branch]\npixel = "rgb"\npixels = 2', '[run.branch]\npixel = "rgb"\npixels = 5')
    )
    found = document(here("patch", small, "--json"))
    assert (found["changed"], found["moved_runs"]) == (["art"], ["branch"])


# --- JSON ---------------------------------------------------------------------------------------------------------

SPAN = {"controller", "port", "run", "first_pixel", "last_pixel", "universe", "first_channel", "last_channel"}


def test_the_keys_of_the_documents(here: Patcher, heron_lock: Path) -> None:
    # Source: the design: the keys that scripts rely on
    patched = document(here("patch", heron_lock, "--json"))
    assert patched.keys() == {
        "show", "pixels", "channels", "universes", "lower_bound", "proved", "starts", "spans", "changed", "moved_runs",
        "explained", "to_type", "to_tell", "own_settings", "to_send", "to_draw",
    }  # fmt: skip
    start = {"controller", "port", "run", "universe", "channel", "pixels", "nulls", "universes"}
    assert {frozenset(one) for one in patched["starts"]} == {frozenset(start)}
    assert {frozenset(one) for one in patched["spans"]} == {frozenset(SPAN)}
    assert patched["pixels"] == sum(one["pixels"] for one in patched["starts"])
    assert patched["channels"] == sum(one["last_channel"] - one["first_channel"] + 1 for one in patched["spans"])
    by_box = {one["controller"]: (one["port"] is None, one["run"] is None) for one in patched["starts"]}
    assert by_box == {
        "lockhouse": (False, True), "gatepost": (True, True), "weirside": (False, False), "mooring": (False, True)
    }  # fmt: skip
    for thing in ("gate", "towpath/12", "mooring", "mooring/2", "towpath/3-9", "20/1"):
        assert {frozenset(one) for one in document(here("where", heron_lock, thing, "--json"))} == {frozenset(SPAN)}


def test_the_keys_of_check(here: Patcher, small: Path) -> None:
    # Source: the design: the keys of `check --json`
    small.write_text(SMALL + "lead = 9.0\n")
    found = document(here("check", small, "--json"))
    assert found.keys() == {"findings", "ports", "boxes", "network", "power_checked", "tap_fuses", "circuits"}
    assert {frozenset(one) for one in found["ports"]} == {
        frozenset({"controller", "port", "pixels", "frame_ms", "max_rate"})
    }
    (finding,) = found["findings"]
    assert {"severity", "rule", "area", "where", "says", "try", "accepted"} <= finding.keys()
    assert (finding["severity"], finding["rule"], finding["where"]) == ("warning", "lead-length", "run.branch")


def test_a_tee_is_found_with_its_run(here: Patcher, small: Path) -> None:
    # Source: the design: same_data_as: where lists both.
    found = document(here("where", small, f"{BASE}/4", "--json"))
    assert [(span["run"], span["first_pixel"], span["last_pixel"]) for span in found] == [
        ("line", 2, 2),
        ("twin", 2, 2),
    ]
    assert document(here("where", small, f"{BASE}/500", "--json")) == []


def test_csv_player_and_every_pixel_say_what_the_spans_say(here: Patcher, heron_lock: Path) -> None:
    # From memory: a player counts channels through: (universe − 1) × 512 + channel.
    spans = document(here("patch", heron_lock, "--json"))["spans"]
    first: dict[str, dict] = {}
    by_pixel = {}
    for span in spans:
        first.setdefault(span["run"], span)
        width, rest = divmod(
            span["last_channel"] - span["first_channel"] + 1, span["last_pixel"] - span["first_pixel"] + 1
        )
        assert rest == 0
        for pixel in range(span["first_pixel"], span["last_pixel"] + 1):
            channel = span["first_channel"] + (pixel - span["first_pixel"]) * width
            by_pixel[span["run"], str(pixel)] = (str(span["universe"]), str(channel))
    rows = list(csv.DictReader(io.StringIO(here("patch", heron_lock, "--every-pixel", "--csv").stdout)))
    assert {(row["run"], row["pixel"]): (row["universe"], row["channel"]) for row in rows} == by_pixel
    assert len(rows) == len(by_pixel)
    every = document(here("patch", heron_lock, "--every-pixel", "--json"))["every_pixel"]
    assert [{key: str(value) for key, value in row.items()} for row in every] == rows
    player = list(csv.DictReader(io.StringIO(here("patch", heron_lock, "--player", "--csv").stdout)))
    assert {row["run"] for row in player} == set(first)
    for row in player:
        span = first[row["run"]]
        assert (int(row["universe"]), int(row["channel"])) == (span["universe"], span["first_channel"])
        assert int(row["running_channel"]) == (span["universe"] - 1) * 512 + span["first_channel"]
        assert int(row["pixels"]) == sum(run == row["run"] for run, _ in by_pixel)
    assert next(row for row in player if row["run"] == "weir")["running_channel"] == str(19 * 512 + 1)
    starts = list(csv.DictReader(io.StringIO(here("patch", heron_lock, "--csv").stdout)))
    assert [row["start of"] for row in starts][:2] == ["lockhouse/1", "lockhouse/2"]


# --- what is wrong, and the exit code -----------------------------------------------------------------------------


def test_a_patch_that_cannot_be_is_an_error_of_check(here: Patcher, small: Path) -> None:
    # Source: the design: exit 1: done, and something is wrong; 2: the input is wrong.
    small.write_text(SMALL.replace("[controller.art]", "[controller.art]\nuniverses = 1").replace(
        '[run.branch]\npixel = "rgb"\npixels = 2', '[run.branch]\npixel = "rgb"\npixels = 400'))  # fmt: skip
    found = document(here("check", small, "--json"), code=1)
    assert [(one["severity"], one["area"]) for one in found["findings"]] == [("error", "address")]
    refused(here("patch", small), "controller.art")
    assert not small.with_name("small.patch.toml").exists()
    both = here("patch", small, "--json")
    assert [one["severity"] for one in document(both, code=2)["findings"]] == ["error"]


@pytest.mark.parametrize(
    ("text", "words"),
    [
        (SMALL.replace("colour_order", "color_order", 1), ("color_order", "colour_order")),
        (SMALL + "[run\n", ("TOML", "line")),
        ("", ()),
        ("\0", ()),
    ],
)
def test_a_broken_show_is_refused_by_every_command(here: Patcher, small: Path, text: str, words: tuple) -> None:
    # Source: the design: exit 2: the input is wrong, nothing was written; no traceback ever reaches a person.
    small.write_text(text)
    for call in (("check",), ("patch",), ("where", "line"), ("send", "dot"), ("yard",)):
        name, *rest = call
        arguments = (name, *rest, small) if name == "send" else (name, small, *rest)
        refused(here(*arguments), *words)
    found = document(here("check", small, "--json"), code=2)
    assert {one["severity"] for one in found["findings"]} == {"error"}
    assert [path.name for path in small.parent.iterdir()] == ["small.toml"]


@pytest.mark.parametrize(
    "call",
    [
        ("check", "gone.toml"),
        ("patch", "gone.toml"),
        ("where", "gone.toml", "line"),
        ("send", "dot", "gone.toml"),
        ("yard", "gone.toml"),
        ("check", "."),
        ("where", "small.toml", "lime"),
        ("where", "small.toml", "line/4"),
        ("where", "small.toml", "near/9"),
        ("where", "small.toml", "1/513"),
        ("send", "dot", "small.toml", "--on", "lime", "--yard"),
        ("send", "sweep", "small.toml", "--on", "line", "--yard"),
        ("send", "dot", "small.toml", "--colour", "puce", "--yard"),
        ("send", "primaries", "small.toml", "--rate", "4", "--yard"),
        ("send", "blink", "small.toml"),
        ("send", "dot", "small.toml", "--to", "here"),
        ("send", "dot", "small.toml", "--level", "2", "--yard"),
        ("yard", "small.toml", "--fault", "upside-down:line"),
        ("patch", "small.toml", "--frsh"),
        ("check",),
        ("nonsense",),
        ("new", "show.txt"),
        ("new", "no-such-folder/show.toml"),
    ],
)
def test_a_wrong_call_is_exit_2_and_words(here: Patcher, small: Path, call: tuple[str, ...]) -> None:
    # Source: the design: exit 2: the call is wrong, nothing was written.
    before = sorted(small.parent.iterdir())
    ran = here(*call)
    refused(ran)
    assert ran.stderr
    assert sorted(small.parent.iterdir()) == before


@pytest.mark.parametrize("option", ["--level", "--rate", "--fps", "--loops"])
def test_a_number_that_is_none_is_refused(here: Patcher, small: Path, option: str) -> None:
    # Source: the design: exit 2: the call is wrong, said in words.
    refused(here("send", "steady", small, "--yard", option, "nan", "--seconds", 0.1))


# --- the patch file is whole or not written ------------------------------------------------------------------------


def test_a_broken_patch_file_is_left_as_it_is_and_named(here: Patcher, small: Path) -> None:
    # Source: the design: when the file exists, it is kept; --fresh forgets it.
    kept = small.with_name("small.patch.toml")
    here("patch", small)
    sound = kept.read_bytes()
    for octets in (b"<<<<<<< ours\n" + sound, b"format = 99\n", b"\xff\xfe", b"", sound[: len(sound) // 2]):
        kept.write_bytes(octets)
        refused(here("patch", small), "small.patch.toml", "--fresh")
        assert kept.read_bytes() == octets
        refused(here("where", small, "line"), "small.patch.toml")
    found = document(here("patch", small, "--fresh", "--json"))
    assert found["changed"] == ["near", "far", "art"]
    assert kept.read_bytes() == sound


@pytest.mark.parametrize("fails", ["replace", "fsync", "open"])
def test_a_disk_that_fails_leaves_the_old_patch_file_whole(
    here: Patcher, small: Path, monkeypatch: pytest.MonkeyPatch, fails: str
) -> None:
    # Source: the design: it is written whole or not at all.
    def full(*arguments: object, **options: object) -> None:
        raise OSError(28, "No space left on device")

    assert here("patch", small).returncode == 0
    kept = small.with_name("small.patch.toml")
    octets = kept.read_bytes()
    small.write_text(SMALL.replace("columns = 2", "columns = 200"))
    with monkeypatch.context() as patched:
        match fails:
            case "replace":
                patched.setattr(Path, "replace", full)
                patched.setattr(os, "replace", full)
            case "fsync":
                patched.setattr(os, "fsync", full)
            case "open":
                patched.setattr(os, "open", full)
        refused(here("patch", small), "small.patch.toml", "No space left")
    assert kept.read_bytes() == octets
    assert sorted(path.name for path in small.parent.iterdir()) == ["small.patch.toml", "small.toml"]
    assert here("patch", small).returncode == 0
    assert kept.read_bytes() != octets


# --- the schema ---------------------------------------------------------------------------------------------------


def test_shows_are_as_the_schema_says_and_a_misspelt_key_is_not(here: Patcher, tmp_path: Path) -> None:
    # Judge: jsonschema (PyPI), its validator for JSON Schema 2020-12.
    schema = document(here("schema"))
    jsonschema.Draft202012Validator.check_schema(schema)
    judge = jsonschema.Draft202012Validator(schema)
    here("new", "starter.toml")
    for show in (SHOWS / "heron-lock.toml", SHOWS / "bench.toml", SHOWS / "village.toml", tmp_path / "starter.toml"):
        assert list(judge.iter_errors(tomllib.loads(show.read_text()))) == []
    written = json.loads((tmp_path / "patcher.schema.json").read_text())
    assert written.pop("$comment").startswith("written by Patcher")
    assert written == schema
    for right, wrong in (
        ("frame_rate", "framerate"), ("colour_order", "color_order"), ("port_pixels", "port_pixel"),
        ("data_in", "datain"), ("lead =", "leed ="), ("fuse", "fuze"), ("[supply.", "[suply."),
    ):  # fmt: skip
        text = (tmp_path / "starter.toml").read_text()
        assert right in text
        assert list(judge.iter_errors(tomllib.loads(text.replace(right, wrong)))), wrong


# --- help is quick ------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    "call",
    [["--help"], ["send", "--help"], ["help", "patterns"], *later(["patch", "--help"], ["help"], ["help", "verify"])],
)
def test_help_imports_nothing_heavy(call: list[str]) -> None:
    # Source: the design: heavy imports are made where they are used. (typer itself imports pydantic
    # as soon as it reads the options of one command; that is no import of ours.)
    ours = {"numpy", "networkx", "rich", "sacn", "scipy", "starlette", "uvicorn", "patcher.show", "patcher.patch"}
    ours |= {"patcher.frames.patterns", "patcher.frames.levels", "patcher.stream.sender", "patcher.phone"}
    ours |= {"pydantic"} if call == ["--help"] else set()
    code = (
        "import sys\nsys.argv = ['patcher', *sys.argv[1:]]\nfrom patcher.cli import main\n"
        "try:\n    main()\nexcept SystemExit as left:\n"
        f"    heavy = {ours!r} & set(sys.modules)\n"
        "    print(left.code, sorted(heavy), file=sys.stderr)\n"
    )
    ran = subprocess.run([sys.executable, "-c", code, *call], capture_output=True, text=True, timeout=60)
    assert ran.stderr.splitlines()[-1] == "0 []"
    assert "patcher" in ran.stdout


# --- a yard and a sender ------------------------------------------------------------------------------------------


DATA_ORDER = [
    *("line/1", "twin/1", "line/2", "twin/2", "line/3", "twin/3"),
    *("wall/1", "wall/2", "wall/3", "wall/4"), "white/1", "white/2", "branch/1", "branch/2",
]  # fmt: skip
SEND = {"frames", "packets", "seconds", "late_ms_p50", "late_ms_p99", "dropped", "universes", "unreachable"}


def test_a_dot_reaches_every_lamp_in_data_order(here: Patcher, small: Path) -> None:
    # Source: the design: a chain in data order; a tee lights with its run; a box is reached as its delivery says.
    here("patch", small)
    with a_yard(small) as yard:
        sent = document(here("send", "dot", small, "--yard", "--loops", 1, "--rate", 20, "--level", 0.2, "--json"))
        found = yard.end()
    assert sent.keys() == SEND
    assert (sent["universes"], sent["packets"] > 0) == (4, True)
    assert found["order"] == DATA_ORDER
    # Source: arithmetic: 0.2 of 255 is 51; white uses the white channel where the pixel has one.
    rgb, grbw = {"R": 51, "G": 51, "B": 51}, {"G": 0, "R": 0, "B": 0, "W": 51}
    assert colours_of(found) == {name: [grbw if name.startswith("white") else rgb] for name in DATA_ORDER}
    assert {box["controller"]: box["universes"] for box in found["boxes"]} == {
        "near": [BASE, BASE + 1], "far": [BASE + 2], "art": [BASE + 3]
    }  # fmt: skip


@pytest.mark.long
def test_primaries_with_a_wrong_colour_order(here: Patcher, small: Path) -> None:
    # Source: the design: colour-order: its chips take another order.
    here("patch", small)
    with a_yard(small, "--fault", "colour-order:line=BRG", "--fault", "colour-order:white=RGBW") as yard:
        document(here("send", "primaries", small, "--yard", "--loops", 1, "--rate", 3, "--level", 1, "--json"))
        shown = colours_of(yard.end())
    assert set(shown) == set(DATA_ORDER)

    def only(order: str, letters: str) -> list[dict[str, int]]:
        return [{letter: 255 * (letter == lit) for letter in order} for lit in letters]

    for name in DATA_ORDER:
        run = name.split("/")[0]
        # planned RGB arrives at chips that take BRG: what was meant for red goes to blue, green to red, blue to green
        wanted = {"line": ("RGB", "BRG"), "white": ("GRBW", "GRBW")}.get(run, ("RGB", "RGB"))
        assert shown[name] == only(*wanted), name


@pytest.mark.long
def test_a_fault_makes_the_order_another_one(here: Patcher, small: Path) -> None:
    # Source: the design: data-in. The wall is 2 × 2: from the left 1 2 / 4 3, entered at the right 2 1 / 3 4.
    here("patch", small)
    with a_yard(small, "--fault", "data-in:wall=bottom-right", "--fault", "reversed:twin") as yard:
        document(here("send", "dot", small, "--yard", "--loops", 1, "--rate", 20, "--json"))
        order = yard.end()["order"]
    assert [name for name in order if name.startswith("wall")] == ["wall/2", "wall/1", "wall/4", "wall/3"]
    assert [name for name in order if name.startswith("twin")] == ["twin/3", "twin/2", "twin/1"]
    assert [name for name in order if name.startswith("line")] == ["line/1", "line/2", "line/3"]


def test_steady_lights_what_was_named_and_nothing_else(here: Patcher, small: Path) -> None:
    # Source: the design: things are named RUN/FIRST-LAST; send counts the frames that it sent.
    with a_yard(small) as yard:
        call = ("steady", small, "--on", "wall/2-3", "--colour", "#ff8000", "--level", 1, "--yard", "--seconds", 0.3)
        sent = document(here("send", *call, "--json"))
        found = yard.end()
    assert colours_of(found) == {name: [{"R": 255, "G": 128, "B": 0}] for name in ("wall/2", "wall/3")}
    assert not small.with_name("small.patch.toml").exists()
    # From memory: ANSI E1.31-2018, 6.6.2: three like packets, then keep-alive, which 0.3 s do not reach; and 6.2.6: the
    # end is 3 terminated packets, before which 3 dark frames go.
    assert sent["frames"] > 3
    assert (sent["packets"], sent["unreachable"]) == ((3 + 3 + 3) * sent["universes"], [])


@pytest.mark.long
@pytest.mark.parametrize("ending", [signal.SIGTERM, signal.SIGINT, signal.SIGHUP])
def test_a_stop_leaves_the_lamps_dark_and_the_streams_ended(small: Path, ending: int) -> None:
    # Source: ANSI E1.31-2018 6.2.6, by raw octets: options 112, bit 0x40; slots from octet 126.
    host = f"127.9.{os.getpid() // 250 % 250 + 1}.{os.getpid() % 250 + 1}"
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.bind((host, 5568))
        sock.settimeout(PATIENCE)
        call = ("steady", small, "--on", "line", "--to", host, "--interface", "127.0.0.1", "--fps", 20)
        with running("send", *call) as process:
            packets = []
            while not any(any(packet[126:]) for packet in packets):
                packets.append(sock.recv(2048))
            process.send_signal(ending)
            while sum(bool(packet[112] & 0x40) for packet in packets) < 6:
                packets.append(sock.recv(2048))
            out, err = process.communicate(timeout=PATIENCE)
        sock.setblocking(False)
        with pytest.raises(BlockingIOError):
            sock.recv(2048)
    assert process.returncode == 0, err
    assert err == f"No patch file yet: using what `patcher patch {small}` would give.\n"
    assert "dark" in out
    for universe in (BASE, BASE + 1):  # both of the box
        own = [packet for packet in packets if packet[113] << 8 | packet[114] == universe]
        ended = [bool(packet[112] & 0x40) for packet in own]
        assert ended == [False] * (len(own) - 3) + [True] * 3
        assert not any(own[-4][126:]), "the last frame before the end is not dark"
        assert not any(byte for packet in own[-3:] for byte in packet[126:])


def test_a_dry_run_opens_no_socket(small: Path) -> None:
    # Source: Python's audit hooks tell of every socket that a program opens.
    code = (
        "import sys\nfrom patcher.cli import main\n"
        "def watch(event, arguments):\n    if event.startswith('socket.'):\n        print(event, file=sys.stderr)\n"
        "sys.addaudithook(watch)\nmain()\n"
    )
    for extra in (["--yard"], ["--json"]):
        call = ["send", "dot", str(small), "--dry-run", *extra]
        ran = subprocess.run([sys.executable, "-c", code, *call], capture_output=True, text=True, timeout=60)
        assert ran.returncode == 0, ran.stderr
        assert "socket." not in ran.stderr
        if extra == ["--json"]:
            dry = json.loads(ran.stdout)
            assert dry["steps"] == 11
            # Source: ANSI E1.31-2018, 9.3: the multicast group of a universe is 239.255.HIGH.LOW.
            assert dry["targets"] == [
                {"protocol": "artnet", "universe": BASE + 3, "host": "192.0.2.3"},
                {"protocol": "e131", "universe": BASE, "host": "192.0.2.1"},
                {"protocol": "e131", "universe": BASE + 1, "host": "192.0.2.1"},
                {"protocol": "e131", "universe": BASE + 2,
                 "host": f"239.255.{(BASE + 2) >> 8}.{(BASE + 2) & 255}"},
            ]  # fmt: skip


# --- stepping by keys ---------------------------------------------------------------------------------------------


def test_stepping_by_keys(small: Path) -> None:
    # Source: the help line of the command: space on, b back, a number and Enter to jump, q to stop.
    ours, theirs = pty.openpty()
    wiring = load(small)
    heard = [sign(small), *ears(wiring.show, allocate(wiring).patch, addresses(small, wiring.show))]
    try:
        with Receiver(heard), running("send", "dot", small, "--step", "--yard", stdin=theirs) as process:
            os.close(theirs)
            theirs = -1
            assert process.stdout is not None
            lines: list[str] = []

            def after(keys: bytes) -> str:
                if keys:
                    os.write(ours, keys)
                with selectors.DefaultSelector() as selector:
                    selector.register(process.stdout, selectors.EVENT_READ)
                    assert selector.select(PATIENCE), f"nothing was said after {keys!r}"
                lines.append(process.stdout.readline())
                return " ".join(lines[-1].split()[:3])

            assert after(b"") == "At level 0.3"
            assert after(b"") == "1 white: line/1"
            assert after(b" ") == "2 white: line/2"
            assert after(b"\x1b[C") == "3 white: line/3"
            assert after(b"b") == "2 white: line/2"
            assert after(b"\x1b[D") == "1 white: line/1"
            assert after(b"11\r") == "11 white: branch/2"
            assert after(b" ") == "1 white: line/1"
            assert after(b"b") == "11 white: branch/2"
            assert after(b"7\n") == "7 white: wall/4"
            os.write(ours, b"q")
            out, err = process.communicate(timeout=PATIENCE)
            assert process.returncode == 0, err
            assert "now dark" in out
            assert "Traceback" not in err
    finally:
        os.close(ours)
        if theirs >= 0:
            os.close(theirs)


def test_a_reader_that_goes_away_is_no_traceback(heron_lock: Path) -> None:
    # Source: the design: no traceback ever reaches a person; as in `patcher patch SHOW --every-pixel --csv | head -1`.
    with running("patch", heron_lock, "--every-pixel", "--csv") as process:
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.readline()
        process.stdout.close()
        said = process.stderr.read()
        process.wait(timeout=PATIENCE)
        process.stdout = None
    assert "Traceback" not in said
    assert "BrokenPipe" not in said


@pytest.mark.long
@pytest.mark.parametrize("run", ["wall", "branch"])
def test_short_sends_one_after_the_other_all_light(here: Patcher, small: Path, run: str) -> None:
    # Source: the design: send streams test frames; a person on a ladder calls it again and again. The wall
    # is on an E1.31 box, the branch on an Art-Net one, whose sequence begins anew with each call.
    things = [f"{run}/1", f"{run}/2"]
    with a_yard(small) as yard:
        for thing in things:
            here("send", "steady", small, "--on", thing, "--yard", "--seconds", 0.1)
        assert yard.end()["order"] == things


@pytest.mark.parametrize(("named", "other"), [("twin", "line"), ("line", "twin")])
def test_a_tee_and_its_run_name_each_other(here: Patcher, small: Path, named: str, other: str) -> None:
    # Source: the design: a run that hangs on the same data as another; what is said must be what lights.
    said = here("send", "dot", small, "--on", f"{named}/2", "--dry-run").stdout
    assert f"{named}/2 " in said
    assert f"also {other}/2" in said


def test_no_yard_is_said(here: Patcher, small: Path) -> None:
    # Source: the project's own rule: an answer that a person can act on.
    ran = here("send", "steady", small, "--on", "wall", "--yard", "--seconds", 0.1)
    assert "no yard is running" in ran.stderr
    assert "patcher yard" in ran.stderr
    assert ran.returncode == 2
    assert here("send", "steady", small, "--on", "wall", "--yard", "--dry-run").returncode == 0


def test_a_yard_whose_boxes_are_dead_is_a_yard(here: Patcher, small: Path) -> None:
    # Source: the design: a person practises faults in the yard, a dead box among them.
    boxes = [name for name, box in load(small).show.controllers.items() if not box.spare]
    with a_yard(small, *(word for box in boxes for word in ("--fault", f"dead:{box}"))) as yard:
        ran = here("send", "steady", small, "--yard", "--seconds", 0.1)
        assert "no yard" not in ran.stderr
        assert ran.returncode != 2, ran.stderr  # a dead box may be said not to be reached, as one on the house is
        listened = here("listen", small, "--yard", "--seconds", 0.1).stdout
        assert "no yard" not in listened
        assert "the yard runs, but nothing in it answers for " in listened
        assert not yard.end()["lamps"]


@pytest.mark.parametrize("call", [("--to", "127.0.0.1", "--yard"), ("--interface", "127.0.0.1", "--yard")])
def test_options_that_contradict_are_refused(here: Patcher, small: Path, call: tuple[str, ...]) -> None:
    # Source: the design: exit 2, the call is wrong.
    ran = here("send", "steady", small, *call, "--seconds", 0.1)
    assert ran.returncode == 2
    assert "does not go together" in ran.stderr


def test_the_patch_file_is_no_show(here: Patcher, small: Path) -> None:
    # Source: the design: the patch file stands beside the show.
    assert here("patch", small).returncode == 0
    ran = here("check", small.with_suffix(".patch.toml"))
    assert ran.returncode == 2
    assert f"name the show: {small.name}" in ran.stderr


def test_a_pin_that_cannot_be_is_said_with_its_line(here: Patcher, small: Path) -> None:
    # Source: the design: messages name the place, what is wrong, and what to do.
    text = small.read_text() + '\n[controller.near.start]\n1 = "63999/511"\n'
    small.write_text(text)
    line = text.splitlines().index('1 = "63999/511"') + 1
    ran = here("patch", small)
    assert ran.returncode == 2
    assert f"controller.near.start.1 (line {line})" in ran.stderr
    assert "63999/511" in ran.stderr
    assert not small.with_suffix(".patch.toml").exists()


def test_no_line_of_the_list_of_commands_is_cut_at_80_columns(here: Patcher) -> None:
    # Source: the design: `patcher --help` names each command; found by a reader: most lines ended in "..."
    lines = here("--help").stdout.partition("Commands:")[2].strip().splitlines()
    assert len(lines) > 15
    for line in lines:
        assert line.endswith("."), line
        assert not line.endswith("..."), line


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("send", "dott"), "no pattern is named “dott”\n       → did you mean “dot”?\n"),
        (("send", "dot", "SHOW", "--level", "3"), "--level: 3 is too high\n       → give at most 1: 0.03 for 3 %\n"),
        (("send", "dot", "SHOW", "--level", "101"), "--level: 101 is too high\n       → give at most 1\n"),
        (("send", "dot", "SHOW", "--level", "30 %"), "“30 %” is not a number\n       → give a number: 0.3 for 30 %\n"),
        (("power", "SHOW", "--level", "30%"), "“30%” is not a number\n       → give a number: 0.3 for 30 %\n"),
        (("power", "SHOW", "--margin", "5 %"), "“5 %” is not a number\n       → give a number\n"),
        (("send", "dot", "SHOW", "--every", "x"), "--every: “x” is not a whole number"),
    ],
)
def test_a_value_that_cannot_be_is_said_in_words(here: Patcher, words: tuple[str, ...], says: str) -> None:
    # Source: found by a reader; which values can be is declared in `options`
    ran = here(*(words if "SHOW" in words else (*words, "SHOW")))
    assert ran.returncode == 2
    assert says in ran.stderr


def test_why_an_address_has_no_pixel_is_one_reason(here: Patcher, tmp_path: Path) -> None:
    # Source: arithmetic: 2 nulls and 168 pixels of 3 channels are 510 of a universe's 512; the next run has 1 pixel
    wired = tables({"a": {"pixels": 168, "nulls": 2}, "b": {"pixels": 1}}, {"1": ["a"], "2": ["b"]})
    wired["controller"]["box"]["skips_nulls"] = False
    file = tmp_path / "show.toml"
    file.write_text(tomli_w.dumps(wired))
    reasons = {
        "1/6": "it is of a null pixel before a", "1/511": "too few channels are free there for a pixel",
        "2/4": "it is free", "3/1": "no box has universe 3",
    }  # fmt: skip
    for address, why in reasons.items():
        assert here("where", file, address).stdout == f"{address} has no pixel: {why}.\n"


def test_check_says_what_it_has_not_looked_at_and_what_fits(here: Patcher, tmp_path: Path) -> None:
    # Source: found by a reader: "move a run to another port", of a run that is too long for any port of the box
    wired = tables({"a": {"pixels": 168}}, {"1": ["a"]})
    wired["controller"]["box"]["port_pixels"] = 100
    file = tmp_path / "show.toml"
    file.write_text(tomli_w.dumps(wired))
    said = here("check", file).stdout
    assert "a alone is too long for such a port" in said
    assert "move a run" not in said
    assert "Not checked yet: addresses, timing, network and power." in said
    file.write_text("")
    said = here("check", file).stdout
    assert "show: is missing\n       → add a line [show]; patcher new FILE writes a complete file" in said
    assert "Not checked yet: the rest of the wiring, addresses" in said


# --- levels -----------------------------------------------------------------------------------------------------------


QUICK = ("dot", "steady", "edges")
"""A pattern that lights few pixels, one that lights all, and one between."""


@pytest.mark.parametrize("name", [*QUICK, *later(*(name for name in PatternName if name not in QUICK))])
def test_every_pattern_says_its_level_first_and_warns_where_the_supplies_cannot_give_it(
    name: PatternName, heron_lock: Path, here: Patcher
) -> None:
    # Source: `patcher power`: the level up to which everything is OK; a few lit pixels are no load
    power = json.loads(here("power", heron_lock, "--json").stdout)
    most, first = power["holds_up_to"], power["limited_by"][0]
    few_lit = name in {"dot", "milestones", "ends", "sweep"}
    for level, warned in ((most, False), (round(most + 0.01, 2), not few_lit)):
        ran = here("send", name, heron_lock, "--dry-run", "--level", level)
        assert ran.stdout.splitlines()[0] == f"At level {level:g} (--level)."
        says = f"Level {level:g} may be too much: with every pixel white everything is OK only up to level {most:g}"
        assert (says in ran.stderr) == warned
        # Judge: `power`, at the lowest level that is too much: supply, feed or run, and what of it is too much there
        assert (f"First, at level {most + 0.01:g}: {first['where']} {first['says']}." in ran.stderr) == warned
        assert says not in here("send", name, heron_lock, "--dry-run", "--level", level, "--yard").stderr


def test_listening_beside_the_yard_says_what_it_cannot_hear(heron_lock: Path, here: Patcher) -> None:
    # Source: a datagram to one address goes to one program: the boxes that the show feeds by unicast
    ran = here("listen", heron_lock, "--yard", "--seconds", 0.1)
    says = "Not heard: what is sent straight to boxes of the yard (lockhouse, gatepost, mooring)."
    assert says in " ".join(ran.stdout.split())
    said = json.loads(here("listen", heron_lock, "--yard", "--seconds", 0.1, "--json").stdout)
    assert said["unheard_boxes"] == ["lockhouse", "gatepost", "mooring"]
    assert (
        json.loads(here("listen", heron_lock, "--seconds", 0.1, "--no-boxes", "--json").stdout)["unheard_boxes"] == []
    )


def test_what_else_is_too_much_is_counted(heron_lock: Path, here: Patcher) -> None:
    # Source: `check` at that level, which says each of them
    text = heron_lock.read_text().replace("amps = 12.5", "amps = 3.5")
    heron_lock.write_text(re.sub(r"(?m)^level = 0.4", "level = 1.0", text, count=1))
    found = json.loads(here("check", heron_lock, "--json").stdout)["findings"]
    over = {one["where"] for one in found if one["rule"] in ("overload", "fuse-reserve", "tap-fuse")}
    said = here("send", "steady", heron_lock, "--dry-run", "--level", 1).stderr
    power = json.loads(here("power", heron_lock, "--json").stdout)
    assert f"First, at level {power['holds_up_to'] + 0.01:g}: {power['limited_by'][0]['where']} gives" in said
    assert [one["where"] for one in power["limited_by"]] == ["supply.weir-12v"]
    assert f"{len(over) - 1} more places are not OK at level 1." in said
    assert len(over) == 6


def test_a_show_without_supplies_has_no_level_that_is_too_much(heron_lock: Path, here: Patcher) -> None:
    # Source: `patcher power` knows no current there
    text = heron_lock.read_text()
    text = re.sub(r"(?ms)^# ─── Power.*", "", re.sub(r"(?m)^logic = .*\n", "", text))
    heron_lock.write_text(text)
    ran = here("send", "steady", heron_lock, "--dry-run", "--level", 1)
    assert ran.returncode == 0
    assert "too much" not in ran.stderr
