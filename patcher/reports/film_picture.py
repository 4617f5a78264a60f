"""The picture of a reading: what is said of each pixel over a darkened still of the clip, with a key and counts."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from patcher.clip import video as clips
from patcher.drawing.canvas import DARK, Area, Canvas, Disc, Shape, Still, Way, Words, as_png, as_svg
from patcher.drawing.svg import fitted, long
from patcher.faults import Fault
from patcher.faults.fault_sentences import sentence
from patcher.film.clip_reading import ClipReading
from patcher.film.proofs import Reading
from patcher.film.verdict import PixelVerdict, Word
from patcher.reports.pixel_marks import COLOURS, NAMES, mark
from patcher.sheets.figures import count, spaced
from patcher.show.writer import UNSEALED, write_output, write_png
from patcher.visible import one_line
from patcher.wiring import Wiring

LONG = 1920
"""Points that the longer side of the still has in the picture."""
TITLE, LARGE, PLAIN = 52, 40, 34
"""Heights of text. On a phone on its side 34 of 1920 points are as high as 2.5 mm."""
EDGE, LINE = 36, 1.3
SMALLEST, LARGEST, PLAIN_ENOUGH, PLAINEST = 1.3, 9.0, 3.2, 6.5
"""Half the width of a mark: at least and at most; at least where a pixel is not proved; at least where it stands alone
then, so that it is found."""
MARGIN, FLATTEST = 0.09, 0.4
"""Parts of the display's longer side that the still shows around it, and that its shorter side has at least."""
CALM, LEAST_RANGE = 1.5, 0.08
"""Points by which the still's noise is spread, and the least range of grey, of 1, over which its darkness is spread."""
FAR = 5.0
"""Times the usual distance from pixel to pixel: what is farther from the one before it is not joined to it."""
ARROWS, MOST_ARROWS = 150.0, 8
"""Points from one arrow along a run to the next, and how many a run has at most."""
MOST_NAMES, MOST_FAULTS = 40, 5
NEAR = 34.0
"""Points from a name to its place, at most, without a line between them."""
UNDER: tuple[Word, ...] = ("proved", "unproved", "faint", "dark-or-hidden", "colour", "other")
"""What is drawn first is drawn below."""
LIGHT, WEAK = "#ffffff", "#b9c2cc"

Points = NDArray[np.float64]
Box = tuple[float, float, float, float]
"""Left, top, right, bottom."""


def draw(reading: Reading, clip: ClipReading, path: Path) -> None:
    """Draw what is said of the pixels of a clip, as a PNG or an SVG by the end of the file's name.

    Raises:
        PatcherError: the file is there and is not such a picture, or it could not be written.
    """
    _, first = next(iter(clips.frames(clip.facts)))
    picture = canvas(reading, clip, first)
    if path.suffix.lower() == ".svg":
        write_output(path, as_svg(picture, f"<!-- {UNSEALED} -->\n"))
    else:
        write_png(path, as_png(picture))


def canvas(reading: Reading, clip: ClipReading, frame: Still) -> Canvas:
    """The picture as values."""
    runs = _seen(reading, clip)
    corner, part = cut(frame, [pixel.at for pixels in runs.values() for pixel in pixels if pixel.at])
    still, scale = darkened(part)
    high, wide = still.shape[:2]
    every = [pixel.word for pixel in reading.joined.verdict.pixels]
    head, top = heading(reading, every, wide)
    drawn = [Drawn(run, pixels, _places(pixels, corner, scale, top)) for run, pixels in runs.items()]
    legend, end = key(every, wide, top + high)
    shapes = (*head, *_over(drawn), *names(drawn, wide, top, top + high), *legend)
    title = f"{reading.plan.wiring.show.settings.title}: proved by film"
    says = ", ".join(f"{every.count(word)} {NAMES[word]}" for word in NAMES if word in every)
    return Canvas(title, says, wide, end, still, top, shapes)


def _seen(reading: Reading, clip: ClipReading) -> dict[str, list[PixelVerdict]]:
    """The pixels of each run that have a place in a clip, with what is said of them by all clips."""
    words = {(pixel.run, pixel.pixel): pixel.word for pixel in reading.joined.verdict.pixels}
    runs: dict[str, list[PixelVerdict]] = {}
    for pixel in clip.verdict.pixels if clip.verdict else ():
        if pixel.at is not None:
            runs.setdefault(pixel.run, []).append(replace(pixel, word=words[pixel.run, pixel.pixel]))
    return runs


def _over(runs: Sequence[Drawn]) -> Iterator[Shape]:
    """The runs over the still: their ways, on these the marks, on these the arrows."""
    for run in runs:
        yield from run.way()
    for word in UNDER:
        for run in runs:
            yield from run.marks(word)
    for run in runs:
        yield from run.arrows()


