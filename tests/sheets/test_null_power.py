"""A null pixel in a lead needs V+: where no V+ comes along, every paper says that it comes back from the run.

Source: common practice: a null pixel is a pixel, and passes no data on without power. A reader of the papers was sold a
lead for data and ground alone, with a null pixel in it.
"""

import pytest
from hypothesis import given
from hypothesis import strategies as st

from patcher.placement.allocation import allocate
from patcher.power.flow import power
from patcher.sheets.contents import show_sheet
from patcher.sheets.exports import as_markdown
from patcher.sheets.labels import tags
from patcher.sheets.parts_list import shopping
from rig.examples import examples
from rig.power_show import fed, show, tap
from rig.shipped import wired

LEAD = 9.0


@st.composite
def runs_with_nulls(draw) -> dict[str, dict]:
    runs = {}
    for name in ("roof", "wall", "gate")[: draw(st.integers(1, 3))]:
        at = sorted(draw(st.lists(st.sampled_from([2.0, 3.5, 6.0, LEAD]), max_size=3)))
        runs[name] = {
            "shape": "line", "path": [[0.0, 0.0], [4.0, 1.0]], "pixels": 30, "lead": LEAD,
            "nulls": len(at), "nulls_at": at, "power_joined": draw(st.booleans()),
        }  # fmt: skip
    return runs


@examples(20, 100)
@given(runs_with_nulls())
def test_v_plus_reaches_every_null_pixel_on_every_paper(runs: dict[str, dict]) -> None:
    file = show(runs, {f"feed-{name}": fed(tap(name)) for name in runs})
    wiring = wired(file)
    ends = dict.fromkeys(runs, "its left end")
    sheet = show_sheet(wiring, allocate(wiring).patch, None, power(wiring), tags=tags(wiring, ends, {}))
    first = next(iter(runs))
    with_power = {name for name, run in runs.items() if run["power_joined"] and name != first}
    bought = {True: 0.0, False: 0.0}
    for name, run in runs.items():
        back = 0.0 if name in with_power else LEAD - min(run["nulls_at"], default=LEAD)
        bought[True] += LEAD if name in with_power else back
        bought[False] += 0.0 if name in with_power else LEAD - back
        begins, arrives = [label for label in sheet.labels if (label.kind, label.name) == ("lead", name)]
        assert ("V+ not connected" in begins.needed) == (name not in with_power)
        assert ("V+ from here to its null pixel" in arrives.needed) == bool(back)
        assert ("V+ not connected" in arrives.needed) == (name not in with_power and not back)
        said = f"V+ only from its null pixel to {name}/1"
        papers = [begins.says, arrives.says, *(tag.lead for tag in sheet.tags if tag.run == name)]
        assert len(papers) == 3
        assert all((said in paper) == bool(back) for paper in papers)
        assert (said in as_markdown(sheet).replace("\\", "")) == bool(back)
        (hung,) = [one for box in sheet.boxes for port in box.used for one in port.chain if one.run == name]
        assert (hung.without_power == said) == bool(back)
    for need in shopping(wiring, power(wiring)):
        if need.section == "cable" and need.what.startswith("lead"):
            bought["two for V+" in need.note] -= need.metres
    assert bought == {True: pytest.approx(0), False: pytest.approx(0)}
