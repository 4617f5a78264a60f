"""The patch: the chain of each start, laid pixel by pixel on channels.

A chain's next pixel goes on the next channels if it fits before channel 512, else on channel 1 of the next universe;
so a pixel never straddles two universes. A place in the patch is counted as a *running channel*: channel 1 of
universe 1 is 0, channel 1 of universe 2 is 512.
"""

from __future__ import annotations

from bisect import bisect_right
from collections.abc import Container, Iterator, Mapping
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from patcher.trade import CHANNELS, USUAL_CHANNELS

Places = NDArray[np.int64]
"""Running channels, or numbers of pixels from 0."""


def running(universe: int, channel: int) -> int:
    """The running channel, from 0, of a universe and a channel that count from 1."""
    return (universe - 1) * CHANNELS + channel - 1


def written(at: int) -> tuple[int, int]:
    """Universe and channel, from 1, of a running channel."""
    universe, channel = divmod(at, CHANNELS)
    return universe + 1, channel + 1


def address(at: int) -> str:
    """A running channel as a person reads it: `3/100`."""
    universe, channel = written(at)
    return f"{universe}/{channel}"


def first_fit(at: int, channels: int) -> int:
    """Where a pixel of `channels` channels goes that would stand at `at`: there, or on the next universe."""
    room = CHANNELS - at % CHANNELS
    return at if channels <= room else at + room


