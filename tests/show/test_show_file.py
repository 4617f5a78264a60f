"""Bad show files: each mistake is named by its place, in words, with what to do; no text brings a traceback."""

import os
import subprocess
import sys
from importlib.metadata import metadata
from pathlib import Path

import pytest
import tomli_w

from patcher.errors import Finding, PatcherError
from patcher.show.parser import parse, read
from patcher.show.show_file import LARGEST_FILE, read_show
from patcher.wiring import problems, wire
from rig.good_show import GOOD
from rig.shipped import ROOT


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "willow.csv").write_text("x,y\n0.5,1.0\n0.7,1.2\n0.9,1.4\n")
    return tmp_path


def everything(folder: Path, text: str | bytes) -> list[Finding]:
    """What reading and wiring say of a file, or what it is refused with."""
    path = folder / "weir.toml"
    path.write_bytes(text if isinstance(text, bytes) else text.encode())
    try:
        reading = read_show(path)
    except PatcherError as error:
        found = list(error.findings)
    else:
        found = list(reading.findings)
        if reading.show is not None:
            found += problems(wire(reading.show), complete=not reading.findings)
        else:
            assert found
    for finding in found:
        # Source: the design: messages name the place, what is wrong, and what to do
        assert finding.where
        assert finding.says
        assert finding.remedy
        assert finding.severity == "error"
    return found


def changed(old: str, new: str, text: str = GOOD) -> str:
    assert text.count(old) == 1, f"{old!r} stands {text.count(old)} times in the good file"
    return text.replace(old, new)


def one(findings: list[Finding], where: str, *words: str, remedy: str = "") -> Finding:
    """The finding of a place (or of one of two), which says these words; `remedy` is what its remedy must hold."""
    here = [finding for finding in findings if finding.where in where.split(" or ")]
    assert here, f"nothing of {where} in {[(f.where, f.says) for f in findings]}"
    for finding in here:
        if all(word in finding.says for word in words) and remedy in finding.remedy:
            return finding
    raise AssertionError([(finding.says, finding.remedy) for finding in here])


def line_with(text: str, part: str) -> int:
    """The line, from 1, on which a part stands for the first time."""
    return text[: text.index(part)].count("\n") + 1


def test_the_good_file_is_good(folder):
    # Common practice, no source: a mutation proves something only if the file was right before
    assert everything(folder, GOOD) == []


# --- what is no show file at all ----------------------------------------------------------------------------------


def refused(path: Path) -> Finding:
    with pytest.raises(PatcherError) as error:
        read_show(path)
    (finding,) = error.value.findings
    assert finding.says
    assert finding.remedy
    return finding


def test_a_missing_file_and_what_lies_beside_it(folder):
    # Source: the design: messages name the place, what is wrong, and what to do
    assert "not found" in refused(folder / "nothing.toml").says
    (folder / "weir.toml").write_text(GOOD)
    found = refused(folder / "wier.toml")
    assert found.where == str(folder / "wier.toml")
    assert "weir.toml" in found.remedy


def test_a_huge_file(folder):
    # Common practice, no source: refuse before it fills the memory; the size is the program's own
    path = folder / "huge.toml"
    with path.open("wb") as file:
        file.truncate(LARGEST_FILE * 1024)
    assert "larger than" in refused(path).says


def test_a_directory(folder):
    # Source: the design: no traceback ever reaches a person
    assert "folder" in refused(folder).says


def test_a_device(folder):
    # Common practice, no source: a device has no end
    device = Path(os.devnull)
    if device.is_char_device():
        assert "not an ordinary file" in refused(device).says


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no named pipes here")
def test_a_named_pipe_does_not_hang(folder):
    # Common practice, no source: opening a pipe that nobody writes to waits for ever
    pipe = folder / "pipe.toml"
    os.mkfifo(pipe)
    program = (
        "import sys, pathlib\n"
        "from patcher.errors import PatcherError\n"
        "from patcher.show.show_file import read_show\n"
        "try:\n"
        "    read_show(pathlib.Path(sys.argv[1]))\n"
        "except PatcherError as error:\n"
        "    print(error)\n"
    )
    try:
        done = subprocess.run(
            [sys.executable, "-c", program, str(pipe)],
            capture_output=True, text=True, timeout=4, cwd=ROOT, check=True,
        )  # fmt: skip
    except subprocess.TimeoutExpired:
        pytest.fail("it waits for somebody to write into the pipe")
    assert "not an ordinary file" in done.stdout


@pytest.mark.parametrize(
    ("octets", "word"),
    [
        (b"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR\xff\xfe\x00", "UTF-8"),
        (b"\x7fELF\x02\x01\x01\x00" + b"\0" * 64, "zero bytes"),
        (bytes(range(256)), "UTF-8"),
        (GOOD.encode("utf-16"), "UTF-16"),
        (b"\xfe\xff" + GOOD.encode("utf-16-be"), "UTF-16"),
        (GOOD.encode("utf-16-le"), "zero bytes"),
        (GOOD.replace("Mill weir", "Mühlenwehr").encode("latin-1"), "UTF-8"),
    ],
    ids=["png", "elf", "all-octets", "utf-16-le-bom", "utf-16-be-bom", "utf-16-no-bom", "latin-1"],
)
def test_octets_that_are_no_utf8_text(folder, octets, word):
    # Source: TOML 1.0.0, Spec: a TOML file must be a valid UTF-8 encoded document
    (finding,) = everything(folder, octets)
    assert finding.where == str(folder / "weir.toml")
    assert word in finding.says


