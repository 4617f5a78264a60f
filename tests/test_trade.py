"""The rules of the trade, held against standards and other programs; and that none stands in a second place."""

import ast
from itertools import chain, combinations
from pathlib import Path

import pytest
from PIL import ImageColor

from patcher import trade

ROOM = Path(trade.__file__).parent
LETTERS = [frozenset(some) for some in chain.from_iterable(combinations("RGBWA", n) for n in range(6))]


def test_limits_ports_and_times_are_the_standards() -> None:
    # Source: ANSI E1.31-2018, 6.2.7 (universes) and Appendix A, clause from memory (port 5568, universe 64214,
    # 2.5 s, 10 s); ANSI E1.11: 512 slots. Art-Net 4: port 0x1936, a Port-Address of 7 + 4 + 4 bits.
    assert (trade.FIRST_UNIVERSE, trade.CHANNELS, trade.DISCOVERY_UNIVERSE) == (1, 512, 64214)
    assert trade.LAST_UNIVERSE == {"e131": 63999, "artnet": 2 ** (7 + 4 + 4) - 1}
    assert trade.UDP_PORTS == {"e131": 5568, "artnet": 0x1936}
    assert (trade.NETWORK_DATA_LOSS, trade.DISCOVERY_INTERVAL) == (2.5, 10)


def test_sacn_and_pyartnet_say_the_same() -> None:
    # Judge: sacn 1.11 and pyartnet 2.0
    from pyartnet.impl_artnet.node import ARTNET_PORT
    from sacn.messages.data_packet import DataPacket
    from sacn.sending.sender_socket_base import DEFAULT_PORT

    assert trade.UDP_PORTS == {"e131": DEFAULT_PORT, "artnet": ARTNET_PORT}
    for universe in (trade.FIRST_UNIVERSE, trade.LAST_UNIVERSE["e131"]):
        packet = DataPacket(tuple(range(16)), "heron lock", universe, priority=trade.LAST_PRIORITY)
        assert packet.universe == universe
        assert len(packet.dmxData) == trade.CHANNELS
    assert DataPacket(tuple(range(16)), "heron lock", 1).priority == trade.PRIORITY
    with pytest.raises(ValueError, match="priority"):
        DataPacket(tuple(range(16)), "heron lock", 1, priority=trade.LAST_PRIORITY + 1)


@pytest.mark.parametrize("name", trade.COLOUR_LETTERS)
def test_letters_show_the_colour_that_they_are_named_by(name: str) -> None:
    # Judge: Pillow's table of CSS colours, by which of red, green and blue are lit
    wanted = ImageColor.getrgb({"dark": "black"}.get(name, name))
    lit = [sum(trade.light(letter)[part] for letter in trade.COLOUR_LETTERS[name]) > 0 for part in range(3)]
    assert lit == [value > 0 for value in wanted]


@pytest.mark.parametrize("letters", LETTERS, ids=lambda letters: "".join(sorted(letters)))
def test_what_letters_can_show(letters: frozenset[str]) -> None:
    # By hand: white is a chip of its own, or red, green and blue together
    white = "W" in letters or {"R", "G", "B"} <= letters
    assert trade.shows_white(letters) == white
    primaries = [name for name, letter in zip(("red", "green", "blue"), "RGB", strict=True) if letter in letters]
    assert trade.plain_colours(letters) == (*primaries, *(["white"] if white else []))
    name = trade.colour_name(letters)
    alike = {word for word, own in trade.COLOUR_LETTERS.items() if set(own) == letters}
    assert {name} == (alike or {"white" if letters == set("RGB") else None})


def test_letters_go_red_green_blue_white_then_by_the_alphabet() -> None:
    # Common practice, no source
    assert sorted("ZWABRVG", key=trade.letter_place) == list("RGBWAVZ")


def test_no_rule_stands_in_a_second_place() -> None:
    # Common practice, no source: numbers and names that mean nothing else are read from trade.py
    only_there = {*trade.LAST_UNIVERSE.values(), *trade.UDP_PORTS.values(), trade.DISCOVERY_UNIVERSE}
    words = {str(number) for number in only_there} | {f"{number:_}" for number in only_there}
    found = []
    for path in ROOM.rglob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        documents = {id(node.value) for node in ast.walk(tree) if isinstance(node, ast.Expr)}
        for node in ast.walk(tree):
            if not isinstance(node, ast.Constant) or id(node) in documents or path == ROOM / "trade.py":
                continue
            value = node.value
            said = isinstance(value, str) and (value in trade.PROTOCOL_NAMES.values() or any(w in value for w in words))
            if said or (type(value) is int and value in only_there):
                found.append(f"{path.relative_to(ROOM)}:{node.lineno}: {value!r}")
    assert found == []
