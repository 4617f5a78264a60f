"""Undo and redo of texts."""

from hypothesis import given
from hypothesis import strategies as st

from patcher.draw.history import History

TEXTS = st.lists(st.text(max_size=4), max_size=12)


@given(st.text(max_size=4), TEXTS)
def test_undo_takes_every_change_back_to_the_first_text_and_redo_makes_them_again(first: str, texts: list[str]) -> None:
    every = [first]
    history = History(first)
    for text in texts:
        history = history.changed(text)
        if text != every[-1]:
            every.append(text)
    for text in reversed(every[:-1]):
        history = history.undone()
        assert history.now == text
    assert history.undone() == history
    for text in every[1:]:
        history = history.redone()
        assert history.now == text
    assert history.redone() == history


@given(TEXTS, st.text(max_size=4))
def test_a_change_after_undo_forgets_what_was_taken_back(texts: list[str], more: str) -> None:
    history = History("")
    for text in texts:
        history = history.changed(text)
    back = history.undone()
    changed = back.changed(more)
    if more != back.now:
        assert changed.redone() == changed
        assert changed.undone().now == back.now
    else:
        assert changed == back