def test_a_byte_order_mark_and_crlf_are_accepted(folder):
    # Source: TOML 1.0.0: newline means LF or CRLF. Common practice, no source: some editors write a byte order mark
    assert everything(folder, b"\xef\xbb\xbf" + GOOD.encode()) == []
    crlf = GOOD.replace("\n", "\r\n")
    assert everything(folder, crlf) == []
    assert everything(folder, b"\xef\xbb\xbf" + crlf.encode()) == []
    bad = changed("pixels = 50", "pixels = 0").replace("\n", "\r\n")
    assert one(everything(folder, bad), "run.towpath.pixels", "0").line == line_with(bad, "pixels = 0")


def test_an_empty_file_lacks_its_show_table(folder):
    # Source: the design: [show] holds the title
    one(everything(folder, ""), "show", "missing", remedy="show")


def test_not_toml_says_on_which_line(folder):
    # Source: TOML 1.0.0: a key and its value stand on one line
    text = changed("ports = 4", "ports = ")
    (finding,) = everything(folder, text)
    assert "not TOML" in finding.says
    assert f"line {line_with(text, 'ports = ')}" in finding.says


def test_what_is_not_toml_may_lie_above_the_line_that_is_named(folder):
    # Source: found by a reader: a bracket that was not closed two lines above, behind an empty line
    (finding,) = everything(folder, changed("[controller.mill.port]", "at = [1.0, 2.0\n\n[controller.mill.port]"))
    assert "those above it" in finding.remedy


@pytest.mark.parametrize(("written", "offered"), [("4,5", "4.5"), ("-0,25   # m", "-0.25")])
def test_a_number_with_a_comma_is_offered_with_a_point(folder: Path, written: str, offered: str) -> None:
    # Source: TOML 1.0.0, Float: the decimal point is a point
    (finding,) = everything(folder, changed("ports = 4", f"ports = {written}"))
    assert finding.remedy == f"a number has a point, not a comma: {offered}"


@pytest.mark.parametrize(
    ("written", "remedy"),
    [
        ("40", "write 0.4 for 40 %"), ("2.5", "write 0.025 for 2.5 %"), ('"40 %"', "write 0.4 for 40 %"),
        ('"7%"', "write 0.07 for 7 %"), ("40 %", "a number stands alone: write 0.4 for 40 %"),
        ("0.5%  # dim", "a number stands alone: write 0.005 for 0.5 %"),
        ("101", "correct the number"), ("-1", "correct the number"), ('"half"', "write a number"),
    ],
)  # fmt: skip
@pytest.mark.parametrize("table", ["show", "controller.mill"])
def test_a_level_in_percent_is_offered_as_a_part_of_one(folder: Path, written: str, remedy: str, table: str) -> None:
    # Source: arithmetic: percent are hundredths
    heading = {"show": "[show]\n", "controller.mill": "[controller.mill]\n"}[table]
    (finding,) = everything(folder, changed(heading, f"{heading}level = {written}\n"))
    assert finding.remedy == remedy
    if "alone" not in remedy:
        assert finding.where == f"{table}.level"
    # what no part of 1 is is not read as percent
    (finding,) = everything(folder, changed("ports = 4", "ports = 4 %"))
    assert "%" not in finding.remedy


@pytest.mark.parametrize(
    "again", ["\n[run.towpath]\npixels = 3\n", "\n[controller.mill.port]\n4 = []\n"], ids=["run", "port"]
)
def test_the_same_heading_twice(folder, again):
    # Source: TOML 1.0.0: you cannot define a table more than once
    (finding,) = everything(folder, GOOD + again)
    assert "not TOML" in finding.says
    assert "twice" in finding.remedy


@pytest.mark.parametrize(
    ("old", "new", "words"),
    [
        ("[controller.mill.port]", "[controller.mill.ports]",
         ("ports is a key of [controller.mill] (line 12) and a heading, [controller.mill.ports] (line 15)",
          "[controller.mill.port]")),
        ("consecutive = true", "port = 4", ("port is a key of [controller.mill] (line 13) and a heading",)),
        ("lead = 2.5", "gaps = [8]", ("twice",)),
    ],
)  # fmt: skip
def test_a_key_and_a_heading_of_one_name_are_said_to_be_that(folder, old, new, words):
    # Source: found in use: "the same heading stands there twice", and there was no second heading
    (finding,) = everything(folder, changed(old, new))
    assert all(word in finding.remedy for word in words), finding.remedy
    assert ("twice" in finding.remedy) == (words == ("twice",))


def test_the_same_key_twice(folder):
    # Source: TOML 1.0.0: defining a key multiple times is invalid
    text = changed("pixels = 50\n", "pixels = 50\npixels = 60\n")
    (finding,) = everything(folder, text)
    assert "not TOML" in finding.says
    assert "twice" in finding.remedy


# --- deep and vast values -----------------------------------------------------------------------------------------


