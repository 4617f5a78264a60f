"""What is set in a box besides its start addresses: `diff`, `patch` and `todo` say when it has changed."""

import json
import re
import tomllib
from pathlib import Path

import pytest
import tomli_w

from patcher.patch.patch_file import entered_path
from patcher.phone.content import Content
from patcher.phone.state import Act
from patcher.phone.ticks import left, tick
from patcher.placement.allocation import allocate
from rig.shipped import Patcher, wired


def tables(nulls: int = 1, colours: str = "GRB", pixels: int = 60, per: str = "port", **house: object) -> dict:
    """A house of two ports and a shed; what is said of the porch, on the house's port 2, and of the house."""
    return {
        "show": {"title": "House by the weir"},
        "pixel": {"bulb": {"colour_order": colours}, "plain": {"colour_order": "RGB"}},
        "controller": {
            "house": {
                "address": "192.0.2.1", "ports": 2, "start_per": per, "port": {"1": ["roof"], "2": ["porch"]},
            } | house,
            "shed": {"address": "192.0.2.33", "ports": 1, "port": {"1": ["hedge"]}},
            "shelf": {"spare": True, "address": "192.0.2.9", "ports": 2, "start_per": per},
        },
        "run": {
            "roof": {"pixel": "plain", "pixels": 100, "lead": 2.0},
            "porch": {"pixel": "bulb", "pixels": pixels, "nulls": nulls, "lead": 2.0},
            "hedge": {"pixel": "plain", "pixels": 50, "lead": 2.0},
        },
    }  # fmt: skip


def write(show: Path, **said: object) -> None:
    show.write_text(tomli_w.dumps(tables(**said)))


@pytest.fixture
def show(tmp_path: Path, here: Patcher) -> Path:
    """The show, patched, all of it typed in and told."""
    path = tmp_path / "house.toml"
    write(path)
    assert here("patch", path).returncode == 0
    assert "Nothing to type in or to tell" in here("todo", path, "--typed", "all", "--told", "all").stdout
    return path


@pytest.mark.parametrize(
    ("said", "words"),
    [
        ({"nulls": 2}, "house/2 nulls 1 → 2"),
        ({"colours": "BRG"}, "house/2 colours GRB → BRG"),
        ({"nulls": 0, "colours": "BRG"}, "house/2 nulls 1 → 0, colours GRB → BRG"),
        ({"reorders": False}, "house/1 colours RGB → as sent; house/2 colours GRB → as sent"),
    ],
)
def test_diff_and_patch_say_what_no_patch_file_tells(show: Path, here: Patcher, said: dict, words: str) -> None:
    # Source: found in use: "The plan is as last patched" and "no setting changed", and then "Not typed in yet: house"
    for command in ("diff", "patch"):
        text = here(command, show).stdout
        assert "Settings to type" not in text
        assert ("The plan is as last patched." in text) or ("no setting changed" in text)
    write(show, **said)
    for command, begins in (("diff", "No start address changed.\n"), ("patch", "no start address changed.\n")):
        text = here(command, show).stdout
        assert f"{begins}Settings to type: {words}.\n" in text
        assert "as last patched" not in text
        assert "no setting changed" not in text
        assert "Not typed in yet: house." in text
    here("todo", show, "--typed", "house")
    assert "no setting changed" in here("patch", show).stdout
    assert "The plan is as last patched." in here("diff", show).stdout


def test_what_changes_beside_a_start_is_said_with_it(show: Path, here: Patcher) -> None:
    write(show, pixels=70, colours="BRG", nulls=3)
    text = here("diff", show).stdout
    assert re.search(r"^house/2 .* 60 → 70 ", text, re.MULTILINE)
    assert "Settings to type: house/2 nulls 1 → 3, colours GRB → BRG." in text
    text = here("patch", show).stdout
    assert "Settings changed: house.\nSettings to type: house/2 nulls 1 → 3, colours GRB → BRG.\n" in text


