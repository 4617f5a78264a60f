"""Where boxes may stand that have a list of places (`stands`), and which of those boxes may stand for one another."""

from __future__ import annotations

from collections.abc import Collection, Mapping
from dataclasses import dataclass

from patcher.show.schema import Show
from patcher.show.tables import Point, same_place


@dataclass(frozen=True, slots=True)
class BoxesAlike:
    """Boxes that differ in nothing that decides what may hang on them, and where.

    Attributes:
        names: their names, in the file's order.
        places: the places, any of which each of them may be given; no two of them the same one.
        here: which of them stands in each place now; None where none does.
    """

    names: tuple[str, ...]
    places: tuple[Point, ...]
    here: tuple[str | None, ...]


def open_places(show: Show, stay: Collection[str], *, afresh: bool) -> dict[str, tuple[Point, ...]]:
    """The places of every box that is to be given one of several: those in which no other box stays. What is the same
    place is the same point.

    Args:
        show: the show.
        stay: boxes on which runs hang that stay there: nobody knows how far their leads would reach elsewhere.
        afresh: whether boxes that stand somewhere may be moved; each may stay, too.
    """
    moves = {
        name: box for name, box in show.controllers.items()
        if box.stands and not box.spare and name not in stay and (afresh or box.at is None)
    }  # fmt: skip
    taken = [box.at for name, box in show.controllers.items() if name not in moves and box.at is not None]
    known: list[Point] = []
    found: dict[str, tuple[Point, ...]] = {}
    for name, box in moves.items():
        own = (*(() if box.at is None else (box.at,)), *box.stands)
        free = (place for place in own if not any(same_place(place, other) for other in taken))
        found[name] = tuple(dict.fromkeys(_known(known, place) for place in free))
    return found


def _known(known: list[Point], place: Point) -> Point:
    """The known point of the same place; a new one is known from then on."""
    same = next((other for other in known if same_place(place, other)), None)
    if same is None:
        known.append(place)
    return same or place


def boxes_alike(show: Show, places: Mapping[str, tuple[Point, ...]]) -> list[BoxesAlike]:
    """The boxes that are to be given one of several places, those together that are alike.

    Args:
        show: the show.
        places: the places of each box; boxes without any are left out.
    """
    groups: dict[object, list[str]] = {}
    for name, own in places.items():
        box = show.controllers[name]
        limits = (box.ports, box.start_per, box.reorders, box.port_pixels, box.universes)
        if own:
            groups.setdefault((limits, frozenset(own)), []).append(name)
    found = []
    for names in groups.values():
        own = places[names[0]]
        at = {name: place for name in names if (place := show.controllers[name].at) is not None}
        here = (next((name for name, place in at.items() if same_place(place, each)), None) for each in own)
        found.append(BoxesAlike(tuple(names), own, tuple(here)))
    return found