def cut(frame: Still, places: Sequence[tuple[float, float]]) -> tuple[tuple[int, int], Still]:
    """The part of a frame in which something hangs, with a margin, and its upper left corner; without places all of it.

    It is no flatter and no narrower than `FLATTEST`, so that names have room.
    """
    high, wide = frame.shape[:2]
    if not places:
        return (0, 0), frame
    low, most = np.min(places, axis=0), np.max(places, axis=0)
    margin = MARGIN * max(*(most - low), MARGIN * max(wide, high))
    least = FLATTEST * max(most - low + 2 * margin)
    reach = np.maximum((most - low) / 2 + margin, least / 2)
    size = np.minimum(np.ceil(2 * reach) + 1, [wide, high]).astype(int)
    left, top = np.clip((low + most - size) / 2, 0, [wide, high] - size).astype(int).tolist()
    return (left, top), frame[top : top + size[1], left : left + size[0]]


def darkened(frame: Still) -> tuple[Still, float]:
    """A still in which light and colour stand back behind what is drawn over it, and how much larger it is."""
    import cv2

    scale = LONG / max(frame.shape[:2])
    way = cv2.INTER_AREA if scale < 1 else cv2.INTER_CUBIC
    wide, high = (2 * round(scale * side / 2) for side in frame.shape[1::-1])
    larger = cv2.resize(frame, (wide, high), interpolation=way).astype(np.float32) / 255
    grey = cv2.GaussianBlur(larger @ np.array([0.2126, 0.7152, 0.0722], dtype=np.float32), (0, 0), CALM)
    low, most = np.quantile(grey[::4, ::4], [0.02, 0.9])
    house = np.clip((grey - low) / max(most - low, LEAST_RANGE), 0, 1)  # a dark house before a dark sky is seen, too
    dim = 0.06 + 0.2 * house + 0.18 * grey**0.6
    tinted = np.clip(dim[:, :, None] * np.array([0.85, 0.95, 1.15], dtype=np.float32), 0, 1)
    return np.round(255 * tinted).astype(np.uint8), scale


def _places(pixels: Iterable[PixelVerdict], corner: tuple[int, int], scale: float, top: int) -> Points:
    at = np.array([pixel.at for pixel in pixels], dtype=float).reshape(-1, 2)
    return (at - corner + 0.5) * scale - 0.5 + [0, top]


def _steps(places: Points) -> Points:
    found: Points = np.hypot(*np.diff(places, axis=0).T)
    return found


class Drawn:
    """A run as it is drawn.

    Attributes:
        run: its name.
        pixels: those that have a place in the picture, as the wire was planned.
        places: of those, in points of the picture.
        seen: the positions in `pixels` of those whose data was read, in the order in which that comes: the run's way.
    """

    def __init__(self, run: str, pixels: Sequence[PixelVerdict], places: Points) -> None:
        self.run, self.pixels, self.places = run, pixels, places
        lit = [at for at, pixel in enumerate(pixels) if pixel.lit_by is not None]
        self.seen = sorted(lit, key=lambda at: pixels[at].lit_by or (0, 0))
        steps = _steps(places)
        self.step = float(np.median(steps)) if len(steps) else 12.0
        self.size = float(np.clip(0.34 * self.step, SMALLEST, LARGEST))

    @property
    def begins(self) -> tuple[float, float]:
        """Where the data enters, as it was seen; where nothing was, as planned."""
        x, y = self.places[self.seen[0] if self.seen else 0].tolist()
        return x, y

    def _near(self) -> NDArray[np.bool_]:
        """Whether each step of the way leads to a pixel beside the one before."""
        return _steps(self.places[self.seen]) <= FAR * max(self.step, 2.0)

    def way(self) -> Iterator[Shape]:
        """A line from pixel to pixel, in the colour of what is said of them."""
        places, words = self.places[self.seen], [self.pixels[at].word for at in self.seen]
        near, thin, begin = self._near(), max(1.5, 0.5 * self.size), 0
        for at in range(1, len(places) + 1):
            if at == len(places) or not near[at - 1] or words[at] != words[begin]:
                joined = at < len(places) and bool(near[at - 1])
                part = places[begin : at + joined]
                if len(part) > 1:
                    points = tuple((float(x), float(y)) for x, y in part)
                    yield Way(points, COLOURS[words[begin]], thin, thin)
                begin = at

    def marks(self, word: Word) -> Iterator[Shape]:
        """The marks of the pixels of which a word is said; what stands alone among others is larger."""
        for at, (x, y) in enumerate(self.places.tolist()):
            if self.pixels[at].word == word:
                least = SMALLEST if word == "proved" else PLAINEST if self._alone(at) else PLAIN_ENOUGH
                yield from mark(word, x, y, max(self.size, least))

    def _alone(self, at: int) -> bool:
        """Whether a pixel is not proved, and those beside it are otherwise."""
        beside = [pixel.word for pixel in self.pixels[max(0, at - 2) : at + 3]]
        return self.pixels[at].word != "proved" and beside.count(self.pixels[at].word) < 3

    def kept_free(self) -> list[Box]:
        """What no name may hide: marks that stand alone, and where the data enters."""
        points = [self.begins, *(self.places[at] for at in range(len(self.pixels)) if self._alone(at))]
        return [(float(x) - 9, float(y) - 9, float(x) + 9, float(y) + 9) for x, y in points]

    def arrows(self) -> Iterator[Shape]:
        """Arrows along the way, as the data goes."""
        places, near = self.places[self.seen], self._near()
        along = np.concatenate([[0.0], np.cumsum(np.where(near, _steps(places), 0.0))])
        apart = max(ARROWS, along[-1] / MOST_ARROWS)
        for goal in np.arange(min(apart, along[-1]) / 2, along[-1], apart):
            at = int(np.searchsorted(along, goal))
            ahead = places[at] - places[at - 1]
            length = float(np.hypot(*ahead))
            if at and near[at - 1] and length > 0:
                yield _arrow((places[at] + places[at - 1]) / 2, ahead / length, max(12.0, 1.8 * self.size))


