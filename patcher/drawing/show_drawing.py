"""Drawings of a show, of a box, of a prop: every run where it hangs, as SVG for paper and phone.

A run is a coloured line with a black thread, both after its port (its box, in the show's drawing), so that no meaning
hangs on colour alone. Marks say where its data enters and ends, where a universe begins and where feeds join. Labels
stand beside them where there is room; what found none is listed below. Of runs with no picture a short line stands
under the picture with the same marks.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import replace

import numpy as np

from patcher.drawing import grid_numbers, legend
from patcher.drawing.course import PASS, Course, course
from patcher.drawing.drawn_leads import DrawnLead, drawn_leads, sampled_routes
from patcher.drawing.label_places import Paper
from patcher.drawing.run_facts import Facts, facts
from patcher.drawing.run_lines import Hanging
from patcher.drawing.strips import Margins, Strip, lay
from patcher.drawing.subject import Subject
from patcher.drawing.svg import HIGH, LINE, SMALL, Floats, document, look
from patcher.patch.patch import Patch
from patcher.power.flow import Power
from patcher.shapes import cell_positions, lattice, positions
from patcher.show.run_tables import ArchRun, BandRun, Grid, GridRun, Run
from patcher.show.schema import Show
from patcher.wiring import Wiring

_MANY = 60
"""Runs beyond which the show's drawing names boxes, not runs."""
_TRIES = 3
_LEAST = 30.0
"""Millimetres of height that a picture has at least."""
UNSEEN = "pixel 1 is at the end where the lead comes in; a run that is fed from its other end looks the same here"
"""What a drawing cannot show of a run with no picture."""
_LANE, _LANE_WIDE = 14.0, 80.0
"""Millimetres of the place of a run with no picture."""


def show_drawing(wiring: Wiring, patch: Patch, state: Power | None, *, wide: float = 180.0) -> str:
    """The whole show, its runs looking as their boxes.

    Args:
        wiring: the wiring of a sound show.
        patch: its patch.
        state: its power; None where it describes no supplies.
        wide: millimetres of the paper.
    """
    show = wiring.show
    known = tuple(facts(wiring, patch, state).values())
    boxes = tuple(name for name, box in show.controllers.items() if not box.spare or wiring.of_controller(name))
    looks = {name: look(place) for place, name in enumerate(boxes)} | {"": look(len(boxes))}
    detail = 1 if len(known) <= _MANY else 0
    return _drawn(
        Subject(
            wiring, known, boxes, True, looks, detail, 2 if detail else -1, show.settings.title, 8, HIGH,
            "see the drawing of each box",
        ),
        wide,
    )  # fmt: skip


def box_drawing(wiring: Wiring, patch: Patch, state: Power | None, box: str, *, wide: float = 180.0) -> str:
    """The runs of one box, looking as their ports; arguments as of `show_drawing`, and the box.

    Raises:
        KeyError: there is no such box.
    """
    wiring.show.controllers[box]
    known = tuple(fact for fact in facts(wiring, patch, state).values() if fact.box == box)
    looks = {fact.port_name: look(fact.port - 1) for fact in sorted(known, key=lambda each: each.port)}
    elsewhere = "see the tables of this box and the drawings of its props"
    subject = Subject(wiring, known, (box,), False, looks, 2, 9, f"Box {box}", 4, 190.0, elsewhere)
    drawn, over = _try(subject, wide, 0.0)
    return drawn if over <= 0 else _drawn(replace(subject, told=3), wide)


def prop_drawing(wiring: Wiring, patch: Patch, state: Power | None, prop: str, *, wide: float = 180.0) -> str:
    """The runs of one prop, looking as their ports; a run that no prop names is a prop of its own.

    Raises:
        KeyError: there is no such prop.
    """
    runs = wiring.show.prop_runs()[prop]
    every = facts(wiring, patch, state)
    known = tuple(every[name] for name in runs if name in every)
    ports = list(dict.fromkeys(fact.port_name for fact in known))
    alone = len({fact.box for fact in known}) < 2
    numbers = {fact.port_name: fact.port - 1 for fact in known}
    looks = {port: look(numbers[port] if alone else place) for place, port in enumerate(ports)}
    elsewhere = "see the tables of its box"
    return _drawn(Subject(wiring, known, (), False, looks, 2, 9, prop, 3, 200.0, elsewhere), wide)