@pytest.mark.parametrize("depth", [5, 60, 150, 300, 450, 490, 2000, 100_000])
@pytest.mark.parametrize(
    "pattern",
    ["[show]\ntitle = {open}{close}\n", "[run.towpath]\npixel = {open}1{close}\n", "x = {open}{close}\n"],
    ids=["title", "pixel", "unknown"],
)
def test_deep_brackets(folder, depth, pattern):
    # Source: the design: no traceback ever reaches a person
    assert everything(folder, pattern.format(open="[" * depth, close="]" * depth))


@pytest.mark.parametrize("depth", [5, 60, 300, 900, 5000])
@pytest.mark.parametrize("form", ["key", "heading", "value"])
def test_deep_dots(folder, depth, form):
    # Source: the design: no traceback ever reaches a person
    dots = ".".join("a" * depth)
    text = {
        "key": GOOD + f"\n[run.deep]\npixel = 'lamp'\n{dots} = 1\n",
        "heading": GOOD + f"\n[{dots}]\nb = 1\n",
        "value": GOOD + f"\n[run.deep]\npixels = 3\npixel.{dots} = 1\n",
    }[form]
    assert everything(folder, text)


@pytest.mark.parametrize(
    "number",
    ["9" * 30, "9" * 5000, "-" + "9" * 5000, "0x" + "f" * 5000, "1e999", "-1e999", "9" * 400 + ".0"],
    ids=["30-digits", "5000-digits", "minus-5000-digits", "5000-hex-digits", "1e999", "-1e999", "400-digits"],
)
@pytest.mark.parametrize(
    ("old", "key"),
    [
        ("pixels = 50", "pixels"),
        ("lead = 2.5", "lead"),
        ("ports = 4", "ports"),
        ("frame_rate = 40", "frame_rate"),
        ('address = "192.0.2.21"', "address"),
        ("path = [[0.0, 0.0], [4.0, 0.0]]", "path"),
        ('turns = "serpentine"', "turns"),
        ("consecutive = true", "consecutive"),
    ],
    ids=lambda value: value.split(" ")[0] if "=" in value else "",
)
def test_numbers_past_all_measure(folder, number, old, key):
    # Source: the design: no traceback ever reaches a person
    value = f"[[{number}, 0], [1, 1]]" if key == "path" else number
    found = everything(folder, changed(old, f"{key} = {value}"))
    if key != "path" and (key, number) != ("lead", "9" * 30):
        assert found


# --- numbers that are none ----------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "where", "word"),
    [
        ("pixels = 50", "pixels = 0", "run.towpath.pixels", "at least 1"),
        ("pixels = 50", "pixels = -3", "run.towpath.pixels", "at least 1"),
        ("pixels = 50", "pixels = 50.0", "run.towpath.pixels", "whole number"),
        ("pixels = 50", 'pixels = "50"', "run.towpath.pixels", "whole number"),
        ("pixels = 50", "pixels = true", "run.towpath.pixels", "whole number"),
        ("pixels = 50", "pixels = nan", "run.towpath.pixels", "nan"),
        ("pixels = 50", "pixels = inf", "run.towpath.pixels", "inf"),
        ("pixels = 50", "pixels = 2020-01-01", "run.towpath.pixels", "whole number"),
        ("pixels = 50", "pixels = [50]", "run.towpath.pixels", "whole number"),
        ("lead = 2.5", "lead = true", "run.towpath.lead", "number"),
        ("lead = 2.5", 'lead = "2.5"', "run.towpath.lead", "number"),
        ("lead = 2.5", "lead = nan", "run.towpath.lead", "nan"),
        ("lead = 2.5", "lead = inf", "run.towpath.lead", "inf"),
        ("lead = 2.5", "lead = -1.0", "run.towpath.lead", "at least 0"),
        ("frame_rate = 40", "frame_rate = 0", "show.frame_rate", "more than 0"),
        ("frame_rate = 40", "frame_rate = nan", "show.frame_rate", "nan"),
        ("frame_rate = 40", "frame_rate = inf", "show.frame_rate", "inf"),
        ("ports = 4", "ports = 0", "controller.mill.ports", "at least 1"),
        ("ports = 4", "ports = true", "controller.mill.ports", "whole number"),
        ("ports = 4", 'ports = "4"', "controller.mill.ports", "whole number"),
        ("consecutive = true", "consecutive = 1", "controller.mill.consecutive", "true or false"),
        ("consecutive = true", 'consecutive = "true"', "controller.mill.consecutive", "true or false"),
        ("gaps = [7]", "gaps = [true]", "run.towpath.gaps[1]", "whole number"),
        ("gaps = [7]", "gaps = [51]", "run.towpath or run.towpath.gaps", "51"),
        ("gaps = [7]", "gaps = [7, 7]", "run.towpath or run.towpath.gaps", "twice"),
        ("path = [[0.0, 0.0], [4.0, 0.0]]", "path = [[0.0, nan], [4.0, 0.0]]", "run.towpath.path[1][2]", "nan"),
        ("[4.0, 0.0]]", "[0.0, 0.0]]", "run.towpath or run.towpath.path", "no length"),
        ("colour_order = \"RGB\"", 'colour_order = "rgb"', "pixel.lamp.colour_order", "rgb"),
        ("colour_order = \"RGB\"", 'colour_order = "RGR"', "pixel.lamp.colour_order", "twice"),
        ('title = "Mill weir"', "title = 7", "show.title", "quotes"),
        ("band = [3, 4]", "band = [4, 3]", "run.gate-high or run.gate-high.band", "backwards"),
        ("band = [3, 4]", "band = [3, 5]", "run.gate-high.band", "4 rows"),
        ("band = [3, 4]", "band = [2, 4]", "run.gate-high.band", "gate-low"),
        ('address = "192.0.2.21"', 'address = "192.0.2.321"', "controller.mill.address", "IPv4"),
        ('address = "192.0.2.21"', 'address = "239.255.0.1"', "controller.mill.address", "one box"),
    ],
)  # fmt: skip
def test_a_value_that_cannot_be(folder, old, new, where, word):
    # Source: the design: what each key holds; RFC 791 (IPv4); TOML 1.0.0: nan and inf are floats
    text = changed(old, new)
    finding = one(everything(folder, text), where, word)
    if " or " not in where:
        assert finding.line == line_with(text, new)


