"""Edits keep the person's text: every comment in its order, every other line as it was. And the command around them."""

import json
import re
import tomllib
from pathlib import Path

import pytest
import tomli_w
from hypothesis import given

from patcher.show.parser import read
from patcher.show.schema import Show
from patcher.show.text_edits import edited
from patcher.swaps.box_swap import BoxSwap
from patcher.swaps.supply_swap import swap_supply
from patcher.wiring import problems, wire
from rig.comments import MARK, commented, picked
from rig.examples import examples
from rig.shipped import Patcher, wired
from rig.swap_shows import a_swap, fed, yards


def lines_elsewhere(text: str, tables: set[str]) -> list[str]:
    """The lines of all tables but these, each under a heading of its own; comments and blank lines left out."""
    found, heading = [], ""
    for line in text.split("\n"):
        if line.startswith("["):
            heading = ".".join(line.split("]")[0].strip("[]").split(".")[:2])
        if line.strip() and not line.startswith("#") and heading not in tables:
            found.append(line)
    return found


def settings_of(show: Show) -> dict[str, dict]:
    """The boxes but for where they stand, which a file in feet gives with other roundings."""
    return {name: box.model_dump(exclude={"at"}) for name, box in show.controllers.items()}


@examples(12, 60)
@given(yards(), picked)
def test_a_swapped_box_leaves_the_text_as_the_person_has_it(tables: dict, picks: list[int]) -> None:
    wiring, _, found = a_swap(tables)
    if not isinstance(found, BoxSwap):
        return
    text = commented(tomli_w.dumps(tables), picks)
    new = edited(text, wiring.show, found.show, "gone")
    assert MARK.findall(new) == MARK.findall(text)
    reading = read(new)
    assert reading.findings == ()
    assert problems(wire(reading.show)) == []
    assert settings_of(reading.show) == settings_of(found.show)
    for name, run in found.show.runs.items():
        assert reading.show.runs[name].lead == pytest.approx(run.lead)
        assert reading.show.runs[name].power_joined == run.power_joined
    touched = {"controller.dead", "controller.spare", "supply.five", *(f"run.{cable.run}" for cable in found.cables)}
    assert lines_elsewhere(new, touched) == lines_elsewhere(text, touched)
    gone = [line for line in lines_elsewhere(text, set()) if line not in lines_elsewhere(text, {"controller.dead"})]
    assert all(f"# {line}" in new.split("\n") for line in gone)


@examples(8, 40)
@given(fed(), picked)
def test_a_swapped_supply_leaves_the_text_as_the_person_has_it(tables: dict, picks: list[int]) -> None:
    wiring = wired(tables)
    found = swap_supply(wiring, "old", "new")
    text = commented(tomli_w.dumps(tables), picks)
    new = edited(text, wiring.show, found.show, "gone")
    assert MARK.findall(new) == MARK.findall(text)
    reading = read(new)
    assert reading.findings == ()
    assert reading.show == found.show
    touched = {"supply.old", "supply.new", "controller.dead", *(f"feed.{feed.name}" for feed in found.feeds)}
    assert lines_elsewhere(new, touched) == lines_elsewhere(text, touched)


ODD = """\
# a show in feet, written oddly
show = {title = "Odd", units = "ft"}

[pixel.lamp]   # cheap ones
colour_order = "RGB"

[controller.old] # it died
address = "192.0.2.1"
ports = 2 # both work
at = [10.0, 0.5]
port = { 1 = ["a"], 2 = ["b", # behind the tree
] }
# and this is all of it

# the shelf

[run.a]
pixel = "lamp"
shape = "line"
path = [[0.0, 0.0], [10.0, 0.0]]
pixels = 20

[controller.new]
spare = true # on the shelf
address = "192.0.2.8" # from the factory
ports = 1
[controller.new.port] # empty
1 = [] # yet
# the last words of it

[run.b]
pixel = "lamp"
shape = "line"
path = [[13.0, 4.0], [20.0, 0.0]]
lead = 1.5 # feet
pixels = 20
"""


SWAPPED = """\
# a show in feet, written oddly
show = {title = "Odd", units = "ft"}

[pixel.lamp]   # cheap ones
colour_order = "RGB"

# Dead: new has taken its place. Once repaired, uncomment it with spare = true, without address, runs and starts.
# [controller.old] # it died
# address = "192.0.2.1"
# ports = 2 # both work
# at = [10.0, 0.5]
# port = { 1 = ["a"], 2 = ["b", # behind the tree
# ] }
# and this is all of it

# the shelf

[run.a]
pixel = "lamp"
shape = "line"
path = [[0.0, 0.0], [10.0, 0.0]]
pixels = 20

[controller.new]
# on the shelf
address = "192.0.2.1" # from the factory
ports = 1
at = [10.0, 0.5]
[controller.new.port] # empty
1 = ["a", "b"] # yet
# the last words of it

[run.b]
pixel = "lamp"
shape = "line"
path = [[13.0, 4.0], [20.0, 0.0]]
lead = 5.0 # feet
pixels = 20
power_joined = false
"""