def _drawn(subject: Subject, wide: float) -> str:
    """The drawing; drawn again with a smaller picture where the words under it found no room."""
    less = 0.0
    for _ in range(_TRIES):
        drawn, over = _try(subject, wide, less)
        if over <= 0:
            break
        less = min(less + over + 3.0, subject.high / 3)
    return drawn


def _try(subject: Subject, wide: float, less: float) -> tuple[str, float]:
    """The drawing with a picture `less` millimetres lower, and how many millimetres of words then find no room."""
    show = subject.show
    hung = [fact for fact in subject.facts if fact.run.hung]
    shaped = [(fact, found) for fact in hung if (found := positions(show, fact.run)) is not None]
    drawn = {fact.name for fact, _ in shaped}
    bare = [fact for fact in hung if fact.name not in drawn]
    listed = legend.rows(_items(subject, hung, _possible(subject, hung, shaped), legend.SAYS_ALL), wide - 2)
    foot = len(listed) * legend.ROW + 2
    across = max(1, int(wide // _LANE_WIDE))
    rows = -(-len(bare) // across)
    lanes = min(rows * _LANE + (4 if rows else 0), (HIGH if not shaped else subject.high - _LEAST - 5) - foot - 12)
    hanging = Hanging(subject, Paper(wide, HIGH), _size(shaped))
    leads = _leads_of(subject, [fact.name for fact, _ in shaped])
    strips = _strips(subject, shaped, leads, wide, max(subject.high - foot - lanes - 8 - less, _LEAST))
    base = strips[-1].rect[3] if strips else 0.0
    parts: list[str] = []
    for strip in strips:
        parts += legend.ruler(
            strip.left, strip.right, strip.scale, strip.x, strip.rect[3] - 5.0, subject.show.settings.units
        )
    _hang(hanging, shaped, leads, strips)
    left_out = _lanes(hanging, bare, base + (4 if bare else 0), lanes, across, wide)
    if bare:
        parts += legend.lines_at(["no picture:"], 1.0, base + 0.5, "says")
    hanging.write()
    parts += [*hanging.below, *hanging.above, *hanging.over]
    y = base + max(lanes, 0.0) + 1
    listed = legend.rows(_items(subject, hung, hanging.seen, hanging.worded), wide - 2)
    foot = len(listed) * legend.ROW + 2
    parts += legend.write(listed, 1.0, y)
    words, high, over = _words(hanging, left_out, wide, y + foot - 1)
    return document(subject.title, _in_words(subject), wide, min(high + 0.5, HIGH), [*parts, *words]), over


def _words(hanging: Hanging, left_out: Sequence[Facts], wide: float, y: float) -> tuple[list[str], float, float]:
    """The words under the drawing, where they end, and by how much they are too many."""
    row = SMALL * LINE
    says = [
        line
        for label, text in _notes(hanging, left_out)
        for line in legend.paragraph([f"{label}: {text[0]}", *text[1:]], wide - 2, 6)
    ]
    kept = says[: max(0, int((HIGH - y) / row))]
    parts = legend.lines_at(kept, 1.0, y, "says")
    y += len(kept) * row
    _, wanted = legend.columns(hanging.notes, 1.0, y, wide - 2, 1000)
    noted, lines = legend.columns(hanging.notes, 1.0, y, wide - 2, int((HIGH - y) / row))
    over = (len(says) - len(kept) + wanted - lines) * row
    return parts + noted, y + lines * row + 1, over


def _size(shaped: Sequence[tuple[Facts, Floats]]) -> float:
    return 0.85 if len(shaped) <= _MANY else 0.38


def _possible(subject: Subject, hung: Sequence[Facts], shaped: Sequence[tuple[Facts, Floats]]) -> set[str]:
    """The marks that a drawing may have: for so many the legend keeps room."""
    leads = subject.detail > 0 and bool(shaped) and (len(hung) > 1 or bool(subject.boxes))
    marks_of = {
        "pixels": subject.detail == 2,
        "box": any(subject.show.controllers[name].at is not None for name in subject.boxes),
        "chevrons": any(fact.run.shape_name in ("grid", "band") for fact, _ in shaped),
        "lead": leads,
        "route": subject.by_box and bool(subject.show.routes),
    }
    for fact in hung:
        of_run = {"edge": fact.edges, "tap": fact.taps, "gap": fact.run.gap_places, "cut": _is_cut(fact)}
        of_run["booster"] = leads and fact.run.lead_via == "booster"
        marks_of |= {mark: True for mark, has in of_run.items() if has}
    return {key for key, may in marks_of.items() if may} | ({"first", "last", "way"} if hung else set())


def _is_cut(fact: Facts) -> bool:
    """Whether V+ does not go on somewhere at a run."""
    return bool(fact.run.power_cuts or not fact.run.takes_power_on)


def _items(
    subject: Subject, hung: Sequence[Facts], seen: Collection[str], worded: Collection[str]
) -> list[legend.Item]:
    """The items of the legend."""
    used = list(dict.fromkeys(fact.box if subject.by_box else fact.port_name for fact in hung))
    whose = "box" if subject.by_box else "port"
    looks = [(_whose(whose, name), subject.looks[name]) for name in subject.looks if name in used]
    says = "port · universe/channel of its first pixel"
    return legend.look_items(looks) + legend.mark_items(seen, worded, hung, run=says, named=subject.detail == 2)


def _whose(what: str, name: str) -> str:
    return f"{what} {name}" if name not in ("", "no port") else "on no port"


def _notes(hanging: Hanging, left_out: Sequence[Facts]) -> list[tuple[str, list[str]]]:
    """What is listed under the drawing, and the word before each list."""
    subject = hanging.subject
    absent = [fact.name for fact in subject.facts if not fact.run.hung]
    unplaced = [name for name in subject.boxes if subject.show.controllers[name].at is None]
    found = []
    if subject.detail == 0:
        found.append(("Runs are named in each box’s own drawing", [f"here are {len(subject.facts)}"]))
    if not any(fact.run.hung for fact in subject.facts):
        found.append(("Nothing to draw", ["no run is hung here"]))
    bare = any(fact.run.hung and fact.run.shape_name == "none" for fact in subject.facts)
    lists = (
        ("No picture in the file", [UNSEEN] * bare),
        ("Not hung this season", absent),
        ("No shape in the file, and no space to list it", [fact.name for fact in left_out]),
        ("No place (at) in the file", unplaced),
    )
    if hanging.unsaid and subject.detail:
        found.append((f"{hanging.unsaid} label{'s' * (hanging.unsaid != 1)} left out for space", [subject.elsewhere]))
    return found + [(label, text) for label, text in lists if text]


def _in_words(subject: Subject) -> str:
    pixels = sum(fact.run.pixels for fact in subject.facts)
    runs = len(subject.facts)
    return (
        f"{runs} run{'s' * (runs != 1)}, {pixels} pixel{'s' * (pixels != 1)}, where they hang: data direction, first "
        "and last pixel, port, edges of universes, feeds and volts."
    )


def _strips(
    subject: Subject, shaped: Sequence[tuple[Facts, Floats]], leads: Sequence[DrawnLead], wide: float, room: float
) -> list[Strip]:
    if not shaped:
        return []
    things: dict[tuple[str, bool], list[Floats]] = {}
    for fact, found in shaped:
        things.setdefault(_thing(fact.run), []).extend([found, *_corners(subject.show, fact.run)])
    boxes = [at for name in subject.boxes if (at := subject.show.controllers[name].at) is not None]
    cables = [np.array(lead.way.corners) for lead in leads if not lead.way.is_straight]
    cables += [*sampled_routes(subject.show).values()] if subject.by_box else []
    places = [*(np.concatenate(parts) for parts in things.values()), *(np.array([at]) for at in boxes), *cables]
    whole = [*(is_grid for _, is_grid in things), *(False for _ in (*boxes, *cables))]
    margins = _margins(subject.detail, wide, with_grids=any(whole))
    steps = [float(np.median(np.hypot(*np.diff(found, axis=0).T))) for _, found in shaped if len(found) > 1]
    usual = float(np.median(steps)) if steps else 0.0
    enough = (2.5 if subject.detail else 0.6) / usual if usual > 1e-9 else 60.0
    most = min(subject.most, max(1, len(shaped) // 3))
    return lay(places, whole, wide, room, margins, most, enough)


def _thing(run: Run) -> tuple[str, bool]:
    """The name of what a run draws, or draws a part of, and whether that is a grid."""
    return run.of if isinstance(run, BandRun) else run.name, isinstance(run, BandRun | GridRun)


def _margins(detail: int, wide: float, *, with_grids: bool) -> Margins:
    """What is kept round the pixels for labels, and for the numbers round a grid."""
    if not detail:
        return Margins(4.0, 8.0, 2.0)
    side = min(16.0 if detail == 2 else 6.0, wide / 8)
    return Margins(side, 18.0, 13.5) if detail == 2 and with_grids else Margins(side, 10.0, 9.0)


def _corners(show: Show, run: Run) -> list[Floats]:
    """The corners of a grid or band, where there may be no pixel; none of another run."""
    wired = lattice(show, run)
    if wired is None:
        return []
    grid: object = show.grid_of(run) if isinstance(run, BandRun) else run
    assert isinstance(grid, Grid)  # noqa: S101
    ends = [[wired.column, wired.row], [wired.column + wired.columns - 1, wired.row + wired.rows - 1]]
    return [cell_positions(grid, np.array(ends))]


def _hang(
    hanging: Hanging, shaped: Sequence[tuple[Facts, Floats]], leads: Sequence[DrawnLead], strips: Sequence[Strip]
) -> None:
    subject = hanging.subject
    for strip in strips:
        courses: list[tuple[Facts, Course]] = []
        for fact, found in shaped:
            spread = PASS * (fact.run.passes if isinstance(fact.run, ArchRun) else 1) / strip.scale
            if found[:, 0].max() + spread < strip.left or found[:, 0].min() - spread > strip.right:
                continue
            drawn = course(subject.show, fact.run, strip.paper)
            assert drawn is not None  # noqa: S101  (it has places)
            courses.append((fact, drawn))
        _leads(hanging, leads, {fact.name: drawn for fact, drawn in courses}, strip)
        if subject.by_box:
            for name, points in sampled_routes(subject.show).items():
                hanging.route(name, strip.paper(points), strip)
        if subject.detail == 0:
            _boxes(hanging, strip, courses)
        for fact, drawn in courses:
            hanging.draw(fact, drawn, strip)
        if subject.detail:
            _boxes(hanging, strip, [])
            hanging.over += grid_numbers.numbers(subject.show, hanging.paper, courses, strip)


def _boxes(hanging: Hanging, strip: Strip, courses: Sequence[tuple[Facts, Course]]) -> None:
    """The boxes that stand in a strip, above the runs given where they have any."""
    subject = hanging.subject
    for name in subject.boxes:
        at = subject.show.controllers[name].at
        if at is None:
            continue
        place = strip.paper(np.array(at))
        if not strip.holds(place[0]):
            continue
        above = None
        if mine := [drawn.pixels for fact, drawn in courses if fact.box == name]:
            places = np.concatenate(mine)
            above = float(places[:, 0].min() + places[:, 0].max()) / 2, float(places[:, 1].min()) - 2
        hanging.box(name, place, strip, above)


def _leads_of(subject: Subject, shaped: Collection[str]) -> list[DrawnLead]:
    """The leads that are drawn, where marks alone are not all that is said."""
    return [
        lead for lead in (drawn_leads(subject.wiring) if subject.detail else ())
        if lead.run in shaped and (lead.before in shaped if lead.before is not None else lead.box in subject.boxes)
    ]  # fmt: skip


def _leads(hanging: Hanging, leads: Sequence[DrawnLead], courses: dict[str, Course], strip: Strip) -> None:
    """The leads of which both ends lie in a strip."""
    show = hanging.subject.show
    for lead in leads:
        if lead.run not in courses or (lead.before is not None and lead.before not in courses):
            continue
        corners = strip.paper(np.array(lead.way.corners))
        if lead.before is not None:
            corners[0] = courses[lead.before].pixels[0 if lead.is_tee else -1]
        corners[-1] = courses[lead.run].pixels[0]
        if strip.holds(corners[0, 0]) and strip.holds(corners[-1, 0]):
            hanging.lead(corners, lead.run, show.runs[lead.run].lead_via, strip)


def _lanes(hanging: Hanging, bare: Sequence[Facts], top: float, high: float, across: int, wide: float) -> list[Facts]:
    """A short line for each run with no picture; those for which there is no room are given back."""
    left_out = []
    each = wide / across
    for place, fact in enumerate(bare):
        row, column = divmod(place, across)
        x, y = column * each + 4, top + row * _LANE + 9.0
        if (row + 1) * _LANE > high - 3.9:
            left_out.append(fact)
            continue
        length = each - 10
        steps = np.linspace(0, length, fact.run.pixels) if fact.run.pixels > 1 else np.zeros(1)
        places = np.column_stack([x + steps, np.full(len(steps), y)])
        strings = (places[[0, -1]],) if len(places) > 1 else ()
        rect = (column * each, y - 9.0, (column + 1) * each, y + 5.0 + 6)
        strip = Strip(0, each, 0, 1, column * each, y, rect)
        found = Course(fact.run, places, strings, (), None, length / max(len(places) - 1, 1))
        hanging.draw(fact, found, strip)
    return left_out
