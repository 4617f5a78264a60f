"""Where boxes are to stand, put into the file: what is written is what was said, and what is not placed has words."""

from __future__ import annotations

import tomllib
from pathlib import Path

import pytest
import tomli_w

from patcher.drawing.lead_panels import lead_panels
from patcher.limits.findings import check
from patcher.offers.comparison import Comparison, compared
from patcher.show.parser import read
from patcher.show.tables import same_place
from patcher.units import METRES_PER
from patcher.wiring import problems, wire
from rig.comments import MARK, commented
from rig.shipped import Patcher
from rig.standing_shows import standing
from rig.unhung_shows import Tables, unhung, wiring_of

QUICK = ("--seconds", "60")


def of(text: str, *, afresh: bool = False) -> Comparison:
    show = read(text).show
    assert show is not None
    return compared(text, wire(show), None, lambda name: [], afresh=afresh, seconds=60.0)


def in_feet(tables: Tables) -> Tables:
    tables["show"]["units"] = "ft"
    return tables


@pytest.mark.parametrize("seed", range(4))
def test_what_is_written_places_the_boxes_in_their_own_places_and_check_has_nothing_against_it(seed: int) -> None:
    # Source: the file read back; the program's own check, which knows nothing of proposals
    tables = standing(seed, runs=5, boxes=3, places=4)
    tables = in_feet(tables) if seed % 2 else tables
    text = commented(tomli_w.dumps(tables), [3, 1, 4, 2, 0])
    for offer in of(text).offers:
        after = tomllib.loads(offer.rehung.text)["controller"]
        used = {name for name, box in after.items() if any(box.get("port", {}).values())}
        for name, box in after.items():
            own = tables["controller"][name]
            if "stands" in own:
                assert ("at" in box) == (name in used)
                assert "at" not in box or box["at"] in own["stands"]
                assert ("at" in box) == (name in offer.rehung.stood)
            else:
                assert box["at"] == own["at"]
            assert box.get("stands") == own.get("stands")
        assert set(offer.not_placed) == {name for name, box in after.items() if "at" not in box}
        assert sorted(MARK.findall(offer.rehung.text)) == sorted(MARK.findall(text))
        wiring = wiring_of(tomllib.loads(offer.rehung.text))
        assert problems(wiring) == []
        assert [each for each in check(wiring)[1] if each.severity != "note" and each.area != "power"] == []
        metres = METRES_PER[tables["show"].get("units", "m")]
        for name, at in offer.rehung.stood.items():
            assert at is not None
            assert same_place(at, tuple(part * metres for part in after[name]["at"]))


def row(boxes: int, places: int) -> Tables:
    """Runs in a row that fill a port each, and boxes of one port that may stand behind them."""
    tables = unhung(1, runs=1, boxes=boxes, ports=1)
    line = {"pixel": "bulb", "shape": "line", "pixels": 700}
    tables["run"] = {f"run-{n}": line | {"path": [[9.0 * n, 1.0], [9.0 * n, 2.0]]} for n in range(3)}
    for box in tables["controller"].values():
        del box["at"]
        box["stands"] = [[9.0 * n, 0.0] for n in range(places)]
    return tables


def test_more_boxes_than_places_are_said_with_who_stands_there_and_what_to_do() -> None:
    [offer] = of(tomli_w.dumps(row(4, 2)), afresh=True).offers
    stand = list(offer.rehung.stood)
    assert len(stand) == 2
    assert set(offer.not_placed) == {"box-1", "box-2", "box-3", "box-4"} - set(stand)
    for says, then in offer.not_placed.values():
        assert says == f"no place is left where it may stand: {', '.join(stand)} stand there"
        assert then == "add a place to its stands"
    [(_, then)] = offer.left_over.values()
    assert then.startswith(f"add a place to the stands of {next(iter(offer.not_placed))}, or add a box")


def test_a_box_that_is_not_needed_is_not_placed() -> None:
    [offer] = of(tomli_w.dumps(row(4, 5))).offers
    assert len(offer.rehung.stood) == 3
    assert [then for _, then in offer.not_placed.values()] == [""]
    assert offer.tally.boxes == 3


