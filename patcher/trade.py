"""The rules of the trade: what standards and common practice fix, each once, with its source.

Limits of universes and channels, protocols, colours and their letters, levels, rates and time-outs. How octets lie in a
packet is `wire/`'s; what one file alone has chosen for itself stands in that file.
"""

from __future__ import annotations

from collections.abc import Collection
from typing import Literal

# Universes and channels

CHANNELS = 512
"""Channels of one universe. Source: ANSI E1.11 (DMX512-A): 512 slots a packet."""
FIRST_UNIVERSE = 1
"""Source: ANSI E1.31-2018, 6.2.7. Art-Net's Port-Address 0 is valid on the wire, but is not given out (own choice)."""

MOST_PORTS = 10_000
"""Ports of one box, at most. Own choice: no box has so many, and what is larger was mistyped."""


def is_address(universe: int, channel: int) -> bool:
    """Whether there is such a universe and such a channel; both count from 1."""
    return FIRST_UNIVERSE <= universe <= HIGHEST_UNIVERSE and 1 <= channel <= CHANNELS


def is_sacn(word: str) -> bool:
    """Whether a word is E1.31's other name, however it is spelt."""
    return "".join(filter(str.isalnum, word.lower())) in ("sacn", "streamingacn")


# Protocols

Protocol = Literal["e131", "artnet"]
"""A protocol as the show file and JSON write it."""
PROTOCOL_NAMES: dict[Protocol, str] = {"e131": "E1.31", "artnet": "Art-Net"}
"""A protocol as people write it. Source: the titles of ANSI E1.31-2018 and of the Art-Net 4 specification."""
SACN_IS_E131 = "sACN (Streaming ACN) is another name of E1.31: write e131"
"""Source: the description of sacn, an independent sender and receiver of E1.31."""
UDP_PORTS: dict[Protocol, int] = {"e131": 5568, "artnet": 6454}
"""Source: ANSI E1.31-2018, Appendix A (clause from memory), ACN_SDT_MULTICAST_PORT; Art-Net 4: port 0x1936."""
LAST_UNIVERSE: dict[Protocol, int] = {"e131": 63_999, "artnet": 32_767}
"""Source: ANSI E1.31-2018, 6.2.7: universes 1 to 63999; Art-Net 4: a 15-bit Port-Address."""
HIGHEST_UNIVERSE = max(LAST_UNIVERSE.values())
"""The last universe of the one number space that both protocols share."""
UNIVERSE_0 = (
    "Art-Net’s 0 (net 0, sub-net 0, universe 0), which many boxes come set to, is not used here: set the box to "
    f"{FIRST_UNIVERSE} or more, and write that; E1.31 has no 0"
)
"""What to do about a universe 0. Source: Art-Net 4, which advises against Port-Address 0 (from memory), so that both
protocols can share one number; ANSI E1.31-2018, 6.2.7. That boxes come set to it: common practice."""
ADDRESSES = f"universes are {FIRST_UNIVERSE} to {HIGHEST_UNIVERSE}, channels 1 to {CHANNELS}"
"""What a universe and a channel can be, in words."""
DISCOVERY_UNIVERSE = 64_214
"""The universe whose group carries universe discovery. Source: ANSI E1.31-2018, Appendix A (clause from memory)."""
PRIORITY, LAST_PRIORITY = 100, 200
"""The usual priority of an E1.31 stream, and the highest. From memory: ANSI E1.31-2018, 6.2.3."""

# Rates and time-outs

