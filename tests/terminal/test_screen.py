"""What is printed: other people's text gives no orders, a stream that takes nothing is no fault, --json is JSON."""

import copy
import csv
import io
import json
import os
import pty
import re
import subprocess
import sys
import tomllib
import unicodedata
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import given, settings
from hypothesis import strategies as st

from patcher.patch.patch_file import patch_path
from patcher.terminal.screen import Screen, order, screens
from patcher.visible import as_csv, as_json, one_line, visible
from rig.examples import examples, later, tries
from rig.packets import ROOM, art_poll_reply, e131
from rig.shipped import SHOWS, Patcher

# Source: ECMA-48 (C0, DEL, C1) and Unicode Standard Annex 9, 2 (explicit directional formatting, isolates, marks).
ORDERS = re.compile("[\x00-\x09\x0b-\x1f\x7f-\x9f\u061c\u200e\u200f\u202a-\u202e\u2066-\u2069]")
HOSTILE = "a\x1b]0;mine\x07\x1b[31m\x9b31m\u202egnp\u2066\u2069\u200f\u200e\u061c\x7f\x08\r\nFORGED: OK\tb"


def harmless(text: str) -> bool:
    """Whether a text gives no order, and nobody but us begins a line of it."""
    return not ORDERS.search(text) and "\nFORGED" not in text and not text.startswith("FORGED")


def said(ran: subprocess.CompletedProcess[str]) -> str:
    return ran.stdout + "\n" + ran.stderr


# --- the rule -----------------------------------------------------------------------------------------------------


@given(st.text())
def test_no_text_gives_orders(text: str) -> None:
    # What is asked of each single character below holds of texts.
    assert not ORDERS.search(visible(text))
    assert harmless(one_line(text))
    assert "\n" not in one_line(text)
    assert visible(text).count("\n") == text.count("\n")
    plain = ORDERS.sub("", text)
    if plain == text and not re.search("[\u2028\u2029]", text):
        assert visible(text) == text


def test_no_character_is_an_order() -> None:
    # Judge: Python's unicodedata: category Cc, and the bidirectional classes of explicit formatting and isolates; with
    # the marks LRM, RLM and ALM, which are of the class of letters.
    explicit = {"LRE", "RLE", "PDF", "LRO", "RLO", "LRI", "RLI", "FSI", "PDI"}
    for sign in map(chr, range(0x110000)):
        if (
            unicodedata.category(sign) == "Cc"
            or unicodedata.bidirectional(sign) in explicit
            or sign in "\u200e\u200f\u061c"
        ):
            assert visible(f"a{sign}b") == ("a\nb" if sign == "\n" else "a\ufffdb")
            assert one_line(f"a{sign}b") == ("a b" if sign in "\t\r\n" else "a\ufffdb")
            assert sign not in as_json(f"a{sign}b").removesuffix("\n")


@given(st.lists(st.lists(st.text() | st.integers() | st.floats(allow_nan=False) | st.none(), min_size=1, max_size=4)))
def test_no_cell_is_worked_out_by_a_spreadsheet(rows: list[list[object]]) -> None:
    # Source: OWASP, CSV Injection: cells that begin with = + - @ tab or carriage return; and field separators.
    # Judge: Python's csv, which reads RFC 4180.
    read = list(csv.reader(io.StringIO(as_csv(["=head"], rows))))
    assert read[0] == ["'=head"]
    assert len(read) == len(rows) + 1
    for row, got in zip(rows, read[1:], strict=True):
        assert len(got) == len(row) or row == [""] or row == [None]
        for value, cell in zip(row, got, strict=False):
            assert not ORDERS.search(cell)
            if isinstance(value, int | float):
                assert float(cell) == float(value)
            elif isinstance(value, str):
                for part in re.split("[;,|]", cell):
                    assert not re.match(r"\s*[=+\-@]", part) or _is_number(cell), cell


def _is_number(text: str) -> bool:
    try:
        float(text)
    except ValueError:
        return False
    return True


