"""Which two things a swap is about: a dead box and its spare, or a dead supply and its spare."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from patcher.errors import PatcherError, choose_from, refuse
from patcher.patch.thing import split
from patcher.show.schema import Show

Kind = Literal["controller", "supply"]
KINDS: tuple[Kind, Kind] = ("controller", "supply")
WORDS = {"controller": "a box", "supply": "a supply"}


def dead_and_spare(show: Show, dead: str, spare: str) -> tuple[Kind, str, str]:
    """Whether two names are boxes or supplies, and each name without its kind.

    Raises:
        PatcherError: a name is not known, or the two are not of one kind, or of both, or the same.
    """
    tables: dict[str, Mapping[str, object]] = {"controller": show.controllers, "supply": show.supplies}
    (dead_kinds, dead), (spare_kinds, spare) = (_kinds(show, tables, text) for text in (dead, spare))
    both = [kind for kind in KINDS if kind in dead_kinds and kind in spare_kinds]
    if not both:
        says = f"is {WORDS[spare_kinds[0]]}, and {dead} is {WORDS[dead_kinds[0]]}"
        raise refuse(spare, says, f"name {WORDS[dead_kinds[0]]} that is kept as a spare")
    if len(both) > 1:
        remedy = f"say which: controller.{dead} or supply.{dead}"
        raise refuse(dead, "is the name of two things: a box and a supply", remedy)
    if dead == spare:
        raise refuse(spare, "is named as the dead one and as its spare", "name two different ones")
    return both[0], dead, spare


def _kinds(show: Show, tables: Mapping[str, Mapping[str, object]], text: str) -> tuple[list[str], str]:
    """What a name may mean, and the name without its kind; PatcherError where that is neither box nor supply."""
    wanted, name = split(text, tables)
    kinds = [kind for kind in wanted if name in tables[kind]]
    if not kinds:
        raise _not_known(show, name, [known for kind in wanted or tables for known in tables[kind]])
    return kinds, name


def _not_known(show: Show, name: str, known: list[str]) -> PatcherError:
    others = dict.fromkeys(show.runs, "run") | dict.fromkeys(show.props, "prop") | dict.fromkeys(show.feeds, "feed")
    if name in others:
        return refuse(name, f"is a {others[name]}", "name a box or a supply")
    return refuse(name, "is neither a box nor a supply of this show", choose_from(name, known))
