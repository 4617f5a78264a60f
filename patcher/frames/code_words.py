"""The words of the film's code: BCH(31,16) segments, chosen so that no two of them are near and none stays long alike.

A word has a segment for each colour; each segment is 31 symbols of 0 or 1. Source: R. C. Bose and D. K. Ray-Chaudhuri,
"On a class of error correcting binary group codes", Information and Control 3 (1960); the generator polynomial of the
(31,16) code, octal 107657, from S. Lin and D. J. Costello, Error Control Coding, table of primitive BCH codes.
"""

from __future__ import annotations

from functools import cache

import numpy as np
from numpy.typing import NDArray

SYMBOLS = 31
"""Symbols of a segment."""
LEAST_DISTANCE = 7
"""Symbols in which two segments of the code differ at least: it corrects three."""
_GENERATOR, _CHECKS = 0o107657, 15
_FIELD = 1 << 16 | 1 << 12 | 1 << 3 | 1 << 1 | 1
"""x¹⁶ + x¹² + x³ + x + 1, which is primitive: it mixes a message anew for each segment."""
_FIRST_POWER, _NEXT_POWER = 3, 5
_ONES = (12, 19)
"""A segment has so many ones, so that it is neither dark nor bright for long."""
_ALIKE = 8
"""So many equal symbols follow each other at most, so that a segment never looks like a light that stays."""
_SEED = 31

Words = NDArray[np.uint8]


@cache
def words(segments: int) -> Words:
    """Every word of so many segments, in an order in which neighbours are not alike: shape (words, segments, 31)."""
    messages = np.arange(1, 1 << 16, dtype=np.int64)
    parts = [_bits(_encoded(_multiplied(messages, _FIRST_POWER + _NEXT_POWER * n))) for n in range(segments)]
    every = np.stack(parts, axis=1)
    ones = every.sum(axis=2)
    kept = ((ones >= _ONES[0]) & (ones <= _ONES[1]) & (_longest_alike(every) <= _ALIKE)).all(axis=1)
    found: Words = every[kept][np.random.default_rng(_SEED).permutation(int(kept.sum()))]
    found.setflags(write=False)
    return found


def _encoded(messages: NDArray[np.int64]) -> NDArray[np.int64]:
    """The systematic code words of 16-bit messages: the message, then what is left of its division."""
    left = messages << _CHECKS
    for bit in range(SYMBOLS - 1, _CHECKS - 1, -1):
        left = np.where(left >> bit & 1, left ^ _GENERATOR << bit - _CHECKS, left)
    return messages << _CHECKS | left


def _multiplied(messages: NDArray[np.int64], power: int) -> NDArray[np.int64]:
    """Messages times a power of x, modulo the field's polynomial."""
    for _ in range(power):
        messages = messages << 1
        messages = np.where(messages >> 16, messages ^ _FIELD, messages)
    return messages


def _bits(numbers: NDArray[np.int64]) -> Words:
    return (numbers[:, None] >> np.arange(SYMBOLS - 1, -1, -1) & 1).astype(np.uint8)


def _longest_alike(every: Words) -> NDArray[np.int64]:
    """The longest row of equal symbols in each segment: shape (words, segments)."""
    row = np.ones(every.shape[:2], dtype=np.int64)
    longest = row.copy()
    for at in range(1, SYMBOLS):
        row = np.where(every[..., at] == every[..., at - 1], row + 1, 1)
        longest = np.maximum(longest, row)
    return longest
