"""`power` as a person and a script run it: tables, JSON, exit codes, drawings, and what it writes."""

import json
import re
import tomllib
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest
import tomli_w

from patcher.errors import first_few
from patcher.power.wires import BLADES
from rig.examples import later
from rig.feed_lines import AT_BOX, BOX, UNFED, line
from rig.power_show import fed, show, tap
from rig.shipped import Patcher

NUMBER = (int, float)


def save(path: Path, tables: dict, name: str = "show.toml") -> Path:
    file = path / name
    file.write_text("# by hand\n" + tomli_w.dumps(tables) + "# the end\n")
    return file


@pytest.fixture
def dark(tmp_path: Path) -> Path:
    """A show with a supply and no feed."""
    return save(tmp_path, UNFED)


def whole(document: object) -> list[object]:
    if isinstance(document, dict):
        return [leaf for value in document.values() for leaf in whole(value)]
    return [leaf for value in document for leaf in whole(value)] if isinstance(document, list) else [document]


def of_json(words: str) -> dict:
    def refuse(constant: str) -> None:
        raise AssertionError(f"{constant} is no JSON")

    return json.loads(words, parse_constant=refuse)


def held(document: dict) -> None:
    """The keys that `patcher help json` promises, with their types."""
    for supply in document["supplies"]:
        assert isinstance(supply["supply"], str)
        assert all(isinstance(supply[key], NUMBER) for key in ("volts", "amps"))
        known = ("full_white_amps", "amps_at_level", "dark_amps", "max_level")
        assert all(supply[key] is None or isinstance(supply[key], NUMBER) for key in known)
    for run in document["runs"]:
        assert isinstance(run["at_pixel"], int)
        assert run["holds"] in (True, False, None)
        assert {"run", "lowest_volts", "min_volts", "volts"} <= run.keys()
    for feed in document["feeds"]:
        assert {"feed", "supply", "amps", "fuse", "awg"} <= feed.keys()
        assert all({"run", "pixel", "metres", "amps"} <= joint.keys() for joint in feed["taps"])


def test_the_shipped_show_in_words_and_as_json(here: Patcher, heron_lock: Path) -> None:
    said = here("power", heron_lock)
    assert said.returncode == 0
    raw = tomllib.loads(heron_lock.read_text())
    assert all(name in said.stdout for table in ("feed", "run") for name in raw[table])
    assert "shelf-12v" not in said.stdout
    document = of_json(here("power", heron_lock, "--json").stdout)
    held(document)
    assert [run["run"] for run in document["runs"]] == list(raw["run"])
    assert [feed["feed"] for feed in document["feeds"]] == list(raw["feed"])
    assert document["findings"] == []
    for run in document["runs"]:
        assert min(run["volts"]) == run["lowest_volts"] == run["volts"][run["at_pixel"] - 1]