@pytest.mark.parametrize(
    ("text", "cell"),
    [
        ("=1+1", "'=1+1"), ("+cmd|x", "'+cmd|x"), ("@SUM(A1)", "'@SUM(A1)"), ("-2+3", "'-2+3"), ("\t=1", "' =1"),
        ("\r=1", "' =1"), ("a;=1", "a;'=1"), ("-1", "-1"), ("-1.5e3", "-1.5e3"), (-1, "-1"), ("gate-left", "gate-left"),
    ],
)  # fmt: skip
def test_words_stay_words_and_numbers_numbers(text: object, cell: str) -> None:
    # Source: OWASP, CSV Injection: a ' before what a spreadsheet would work out.
    assert next(csv.reader(io.StringIO(as_csv([], [[text]]).removeprefix("\n")))) == [cell]


@given(st.recursive(st.text() | st.integers(), lambda inner: st.dictionaries(st.text(), inner) | st.lists(inner)))
def test_json_says_the_same_without_orders(document: Any) -> None:
    # Source: RFC 8259, 7: any character may be written as \\uXXXX. Judge: Python's json.
    text = as_json(document)
    assert not ORDERS.search(text)
    assert json.loads(text) == document


# --- every place where a person's text can stand ------------------------------------------------------------------

TABLES = tomllib.loads((SHOWS / "heron-lock.toml").read_text())


def _leaves(value: Any, path: tuple[Any, ...] = ()) -> Iterator[tuple[Any, ...]]:
    """Every place of a show: each value, and each table."""
    yield path
    for key, inner in value.items() if isinstance(value, dict) else enumerate(value) if isinstance(value, list) else ():
        yield from _leaves(inner, (*path, key))


PLACES = [path for path in _leaves(TABLES) if path]


def _at(place: tuple[Any, ...]) -> Any:
    value: Any = TABLES
    for key in place:
        value = value[key]
    return value


@given(st.sampled_from(PLACES), st.sampled_from(["value", "key", "name"]))
@examples(5, 25)
def test_a_hostile_show_file_gives_no_orders(here: Patcher, tmp_path: Path, place: tuple[Any, ...], how: str) -> None:
    tables = copy.deepcopy(TABLES)
    table: Any = tables
    for key in place[:-1]:
        table = table[key]
    if how == "value" or isinstance(table, list):
        table[place[-1]] = HOSTILE
    elif how == "key":
        table[HOSTILE] = 1
    else:
        table[HOSTILE] = table.pop(place[-1])
    show = tmp_path / "heron-lock.toml"
    show.write_text(tomli_w.dumps(tables), encoding="utf-8")
    for call in (("check", show), ("check", show, "--json"), ("where", show, "eaves")):
        ran = here(*call)
        assert harmless(said(ran)), ran
        if "--json" in call:
            json.loads(ran.stdout)


@pytest.fixture
def titled(heron_lock: Path) -> Path:
    """A show that is sound, and hostile wherever it may be."""
    tables = copy.deepcopy(TABLES)
    tables["show"]["title"] = HOSTILE
    for prop in tables["prop"].values():
        prop |= {"title": HOSTILE} if "title" in prop else {}
    tables["accept"] = [{"rule": "lead-length", "where": HOSTILE, "why": HOSTILE}]
    heron_lock.write_text(tomli_w.dumps(tables), encoding="utf-8")
    return heron_lock


@pytest.mark.parametrize(
    "call",
    [
        ("check",), ("check", "--json"), ("patch",), ("patch", "--csv"), ("patch", "--player", "--csv"), ("diff",),
        ("patch", "--json"), ("where", HOSTILE), ("where", "eaves"), ("power",), ("power", HOSTILE), ("power", "eaves"),
        ("power", "--plan"), ("verify", "--report"), ("verify", HOSTILE, "--report"), ("swap", HOSTILE, "shelf"),
        ("verify", "--report", "--json"), ("yard", "--seconds", "0"), ("yard", "--seconds", "0", "--fault", HOSTILE),
        ("send", "steady", "--dry-run"), ("diagnose", HOSTILE), ("swap", "mooring", "shelf"), ("nosuch", HOSTILE),
        ("yard", "--off", HOSTILE), ("sheet", "--out", "out", "--label", HOSTILE),
        ("power", "--plan", "--wire", HOSTILE), ("check", HOSTILE), ("adopt", HOSTILE + ".csv"), ("yard", HOSTILE),
    ],
)  # fmt: skip
def test_no_command_lets_orders_through(titled: Path, here: Patcher, call: tuple[str, ...]) -> None:
    command, *options = call
    words = [command, titled, *options] if command != "send" else [command, options[0], titled, *options[1:]]
    ran = here(*words)
    assert harmless(said(ran)), ran
    if "--json" in call:
        json.loads(ran.stdout)
    for path in titled.parent.rglob("*.csv"):
        if path.name != "willow.csv":
            text = path.read_text(encoding="utf-8")
            assert harmless(text), path


