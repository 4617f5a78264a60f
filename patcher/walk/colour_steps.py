"""Every pixel in every colour: the looks that light all of a box in one colour after the other.

Each letter of a colour order is lit alone; and each, as far as there is one to mix it with, in a mixture that has
another colour without it. A dead colour of a pixel is then seen twice: as a dark pixel among lit ones, which an eye may
miss, and as a pixel of another colour, which it does not.
"""

from __future__ import annotations

from collections.abc import Mapping

from patcher.frames.looks import COLOURS, Colour
from patcher.trade import LETTER_NAMES, letter_name, letter_place, tells_colours

MIXED_WHITE = Colour("mixed white", dict.fromkeys("RGB", 1.0))


def single(letter: str) -> Colour:
    """The colour of one letter alone."""
    name = letter_name(letter)
    return COLOURS.get(name) or Colour(name, {letter: 1.0})


def mixtures(letters: str) -> tuple[Colour, ...]:
    """Mixtures of a pixel's colours, so that each colour that can be missed in one is missed in one."""
    mixed: list[Colour] = []
    covered: set[str] = set()
    if tells_colours(letters):
        mixed.append(MIXED_WHITE if "W" in letters else COLOURS["white"])
        covered |= set("RGB")
    for letter in letters:
        beside = next((other for other in LETTER_NAMES if other in letters and other != letter), None)
        if letter not in covered and beside is not None:
            name = f"{single(beside).name} with {single(letter).name}"
            mixed.append(Colour(name, {beside: 1.0, letter: 1.0}))
            covered |= {letter, beside} if letter in LETTER_NAMES else {letter}
    return tuple(mixed)


def looks(orders: Mapping[str, str]) -> list[dict[str, Colour]]:
    """What the runs of a box show, look by look, from their colour orders. The last look lights every run."""
    letters = sorted({letter for order in orders.values() for letter in order}, key=letter_place)
    found = [{run: single(letter) for run, order in orders.items() if letter in order} for letter in letters]
    mixed = {run: mixtures(order) for run, order in orders.items()}
    for number in range(max(map(len, mixed.values()), default=0)):
        found.append({
            run: colours[min(number, len(colours) - 1)] if colours else single(orders[run][0])
            for run, colours in mixed.items()
        })  # fmt: skip
    if found and len(found[-1]) < len(orders):
        found.append({run: single(order[0]) for run, order in orders.items()})
    return found


def shade_name(colour: Colour) -> str:
    """What an eye calls it: one of its own colours, or another one."""
    return "white" if colour is MIXED_WHITE else colour.name