@pytest.mark.long
def test_a_fuse_has_one_word_wherever_it_is_named(here: Patcher, heron_lock: Path, dark: Path) -> None:
    # Source: found by a reader, to whom "fuse", "blade fuse", "next_blade" and "a fuse at a tap" were four things.
    # Each feed's column is held against the rule: the least blade of ISO 8820-3 that is loaded to 80 % and is no more
    # than the thinnest wire of the feed and of its branches without a fuse may carry.
    said = here("power", heron_lock).stdout
    document = of_json(here("power", heron_lock, "--json").stdout)
    least = {feed["feed"]: feed["next_blade"] for feed in document["feeds"]}
    bears = {feed["feed"]: feed["bears"] for feed in document["feeds"]}
    branched = {
        feed["from"]: name for name, feed in tomllib.loads(heron_lock.read_text())["feed"].items() if "from" in feed
    }
    head = next(line for line in said.splitlines() if line.startswith("feed "))
    assert re.findall(r"  (\S+(?: \S+)*)", head)[-3:] == ["fuse", "smallest fuse", "taps"]
    for feed in (feed for feed in document["feeds"] if feed["fuse"] is not None):
        row = re.split(r"   +", next(line for line in said.splitlines() if line.startswith(f"{feed['feed']} ")))
        protects = min(bears[feed["feed"]], bears.get(branched.get(feed["feed"]), 999))
        size = next(size for size in BLADES if feed["amps"] <= 0.8 * size + 1e-9 and size <= protects)
        assert least[feed["feed"]] == size
        assert row[-3:-1] == [f"{feed['fuse']:g} A", f"{size:g} A"]
    planned = here("power", dark, "--plan").stdout
    assert "   smallest fuse   tap" in planned.splitlines()[0]
    for text in (said, planned, here("help", "power").stdout):
        words = re.sub(r"\s+|:", " ", text).lower()
        assert "smallest fuse the smallest blade fuse that holds" in re.sub(" +", " ", words)
        assert "tap fuse" in words or text is planned
    assert here("sheet", heron_lock, "--out", dark.parent / "out").returncode == 0
    out = dark.parent / "out"
    sheets = of_json((out / "sheets.json").read_text())
    assert {feed["feed"] for feed in sheets["feeds"] if feed["smallest_fuse"]} == {
        feed["feed"] for feed in document["feeds"] if feed["fuse"] is not None
    }
    page = (out / "sheets.html").read_text()
    assert '<th scope="col" class="number">tap fuse</th>' in page
    assert '<th scope="col" class="number">fuse</th>' not in page
    assert "tap fuse 1 A, with holder" in page
    assert ", tap fuse 1 A" in page
    assert "tap_fuse" in (out / "tables" / "taps.csv").read_text().splitlines()[0].split(",")
    assert "at a tap" not in page


def test_what_is_not_known_is_null(here: Patcher, tmp_path: Path) -> None:
    tables = show({"a": line(9), "b": line(9) | {"power_joined": False}}, {"f": {"supply": "s", "taps": [tap("a")]}})
    said = here("power", save(tmp_path, tables), "--json")
    assert said.returncode == 1
    document = of_json(said.stdout)
    held(document)
    # By hand: 9 pixels of 3 × 20 mA and 1 mA, whatever the wires; what those lose is not known.
    assert document["supplies"][0]["amps_at_level"] == pytest.approx(9 * 0.061)
    assert document["feeds"][0]["amps"] is document["feeds"][0]["taps"][0]["amps"] is None
    assert {run["lowest_volts"] for run in document["runs"]} == {None}
    assert {finding["rule"] for finding in document["findings"]} == {"unfed", "not-said", "no-fuse"}
    words = here("power", save(tmp_path, tables)).stdout
    assert "nan" not in words
    assert words.count("not known") >= 4


@pytest.mark.parametrize(("tables", "code"), [
    (show({"a": line(9)}, {"f": fed(tap("a"))}), 0),
    (show({"a": line(9)}, {}), 1),
    (show({"a": line(200)}, {"f": fed(tap("a"))}), 1),
    (show({"a": line(9)}, {}, supplies={}), 0),
])  # fmt: skip
def test_exit_1_means_that_something_does_not_hold(here: Patcher, tmp_path: Path, tables: dict, code: int) -> None:
    assert here("power", save(tmp_path, tables)).returncode == code


def test_level_and_celsius_are_asked_for(here: Patcher, tmp_path: Path) -> None:
    file = save(tmp_path, show({"a": line(150)}, {"f": fed(tap("a", 75), fuse=10)}, level=0.5))
    volts = {
        words: of_json(here("power", file, "--json", *words).stdout)["runs"][0]["lowest_volts"]
        for words in [(), ("--level", "0.1"), ("--celsius", "60")]
    }
    assert volts["--level", "0.1"] > volts[()] > volts["--celsius", "60"]
    for words in (("--level", "1.5"), ("--celsius", "nan"), ("--level", "x"), ("--celsius", "500")):
        said = here("power", file, *words)
        assert said.returncode == 2
        assert words[0] in said.stderr


