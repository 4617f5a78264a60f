"""The words of the film's code, against libraries for error-correcting codes."""

from functools import cache
from itertools import pairwise
from types import ModuleType
from typing import Any

import bchlib
import numpy as np
import pytest

from patcher.frames.code_words import LEAST_DISTANCE, SYMBOLS, words
from rig.examples import later

FIRST = 5_000


@cache
def judge() -> tuple[ModuleType, Any]:
    """Judge: galois (PyPI), and its code, whose generator polynomial it finds from the roots.

    It compiles itself when it is read, which takes seconds, so that is done only where it is asked.
    """
    import galois

    return galois, galois.BCH(31, 16)


def number(bits: np.ndarray) -> np.ndarray:
    """Bits, the highest first, as whole numbers."""
    return bits.astype(np.int64) @ (1 << np.arange(bits.shape[-1])[::-1])


@pytest.mark.long
def test_the_generator_is_that_of_the_code_that_corrects_three() -> None:
    # Source: Lin and Costello, table of primitive BCH codes (from memory): (31, 16), t = 3, octal 107657.
    galois, code = judge()
    assert int(code.generator_poly) == 0o107657
    assert (code.n, code.k, code.t, code.d) == (31, 16, 3, 7)
    # Source: Bose and Ray-Chaudhuri: the product of the minimal polynomials of α, α³ and α⁵, by galois.
    field = galois.GF(2**5, irreducible_poly="x^5 + x^2 + 1")
    alpha = field.primitive_element
    parts = [(alpha**power).minimal_poly() for power in (1, 3, 5)]
    assert [part.degree for part in parts] == [5, 5, 5]
    assert parts[0] * parts[1] * parts[2] == code.generator_poly
    assert code.d == LEAST_DISTANCE


@pytest.mark.long
def test_the_field_that_mixes_the_messages_is_one() -> None:
    # Judge: galois: x¹⁶ + x¹² + x³ + x + 1 is primitive
    assert judge()[0].Poly.Degrees([16, 12, 3, 1, 0]).is_primitive()


