"""How light goes with the channels of several pixels at once: what a pixel shows that takes some of each."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from patcher.clip.spots import Series
from patcher.film.shown import pure
from patcher.frames.film_code import Code

BY_COLOUR = 0.2
"""Of how well light goes with several channels, so much is a matter of its colours."""


def channels_seen(light: Series, code: Code, mixed: NDArray[np.int32], letters: str) -> NDArray[np.float64]:
    """How well light goes with running channels, the cycle beginning in bin 0: shape (places,), from 0 to 1.

    A lens and a bright light mix colours, but not moments: what counts most is the share of the light's changes that
    are those of the channels, in whatever colours; the rest is how well the colours agree.

    Args:
        light: shape (places, bins, 3).
        code: what is played.
        mixed: the channels of each place, -1 for what does not play: shape (places, letters).
        letters: the colour of each channel.
    """
    drive = code.drive(mixed.astype(np.int64)).astype(np.float64)
    meant = np.einsum("nlb,lc->nbc", drive, pure(letters))
    left, energy, driven, agree = np.zeros((4, len(light)))
    for bins in np.split(np.arange(light.shape[1]), code.segments):
        changes, coloured, table = (
            part - part.mean(axis=1, keepdims=True)
            for part in (light[:, bins].astype(np.float64), meant[:, bins], drive[:, :, bins].transpose(0, 2, 1))
        )
        left += ((changes - table @ (np.linalg.pinv(table) @ changes)) ** 2).sum(axis=(1, 2))
        energy += (changes**2).sum(axis=(1, 2))
        driven += (coloured**2).sum(axis=(1, 2))
        agree += (changes * coloured).sum(axis=(1, 2))
    size = np.sqrt(energy * driven)
    colours = np.divide(agree, size, out=np.zeros(len(light)), where=size > 0)
    moments = 1 - np.divide(left, energy, out=np.ones(len(light)), where=energy > 0)
    return (1 - BY_COLOUR) * moments + BY_COLOUR * colours.clip(0, 1)
