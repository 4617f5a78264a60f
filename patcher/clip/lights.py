"""The lights of a clip: which pixel's word plays at which point of the picture, and in which colours.

Where two pixels hang in one place, or too close for the picture, a spot plays the sum of their words: the clearest is
read, taken out, and what is left is read again.
"""

from __future__ import annotations

from dataclasses import dataclass, fields, replace

import numpy as np
from numpy.typing import NDArray

from patcher.clip.decode import Numbers, Templates, clear, decode
from patcher.clip.registration import Points
from patcher.clip.spots import Series
from patcher.frames.film_code import Channels

SURE, APART = 0.6, 0.12
"""A word is read where it goes so well with the light, and so much better than any other. Noise comes to 0.45 with
20 000 words, another word beside the right one to 0.48 (24 of 93 symbols differ)."""
WORTH = 0.42
"""A word that goes no better with a spot is not taken out to look for a second one."""
GLOW = 9.0
"""Points around a light within which a fainter one with the same word is its glow."""
REFLECTED, REFLECTED_AT_A_PLACE = 0.6, 0.3
"""A light with less than this part of the light of another one with the same word is its reflection; the same where a
pixel is planned to hang."""
TWICE = 3
"""So many words are looked for at one spot at most."""


@dataclass(frozen=True, eq=False)
class Lights:
    """What was read, a row for each word at each spot.

    Attributes:
        at: points of the picture: shape (lights, 2).
        pixel: whose word it is, a number of the code.
        agrees: how well the word goes with the light, others at the same spot taken out: 1 is all the same.
        swing: by how many grey levels red, green and blue go with it in each segment: shape (lights, segments, 3).
        error: by how many grey levels noise lets each of those be off, on the mean of squares.
        parts: how well each segment goes with the word: shape (lights, segments).
        flux: how much light of its own comes from around it on the mean, in grey levels: shape (lights,).
    """

    at: Points
    pixel: Channels
    agrees: Numbers
    swing: Numbers
    error: Numbers
    parts: Numbers
    flux: Numbers

    def __len__(self) -> int:
        return len(self.pixel)

    def and_also(self, more: Lights) -> Lights:
        """With others behind them."""
        return Lights(*(np.concatenate([getattr(each, one.name) for each in (self, more)]) for one in fields(self)))

    def of(self, rows: NDArray[np.generic]) -> Lights:
        """Some of them."""
        return Lights(*(getattr(self, one.name)[rows] for one in fields(self)))


def lights(
    at: Points, light: Series, own: Templates, flux: Numbers | None = None, tint: Series | None = None
) -> Lights:
    """All words that are read for sure at some spots.

    Args:
        at: the spots.
        light: of each; the cycle begins in bin 0.
        own: the words.
        flux: how much light comes from around each; None: alike.
        tint: their light as far as its colour is to be believed; None: that is the same.
    """
    tint = light if tint is None else tint
    flux = np.zeros(len(at), dtype=np.float32) if flux is None else flux
    words = _likely(light, own)
    found, spot = _none(own), np.empty(0, dtype=np.int64)
    for number in range(TWICE):
        rows = np.array([row for row, each in enumerate(words) if len(each) > number], dtype=np.int64)
        if len(rows):
            others = [[pixel for pixel in words[row] if pixel != words[row][number]] for row in rows]
            read = decode(clear(without(light[rows], others, own), own), own)
            sure = (read.agrees > SURE) & (read.agrees - read.next_best > APART)
            sure &= read.pixel == np.array([words[row][number] for row in rows])
            here, pixel = rows[sure], read.pixel[sure]
            beside = [words for words, one in zip(others, sure, strict=True) if one]
            alone = without(tint[here], beside, own, pixel)
            more = Lights(at[here], pixel, read.agrees[sure], *swing(alone, own, pixel), read.parts[sure], flux[here])
            found, spot = found.and_also(more), np.concatenate([spot, here])
    return strongest(replace(found, flux=found.flux * _share(found, spot)))


def _share(every: Lights, spot: Channels) -> Numbers:
    """The part of the light around each that is its own: less where another word at its spot swings more. A light that
    is mirrored onto another one is bright there by the other's light.
    """
    strength = every.swing.clip(0).sum(axis=(1, 2))
    both = np.bincount(spot, strength)[spot] if len(spot) else strength
    found: Numbers = np.minimum(1, 2 * strength / np.maximum(both, 1e-6)).astype(np.float32)
    return found