def test_odd_forms_and_feet(tmp_path: Path, here: Patcher) -> None:
    (tmp_path / "odd.toml").write_text(ODD)
    ran = here("swap", "odd.toml", "old", "new", "--write")
    assert ran.returncode == 0, ran.stderr
    assert "5.0 ft in a straight line (add slack), from the data-out of a" in " ".join(ran.stdout.split())
    assert (tmp_path / "odd.toml").read_text() == SWAPPED


def test_a_table_without_a_heading_of_its_own_is_not_touched(tmp_path: Path, here: Patcher) -> None:
    text = ODD.replace("[controller.old] # it died\n", "[controller]\nold.ports = 2\n")
    text = re.sub(
        r'address = "192.0.2.1"\nports = 2 # both work\nat = .*\nport = ',
        'old.address = "192.0.2.1"\nold.port = ',
        text,
    )
    (tmp_path / "odd.toml").write_text(text)
    ran = here("swap", "odd.toml", "old", "new", "--write")
    assert ran.returncode == 2
    assert "Traceback" not in ran.stderr
    assert "[controller.old]" in ran.stderr
    assert (tmp_path / "odd.toml").read_text() == text
    assert not (tmp_path / "odd.patch.toml").exists()


# --- the command --------------------------------------------------------------------------------------------------


def findings_of(ran) -> list[tuple[str, str]]:
    return [(finding["rule"], finding["where"]) for finding in json.loads(ran.stdout)["findings"]]


@pytest.mark.parametrize(
    ("dead", "spare"),
    [(box, "shelf") for box in ("lockhouse", "gatepost", "weirside", "mooring")] + [("footbridge-12v", "shelf-12v")],
)
def test_the_shipped_show_is_as_sound_after_a_swap(heron_lock: Path, here: Patcher, dead: str, spare: str) -> None:
    here("patch", heron_lock)
    before = findings_of(here("check", heron_lock, "--json"))
    text = heron_lock.read_text()
    looked = here("swap", heron_lock, dead, spare)
    assert looked.returncode == 0
    assert heron_lock.read_text() == text
    steps = re.findall(r"^(\d+)\.  (.*)", looked.stdout, re.MULTILINE)
    assert [int(number) for number, _ in steps] == list(range(1, len(steps) + 1))
    assert steps[0][1].startswith("Mains off")
    written = here("swap", heron_lock, dead, spare, "--write")
    assert written.returncode == 0, written.stderr
    assert findings_of(here("check", heron_lock, "--json")) == before
    tables = tomllib.loads(heron_lock.read_text())
    assert dead not in tables["controller"] | tables["supply"]
    assert "spare" not in (tables["controller"] | tables["supply"])[spare]
    again = here("swap", heron_lock, dead, spare)
    assert again.returncode == 2
    assert [line for line in text.split("\n") if line.startswith("#")] == [
        line for line in heron_lock.read_text().split("\n") if line.startswith("# ─") or line in text.split("\n")[:2]
    ]


def test_the_document_of_a_box(heron_lock: Path, here: Patcher) -> None:
    here("patch", heron_lock)
    said = json.loads(here("swap", heron_lock, "weirside", "shelf", "--json").stdout)
    assert said["moved_runs"] == [
        {"run": "footbridge-arch", "from": "9/1", "to": "24/1"},
        {"run": "footbridge-rail", "from": "10/1", "to": "24/325"},
    ]
    assert said["ports"] == [{"port": 1, "runs": ["weir"]}, {"port": 2, "runs": ["footbridge-arch", "footbridge-rail"]}]
    assert [(s["port"], s["universe"], s["channel"], s["pixels"]) for s in said["starts"]] == [
        (1, 20, 1, 480),
        (2, 24, 1, 166),
    ]
    assert (said["possible"], said["cables"], said["wrote"]) == (True, [], [])