@pytest.mark.parametrize(
    "call",
    [("check",), ("patch",), ("diff",), ("where", "eaves"), ("yard", "--seconds", "0"), ("swap", "mooring", "shelf"),
     *later((("sheet", "--out", "out"),)), ("power", "--plan", "--write")],
)  # fmt: skip
def test_names_of_files_give_no_orders(heron_lock: Path, here: Patcher, call: tuple[str, ...]) -> None:
    named = heron_lock.with_name("a\u202egnp\u2066\u200f\u061cb.toml")
    heron_lock.rename(named)
    (named.parent / f"{HOSTILE}.toml").touch()
    ran = here(call[0], named, *call[1:])
    assert ran.returncode in (0, 1), ran
    assert harmless(said(ran)), ran
    for other in (named.parent / f"{HOSTILE}.toml", f"no{named.name}", f"{HOSTILE}/{named.name}"):
        ran = here(call[0], other, *call[1:])  # it names those that are there
        assert ran.returncode == 2
        assert harmless(said(ran)), ran


@pytest.mark.long
def test_what_other_files_say_gives_no_orders(heron_lock: Path, here: Patcher) -> None:
    folder = heron_lock.parent
    cells = ",".join(f'"{HOSTILE}"' for _ in range(4))
    for number, table in enumerate((
        f'controller,"{HOSTILE}",run,universe,channel\ngatepost,1,gate-left,40,1\n',
        f"controller,port,run,universe,channel\n{cells},1\ngatepost,1,gate-left,40,1\n",
        f'controller,port,run,universe,channel\n"{HOSTILE}",1,"{HOSTILE}",3,1\n', HOSTILE,
    )):  # fmt: skip
        (folder / "t.csv").write_text(table, encoding="utf-8")
        for call in (("adopt", heron_lock, "t.csv"), ("adopt", f"new-{number}.toml", "t.csv")):
            ran = here(*call)
            assert harmless(said(ran)), ran
    patch_path(heron_lock).unlink(missing_ok=True)
    assert here("verify", heron_lock, "eaves", "--note", HOSTILE).returncode == 0
    assert here("verify", heron_lock, "eaves/1", "--replaced", HOSTILE).returncode == 0
    for call in (("verify", heron_lock, "--report"), ("sheet", heron_lock, "--out", "out", "--store")):
        ran = here(*call)
        assert ran.returncode in (0, 1)
        assert harmless(said(ran)), ran
    tags = (folder / "out" / "tables" / "tags.csv").read_text(encoding="utf-8")
    assert "mine" in tags
    assert harmless(tags)
    for text in (HOSTILE, f'format = "{HOSTILE}"'.replace("\x7f", "").encode("unicode_escape").decode(), "x = ["):
        patch_path(heron_lock).write_text(text, encoding="utf-8")
        for command in ("check", "patch"):
            assert harmless(said(here(command, heron_lock)))
    (folder / "answers").write_text(HOSTILE, encoding="utf-8")
    assert harmless(said(here("diagnose", heron_lock, "eaves", "--answers", "answers")))
    assert harmless(said(here("verify", heron_lock, "--answers", "answers")))


