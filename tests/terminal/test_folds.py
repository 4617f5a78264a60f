"""Lines on a terminal are broken between words, whatever they say; what a program reads is not broken at all."""

from __future__ import annotations

import io
import os

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.errors import Finding
from patcher.terminal.folds import WIDEST, choices, fold, on_screen
from patcher.terminal.printed import in_words


class Screen(io.StringIO):
    """A terminal."""

    def isatty(self) -> bool:
        return True


words = st.text("abcdefghij-/1", min_size=1, max_size=12)
sentences = st.lists(words, min_size=1, max_size=60).map(" ".join)


@given(st.lists(st.tuples(st.text("abc123", min_size=1, max_size=1), sentences), min_size=1, max_size=9))
def test_no_answer_is_broken_within_a_word(answers: list[tuple[str, str]]) -> None:
    # Source: found in use: long answers broke in the middle of a word at 120 columns, where the terminal broke them
    said = fold("     " + choices(answers), Screen())
    assert all(len(line) <= WIDEST for line in said.split("\n"))
    assert said.split() == " · ".join(f"{key} {says}" for key, says in answers).split()


@pytest.mark.parametrize("columns", [40, 80, 120])
@given(sentences, sentences)
def test_a_finding_is_broken_between_words_on_a_terminal_only(columns: int, says: str, remedy: str) -> None:
    # Source: the same
    os.environ["COLUMNS"] = str(columns)
    try:
        text = in_words(Finding("warning", "rule", "file", "run.a", says, remedy))
        folded = on_screen(text, Screen())
        assert all(len(line) <= columns for line in folded.split("\n"))
        assert folded.split() == text.split()
        assert on_screen(text, io.StringIO()) == text
    finally:
        del os.environ["COLUMNS"]