@pytest.mark.long
@pytest.mark.parametrize("segments", [3, 4, 5])
def test_each_segment_is_a_word_of_the_code(segments: int) -> None:
    # Judge: galois encodes the first 16 symbols of each segment
    galois, code = judge()
    own = words(segments)[:: 1 + len(words(segments)) // 3_000].reshape(-1, SYMBOLS)
    assert np.array_equal(np.array(code.encode(galois.GF2(own[:, :16]))), own)


def test_bchlib_has_the_same_words_and_mends_three_symbols() -> None:
    # Judge: bchlib (PyPI), the coder of Linux: 16 bits of data, then 15 of its own, its polynomial x⁵ + x² + 1
    coder = bchlib.BCH(3, prim_poly=0b100101)
    assert coder.ecc_bits == 15
    rng = np.random.default_rng(17)
    for word in words(3)[rng.choice(len(words(3)), 300, replace=False)].reshape(-1, SYMBOLS):
        data = int(number(word[:16])).to_bytes(2, "big")
        checks = bytes(coder.encode(data))
        assert int.from_bytes(checks, "big") >> 1 == number(word[16:])
        broken = word.copy()
        broken[rng.choice(SYMBOLS, 3, replace=False)] ^= 1
        got = bytearray(int(number(broken[:16])).to_bytes(2, "big"))
        rest = bytearray((int(number(broken[16:])) << 1).to_bytes(2, "big"))
        assert coder.decode(data=got, recv_ecc=rest) == 3
        coder.correct(data=got, ecc=rest)
        assert bytes(got) == data


@pytest.mark.long
@pytest.mark.parametrize("segments", [3, 4])
def test_each_segment_has_the_message_mixed_anew(segments: int) -> None:
    # Judge: galois multiplies in GF(2¹⁶): by x³ for the first segment, and by x⁵ more for each after it
    field = judge()[0].GF(2**16, irreducible_poly="x^16 + x^12 + x^3 + x + 1")
    messages = number(words(segments)[:, :, :16])
    x = field(2)
    plain = field(messages[:, 0]) / x**3
    for segment in range(segments):
        assert np.array_equal(np.array(plain * x ** (3 + 5 * segment)), messages[:, segment])


def times_x(messages: np.ndarray) -> np.ndarray:
    """Times x in GF(2¹⁶), by hand: x¹⁶ is x¹² + x³ + x + 1."""
    return (messages << 1) ^ np.where(messages >> 15, 0b1_0001_0000_0000_1011, 0)


def test_each_segment_has_the_message_of_the_one_before_times_x_to_the_fifth_in_a_field() -> None:
    # Source: the same two rules as by galois, worked out by hand: x has the order 2¹⁶ − 1, so this is a field
    power, order = times_x(np.array(1)), 1
    while power != 1:
        power, order = times_x(power), order + 1
    assert order == 2**16 - 1
    messages = number(words(4)[:, :, :16])
    for before, after in pairwise(messages.T):
        for _ in range(5):
            before = times_x(before)
        assert np.array_equal(before, after)


@pytest.mark.parametrize(
    ("segments", "kept", "least"), [(3, 33_838, [24, 14, 7]), *later((4, 27_167, [35, None, None, 7]))]
)
def test_how_far_the_words_are_apart(segments: int, kept: int, least: list[int | None]) -> None:
    # Source: the design's figures, which a prototype measured: 24 whole, 14 with a segment dead, 7 with two;
    # of four segments: 35 of 124. Here by scalar products.
    assert len(words(segments)) == kept
    own = words(segments)[:FIRST]
    assert len(np.unique(number(words(segments)[:, 0, :16]))) == kept  # no two have one message
    apart = []
    for segment in range(segments):
        bits = own[:, segment].astype(np.float32)
        ones = bits.sum(axis=1)
        found = ones[:, None] + ones - 2 * bits @ bits.T
        np.fill_diagonal(found, SYMBOLS)
        apart.append(found.astype(np.int16))
    alive = {segments: [range(segments)], 1: [[one] for one in range(segments)]}
    alive |= {segments - 1: [[each for each in range(segments) if each != dead] for dead in range(segments)]}
    for dead, wanted in enumerate(least):
        if wanted is not None:
            assert min(int(sum(apart[each] for each in some).min()) for some in alive[segments - dead]) == wanted


@pytest.mark.parametrize("segments", [3, 4])
def test_no_segment_is_dark_bright_or_alike_for_long(segments: int) -> None:
    # Source: the design: 12 to 19 ones a segment, no more than 8 alike in a row; here as text
    texts = ["".join(map(str, part)) for part in words(segments).reshape(-1, SYMBOLS).tolist()]
    assert {text.count("1") for text in texts} == set(range(12, 20)) & {text.count("1") for text in texts}
    assert min(text.count("1") for text in texts) == 12
    assert max(text.count("1") for text in texts) == 19
    assert not any("0" * 9 in text or "1" * 9 in text for text in texts)
    assert any("0" * 8 in text for text in texts)  # it is not stricter than it says


def test_the_words_are_the_same_each_time_and_nobody_writes_in_them() -> None:
    # Source: what is played by one process is read by another
    first = words(3)[:2, 0]
    words.cache_clear()
    assert np.array_equal(words(3)[:2, 0], first)
    with pytest.raises(ValueError, match="read-only"):
        words(3)[0, 0, 0] = 1


def test_neighbours_are_not_alike() -> None:
    # Source: the sentence of `words`; on the mean they are as far apart as any two
    own = words(3)[:FIRST].reshape(FIRST, -1)
    steps = (own[1:] != own[:-1]).sum(axis=1)
    assert abs(steps.mean() - 93 / 2) < 1