@pytest.mark.parametrize("word", ["sACN", "sacn", "SACN", "S-ACN", "Streaming ACN", "streaming_acn"])
def test_the_other_name_of_e131_is_told_what_to_write(folder: Path, word: str) -> None:
    # Source: what sacn, an independent sender and receiver, says of itself
    assert "sACN / E1.31" in metadata("sacn")["Summary"]
    (finding,) = everything(folder, changed("ports = 4", f'ports = 4\nprotocol = "{word}"'))
    assert (finding.where, finding.severity) == ("controller.mill.protocol", "error")
    assert finding.remedy.endswith("write e131")
    assert everything(folder, changed("ports = 4", 'ports = 4\nprotocol = "e131"')) == []


@pytest.mark.parametrize(
    ("old", "new", "where"),
    [
        ("frame_rate = 40", "frame_rate = 40\nfirst_universe = 0", "show.first_universe"),
        ("ports = 4", 'ports = 4\nprotocol = "artnet"\nfirst_universe = 0', "controller.mill.first_universe"),
        (
            "[controller.mill.port]",
            '[controller.mill.start]\n1 = "0/1"\n[controller.mill.port]',
            "controller.mill.start.1",
        ),
    ],
)
def test_universe_0_is_told_what_to_set_in_the_box(folder: Path, old: str, new: str, where: str) -> None:
    # Source: found by a reader: boxes often come set to Art-Net's universe 0 (common practice), and "is 0, but must be
    # at least 1 → correct the number" told nobody what to do in the box
    text = changed("ports = 4", 'ports = 4\nprotocol = "artnet"') if "artnet" not in new else GOOD
    (finding,) = everything(folder, changed(old, new, text))
    assert finding.where == where
    assert "set the box to 1 or more" in finding.remedy
    assert "net 0, sub-net 0" in finding.remedy


@pytest.mark.parametrize("point", ["[4.0]", "[]", "[4.0, 0.0, 1.0]", "4.0", '"4, 0"'])
def test_a_point_is_two_numbers(folder, point):
    # Source: the design: path = [[x, y], …]; messages name what to do
    found = everything(folder, changed("[4.0, 0.0]]", f"{point}]"))
    assert found
    for finding in found:
        assert finding.where.startswith("run.towpath.path[2]")
        assert finding.line == line_with(GOOD, "path = ")
        # no key of a table is called 0 or 1
        assert "add it: 0" not in finding.remedy
        assert "add it: 1" not in finding.remedy


@pytest.mark.parametrize(
    ("old", "new", "where", "remedy"),
    [
        ("area = [[0, 0], [3, 3]]", "area = [0, 0, 3.5, 3]", "prop.gate.area", "write [[0, 0], [3.5, 3]]"),
        ("area = [[0, 0], [3, 3]]", "area = [0, 0]", "prop.gate.area", "write [[0, 0]]"),
        ("area = [[0, 0], [3, 3]]", "area = [0, 0, 3]", "prop.gate.area", "write [[x, y], [x, y] …]"),
        ("path = [[0.0, 0.0], [4.0, 0.0]]", "path = [0.0, 0.0, 4.0, 0.0]", "run.towpath.path",
         "write [[0.0, 0.0], [4.0, 0.0]]"),
    ],
)  # fmt: skip
def test_a_list_of_numbers_for_points_is_written_as_points(folder, old, new, where, remedy):
    # Source: found in use: "has 4 items, but may have at most 2 → shorten it"
    (finding,) = [finding for finding in everything(folder, changed(old, new)) if finding.where.startswith(where)]
    assert (finding.where, finding.remedy) == (where, remedy)
    assert "points" in finding.says


TAP = """
[supply.barn-12v]
volts = 12.0
amps = 5.0

[feed.spur]
supply = "barn-12v"
taps = [ { run = "towpath", pixel = VALUE, length = 1.0 } ]
"""


@pytest.mark.parametrize(
    ("value", "says", "remedy"),
    [
        ('"end"', "cannot be 'end'", "choose from: first, last; or a whole number, without quotes"),
        ('"lst"', "cannot be 'lst'", "did you mean “last”; or a whole number, without quotes"),
        ('"7"', "cannot be '7'", "a whole number, without quotes"),
        ("2.5", "cannot be 2.5", "write first, last; or a whole number"),
        ("0", "is 0, but must be at least 1", "correct the number"),
    ],
)
def test_a_number_or_a_word_is_said_to_be_either(folder, value, says, remedy):
    # Source: `help file`: a pixel is a number, "first" or "last"
    (finding,) = everything(folder, GOOD + TAP.replace("VALUE", value))
    assert (finding.where, finding.says) == ("feed.spur.taps[1].pixel", says)
    assert remedy in finding.remedy