def test_a_run_or_a_prop_is_plotted_and_another_name_refused(here: Patcher, heron_lock: Path) -> None:
    assert here("power", heron_lock, "gable").stdout.startswith("gable\n")
    assert all(name in here("power", heron_lock, "cottage").stdout for name in ("gable", "eaves", "window-left"))
    said = here("power", heron_lock, "gabel")
    assert said.returncode == 2
    assert "gable" in said.stderr


def test_a_plot_takes_forty_columns_where_the_terminal_has_fewer(
    here: Patcher, heron_lock: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # Source: found in use: a terminal of 30 columns was told of a bug
    monkeypatch.setenv("COLUMNS", "30")
    ran = here("power", heron_lock, "gable")
    assert (ran.returncode, ran.stderr) == (0, "")
    assert max(map(len, ran.stdout.splitlines())) <= 40


def test_the_drawing_is_sound_xml(here: Patcher, heron_lock: Path) -> None:
    assert here("power", heron_lock, "cottage", "--svg", "out.svg").returncode == 0
    root = ET.fromstring(heron_lock.with_name("out.svg").read_text())
    assert root.tag == "{http://www.w3.org/2000/svg}svg"
    said = here("power", heron_lock, "--svg", "none/out.svg")
    assert said.returncode == 2
    assert "could not be written" in said.stderr


def test_a_plan_is_shown_written_and_then_wanted_no_more(here: Patcher, dark: Path) -> None:
    text = dark.read_text()
    said = here("power", dark, "--plan")
    assert said.returncode == 0
    assert "Nothing was written" in said.stdout
    assert "Switch the mains off" in said.stdout
    assert dark.read_text() == text
    document = of_json(here("power", dark, "--plan", "--json").stdout)
    held(document)
    [rail] = document["rails"]
    assert rail["proved"] == (rail["taps"] == rail["lower_bound"])
    assert rail["parts"] == [{"run": "a", "first_pixel": 1, "last_pixel": 80}]
    assert document["open"] == []
    assert document["level_without"] is None
    planned = sum(joint["metres"] for feed in document["feeds"] for joint in feed["taps"])
    assert sum(document["wire_metres"].values()) == pytest.approx(planned)
    assert here("power", dark, "--plan", "--write").returncode == 0
    new = dark.read_text()
    assert new.startswith(text)
    assert set(tomllib.loads(new)["feed"]) == {feed["feed"] for feed in document["feeds"]}
    assert here("power", dark).returncode == 0
    again = here("power", dark, "--plan", "--write")
    assert (again.returncode, dark.read_text()) == (0, new)
    assert "no extra feed is needed" in again.stdout


@pytest.mark.parametrize(
    ("option", "words", "percent"),
    [("15", "with 15 % slack", 15), *later(("40", "with 40 % slack", 40), ("0", "without slack", 0))],
)
def test_a_planned_length_says_the_slack_that_is_in_it(
    here: Patcher, dark: Path, option: str, words: str, percent: float
) -> None:
    # Source: found by a reader, who took "length" for what he would measure, and added slack of his own to it
    said = here("power", dark, "--plan", "--slack", option)
    assert f"length, {words}   carries" in said.stdout.splitlines()[0]
    assert f"Wire to buy, {words}: " in said.stdout
    document = of_json(here("power", dark, "--plan", "--slack", option, "--json").stdout)
    assert document["slack"] == percent
    assert here("power", dark, "--plan", "--slack", option, "--write").returncode == 0
    assert f"lengths are straight lines, {words}." in dark.read_text()


def test_a_file_of_feet_is_spoken_of_in_feet(here: Patcher, tmp_path: Path) -> None:
    tables = show({"a": line(80)}, {}, supplies=AT_BOX, box=BOX, units="ft")
    assert " ft of AWG" in here("power", save(tmp_path, tables), "--plan").stdout


def test_no_plan_is_exit_1_and_nothing_is_written(here: Patcher, tmp_path: Path) -> None:
    file = save(tmp_path, show({"a": line(150)}, {}, supplies={"s": {"volts": 5.0, "amps": 9.0}}, box=BOX))
    text = file.read_text()
    said = here("power", file, "--plan", "--write")
    assert (said.returncode, file.read_text()) == (1, text)
    assert "no supply of 12 V" in said.stdout
    document = of_json(here("power", file, "--plan", "--json").stdout)
    assert [finding["rule"] for finding in document["open"]] == ["no-plan"]


def test_what_the_plan_does_not_mend_is_said(here: Patcher, tmp_path: Path) -> None:
    supplies = {"s": {"volts": 12.0, "amps": 6.0, "box": "box"}}
    said = here("power", save(tmp_path, show({"a": line(100)}, {"f": fed(tap("a", 50))}, supplies=supplies)), "--plan")
    assert said.returncode == 1
    assert "[overload]" in said.stdout


@pytest.mark.parametrize("words", [
    ("--write",), ("--plan", "a"), ("--plan", "--svg", "x.svg"), ("--plan", "--wire", "eighteen"),
    ("--plan", "--wire", ""), ("--plan", "--wire", "0mm2"), ("--plan", "--wire", "41"), ("--plan", "--slack", "-1"),
])  # fmt: skip
def test_what_cannot_be_meant_is_refused_in_words(here: Patcher, dark: Path, words: tuple[str, ...]) -> None:
    text = dark.read_text()
    said = here("power", dark, *words)
    assert (said.returncode, said.stdout, dark.read_text()) == (2, "", text)
    assert words[-2 if words[-1].startswith(("e", "0", "4", "-1")) or not words[-1] else 0] in said.stderr


def test_the_wires_named_are_the_wires_planned(here: Patcher, dark: Path) -> None:
    document = of_json(here("power", dark, "--plan", "--json", "--wire", "2.5mm2, 1.5mm2").stdout)
    assert {feed["mm2"] for feed in document["feeds"]} <= {1.5, 2.5}
    assert {feed["awg"] for feed in document["feeds"]} == {None}


def test_feeds_in_a_form_that_nothing_can_follow_are_left_alone(here: Patcher, tmp_path: Path) -> None:
    tables = show({"a": line(150)}, {}, supplies=AT_BOX, box=BOX)
    del tables["feed"]
    file = tmp_path / "show.toml"
    inline = 'feed = { f = { supply = "s", awg = 12, fuse = 20, taps = [{ run = "a", pixel = 1, length = 1.0 }] } }\n'
    file.write_text(inline + tomli_w.dumps(tables))
    said = here("power", file, "--plan", "--write")
    assert said.returncode == 2
    assert "[feed.NAME]" in said.stderr
    assert file.read_text().startswith(inline)
    assert "Planned by" not in file.read_text()


def test_a_run_that_no_feed_reaches_or_that_is_beyond_help_can_be_drawn(here: Patcher, tmp_path: Path) -> None:
    # Source: the design: no traceback ever reaches a person; a plot of a show with mistakes is when one looks.
    unfed = save(tmp_path, show({"a": line(150)}, {}, supplies=AT_BOX, box=BOX))
    ran = here("power", unfed, "a")
    assert ran.returncode == 1
    assert "not fed" in ran.stdout
    drowned = save(tmp_path, show({"a": line(4000)}, {"f": fed(tap("a"))}), "drowned.toml")
    assert json.loads(here("power", drowned, "--json").stdout)["runs"][0]["lowest_volts"] < 0
    for words in (("power", drowned, "a"), ("power", drowned, "--svg", tmp_path / "a.svg")):
        assert here(*words).returncode == 1
    assert ET.parse(tmp_path / "a.svg").getroot().tag.endswith("svg")


def test_the_level_of_all_and_what_ends_it_are_said(here: Patcher, tmp_path: Path) -> None:
    file = save(tmp_path, show(
        {"a": line(150)}, {"f": fed(tap("a"))}, kinds={"lamp": {"awg": 14, "min_volts": 11.0}}, level=0.3
    ))  # fmt: skip
    words = here("power", file).stdout
    document = of_json(here("power", file, "--json").stdout)
    level = document["holds_up_to"]
    assert 0.3 < level < 1.0
    assert [(end["where"], end["rule"]) for end in document["limited_by"]] == [("run.a", "low-volts")]
    assert f"Everything that is fed is OK up to level {level:g}" in words
    assert f"At {level + 0.01:g}:" in words
    assert document["limited_by"][0]["says"] in words
    # By the program itself, asked at that level and a hundredth above.
    assert here("power", file, "--level", level).returncode == 0
    assert here("power", file, "--level", level + 0.01).returncode == 1


def test_of_a_show_without_supplies_no_level_is_said(here: Patcher, tmp_path: Path) -> None:
    file = save(tmp_path, show({"a": line(9)}, {}, supplies={}))
    assert "OK up to" not in here("power", file).stdout
    document = of_json(here("power", file, "--json").stdout)
    assert (document["holds_up_to"], document["limited_by"]) == (None, [])


def test_two_feeds_at_one_pixel_and_a_run_that_moved_are_planned(here: Patcher, tmp_path: Path) -> None:
    # Source: found in use: a traceback each.
    feeds = {name: fed(tap("a", 1, 9.0), awg=24, fuse=2) for name in ("f", "g")}
    said = here("power", save(tmp_path, show({"a": line(150)}, feeds, supplies=AT_BOX, box=BOX)), "--plan")
    assert "new tap" in said.stdout
    assert said.returncode == 0


def test_a_fuse_too_large_for_its_wire_is_named_beside_the_level_of_all(here: Patcher, tmp_path: Path) -> None:
    # Source: found by a reader: a thin feed with a fuse of 100 A, and above the error "OK …: volts, wires and fuses"
    named = "; not counted, for it is a hazard at any level: a fuse too large for its wire (feed.f)"
    for fuse, hazard in ((100.0, True), (5.0, False)):
        feeds = {"f": fed(tap("a")) | {"awg": 18, "fuse": fuse}}
        words = here("power", save(tmp_path, show({"a": line(150)}, feeds, level=0.1))).stdout
        assert (named in words) == hazard == ("the wire would burn first" in words), words


# --- fuses of taps ----------------------------------------------------------------------------------------------------


@pytest.mark.parametrize("feeds", [1, 4, 9])
def test_every_feed_whose_taps_need_fuses_is_named_and_check_counts_the_taps(
    feeds: int, here: Patcher, tmp_path: Path
) -> None:
    # Source: README, Safety; in a matter of fire nobody may be left out. From memory: AWG 18 carries 7 A, and 20 > 7.
    names = [f"wire-{number}" for number in range(feeds)]
    runs = {name.replace("wire", "run"): line(10) | {"power_joined": False} for name in names}
    file = tmp_path / "show.toml"
    file.write_text(tomli_w.dumps(show(runs, {name: fed(tap(name.replace("wire", "run"))) for name in names})))
    (said,) = (row for row in here("power", file).stdout.splitlines() if "less than these feeds let through" in row)
    assert said.split("through: ")[1].rstrip(".").split(", ") == names
    checked = here("check", file).stdout
    assert f"Fuses to be fitted: {feeds} at {'taps' if feeds > 1 else 'a tap'}: " in checked
    assert json.loads(here("check", file, "--json").stdout)["tap_fuses"] == feeds
    file.write_text(file.read_text().replace("fuse = 20", "fuse = 5"))
    assert "Fuses:" not in here("check", file).stdout


@pytest.mark.parametrize("count", range(9))
@pytest.mark.parametrize("most", [1, 3])
def test_a_list_that_is_cut_short_leaves_out_more_than_one(count: int, most: int) -> None:
    # Source: by hand: "and 1 more" takes as much room as the name
    names = [f"n{number}" for number in range(count)]
    said = first_few(names, most)
    shown, _, rest = said.partition(" and ")
    left_out = int(rest.split()[0]) if rest else 0
    assert shown == ", ".join(names[: count - left_out])
    assert left_out != 1
    assert len(names) - left_out <= most + 1
