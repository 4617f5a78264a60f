"""A yard at the show's own addresses, for a network namespace of tests: `python -m rig.far_yard SHOW PATTERN LEVEL`.

The picture is held against the last look of the pattern: of a ramp that is full, of others the only one. Says "ready",
then a line of JSON whenever something changes:

`wrong`    the runs that do not look as planned
`lit`      whether any pixel is
`back`     how often a pixel grew darker
`ended`    the E1.31 universes whose stream was ended
`silence`  on "end" only: the longest time in seconds for which a universe had nothing, since it was first heard

A line on standard input, "end", says that from now on pixels may grow darker.
"""

import json
import select
import sys
import time
from pathlib import Path

import numpy as np

from patcher.cli.inputs import load, load_patch
from patcher.faults import Built
from patcher.frames import patterns, still_patterns
from patcher.frames.looks import COLOURS
from patcher.frames.request import STEPPED_RAMP
from patcher.listener.receiver import Datagram, Ear, Receiver
from patcher.patch.thing import whole_show
from patcher.yard.yard import Yard, differences, ears
from rig.loopback import ARTNET, port_address, terminated, universe


class Watch:
    """What is remembered of the yard and of what came."""

    def __init__(self, show: Path, pattern: str, level: float) -> None:
        self.wiring = load(show)
        self.patch = load_patch(show, self.wiring)
        self.level = level
        everything = (self.wiring, self.patch, whole_show(self.wiring))
        if pattern == "ramp":
            self.look = patterns.ramp(*everything, COLOURS["white"], STEPPED_RAMP, 1.0).look(int(STEPPED_RAMP) // 2)
        else:
            self.look = still_patterns.edges(*everything).look(0)
        self.yard = Yard(self.wiring, self.patch, Built())
        self.before = self.brightness()
        self.back = 0
        self.may_darken = False
        self.ended: set[int] = set()
        self.heard: dict[tuple[int, int], float] = {}
        self.silence = 0.0

    def ears(self) -> dict[Ear, list[str]]:
        """The boxes' own addresses; groups are joined where the multicast box has its address."""
        controllers = self.wiring.show.controllers
        hosts = {name: one.address for name, one in controllers.items() if one.address}
        (joins,) = (one.address for one in controllers.values() if one.delivery == "multicast")
        return {
            Ear(ear.host, ear.port, ear.interface and joins): boxes
            for ear, boxes in ears(self.wiring.show, self.patch, hosts).items()
        }

    def brightness(self) -> np.ndarray:
        return np.concatenate([lamps.max(axis=1) for lamps in self.yard.pixels.values()])

    def compare(self) -> None:
        now = self.brightness()
        if not self.may_darken:
            self.back += int((now < self.before).sum())
        self.before = now

    def take(self, one: Datagram, boxes: list[str], now: float) -> None:
        """One by one, so that nothing goes by unseen."""
        self.yard.hear([(boxes, one.octets, one.sender)], now)
        self.compare()
        if one.ear.port == ARTNET:
            which = (ARTNET, port_address(one.octets))
        else:
            which = (one.ear.port, universe(one.octets))
            if terminated(one.octets):
                self.ended.add(which[1])
        if not self.may_darken:
            self.silence = max(self.silence, now - self.heard.get(which, now))
        self.heard[which] = now

    def close_silence(self, now: float) -> None:
        self.silence = max([self.silence, *(now - then for then in self.heard.values())])
        self.may_darken = True

    def state(self) -> dict:
        wrong = [one.run for one in differences(self.look, self.level, self.wiring, self.yard)]
        found = {"wrong": wrong, "lit": self.yard.lit() > 0, "back": self.back, "ended": sorted(self.ended)}
        return found | {"silence": self.silence if self.may_darken else None}


def main() -> None:
    watch = Watch(Path(sys.argv[1]), sys.argv[2], float(sys.argv[3]))
    heard_by = watch.ears()
    said: dict | None = None
    with Receiver(heard_by) as receiver:
        print("ready", flush=True)
        while True:
            got = receiver.poll(0.01)
            now = time.monotonic()
            for one in got:
                watch.take(one, heard_by[one.ear], now)
            watch.yard.expire(now)
            watch.compare()
            if not watch.may_darken and select.select([sys.stdin], [], [], 0)[0]:
                sys.stdin.readline()
                watch.close_silence(now)
            if (state := watch.state()) != said:
                said = state
                print(json.dumps(state), flush=True)


if __name__ == "__main__":
    main()