@given(st.text(min_size=1, max_size=15), st.text(max_size=8))
@settings(max_examples=20, deadline=None)
def test_names_on_the_network_give_no_orders(name: str, short: str) -> None:
    # Source: E1.31-2018 6.2.2: a source's name is any UTF-8; Art-Net 4: ShortName and LongName of an ArtPollReply.
    from patcher.listener import contention
    from patcher.listener.listen_session import ListenedShow, Outcome
    from patcher.listener.listen_sockets import Burden
    from patcher.listener.presence import Presence
    from patcher.listener.streams import Listening
    from patcher.reports import listen_report as report

    listening = Listening()
    for cid in (b"a", b"b"):
        packet = e131(3, name=name.replace("\0", ""), cid=cid * 16)
        listening.receive(packet, "e131", ROOM, 0.0)
    listening.receive(art_poll_reply([1], "192.0.2.9", short.replace("\0", ""), name), "artnet", "192.0.2.9:6454", 0.0)
    heard = listening.heard(0.1)
    box = Presence("gate", "192.0.2.9", "artnet", "ArtPoll", short, name, (1,), (1,))
    found = contention.findings(heard)
    outcome = Outcome(ListenedShow(), 1.0, 1, heard, [box], found, {}, Burden())
    stdout, sys.stdout = sys.stdout, io.StringIO()
    try:
        with screens():
            report.say(outcome)
        text = sys.stdout.getvalue()
    finally:
        sys.stdout = stdout
    assert "Listened for" in text
    assert not ORDERS.search(text)


def test_orders_of_our_own_reach_a_terminal() -> None:
    ours, theirs = pty.openpty()
    with open(theirs, "w", encoding="utf-8") as terminal:  # noqa: PTH123
        stdout, sys.stdout = sys.stdout, Screen(terminal, must=True)
        try:
            order("\r\x1b[K")
            print("1\x1b[2J2", flush=True)
        finally:
            sys.stdout = stdout
        read = b""
        while not read.endswith(b"\n"):  # a terminal may hand on each write by itself
            read += os.read(ours, 100)
        assert read.decode() == "\r\x1b[K1\ufffd[2J2\r\n"
    os.close(ours)


# --- streams that take nothing ------------------------------------------------------------------------------------

FULL = Path("/dev/full")
CALLS = [("check", "--json", "--foo"), ("--help",)]  # errors as JSON, and words, of a program that starts at once
MORE = [
    ("check", "--json", "nosuch.toml"),
    ("check", "heron-lock.toml"), ("check", "nosuch.toml"), ("where", "heron-lock.toml", "eaves"), ("schema",), (),
    ("check", "heron-lock.toml", "--json"), ("patch", "heron-lock.toml", "--csv"), ("diff", "heron-lock.toml"),
    ("power", "heron-lock.toml"), ("verify", "heron-lock.toml", "--report"), ("new", "x.toml"),
    ("yard", "heron-lock.toml", "--seconds", "0"), ("sheet", "heron-lock.toml", "--out", "out"),
    ("send", "steady", "heron-lock.toml", "--dry-run"),
    ("swap", "heron-lock.toml", "mooring", "shelf"), ("listen", "--seconds", "0.1", "--universe", "1"),
    ("verify", "heron-lock.toml", "eaves", "--note", "loose"), ("demo",), ("verify", "heron-lock.toml", "--yard"),
    ("diagnose", "heron-lock.toml", "eaves", "--yard", "--fault", "reversed:eaves"),
    ("power", "heron-lock.toml", "--svg", "x.svg"), ("phone", "heron-lock.toml", "--address", "192.0.2.1"),
]  # fmt: skip
WAYS = ("closed", "full", "unread")


@contextmanager
def _ended(stream: str, how: str) -> Iterator[dict[str, Any]]:
    """How to start a program with a stream that takes nothing."""
    number = {"stdout": 1, "stderr": 2}[stream]
    if how == "closed":
        yield {stream: subprocess.PIPE, "preexec_fn": lambda: os.close(number)}
    elif how == "full":
        with FULL.open("wb") as full:  # Source: full(4): each write fails for want of room
            yield {stream: full}
    else:
        reads, writes = os.pipe()
        os.close(reads)
        try:
            yield {stream: writes}
        finally:
            os.close(writes)


