"""What a decoder returns in place of a packet that it cannot read.

The rule of this file: bad octets are an ordinary answer, not an exception. Anyone on a network may send anything.
"""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Malformed:
    """A packet that cannot be read.

    Attributes:
        why: what is wrong with it, in words for a person: "the root layer's length says 600 octets but 580 follow".
    """

    why: str