def _entry(x: float, y: float, size: float) -> list[Shape]:
    """Where data enters: a ring with a dot in it."""
    return [Disc(x, y, size, None, DARK, 7), Disc(x, y, size, DARK, LIGHT, 3), Disc(x, y, size / 2.4, LIGHT)]


def _arrow(at: Points, ahead: Points, size: float) -> Shape:
    side = np.array([-ahead[1], ahead[0]])
    corners = [at + size * ahead, at - 0.7 * size * ahead + 0.75 * size * side, at - 0.3 * size * ahead,
               at - 0.7 * size * ahead - 0.75 * size * side]  # fmt: skip
    return Area(tuple((float(x), float(y)) for x, y in corners), LIGHT, DARK, 1.5)


def names(runs: Sequence[Drawn], wide: int, top: int, bottom: int) -> Iterator[Shape]:
    """Where each run's data enters, and its name beside it where there is room."""
    taken: list[Box] = [box for run in runs for box in run.kept_free()]
    named: list[Box] = []
    marks = np.concatenate([np.empty((0, 2)), *(run.places for run in runs)])
    for run in runs[:MOST_NAMES]:
        x, y = run.begins
        yield from _entry(x, y, 12)
        text = fitted(one_line(run.run), 420, PLAIN)
        box = _best_box(x, y, text, (wide, top, bottom), marks, taken, named)
        if box is None:
            continue
        named.append((box[0] - PLAIN / 2, box[1], box[2] + PLAIN / 2, box[3]))
        taken.append(named[-1])
        if _away(x, y, box) > NEAR:  # it might be another's
            line = [(float(x), float(y)) for x, y in _leader(x, y, box).tolist()]
            taken += [(*point, *point) for point in line]
            yield Way((line[0], line[-1]), LIGHT, 2, 2)
        yield Words(box[0], box[3] - PLAIN / 3, text, PLAIN, LIGHT, rim=True)


def _best_box(
    x: float, y: float, text: str, frame: tuple[int, int, int], marks: Points, taken: Iterable[Box],
    named: Iterable[Box],
) -> Box | None:  # fmt: skip
    """Where a name stands best beside its place: within the frame, on nothing else, and on few pixels."""
    wide, top, bottom = frame
    every = list(_beside(x, y, long(text, PLAIN)))
    inside = [box for box in every if box[0] >= 0 and box[2] <= wide and box[1] >= top and box[3] <= bottom]
    room = [box for box in inside if _is_free(box, x, y, taken, named)]
    return min(room, key=lambda box: (_hidden(marks, box) + _away(x, y, box) / 12, box), default=None)


def _is_free(box: Box, x: float, y: float, taken: Iterable[Box], named: Iterable[Box]) -> bool:
    """Whether a name may stand in a box: on nothing else, and no other name in the way to its place."""
    return not any(_meet(box, other) for other in taken) and not any(
        _hidden(_leader(x, y, box), other) for other in named
    )


def _nearest(x: float, y: float, box: Box) -> tuple[float, float]:
    """The point of a name's box that a line from a place leads to."""
    return min(max(x, box[0]), box[2]), min(max(y, box[1] + PLAIN / 4), box[3])


def _away(x: float, y: float, box: Box) -> float:
    """How far a name in a box is from its place."""
    to_x, to_y = _nearest(x, y, box)
    return float(np.hypot(to_x - x, to_y - y))