@pytest.mark.skipif(not FULL.exists(), reason="there is no device that is always full")
@pytest.mark.parametrize("call", [*CALLS, *(pytest.param(call, marks=pytest.mark.long) for call in MORE)], ids=" ".join)
def test_a_stream_that_takes_nothing_is_no_fault(heron_lock: Path, call: tuple[str, ...]) -> None:
    folder, command, nothing = heron_lock.parent, [sys.executable, "-m", "patcher", *call], subprocess.DEVNULL
    usual = subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=120, stdin=nothing)
    for stream, how in (*(("stdout", way) for way in WAYS), ("stderr", "closed"), ("stderr", "full")):
        other = {"stdout": "stderr", "stderr": "stdout"}[stream]
        if call[:1] == ("new",):
            (folder / call[1]).unlink(missing_ok=True)
        with _ended(stream, how) as options:
            options = {other: subprocess.PIPE, "stdin": nothing} | options
            process = subprocess.Popen(command, cwd=folder, text=True, **options)
            out, err = process.communicate(timeout=120)
        words = (out or "") + (err or "")
        where = f"{call} with {stream} {how}: {process.returncode}, {words}"
        for fault in ("Traceback", "has a bug", "Exception ignored"):
            assert fault not in words, where
        if call[:1] == ("new",) or "--note" in call:
            assert process.returncode in (usual.returncode, 2), where
        elif stream == "stderr" or how == "closed" or not usual.stdout:
            assert process.returncode == usual.returncode, where
            if stream == "stderr" and {"check", "where", "diff", "power", "schema", "send"} & {*call}:
                assert out == usual.stdout, where
        else:
            assert process.returncode == 2, where
        if stream == "stdout" and how == "full" and usual.stdout:
            assert "No space left" in words, where


@pytest.mark.parametrize("closed", [(0, 1, 2), *later(((0,),), ((1,),), ((2,),), ((1, 2),))])
def test_a_file_never_gets_the_number_of_a_closed_stream(heron_lock: Path, closed: tuple[int, ...]) -> None:
    # Source: open(2): the lowest number that is free. What a library writes to stdout would else go into the file.
    code = (
        "import os, sys\nfrom patcher.__main__ import main\nimport patcher.show.writer as writing\n"
        "opened = []\nopen_ = os.open\n"
        "def watched(*a, **k):\n    opened.append(open_(*a, **k))\n    return opened[-1]\n"
        "writing.os = type('', (), {**vars(os), 'open': staticmethod(watched)})\n"
        "try:\n    main()\nfinally:\n    file = open('fds', 'w')\n    file.write(repr(opened))\n    file.close()\n"
    )
    subprocess.run(
        [sys.executable, "-c", code, "patch", heron_lock, "--fresh"], cwd=heron_lock.parent, timeout=60,
        preexec_fn=lambda: [os.close(number) for number in closed] and None, check=False,
    )  # fmt: skip
    opened = json.loads(heron_lock.with_name("fds").read_text())
    assert opened
    assert min(opened) > 2


# --- calls that are wrong -----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("call", "where"),
    [
        (("check", "--foo"), "--foo"), (("check",), "show"), (("check", "a", "b"), "call"), (("nosuch",), "call"),
        (("yard", "a.toml", "--seconds", "x"), "--seconds"), (("yard", "a.toml", "--loss", "2"), "--loss"),
        (("patch", "a.toml", "--seconds", "nan"), "--seconds"), (("yard", "a.toml", "--seed", "-1"), "--seed"),
        (("bench", "--pixels"), "--pixels"), (("check", "nosuch.toml"), "nosuch.toml"), (("phone", "a.toml"), "--json"),
        ((), "--json"), (("send", "nosuch", "a.toml"), "pattern"),
    ],
)  # fmt: skip
def test_a_call_that_is_wrong_is_json_for_scripts(here: Patcher, call: tuple[str, ...], where: str) -> None:
    # Source: the design: --json prints one JSON document; exit 2: the input or the call is wrong.
    ran = here(*call[:1], "--json", *call[1:])
    assert ran.returncode == 2
    [finding] = json.loads(ran.stdout)["findings"]
    assert (finding["severity"], finding["where"].lower().strip("'")) == ("error", where)
    assert finding["says"]
    assert finding["try"]