def test_the_document_of_a_supply(heron_lock: Path, here: Patcher) -> None:
    heron_lock.write_text(heron_lock.read_text().replace("amps = 29.0\nspare", "amps = 7.5\nspare"))
    ran = here("swap", heron_lock, "footbridge-12v", "shelf-12v", "--json", "--write")
    said = json.loads(ran.stdout)
    assert ran.returncode == 1
    # By hand: 240 weir pixels of 4 × 10 mA and 1 mA; 108 + 58 + 58 of 3 × 9 mA and 0.8 mA; 0.3 A of the box; at 0.4.
    # Those of the weir are regulated: as volts sag below 12 V they draw some more, which the solved circuit says.
    least = 240 * (0.016 + 0.001) + 224 * (0.0108 + 0.0008) + 0.3
    assert least < said["amps_at_level"] < least + 240 * 0.017 * (12 / 11.5 - 1)
    supplies = json.loads(here("power", heron_lock, "--json").stdout)["supplies"]
    [load] = [load for load in supplies if load["supply"] == "footbridge-12v"]
    assert said["amps_at_level"] == pytest.approx(load["amps_at_level"], abs=1e-4)
    assert (said["amps"], said["most_amps"], said["possible"], said["wrote"]) == (7.5, 6.0, False, [])
    assert said["fitting"] == ["weir-lower-wire"]
    assert said["max_level"] == pytest.approx((6.0 - 0.3 - 0.24 - 0.1792) / (9.6 + 6.048), abs=0.015)
    words = here("swap", heron_lock, "footbridge-12v", "shelf-12v").stdout
    assert "That is 1.0 A short" in words
    assert "level 0.33 at most" in words


@pytest.mark.parametrize(
    ("dead", "spare", "words"),
    [
        ("weirsid", "shelf", "did you mean “weirside”?"),
        ("weirside", "shelf-12v", "is a supply, and weirside is a box"),
        ("footbridge-12v", "shelf", "is a box, and footbridge-12v is a supply"),
        ("willow", "shelf", "is a run"),
        ("weirside", "mooring", "is in use: towpath, willow, narrowboat, hedge hang on it"),
        ("shelf", "shelf", "as the dead one and as its spare"),
        ("narrowboat-5v", "shelf-12v", "gives 12 V, but the pixels on narrowboat-5v want 5 V"),
        ("footbridge-12v", "weir-12v", "is in use: weir-upper-wire hangs on it"),
    ],
)
def test_what_is_no_swap_is_refused(heron_lock: Path, here: Patcher, dead: str, spare: str, words: str) -> None:
    ran = here("swap", heron_lock, dead, spare, "--write")
    assert ran.returncode == 2
    assert words in ran.stderr
    assert not heron_lock.with_name("heron-lock.patch.toml").exists()


def test_a_patch_file_that_cannot_be_written_leaves_the_show_file_as_it_was(heron_lock: Path, here: Patcher) -> None:
    text = heron_lock.read_text()
    assert here("patch", heron_lock).returncode == 0
    kept = heron_lock.with_name("heron-lock.patch.toml")
    kept.chmod(0o444)
    ran = here("swap", heron_lock, "mooring", "shelf", "--write")
    assert ran.returncode == 2
    assert "is read-only" in ran.stderr
    assert heron_lock.read_text() == text


def test_cables_are_said_with_their_ends(heron_lock: Path, here: Patcher) -> None:
    text = heron_lock.read_text()
    heron_lock.write_text(text.replace("spare = true\nports = 4", "spare = true\nports = 1"))
    ran = here("swap", heron_lock, "lockhouse", "shelf")
    words = " ".join(ran.stdout.split())
    # From the eaves' end (-0.3, 2.45) to the left window's first corner (0.9, 0.8): √(1.2² + 1.65²) = 2.04 m.
    assert "2.1 m in a straight line (add slack), from the data-out of eaves, its last pixel, to the data-in" in words
    assert "to the data-in of window-left" in words
    assert "V+ is not joined" in words
    assert ran.returncode == 0


def test_line_ends_stay_as_they_are(heron_lock: Path, here: Patcher) -> None:
    # Source: TOML 1.0, Spec: a newline is LF or CRLF; an editor that writes one wants no mixture.
    text = heron_lock.read_text(encoding="utf-8")
    assert here("patch", heron_lock).returncode == 0
    assert here("swap", heron_lock, "gatepost", "shelf", "--write").returncode == 0
    plain = heron_lock.read_bytes()
    heron_lock.write_bytes(text.replace("\n", "\r\n").encode())
    assert here("patch", heron_lock, "--fresh").returncode == 0
    ran = here("swap", heron_lock, "gatepost", "shelf", "--write")
    assert ran.returncode == 0, ran.stderr
    assert heron_lock.read_bytes() == plain.replace(b"\n", b"\r\n")