def test_a_null_that_takes_channels_is_in_the_patch_file_and_said_once(tmp_path: Path, here: Patcher) -> None:
    path = tmp_path / "house.toml"
    write(path, skips_nulls=False)
    here("patch", path)
    here("todo", path, "--typed", "all", "--told", "all")
    write(path, skips_nulls=False, nulls=2)
    text = here("diff", path).stdout
    assert re.search(r"^house/2 .* 60 +1 → 2 ", text, re.MULTILINE)
    assert "Settings to type" not in text


def test_the_nulls_of_each_port_of_one_start_are_said(tmp_path: Path, here: Patcher) -> None:
    path = tmp_path / "house.toml"
    write(path, per="controller")
    here("patch", path)
    here("todo", path, "--typed", "all", "--told", "all")
    write(path, per="controller", nulls=2)
    assert "No start address changed.\nSettings to type: house nulls of port 2 1 → 2.\n" in here("diff", path).stdout


def test_where_nothing_was_ticked_off_nobody_says_that_no_setting_changed(tmp_path: Path, here: Patcher) -> None:
    path = tmp_path / "house.toml"
    write(path)
    here("patch", path)
    write(path, nulls=2)
    texts = here("diff", path).stdout, here("patch", path).stdout
    assert not any("no setting changed" in text or "as last patched" in text for text in texts)
    assert not any("Settings to type" in text for text in texts)


@pytest.mark.parametrize("ticked", [(), ("shed",), ("house",), ("house/1",), ("house", "shed")])
@pytest.mark.parametrize("pixels", [60, 70])
def test_a_changed_colour_order_is_never_passed_over(
    tmp_path: Path, here: Patcher, ticked: tuple[str, ...], pixels: int
) -> None:
    # Source: found by a reader: GRB became BRG in a box that nobody had ticked off, and `diff` said "No start address
    # changed." and no more. What is in a box is known of what is ticked off alone; each box is one or the other.
    path = tmp_path / "house.toml"
    write(path)
    here("patch", path)
    for name in ticked:
        here("todo", path, "--typed", name)
    write(path, colours="BRG", pixels=pixels)
    unknown = [box for box in ("house", "shed") if box not in ticked]
    for command in ("diff", "patch"):
        text = here(command, path).stdout
        assert ("house/2 colours GRB → BRG" in text) == ("house" in ticked)
        said = re.findall(r"^Colours and nulls not compared, .*: (.*)\.$", text, re.MULTILINE)
        assert said == ([", ".join(unknown)] if unknown else [])


def test_a_box_that_is_new_is_not_said_to_be_left_out(tmp_path: Path, here: Patcher) -> None:
    path = tmp_path / "house.toml"
    write(path)
    assert "not compared" not in here("diff", path).stdout + here("patch", path).stdout
    here("todo", path, "--typed", "all")
    changed = tables()
    changed["controller"]["barn"] = {"address": "192.0.2.4", "ports": 1, "port": {"1": ["ladder"]}}
    changed["run"]["ladder"] = {"pixel": "plain", "pixels": 5}
    path.write_text(tomli_w.dumps(changed))
    assert "not compared" not in here("diff", path).stdout + here("patch", path).stdout


def test_a_run_that_grows_where_it_starts_has_no_new_address(show: Path, here: Patcher) -> None:
    write(show, pixels=70)
    text = here("patch", show).stdout
    assert "Changed for the player: porch." in text
    assert "New addresses" not in text


# --- the address and the protocol of a box ---------------------------------------------------------------------------

MOVED = {"address": "192.0.2.77", "protocol": "artnet"}
WORDS = "house: address 192.0.2.1 → 192.0.2.77, protocol E1.31 → Art-Net"