# --- the wiring ---------------------------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "new", "where", "words"),
    [
        # a loop of runs: the same run twice on a port
        ('"gate-low"]', '"gate-low", "towpath"]', "run.towpath", ("mill/1", "2 times")),
        # a run on two ports
        ('2 = ["willow"]', '2 = ["willow", "towpath"]', "run.towpath", ("mill/1", "mill/2")),
        ('2 = ["willow"]', '5 = ["willow"]', "controller.mill.port.5", ("not a port of the box", "4")),
        ('2 = ["willow"]', "", "run.willow", ("no port",)),
        ('2 = ["willow"]', '2 = ["willow", "towpath-back"]', "run.towpath-back", ("towpath", "mill")),
        ("pixels = 49", "pixels = 50", "run.towpath-back", ("50", "49")),
        ("pixels = 49", "pixels = 49\nnulls = 1", "run.towpath-back.nulls", ("1", "0")),
        ("consecutive = true", "port_pixels = 56", "controller.mill.port.1", ("57", "1 more")),
        ("consecutive = true", "spare = true", "controller.mill", ("spare",)),
        ("[run.towpath]", "[run.towpath]\nhung = false", "run.towpath.hung", ("gate-low", "mill/1", "goes on sending")),
    ],
)
def test_wiring_that_cannot_be(folder, old, new, where, words):
    # Source: the design: a run is one unbroken chain; what is said of ports, port_pixels, spare, same_data_as
    assert one(everything(folder, changed(old, new)), where, *words).area == "wiring"


@pytest.mark.parametrize("start_per", ["port", "run", "controller"])
@pytest.mark.parametrize("down", ["", "a", "b", "c", "d", "ab", "bc", "ac", "cd", "abc", "abcd"])
def test_what_does_not_hang_has_nothing_that_hangs_behind_it_on_its_port(start_per: str, down: str) -> None:
    # Source: a box sends a port's runs one behind the other: what hangs behind a gap takes what is sent for the gap,
    # whatever has a start address. The next port begins anew.
    tables = {
        "show": {"title": "down"}, "pixel": {"rgb": {"colour_order": "RGB"}},
        "run": {name: {"pixel": "rgb", "pixels": 4, "hung": name not in down} for name in "abcd"},
        "controller": {"box": {
            "address": "192.0.2.1", "ports": 2, "start_per": start_per, "port": {"1": ["a", "b", "c"], "2": ["d"]},
        }},
    }  # fmt: skip
    show = read(tomli_w.dumps(tables)).show
    assert show is not None
    wrong = {name for place, name in enumerate("abc") if name in down and set("abc"[place + 1 :]) - set(down)}
    found = problems(wire(show))
    assert {finding.where for finding in found} == {f"run.{name}.hung" for name in wrong}
    assert {(finding.rule, finding.severity) for finding in found} <= {("not-hung", "error")}
    tables["controller"]["box"]["port"]["1"].sort(key=lambda name: name in down)  # as the remedy says
    mended = read(tomli_w.dumps(tables)).show
    assert mended is not None
    assert problems(wire(mended)) == []


def test_port_pixels_may_be_reached(folder):
    # Source: the design: port_pixels: most pixels on one port; 49 of towpath and two lines of 4
    assert everything(folder, changed("consecutive = true", "port_pixels = 57")) == []


@pytest.mark.parametrize("number", ["0", "-1", "01", "one", '"1.5"', '"１"'])
def test_a_port_that_is_no_number(folder, number):
    # Source: the design: ports are counted from 1
    found = everything(folder, changed('2 = ["willow"]', f'{number} = ["willow"]'))
    one(found, f"controller.mill.port.{number.strip(chr(34))}", "port number")


@pytest.mark.parametrize("ring", [["a-run"], ["a-run", "b-run"], ["a-run", "b-run", "c-run"]], ids=len)
def test_tees_in_a_ring(folder, ring):
    # Source: the design: same_data_as: hangs on the same data as another run
    tables = "".join(
        f'\n[run.{name}]\npixel = "lamp"\npixels = 5\nsame_data_as = "{behind}"\n'
        for name, behind in zip(ring, ring[1:] + ring[:1], strict=True)
    )
    found = [finding for finding in everything(folder, GOOD + tables) if "ring" in finding.says]
    assert len(found) == 1
    assert found[0].where in {f"run.{name}.same_data_as" for name in ring}
    assert all(name in found[0].says for name in ring)


def test_feeds_in_a_ring(folder):
    # Source: the design: a feed comes from a supply, or branches off another feed
    tap = 'taps = [{ run = "towpath", pixel = 1, length = 1.0 }]'
    text = GOOD + f'\n[feed.one]\nfrom = "two"\ntap = 1\n{tap}\n[feed.two]\nfrom = "one"\ntap = 1\n{tap}\n'
    assert any("ring" in finding.says and finding.where.startswith("feed.") for finding in everything(folder, text))