FRAME_RATE = 40
"""Frames a second of a show that says nothing else. Common practice, no source."""
HIGHEST_RATE = 44
"""Packets a second of one universe, unless a receiver is known to take more. From memory: ANSI E1.31-2018, 6.6.1, which
keeps to the highest rate of ANSI E1.11 (DMX512-A)."""
FASTEST_FLASH = 3
"""Flashes within any one second, at most. From memory: W3C, WCAG 2.2, success criterion 2.3.1."""
NETWORK_DATA_LOSS = 2.5
"""Seconds of silence after which an E1.31 source is lost. Source: ANSI E1.31-2018, Appendix A (clause from memory),
E131_NETWORK_DATA_LOSS_TIMEOUT. Art-Net names no time; the same is used for it."""
ART_SYNC_LOSS = 4.0
"""Seconds without ArtSync after which levels are shown as they come. From memory: Art-Net 4, ArtSync."""
DISCOVERY_INTERVAL = 10.0
"""Seconds between two universe discoveries. Source: ANSI E1.31-2018, Appendix A (clause from memory),
E131_UNIVERSE_DISCOVERY_INTERVAL."""
LIKE_PACKETS = 3
"""Like packets after which a universe falls back to keep-alive. From memory: ANSI E1.31-2018, 6.6.2."""
KEEP_ALIVE = 0.8
"""Seconds between two like packets. From memory: ANSI E1.31-2018, 6.6.2, and Art-Net 4: 0.8 to 1 s."""
ENDING_PACKETS = 3
"""Packets with Stream_Terminated that end a stream. From memory: ANSI E1.31-2018, 6.2.6."""

# Levels

TEST_LEVEL = 0.3
"""The level of test frames: a whole show in white stays far below what its supplies are built for. Own choice."""

# Colours

MOST_LETTERS = 12
"""Letters of a colour order, and so channels of a pixel, at most. Own choice: no pixel is known with more."""
USUAL_WIDTHS = (len("RGB"), len("RGBW"))
"""Channels of the pixels that are usual, most usual first. Common practice, no source."""
USUAL_CHANNELS = USUAL_WIDTHS[0]
"""Channels of a pixel of which nothing is said."""
LETTER_NAMES = {"R": "red", "G": "green", "B": "blue", "W": "white"}
"""The colour of each letter that has a name, in the order in which a box sends them. Common practice, no source."""
COLOUR_LETTERS = {
    "red": "R", "green": "G", "blue": "B", "white": "W", "yellow": "RG", "magenta": "RB", "cyan": "GB", "dark": "",
}  # fmt: skip
"""The letters that show each colour with a name. Common practice, no source: light adds up."""
_LIGHT = {"R": (1.0, 0.0, 0.0), "G": (0.0, 1.0, 0.0), "B": (0.0, 0.0, 1.0), "A": (1.0, 0.75, 0.0)}
_OF_LETTERS = {frozenset(letters): name for name, letters in COLOUR_LETTERS.items()} | {frozenset("RGB"): "white"}


def letter_name(letter: str) -> str:
    """The colour of one letter of a colour order: `red`, or `channel A` where it has no name here."""
    return LETTER_NAMES.get(letter, f"channel {letter}")


def letter_place(letter: str) -> tuple[int, str]:
    """A key that sorts letters: R, G, B, W, then the others by the alphabet."""
    return list(LETTER_NAMES).index(letter) if letter in LETTER_NAMES else len(LETTER_NAMES), letter


def tells_colours(letters: Collection[str]) -> bool:
    """Whether a pixel with these letters can show every colour that has a name."""
    return {"R", "G", "B"}.issubset(letters)


def shows_white(letters: Collection[str]) -> bool:
    """Whether a pixel with these letters can show white: by a chip of its own, or by red, green and blue together."""
    return "W" in letters or tells_colours(letters)


def plain_colours(letters: Collection[str]) -> tuple[str, ...]:
    """Which of red, green, blue and white a pixel with these letters can show."""
    return tuple(
        name for letter, name in LETTER_NAMES.items() if letter in letters or (letter == "W" and tells_colours(letters))
    )


def light(letter: str) -> tuple[float, float, float]:
    """What red, green and blue of a screen a letter's light looks like, 0 to 1; white, and all others, as white.

    From memory: amber.
    """
    return _LIGHT.get(letter, (1.0, 1.0, 1.0))


def colour_name(lit: Collection[str]) -> str | None:
    """The name of the colour that exactly these letters show together; None where it has none."""
    return _OF_LETTERS.get(frozenset(lit))
