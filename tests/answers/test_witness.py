"""What a yard shows of a frame, it shows whatever was lit before: so does a stream that sends its universes on."""

import numpy as np
from hypothesis import example, given
from hypothesis import strategies as st

from patcher.answers.witness import Direct
from patcher.faults import build, parse
from patcher.frames.levels import Levels
from patcher.trade import CHANNELS
from patcher.yard.yard import Yard
from rig.examples import examples
from rig.heron_lock import heron


def one_universe(universe: int) -> Levels:
    """All of a universe at full, and nothing else."""
    return Levels((universe,), np.full((1, CHANNELS), 255, dtype=np.uint8))


@examples(15, 60)
@given(
    st.sampled_from(["universe-shift:mooring=1", "universe-shift:lockhouse=40", "universe-shift:gatepost=3"]),
    st.lists(st.integers(1, 60), max_size=4),
    st.integers(1, 60),
)
@example("universe-shift:mooring=20", [*range(50, 56)], 1)
def test_a_frame_is_seen_the_same_whatever_was_lit_before(fault: str, before: list[int], last: int) -> None:
    wiring, patch, _, _ = heron()
    built, seen = build(wiring, [parse(fault, wiring)]), []
    for sent in ([*before, last], [last]):
        direct = Direct(Yard(wiring, patch, built), wiring)
        for universe in sent:
            direct.send(one_universe(universe))
        seen.append({run: direct.yard.pixels[run].copy() for run in wiring.show.runs})
    assert all((seen[0][run] == seen[1][run]).all() for run in wiring.show.runs)