def test_two_boxes_with_one_address(folder):
    # Source: the design: address: that of the box
    text = GOOD + '\n[controller.lock]\naddress = "192.0.2.21"\nports = 4\n'
    one(everything(folder, text), "controller.lock.address", "192.0.2.21", "mill")


# --- names --------------------------------------------------------------------------------------------------------


def test_names_in_other_scripts(folder):
    # Source: the design: names start with a letter, then letters, digits, - and _; TOML 1.0.0: bare keys
    for name in ("дорожка", "垂柳", "ü-gate", "tow path", "1st", "-gate", "", "a.b", "a" * 61, "towpath\\n"):
        table = f'\n[run."{name}"]\npixel = "lamp"\npixels = 5\n'
        found = everything(folder, GOOD + table)
        shown = name.replace("\\n", "\n")
        assert one(found, f"run.{shown}", "name").line in (None, line_with(GOOD + table, f'[run."{name}"]'))


def test_bare_names_in_other_scripts(folder):
    # Source: TOML 1.0.0: bare keys hold only ASCII letters, digits, - and _
    text = GOOD + '\n[run.дорожка]\npixel = "lamp"\npixels = 5\n'
    (finding,) = everything(folder, text)
    assert f"line {line_with(text, '[run.дорожка]')}" in finding.says
    assert "letters" in finding.remedy


@pytest.mark.parametrize(
    ("line", "remedy"),
    [
        ("[run.Bögen]", "write Boegen everywhere"),
        ("[run.Bo\u0308gen]", "write Boegen everywhere"),
        ("[run.Élan-1]", "write Elan-1 everywhere"),
        ("[run.дорожка]", "choose another one, without quotes"),
        ("Bögen = 3", "write Boegen everywhere"),
        ("port = { Bögen = 1 }", "write Boegen everywhere"),
        ("title = Bögen", 'straight "quotes"'),
        ("title = “weir”", 'straight "quotes"'),
        ("level = 0,5 # Bögen", "a point, not a comma: 0.5"),
    ],
)
def test_a_name_with_other_letters_is_told_once_what_to_write(line, remedy):
    # Source: TOML 1.0.0: bare keys; DIN 5007-2, the spelling of umlauts with e. Quotes make no name of it
    with pytest.raises(PatcherError) as caught:
        parse(f"{GOOD}\n{line}\n")
    (finding,) = caught.value.findings
    assert remedy in finding.remedy
    quotes = "straight" in remedy
    assert ('in straight "quotes"' in finding.remedy) == quotes


@pytest.mark.parametrize(("name", "instead"), [("Bögen", "write Boegen everywhere"), ("垂柳", "rename it everywhere")])
def test_a_name_in_quotes_with_other_letters(folder, name, instead):
    # Source: DIN 5007-2, as above
    found = everything(folder, f'{GOOD}\n[run."{name}"]\npixel = "lamp"\npixels = 5\n')
    assert one(found, f"run.{name}", "name").remedy.startswith(instead)


def test_titles_may_be_in_any_script(folder):
    # Source: the design: only names are held to letters from a to z
    assert everything(folder, changed("Mill weir", "水车 ведьма 🎄")) == []


@pytest.mark.parametrize(
    ("old", "new", "where", "hint"),
    [
        ("frame_rate = 40", "framerate = 40", "show.framerate", "frame_rate"),
        ("lead = 2.5", "laed = 2.5", "run.towpath.laed", "lead"),
        ("gaps = [7]", "Gaps = [7]", "run.towpath.Gaps", "gaps"),
        ("consecutive = true", "consecutiv = true", "controller.mill.consecutiv", "consecutive"),
        ("min_volts = 10.0", "minvolts = 10.0", "pixel.lamp.minvolts", "min_volts"),
        ('box = "mill"', 'boxx = "mill"', "supply.mill-12v.boxx", "box"),
        ("awg = 14", "agw = 14", "feed.bank.agw", "awg"),
        ('turns = "serpentine"\n', 'turns = "serpentine"\ndatain = "top-left"\n', "prop.gate.datain", "data_in"),
        ("[supply.mill-12v]", "[suply.mill-12v]", "suply", "supply"),
        ('why = "booster', 'wy = "booster', "accept[1].wy", "why"),
        ('pixel = "last", length', 'pixl = "last", length', "feed.bank.taps[2].pixl", "pixel"),
    ],
)
def test_a_misspelt_key(folder, old, new, where, hint):
    # Source: the design: unknown keys are errors, with the nearest known key as the hint
    one(everything(folder, changed(old, new)), where, remedy=hint)


@pytest.mark.parametrize("key", ["rnus", "title", "pixels"])
def test_a_key_that_a_prop_of_runs_lacks(folder, key):
    # Source: the design: unknown keys are errors; [prop.gate] runs = […]
    text = GOOD + f'\n[prop.bank]\nruns = ["towpath"]\n{key} = 5\n'
    found = everything(folder, text)
    one(found, f"prop.bank.{key}", "not a known key", remedy="runs")
    assert not any(finding.where == "prop.bank.runs" for finding in found)