def _likely(light: Series, own: Templates) -> list[list[int]]:
    """The words that may play at each spot, clearest first: each is taken out before the next is looked for."""
    words: list[list[int]] = [[] for _ in light]
    rows = np.arange(len(light))
    for _ in range(TWICE):
        if not len(rows):
            break
        read = decode(clear(without(light[rows], [words[row] for row in rows], own), own), own)
        worth = read.agrees > WORTH
        for row, pixel in zip(rows[worth].tolist(), read.pixel[worth].tolist(), strict=True):
            if pixel not in words[row]:
                words[row].append(pixel)
        rows = rows[worth]
    return words


def strongest(every: Lights) -> Lights:
    """Lights without those that are but the glow of a stronger one nearby with the same word."""
    strength = every.swing.sum(axis=(1, 2))
    kept: list[int] = []
    of_pixel: dict[int, list[int]] = {}
    for row in np.argsort(-strength, kind="stable").tolist():
        others = of_pixel.setdefault(int(every.pixel[row]), [])
        if all(np.hypot(*(every.at[row] - every.at[other])) > GLOW for other in others):
            others.append(row)
            kept.append(row)
    return every.of(np.array(sorted(kept), dtype=np.int64))


def direct(every: Lights, at_a_place: NDArray[np.bool_] | None = None) -> Lights:
    """Lights without reflections: of those with one word, without what has much less light than the brightest.

    Args:
        every: the lights.
        at_a_place: which of them are where a pixel is planned, None: none. Hardly a reflection lies just there, and of
            two pixels that take the same data one may look much brighter.
    """
    most = np.zeros(int(every.pixel.max(initial=-1)) + 1, dtype=np.float32)
    np.maximum.at(most, every.pixel, every.flux)
    least = REFLECTED if at_a_place is None else np.where(at_a_place, REFLECTED_AT_A_PLACE, REFLECTED)
    return every.of(np.flatnonzero(every.flux >= least * most[every.pixel]))


def _none(own: Templates) -> Lights:
    segments = len(own.inner)
    return Lights(
        np.empty((0, 2)), np.empty(0, dtype=np.int64), np.empty(0, dtype=np.float32),
        np.empty((0, segments, 3), dtype=np.float32), np.empty((0, segments, 3), dtype=np.float32),
        np.empty((0, segments), dtype=np.float32), np.empty(0, dtype=np.float32),
    )  # fmt: skip


def without(light: Series, words: list[list[int]], own: Templates, kept: Channels | None = None) -> Series:
    """Light without what goes with some words, each spot's own, by least squares in each segment and colour.

    Args:
        light: of each spot.
        words: those to take out.
        own: all words.
        kept: one more that plays at each spot, and is left in; None: no other is known to.
    """
    most = max((len(each) for each in words), default=0)
    if most == 0:
        return light
    left = light.astype(np.float32, copy=True)
    for count in range(1, most + 1):
        rows = np.array([row for row, each in enumerate(words) if len(each) == count], dtype=np.int64)
        if not len(rows):
            continue
        these = np.array([words[row] for row in rows])
        table = own.words[these if kept is None else np.column_stack([these, kept[rows]])]
        for bins in own.inner:
            basis = table[:, :, bins].transpose(0, 2, 1)
            normal = np.einsum("nbi,nbj->nij", basis, basis) + 1e-3 * np.eye(table.shape[1], dtype=np.float32)
            part = left[np.ix_(rows, bins)]
            level = part - part.mean(axis=1, keepdims=True)
            gain = np.linalg.solve(normal, np.einsum("nbi,nbc->nic", basis, level))
            left[np.ix_(rows, bins)] = part - np.einsum("nbi,nic->nbc", basis[:, :, :count], gain[:, :count])
    return left


def swing(light: Series, own: Templates, pixel: Channels) -> tuple[Numbers, Numbers]:
    """By how many grey levels red, green and blue go with the word of a pixel in each segment, and by how many noise
    lets that be off: two of shape (spots, segments, 3).
    """
    words = own.words[pixel]
    found: list[Numbers] = []
    error: list[Numbers] = []
    for bins in own.inner:
        part, word = light[:, bins] - light[:, bins].mean(axis=1, keepdims=True), words[:, bins]
        goes = np.einsum("nb,nbc->nc", word, part) / len(bins)
        left = part - word[:, :, None] * goes[:, None]
        found.append(goes)
        error.append(np.sqrt((left**2).mean(axis=1) / len(bins)))
    return np.stack(found, axis=1), np.stack(error, axis=1)
