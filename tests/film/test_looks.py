"""What is held to be known of a wiring when the lights of a clip are read once more."""

from __future__ import annotations

from types import SimpleNamespace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from patcher.film.faults_seen import UNEXPLAINED
from patcher.film.read import _known


def found(odd: dict[str, float]) -> Any:
    fits = {run: SimpleNamespace(odd=each) for run, each in odd.items()}
    strange = frozenset(run for run, each in odd.items() if each > UNEXPLAINED)
    return SimpleNamespace(faults=("one", "two"), odd=strange, fits=fits)


@given(st.dictionaries(st.sampled_from("abcde"), st.floats(0, 3 * UNEXPLAINED), min_size=1))
def test_first_something_is_left_by_which_the_lights_may_be_read(odd: dict[str, float]) -> None:
    """Without all runs nothing tells where they hang: then the one of which most is unexplained is left out alone."""
    own = found(odd)
    first, *_ = wanted = _known(SimpleNamespace(sure=lambda found: ("one",)), own)
    assert len(odd) == 1 or first[1] < set(odd)
    assert {runs for _, runs in wanted} <= {frozenset(), own.odd, first[1]}
    if own.odd:
        assert max(odd[run] for run in first[1]) == max(odd.values())
        assert (frozenset({"one"}), frozenset()) in wanted