@pytest.mark.parametrize(("shape", "key", "lacks"), [("line", "line", "path"), ("loop", "loop", "corners")])
def test_a_key_called_like_the_shape(folder, shape, key, lacks):
    # Source: the design: the keys of each shape; messages name the place
    text = GOOD + f'\n[run.bank]\npixel = "lamp"\nshape = "{shape}"\n{key} = [[0, 0], [1, 1], [2, 0]]\npixels = 5\n'
    found = everything(folder, text)
    one(found, f"run.bank.{lacks}", "missing", remedy=lacks)
    one(found, f"run.bank.{key}", "not a known key")


@pytest.mark.parametrize(
    ("old", "new", "where", "hint"),
    [
        ('"gate-low"]', '"gate-lwo"]', "controller.mill.port.1[2]", "gate-low"),
        ('2 = ["willow"]', '2 = ["Willow"]', "controller.mill.port.2[1]", "willow"),
        ('same_data_as = "towpath"', 'same_data_as = "towpaht"', "run.towpath-back.same_data_as", "towpath"),
        ('box = "mill"', 'box = "mil"', "supply.mill-12v.box", "mill"),
        ('supply = "mill-12v"', 'supply = "mill-12"', "feed.bank.supply", "mill-12v"),
        ('{ run = "willow"', '{ run = "wilow"', "feed.bank.taps[2].run", "willow"),
        ('turns = "serpentine"', 'turns = "serpentin"', "prop.gate.turns", "serpentine"),
        ('shape = "line"', 'shape = "lien"', "run.towpath", "line"),
        ("frame_rate = 40", 'placement = "folow"', "show.placement", "follow"),
    ],
)
def test_a_misspelt_name(folder, old, new, where, hint):
    # Source: the design: messages say what to do
    one(everything(folder, changed(old, new)), where, remedy=hint)


def test_a_name_of_two_things(folder):
    # Source: found in use: names are unique within their kind, but where BOX/PORT would be RUN/PIXEL
    text = GOOD + '\n[run.mill]\npixel = "lamp"\npixels = 49\nsame_data_as = "towpath"\n'
    one([f for f in everything(folder, text) if f.rule == "same-name"], "run.mill", "box", remedy="rename")
    # a supply may be called like a run, and kinds of pixels like anything
    assert everything(folder, GOOD + "\n[supply.towpath]\nvolts = 5.0\namps = 3.0\n") == []
    assert everything(folder, GOOD.replace("[pixel.lamp]", "[pixel.mill]").replace('"lamp"', '"mill"')) == []


def test_a_key_of_another_shape(folder):
    # Source: the design: each shape has its keys
    one(everything(folder, changed("gaps = [7]", "columns = 7")), "run.towpath.columns", "line", remedy="grid")


# --- points files -------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("way", ["up", "up-and-down", "absolute", "absolute-inside", "symlink", "symlinked-folder"])
def test_a_points_file_outside_the_folder(tmp_path, way):
    # Source: the design: points: file = "willow.csv", beside the show; Common practice, no source: a show file
    # from a stranger reads no other file of yours
    folder, outside = tmp_path / "show", tmp_path / "outside"
    folder.mkdir()
    outside.mkdir()
    (outside / "willow.csv").write_text("x,y\n7.25,1\n")
    (folder / "willow.csv").write_text("x,y\n0,1\n")
    name = {
        "up": "../outside/willow.csv",
        "up-and-down": "below/../../outside/willow.csv",
        "absolute": str(outside / "willow.csv"),
        "absolute-inside": str(folder / "willow.csv"),
        "symlink": "link.csv",
        "symlinked-folder": "linked/willow.csv",
    }[way]
    (folder / "link.csv").symlink_to(outside / "willow.csv")
    (folder / "linked").symlink_to(outside, target_is_directory=True)
    found = everything(folder, changed("willow.csv", name))
    finding = one(found, "run.willow or run.willow.file", "not beside this show file")
    assert "7.25" not in finding.says


def test_a_points_file_below_the_folder_or_linked_within_it_is_read(folder):
    # Source: the design: points as the file lists them, columns x and y
    (folder / "points").mkdir()
    (folder / "willow.csv").rename(folder / "points" / "w.csv")
    assert everything(folder, changed("willow.csv", "points/w.csv")) == []
    (folder / "linked.csv").symlink_to(folder / "points" / "w.csv")
    assert everything(folder, changed("willow.csv", "linked.csv")) == []


@pytest.mark.parametrize(
    ("csv", "words"),
    [
        (None, ("willow.csv", "not found")),
        ("", ("no place",)),
        ("x,y\n", ("no place",)),
        ("0.5,1.0\n0.7,1.2\n", ("columns",)),
        ("x,y\n1,2\n3,east\n", ("row 2",)),
        ("x,y\n1,2\n3\n", ("row 2",)),
        ("x,y\n1,nan\n", ("nan",)),
        ("x,y\n1,inf\n", ("inf",)),
        ("x;y\n1;2\n", ("columns",)),
        ("x,y\n1,2\0\n", ("zero bytes",)),
        ("x,y\n" + '"' + "9" * 200_000 + '",1\n', ("willow.csv",)),
    ],
    ids=[
        "missing",
        "empty",
        "no-rows",
        "no-heading",
        "word",
        "short",
        "nan",
        "inf",
        "semicolons",
        "zero",
        "long-field",
    ],
)
def test_a_points_file_that_is_none(folder, csv, words):
    # Source: the design: points: columns x, y
    (folder / "willow.csv").unlink()
    if csv is not None:
        (folder / "willow.csv").write_text(csv)
    found = everything(folder, GOOD)
    one(found, "run.willow or run.willow.file", *words)
    assert len(found) == 1