def _leader(x: float, y: float, box: Box) -> Points:
    """Points on a line from the ring about a place to the name in a box."""
    begin = min(1.0, 12 / max(_away(x, y, box), 1.0))
    found: Points = np.array([x, y]) + np.linspace(begin, 1, 24)[:, None] * (np.array(_nearest(x, y, box)) - [x, y])
    return found


def _hidden(points: Points, box: Box) -> int:
    """How many of some points a name in a box would hide."""
    return int(((points > box[:2]) & (points < box[2:])).all(axis=1).sum())


def _beside(x: float, y: float, length: float) -> Iterator[Box]:
    """The boxes in which a name may stand: beside its place, or above or below it."""
    lefts = [x + away for away in (20.0, 60.0, 120.0, 200.0)]
    lefts += [x - away - length for away in (20.0, 60.0, 120.0, 200.0)]
    places = [(left, down) for left in lefts for down in (-0.6, 1.2, 0.35, -1.8, 2.4, -3.2, 3.8)]
    places += [(x - part * length, down) for down in (-0.9, 1.6, -2.0, 2.8, -3.2, 4.0) for part in (0.2, 0.5, 0.8)]
    for left, down in places:
        base = y + down * PLAIN
        yield left, base - PLAIN, left + length, base + PLAIN / 3


def _meet(one: Box, other: Box) -> bool:
    return one[0] < other[2] and other[0] < one[2] and one[1] < other[3] and other[1] < one[3]


def heading(reading: Reading, words: Sequence[Word], wide: int) -> tuple[list[Shape], int]:
    """The title, how much is proved, and the faults; and how high they are."""
    room, y = wide - 2 * EDGE, EDGE + TITLE * 0.8
    title = fitted(one_line(reading.plan.wiring.show.settings.title), room, TITLE, bold=True)
    shapes: list[Shape] = [Words(EDGE, y, title, TITLE, LIGHT, bold=True)]
    y += LARGE * 1.45
    proved = words.count("proved")
    says = f"{spaced(proved)} of {count(len(words), 'pixel')} proved by film"
    shapes.append(Words(EDGE, y, says, LARGE, COLOURS["proved"], bold=True))
    y += LARGE * 0.6
    shapes += bar(words, y, room)
    y += 16
    for line in fault_lines(reading.joined.verdict.faults, reading.plan.wiring):
        y += PLAIN * LINE
        shapes += mark("other", EDGE + 12, y - PLAIN * 0.34, 11)
        shapes.append(Words(EDGE + 40, y, fitted(one_line(line), room - 40, PLAIN), PLAIN, LIGHT))
    return shapes, round((y + EDGE * 0.8) / 2) * 2


def fault_lines(faults: Sequence[Fault], wiring: Wiring) -> list[str]:
    """The first faults in words, and how many more there are."""
    lines = [sentence(fault, wiring) for fault in faults]
    if len(lines) > MOST_FAULTS:
        lines = [*lines[: MOST_FAULTS - 1], f"and {len(lines) - MOST_FAULTS + 1} more"]
    return lines


def bar(words: Sequence[Word], y: float, room: float) -> Iterator[Shape]:
    """One bar of all pixels, a part for each word, as long as there are many of them."""
    x = float(EDGE)
    for word in NAMES:
        length = room * words.count(word) / max(1, len(words))
        if length:
            yield Area(((x, y), (x + length, y), (x + length, y + 14), (x, y + 14)), COLOURS[word], DARK, 2)
        x += length


def key(words: Sequence[Word], wide: int, top: int) -> tuple[list[Shape], int]:
    """What the marks mean, with their counts, in rows below the still; and where they end."""
    shapes: list[Shape] = []
    x, y = float(EDGE), top + EDGE + PLAIN * 0.8
    for word in NAMES:
        if word not in words:
            continue
        says = f"{spaced(words.count(word))} {NAMES[word]}"
        length = 44 + long(says, PLAIN)
        if x > EDGE and x + length > wide - EDGE:
            x, y = float(EDGE), y + PLAIN * 1.5
        shapes += mark(word, x + 14, y - PLAIN * 0.34, 11)
        shapes.append(Words(x + 40, y, says, PLAIN, LIGHT if word != "unseen" else WEAK))
        x += length + 26
    y += PLAIN * 1.5
    shapes += [*_entry(EDGE + 14, y - PLAIN * 0.34, 12), Words(EDGE + 40, y, "data enters", PLAIN, WEAK)]
    after = EDGE + 40 + long("data enters", PLAIN) + 40
    shapes += [
        _arrow(np.array([after, y - PLAIN * 0.34]), np.array([1.0, 0.0]), 13),
        Words(after + 26, y, "data direction", PLAIN, WEAK),
    ]
    return shapes, round((y + EDGE) / 2) * 2
