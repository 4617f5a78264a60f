"""A page and an editor on one file: nothing is lost, and every change can be taken back to the octet."""

import threading
import tomllib
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from patcher.draw.draft import Draft
from patcher.errors import PatcherError
from rig.draw_pages import EMPTY

DRAW = {
    "act": "draw", "run": "eaves",
    "keys": {"pixel": "bead", "shape": "line", "path": [[1.0, 3.0], [4.0, 3.0]], "pixels": 31},
}  # fmt: skip
MOVE = {"act": "corner", "thing": "eaves", "corner": 1, "to": [4.0, 4.5]}
COUNT = {"act": "set", "thing": "eaves", "key": "pixels", "value": 12}


@pytest.mark.parametrize(
    "octets", [EMPTY.encode(), EMPTY.replace("\n", "\r\n").encode(), b"\xef\xbb\xbf" + EMPTY.encode()]
)
def test_undo_gives_the_file_back_to_the_octet(tmp_path: Path, octets: bytes) -> None:
    path = tmp_path / "ferry.toml"
    path.write_bytes(octets)
    draft = Draft(path)
    every = [octets]
    for act in (DRAW, MOVE, COUNT):
        draft.act(act)
        every.append(path.read_bytes())
        assert every[-1] != every[-2]
    for before in reversed(every[:-1]):
        draft.undo()
        assert path.read_bytes() == before
    for after in every[1:]:
        draft.redo()
        assert path.read_bytes() == after


def test_acts_that_belong_together_are_one_change_and_none_of_them_is_done_where_one_cannot_be(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    draft.act([DRAW, MOVE, COUNT])
    draft.undo()
    assert path.read_text() == EMPTY
    with pytest.raises(PatcherError):
        draft.act([DRAW, {**MOVE, "thing": "nowhere"}])
    assert path.read_text() == EMPTY


def test_what_an_editor_saved_stands_and_undo_takes_it_back_too(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    draft.act(DRAW)
    drawn = path.read_text()
    by_hand = drawn.replace("pixels = 31", "pixels = 40   # counted on the roof")
    path.write_text(by_hand)
    draft.reread()
    assert draft.says
    draft.act(MOVE)
    assert "40   # counted on the roof" in path.read_text()
    for before in (by_hand, drawn, EMPTY):
        draft.undo()
        assert path.read_text() == before


def test_a_file_that_an_editor_empties_before_it_writes_is_one_change(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    path.write_text("")
    writing = threading.Timer(0.05, path.write_text, [EMPTY + "# saved\n"])
    writing.start()
    draft.reread()
    writing.join()
    assert draft.history.now == EMPTY + "# saved\n"
    assert draft.history.past == (EMPTY,)


def test_points_of_a_photograph_have_no_units_and_lengths_in_it_have_the_files(tmp_path: Path) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY.replace('title = "Ferry house"', 'title = "Ferry house"\nunits = "ft"'))
    corners = [[100.5, 800.0], [620.0, 810.0], [615.0, 300.0], [95.0, 310.0]]
    photo = {"file": "house.jpg", "wall": {"corners": corners, "width": 3.048, "height": 6.096}, "origin": [1.0, 2.0]}
    Draft(path).act({"act": "set", "thing": "show", "key": "photo", "value": photo})
    told = tomllib.loads(path.read_text())["show"]["photo"]
    assert told == {"file": "house.jpg", "wall": {"corners": corners, "width": 10.0, "height": 20.0}, "origin": [1, 2]}


def test_a_save_between_reading_and_writing_is_not_written_over(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    by_hand = EMPTY + "\n# saved just now\n"

    def acted(text: str, act: object, points: object) -> str:
        path.write_text(by_hand)
        return text + "\n# by the page\n"

    monkeypatch.setattr("patcher.draw.draft.acted", acted)
    with pytest.raises(PatcherError, match="saved in an editor"):
        draft.act(DRAW)
    assert path.read_text() == by_hand


@settings(max_examples=15)
@given(st.lists(st.sampled_from(["move", "count", "undo", "redo", "editor"]), max_size=12))
def test_whatever_the_two_do_the_file_is_what_the_page_knows(
    tmp_path_factory: pytest.TempPathFactory, does: list[str]
) -> None:
    path = tmp_path_factory.mktemp("draft") / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    draft.act(DRAW)
    for number, one in enumerate(does):
        if one == "editor":
            path.write_text(path.read_text() + f"# {number}\n")
        elif one in ("undo", "redo"):
            getattr(draft, one)()
        else:
            try:
                draft.act(MOVE if one == "move" else {**COUNT, "value": 12 + number})
            except PatcherError:
                assert "[run.eaves]" not in path.read_text()
        if one == "editor":
            draft.reread()
            assert f"# {number}\n" in path.read_text()
        assert path.read_text() == draft.history.now


@pytest.mark.parametrize(
    "act", [None, 3, [], {}, {"act": "nothing"}, {"act": "set"}, [[DRAW]], {"act": "corner", "thing": 3}]
)
def test_what_is_no_act_changes_nothing(tmp_path: Path, act: object) -> None:
    path = tmp_path / "ferry.toml"
    path.write_text(EMPTY)
    draft = Draft(path)
    if act == []:
        draft.act(act)
    else:
        with pytest.raises(PatcherError):
            draft.act(act)
    assert path.read_text() == EMPTY