def test_a_points_file_as_a_spreadsheet_writes_it(folder):
    # Common practice, no source: a byte order mark, CRLF, capitals, blanks and a column more
    (folder / "willow.csv").write_bytes(b"\xef\xbb\xbfname, X , Y\r\ntop, 1.5, 2\r\nlow, 3, 4\r\n")
    (folder / "weir.toml").write_text(GOOD)
    reading = read_show(folder / "weir.toml")
    assert reading.findings == ()
    assert reading.show is not None
    assert reading.show.runs["willow"].at == ((1.5, 2.0), (3.0, 4.0))


def test_a_points_file_that_is_a_folder(folder):
    # Source: the design: no traceback ever reaches a person
    for name in (".", "", "sub", "a" * 300 + ".csv", "nul\\u0000.csv", "weir.toml"):
        (folder / "sub").mkdir(exist_ok=True)
        found = everything(folder, changed("willow.csv", name))
        one(found, "run.willow or run.willow.file", "names the file")
        assert len(found) == 1


# --- everything at once -------------------------------------------------------------------------------------------

TEN = """\
[show]
title = "Ten mistakes"
framerate = 40  # 1 misspelt key

[pixel.lamp]
colour_order = "rgb"  # 2 small letters

[controller.mill]
address = "192.0.2.999"  # 3 no address
ports = 4

[controller.mill.port]
1 = ["towpaht"]  # 4 misspelt name
2 = ["bank"]

[run.towpath]
pixel = "lamp"
pixels = 0  # 5 no pixels

[run.bank]
pixel = "lampe"  # 6 misspelt name of a pixel
pixels = "50"  # 7 a number in quotes

[supply.mill-12v]
volts = nan  # 8 not a number
amps = true  # 9 true for a number

[feed.bank-feed]
supply = "mill-24v"  # 10 no such supply
awg = 14
taps = [{ run = "bank", pixel = 1, length = 4.0 }]
"""


def test_ten_mistakes_are_told_in_one_go_each_with_its_line(folder):
    # Source: the design: check: every problem at once; messages name the place
    found = everything(folder, TEN)
    wanted = {
        "show.framerate": "framerate",
        "pixel.lamp.colour_order": "colour_order",
        "controller.mill.address": "address",
        "controller.mill.port.1[1]": "1 = [",
        "run.towpath.pixels": "pixels = 0",
        "run.bank.pixel": 'pixel = "lampe"',
        "run.bank.pixels": 'pixels = "50"',
        "supply.mill-12v.volts": "volts = nan",
        "supply.mill-12v.amps": "amps = true",
        "feed.bank-feed.supply": 'supply = "mill-24v"',
    }
    assert {finding.where: finding.line for finding in found} == {
        where: line_with(TEN, part) for where, part in wanted.items()
    }
    assert len(found) == 10
    marked = {number for number, line in enumerate(TEN.splitlines(), start=1) if "  # " in line}
    assert {finding.line for finding in found} == marked


def test_lines_are_right_behind_a_list_on_several_lines(folder):
    # Source: the design: messages name the place; a list of points is often written one a line
    text = changed(
        "path = [[0.0, 0.0], [4.0, 0.0]]\npixels = 50", "path = [\n  [0.0, 0.0],\n  [4.0, 0.0]\n]\npixels = 0"
    )
    assert one(everything(folder, text), "run.towpath.pixels").line == line_with(text, "pixels = 0")


def test_a_key_in_a_comment_or_a_text_is_not_the_place(folder):
    # Source: the design: messages name the place; a wrong line would be worse than none
    text = changed('title = "Mill weir"', 'title = """\n[run.towpath]\npixels = 0\n"""')
    text = changed("pixels = 50", "# pixels = 0\npixels = -1", text)
    line = one(everything(folder, text), "run.towpath.pixels").line
    assert line in (None, line_with(text, "[run.towpath]\npixel ="), line_with(text, "pixels = -1"))


# --- no silent default where two answers are plausible ---------------------------------------------------------------


@pytest.mark.parametrize(
    ("old", "where", "choices"),
    [
        ('of = "gate"\nband = [1, 2]\ndata_in = "bottom-left"\n', "run.gate-low.data_in", "top-right"),
        ('lines = "rows"\nturns = "serpentine"\ndata_in = "bottom-left"\n', "prop.gate.data_in", "top-right"),
        ('lines = "rows"\nturns = "serpentine"\n', "prop.gate.turns", "same-way"),
        ('lines = "rows"\n', "prop.gate.lines", "columns"),
        ('colour_order = "RGB"\n', "pixel.lamp.colour_order", "GRB"),
    ],
)
def test_what_has_two_plausible_answers_must_be_said(folder, old, where, choices):
    # Source: people of the trade stumbled over a band that silently took another corner than its prop
    kept = "\n".join(line for line in old.splitlines()[:-1]) + "\n" * (old.count("\n") > 1)
    finding = one(everything(folder, changed(old, kept)), where, "missing")
    assert choices in finding.remedy