def test_a_box_that_moves_has_its_lead_measured_anew_and_one_that_is_not_used_gives_its_place_up() -> None:
    # Source: the straight way and a tenth; one place, one box
    tables = row(2, 3)
    tables["run"] = {"run-0": tables["run"]["run-0"] | {"lead": 20.0}}
    tables["controller"]["box-1"] |= {"at": [18.0, 0.0], "port": {"1": ["run-0"]}, "stands": [[18.0, 0.0]]}
    tables["controller"]["box-2"] |= {"at": [9.0, 0.0], "stands": [[0.0, 0.0]]}
    found = of(tomli_w.dumps(tables), afresh=True)
    [offer] = found.offers
    assert offer.rehung.stood == {"box-2": (0.0, 0.0)}
    assert offer.rehung.moved == ("run-0",)
    assert offer.tally.metres == pytest.approx(1.1)
    tables["controller"]["box-1"] |= {"stands": [[0.0, 0.0]]}
    tables["controller"]["box-2"] = {"address": "192.0.2.9", "ports": 1, "at": [0.0, 0.0], "stands": [[9.0, 0.0]]}
    tables["controller"]["box-2"]["port_pixels"] = 10
    [offer] = of(tomli_w.dumps(tables), afresh=True).offers
    assert offer.rehung.stood == {"box-1": (0.0, 0.0), "box-2": None}
    assert "at" not in tomllib.loads(offer.rehung.text)["controller"]["box-2"]
    assert offer.rehung.wiring.show.runs["run-0"].lead == pytest.approx(1.1)


# --- what is said -----------------------------------------------------------------------------------------------------


def test_the_command_says_it_for_people_and_for_scripts_draws_it_and_writes_it(tmp_path: Path, here: Patcher) -> None:
    show = tmp_path / "row.toml"
    show.write_text(tomli_w.dumps(in_feet(row(3, 2))), encoding="utf-8")
    ran = here("propose", show, *QUICK, "--svg", str(tmp_path / "row.svg"))
    assert ran.returncode == 1  # a run is left over
    assert "Where boxes are to stand" in ran.stdout
    assert "[9, 0] ft" in ran.stdout
    assert "box-3: no place is left where it may stand: box-1, box-2 stand there." in ran.stdout
    drawing = (tmp_path / "row.svg").read_text(encoding="utf-8")
    assert drawing.count('class="placed"') == 2
    assert "box to be put there" in drawing
    ran = here("propose", show, *QUICK, "--json", "--write", "1")
    wiring = wiring_of(tomllib.loads(show.read_text(encoding="utf-8")))
    places = {name: box.at for name, box in wiring.show.controllers.items()}
    assert places["box-1"] is not None
    assert places["box-2"] is not None
    assert '"controller": "box-3"' in ran.stdout
    assert f"{round(places['box-2'][0], 4)}" in ran.stdout
    assert "box to be put there" not in lead_panels([("now", wiring)], "t", wiring.show)


@pytest.mark.parametrize(
    ("stands", "says"),
    [
        ("[]", "has 0 items, but needs at least 1"),
        ("[1.0, 2.0]", "is a list of numbers, but must be a list of points"),
        ("[[1.0, 2.0, 3.0]]", "has 3 items"),
        ("[[1.0, 2.0], [4.0, 5.0], [1.0, 2.001]]", "names place 1 again as place 3"),
        ("[[1.0, '2']]", "must be a number"),
        (str([[float(n), 0.0] for n in range(201)]), "201 items"),
    ],
)
def test_bad_places_are_refused_in_words(stands: str, says: str) -> None:
    text = f'[show]\ntitle = "x"\n[controller.barn]\naddress = "192.0.2.9"\nports = 1\nstands = {stands}\n'
    [finding] = read(text).findings
    assert finding.where.startswith("controller.barn.stands")
    assert says in finding.says
    assert finding.remedy