def test_a_new_address_and_protocol_are_still_to_type_in(show: Path, here: Patcher) -> None:
    # Source: found in use: after both had changed, `todo` said that all settings are in the boxes
    write(show, **MOVED)
    assert f"Settings to type: {WORDS.replace(':', '')}.\n" in here("diff", show).stdout
    text = here("patch", show).stdout
    assert f"Settings to type: {WORDS.replace(':', '')}.\n" in text
    assert "Not typed in yet: house." in text
    assert f"Settings to change in the boxes:\n{WORDS}\n\n" in here("todo", show).stdout
    document = json.loads(here("todo", show, "--json").stdout)
    assert document["own_settings"] == [
        {"controller": "house", "old": {"address": "192.0.2.1", "protocol": "e131"}, "new": MOVED}
    ]
    assert document["to_type"] == []
    here("sheet", show, "--out", "out")
    assert '"192.0.2.77, Art-Net"' in (show.parent / "out/tables/to-type.csv").read_text()
    # The starts alone are not the box.
    here("todo", show, "--typed", "house/1", "--typed", "house/2")
    assert WORDS in here("todo", show).stdout
    assert "in the boxes:" not in here("todo", show, "--typed", "house").stdout
    here("todo", show, "--typed", "house", "--undo")
    assert "house: address 192.0.2.77, protocol Art-Net\n" in here("todo", show).stdout


def test_only_what_differs_of_the_two_is_said(show: Path, here: Patcher) -> None:
    write(show, address="192.0.2.77")
    assert "house: address 192.0.2.1 → 192.0.2.77\n" in here("todo", show).stdout


def test_a_spare_that_takes_over_is_given_its_address(show: Path, here: Patcher) -> None:
    # Source: found in use: step 7 of `swap` said to type the address in, and `todo` did not list it
    assert here("swap", show, "house", "shelf", "--write").returncode == 0
    address = tomllib.loads(show.read_text())["controller"]["shelf"]["address"]
    assert f"shelf: address {address}, protocol E1.31\nstart of" in here("todo", show).stdout


def test_what_was_ticked_off_before_addresses_were_kept_is_not_asked_anew(show: Path, here: Patcher) -> None:
    path = entered_path(show)
    # Nor was it kept then how the player sends.
    path.write_text(re.sub(r"(?ms)^\[own.*?(?=^\[player)|^\[sent.*", "", path.read_text()))
    assert not re.search("address|192", path.read_text())
    assert "Nothing to type in or to tell" in here("todo", show).stdout
    # It is not known, so no change of it can be said; nor does another tick say that it was typed in.
    write(show, **MOVED)
    assert "Nothing to type in or to tell" in here("todo", show, "--typed", "house/1").stdout
    assert not any("address" in held for held in tomllib.loads(path.read_text())["own"].values())
    here("todo", show, "--typed", "house")
    write(show)
    assert "house: address 192.0.2.77 → 192.0.2.1, protocol Art-Net → E1.31" in here("todo", show).stdout


@pytest.mark.parametrize("held", ['address = "here"', "address = 5", 'protocol = "smoke"', "protocol = 1", "port = 1"])
def test_an_own_setting_that_is_none_is_refused(show: Path, here: Patcher, held: str) -> None:
    entered_path(show).write_text(f"format = 1\n[box]\n[player]\n[own.house]\n{held}\n")
    ran = here("todo", show)
    assert (ran.returncode, "house.entered.toml" in ran.stderr) == (2, True)


def test_the_phone_ticks_off_a_box_of_its_own(show: Path) -> None:
    wiring = wired(tables(**MOVED))
    plan = Content(1, show, wiring, allocate(wiring).patch, False)
    (row,) = left(plan)["to_type"]
    assert row["name"] == "house: address, protocol"
    assert row["says"] == f"type in {WORDS.removeprefix('house: ')}"
    tick(plan, Act("typed", "yes", row["thing"]))
    assert left(plan)["to_type"] == []
    tick(plan, Act("typed", "no", row["thing"]))
    assert [again["thing"] for again in left(plan)["to_type"]] == [row["thing"]]