def universe_from(at: int) -> int:
    """The first running channel from `at` on that begins a universe."""
    return -(-at // CHANNELS) * CHANNELS


def behind(at: int, pixels: int, channels: int) -> int:
    """The running channel just behind `pixels` pixels that are laid from `at`."""
    if pixels == 0:
        return at
    at = first_fit(at, channels)
    here = min(pixels, (CHANNELS - at % CHANNELS) // channels)
    left = pixels - here
    if left == 0:
        return at + here * channels
    whole, rest = divmod(left - 1, CHANNELS // channels)
    return (at // CHANNELS + 1 + whole) * CHANNELS + (rest + 1) * channels


def pieces(at: int, pixels: int, channels: int) -> Iterator[tuple[int, int]]:
    """Where pixels laid from `at` lie, universe by universe: (running channel, how many)."""
    while pixels:
        at = first_fit(at, channels)
        here = min(pixels, (CHANNELS - at % CHANNELS) // channels)
        yield at, here
        at += here * channels
        pixels -= here


def pixel_places(at: int, pixels: Places, channels: int) -> Places:
    """The running channel of the first channel of each pixel (from 0) of a run that is laid from `at`.

    Pixels may lie before the first or behind the last: they stand where counting on would lay them.
    """
    at = first_fit(at, channels)
    whole = CHANNELS // channels
    here = (CHANNELS - at % CHANNELS) // channels
    beyond = pixels - here
    further = (at // CHANNELS + 1 + beyond // whole) * CHANNELS + beyond % whole * channels
    return np.where(beyond < 0, at + pixels * channels, further)


@dataclass(frozen=True, slots=True)
class Link:
    """One run in the chain of a start.

    Attributes:
        port: the port that it hangs on.
        run: its name.
        pixels: how many pixels it has.
        channels: channels that one of its pixels takes.
        nulls: null pixels before its first pixel that take channels.
    """

    port: int
    run: str
    pixels: int
    channels: int = USUAL_CHANNELS
    nulls: int = 0


@dataclass(frozen=True, slots=True)
class Span:
    """Pixels of one run that lie together in one universe; everything counts from 1, both ends included."""

    controller: str
    port: int
    run: str
    first_pixel: int
    last_pixel: int
    universe: int
    first_channel: int
    last_channel: int

    @property
    def width(self) -> int:
        """Channels that one of its pixels takes."""
        return (self.last_channel - self.first_channel + 1) // (self.last_pixel - self.first_pixel + 1)


@dataclass(frozen=True, slots=True)
class Chain:
    """What has a start of its own, before it has one.

    Attributes:
        controller: the box.
        port: its port; None where the whole box has one start.
        run: its run, where each run has a start of its own.
        links: its runs in data order.
    """

    controller: str
    port: int | None
    run: str | None
    links: tuple[Link, ...]

    @property
    def key(self) -> str:
        """What stands left of the equals sign in a pin: the run, the port's number or the box."""
        return self.run or (str(self.port) if self.port is not None else self.controller)

    @property
    def name(self) -> str:
        """The thing as it is named everywhere: BOX, BOX/PORT or RUN."""
        return self.run or (f"{self.controller}/{self.port}" if self.port is not None else self.controller)

    @property
    def pixels(self) -> int:
        """Pixels, without nulls."""
        return sum(link.pixels for link in self.links)

    @property
    def port_pixels(self) -> dict[int, int]:
        """Of each port that it covers its pixels, without nulls: these are typed into the box besides its start."""
        found: dict[int, int] = {}
        for link in self.links:
            found[link.port] = found.get(link.port, 0) + link.pixels
        return found

    def end(self, at: int) -> int:
        """The running channel just behind the chain, laid from `at`."""
        for link in self.links:
            at = behind(at, link.nulls + link.pixels, link.channels)
        return at


@dataclass(frozen=True)
class Start:
    """A chain and where it begins: what is typed into the box."""

    chain: Chain
    universe: int
    channel: int

    @property
    def controller(self) -> str:
        """The box that it is typed into."""
        return self.chain.controller

    @property
    def address(self) -> str:
        """Its first channel as a person reads it: `3/100`."""
        return f"{self.universe}/{self.channel}"

    @cached_property
    def at(self) -> int:
        """The running channel of its first channel."""
        return running(self.universe, self.channel)

    @cached_property
    def end(self) -> int:
        """The running channel just behind its last."""
        return self.chain.end(self.at)

    @property
    def universes(self) -> range:
        """The universes that it touches, which follow each other."""
        return range(self.universe, written(self.end - 1)[0] + 1)

    def laid(self) -> Iterator[tuple[Link, int, int, int]]:
        """Each link with the running channels at which its data begins (its null pixels included), at which its first
        pixel stands, and just behind its last.
        """
        at = self.at
        for link in self.chain.links:
            first = first_fit(behind(at, link.nulls, link.channels), link.channels)
            end = behind(first, link.pixels, link.channels)
            yield link, first_fit(at, link.channels), first, end
            at = end

    def placed(self) -> Iterator[tuple[Link, int]]:
        """Each link with the running channel of its first pixel."""
        return ((link, first) for link, _, first, _ in self.laid())

    def spans(self) -> Iterator[Span]:
        """The spans of its pixels in data order; nulls have none."""
        for link, at in self.placed():
            first = 1
            for where, count in pieces(at, link.pixels, link.channels):
                universe, channel = written(where)
                last_channel = channel + count * link.channels - 1
                yield Span(
                    self.controller, link.port, link.run, first, first + count - 1, universe, channel, last_channel
                )
                first += count


@dataclass(frozen=True, eq=True)
class Patch:
    """The whole assignment of channels to pixels, as the starts from which it follows."""

    starts: tuple[Start, ...]

    @property
    def pixels(self) -> int:
        """Pixels that have channels, without nulls."""
        return sum(start.chain.pixels for start in self.starts)

    @property
    def channels(self) -> int:
        """Channels of those pixels."""
        return sum(link.pixels * link.channels for start in self.starts for link in start.chain.links)

    @cached_property
    def boxes(self) -> Mapping[str, tuple[Start, ...]]:
        """The starts of each box that has any, as they stand in the patch."""
        found: dict[str, list[Start]] = {}
        for start in self.starts:
            found.setdefault(start.controller, []).append(start)
        return {box: tuple(starts) for box, starts in found.items()}

    def starts_named(self, box: str, names: Container[object]) -> list[Start]:
        """Of the starts of a box those of some names."""
        return [start for start in self.boxes.get(box, ()) if start.chain.name in names]

    @cached_property
    def box_universes(self) -> Mapping[str, tuple[int, ...]]:
        """The universes in which each of those boxes has pixels, rising."""
        return {
            box: tuple(sorted({universe for start in starts for universe in start.universes}))
            for box, starts in self.boxes.items()
        }

    @cached_property
    def universes(self) -> tuple[int, ...]:
        """All universes in which the patch has pixels, rising."""
        return tuple(sorted({universe for universes in self.box_universes.values() for universe in universes}))

    def spans(self) -> Iterator[Span]:
        """All spans, start by start in data order."""
        for start in self.starts:
            yield from start.spans()

    @property
    def universe_count(self) -> int:
        """Distinct universes that any start touches."""
        return len(self.universes)

    @cached_property
    def _start_of(self) -> dict[str, Start]:
        return {link.run: start for start in self.starts for link in start.chain.links}

    def has(self, run: str) -> bool:
        """Whether the run has channels of its own; a tee has none."""
        return run in self._start_of

    def start_of(self, run: str) -> Start:
        """The start of whose chain a run is part; KeyError where it has none."""
        return self._start_of[run]

    def link_of(self, run: str) -> tuple[Link, int]:
        """A run's link and the running channel from which its pixels are laid; KeyError where it has none."""
        return self._placed[run]

    @cached_property
    def _placed(self) -> dict[str, tuple[Link, int]]:
        return {link.run: (link, at) for start in self.starts for link, at in start.placed()}

    @cached_property
    def _spans(self) -> dict[str, list[Span]]:
        """The spans of the runs that were asked for, and of those on their starts."""
        return {}

    def run_spans(self, run: str) -> list[Span]:
        """The spans of one run; KeyError where it has none."""
        if run not in self._spans:
            start = self._start_of[run]
            found: dict[str, list[Span]] = {link.run: [] for link in start.chain.links}
            for span in start.spans():
                found[span.run].append(span)
            self._spans.update(found)
        return list(self._spans[run])

    @cached_property
    def _by_place(self) -> tuple[list[int], list[Start]]:
        ordered = sorted(self.starts, key=lambda start: start.at)
        return [start.at for start in ordered], ordered

    def span_at(self, universe: int, channel: int) -> Span | None:
        """The span of one pixel that takes a channel; None where no pixel does."""
        places, ordered = self._by_place
        found = bisect_right(places, running(universe, channel)) - 1
        if found < 0:
            return None
        for span in ordered[found].spans():
            if span.universe == universe and span.first_channel <= channel <= span.last_channel:
                pixel = span.first_pixel + (channel - span.first_channel) // span.width
                return cut(span, pixel, pixel)
        return None


def cut(span: Span, first: int, last: int) -> Span:
    """The part of a span from pixel `first` to pixel `last`, both inside it."""
    begin = span.first_channel + (first - span.first_pixel) * span.width
    end = begin + (last - first + 1) * span.width - 1
    return Span(span.controller, span.port, span.run, first, last, span.universe, begin, end)