NUMBERS = ["nan", "1e308", "", "9" * 5000, "-1", "inf", "-inf", "-0.5", "0", "1e-308", str(10**30), "x", "1_0", "0x10"]
"""The first two are those of the quick run."""


def _number_options() -> list[tuple[str, str]]:
    from typer.main import get_command

    from patcher.cli import app

    return [
        (name, parameter.opts[0])
        for name, command in get_command(app).commands.items()  # type: ignore[attr-defined]
        for parameter in command.params
        if re.search(r"\b(int|float)\b", str(parameter.type_descriptor.annotation))
    ]


BASES = {
    "patch": ("SHOW",), "diff": ("SHOW",), "power": ("SHOW",), "sheet": ("SHOW", "--out", "out"),
    "send": ("steady", "SHOW", "--dry-run"), "bench": ("127.0.0.1", "steady", "--dry-run", "--pixels", "3"),
    "listen": ("--seconds", "0.1", "--universe", "1"), "yard": ("SHOW", "--seconds", "0"),
    "verify": ("SHOW", "--report"), "diagnose": ("SHOW", "eaves", "--answers", "none"),
    "phone": ("SHOW", "--address", "192.0.2.1"), "swap": ("SHOW", "mooring", "shelf"),
    "todo": ("SHOW", "--hung", "gable"), "film": ("SHOW", "--dry-run"), "draw": ("SHOW", "--address", "192.0.2.1"),
    "propose": ("SHOW",),
}  # fmt: skip


@pytest.mark.many
@pytest.mark.parametrize(("command", "option"), _number_options())
def test_no_number_is_a_fault(heron_lock: Path, here: Patcher, command: str, option: str) -> None:
    (heron_lock.parent / "none").touch()
    base = [heron_lock if word == "SHOW" else word for word in BASES[command]]
    for number in NUMBERS[: tries(2, len(NUMBERS))]:
        if option == "--seconds" and command in ("yard", "listen") and number[:1] in "19" and number != "1_0":
            continue  # it would take so long
        ran = here(command, *base, f"{option}={number}")
        assert ran.returncode in (0, 1, 2)
        if number in ("nan", "inf", "-inf", "x", ""):
            assert ran.returncode == 2, (number, ran)


# --- numbers of a show --------------------------------------------------------------------------------------------

KEYS = {
    (place[0], TABLES["run"][place[1]].get("shape") if place[0] == "run" else "",
     *(key for key in place[2:] if not isinstance(key, int))): place
    for place in PLACES if type(_at(place)) in (int, float)
}  # fmt: skip
"""A place for each key that is a number."""
EXTREMES = [0, -1, 1e-9, 1e6, 1e308]


def _numbers(here: Patcher, show: Path, place: tuple[Any, ...], number: float) -> None:
    tables = copy.deepcopy(TABLES)
    table: Any = tables
    for key in place[:-1]:
        table = table[key]
    table[place[-1]] = number
    show.write_text(tomli_w.dumps(tables), encoding="utf-8")
    if here("check", show).returncode != 2:
        for call in (("power", show), ("sheet", show, "--out", "out", "--seconds", 0.2)):
            assert here(*call).returncode in (0, 1, 2)


@pytest.mark.parametrize("number", [1e6, 1e9])
def test_a_lead_of_any_length_is_drawn_or_refused(heron_lock: Path, here: Patcher, number: float) -> None:
    # Source: found in use: `sheet` with a lead of 1e9 ended in a StopIteration.
    _numbers(here, heron_lock, ("run", "gable", "lead"), number)


@pytest.mark.long
@pytest.mark.parametrize("place", KEYS.values(), ids=[".".join(map(str, key)) for key in KEYS])
def test_no_number_of_a_show_is_a_fault(heron_lock: Path, here: Patcher, place: tuple[Any, ...]) -> None:
    for number in EXTREMES:
        _numbers(here, heron_lock, place, number)
