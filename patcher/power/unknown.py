"""Why a current or a voltage is not known, in words: what the file lacks, or what is wrong with the wiring."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

import numpy as np
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

from patcher.power.flow import FeedLoad, Power, RunVolts, SupplyLoad
from patcher.power.wires import wire_of
from patcher.show.schema import PixelType

COLLAPSES = "the voltage collapses: its wires cannot bring so much power"
_UNSAID = "the file does not say all that it hangs together with"


class Reasons:
    """Why something of a show's power is not known; an empty text where it is known."""

    def __init__(self, state: Power) -> None:
        self.state, net = state, state.circuit
        links = coo_matrix((np.ones(len(net.ends), bool), (net.ends[:, 0], net.ends[:, 1])), (net.points, net.points))
        _, self.part = connected_components(links, directed=False)
        self.causes: defaultdict[int, dict[str, None]] = defaultdict(dict)
        for point, cause in (*self._joined(), *self._of_runs(), *self._of_feeds()):
            self.causes[int(self.part[point])][cause] = None

    def run(self, found: RunVolts) -> str:
        """Why it is not known whether a run holds."""
        net, drop = self.state.circuit, self.state.drop
        where = net.runs[found.run]
        if found.holds is not None:
            return ""
        if not drop.fed[where].all():
            return "no feed reaches all of it" if drop.fed[where].any() else "no feed reaches it"
        if np.isnan(found.lowest):
            return COLLAPSES if drop.collapsed[where].any() else self._of(where.start)
        return f"pixel.{self._kind(found.run).name} lacks min_volts"

    def feed(self, load: FeedLoad) -> str:
        """Why it is not known what a feed carries, and so which fuse holds."""
        return self._of(self.state.circuit.joins[load.feed.name][0].point) if np.isnan(load.amps) else ""

    def supply(self, load: SupplyLoad) -> str:
        """Why it is not known what a supply gives, in the dark, at the level or at full white."""
        amps = {"": load.dark, f"at level {self.state.level:g} ": load.amps, "at full white ": load.full_white}
        at = next((words for words, value in amps.items() if np.isnan(value)), None)
        if at is None:
            return ""
        why = self._of(self.state.circuit.supplies[load.supply.name])
        return f"{at}{why}" if why == COLLAPSES else why

    def _of(self, point: int) -> str:
        """Why nothing is known of what a point hangs together with."""
        causes = self.causes.get(int(self.part[point]))
        if causes:
            return "; ".join(causes)
        pixels = self.part[: self.state.circuit.pixels] == self.part[point]
        return _UNSAID if not self.state.drop.known[pixels & self.state.drop.fed].all() else COLLAPSES

    def _kind(self, run: str) -> PixelType:
        return self.state.show.type_of(self.state.show.runs[run])

    def _joined(self) -> Iterator[tuple[int, str]]:
        for part in self.state.stretches:
            if len(part.supplies) > 1:
                names = " and ".join(sorted(part.supplies))
                yield int(self.state.circuit.points_of(part)[0]), f"{names} are joined on one V+"

    def _of_runs(self) -> Iterator[tuple[int, str]]:
        """What the file lacks of the pixels and the strings of each run that is fed."""
        net = self.state.circuit
        for run, where in net.runs.items():
            kind = self._kind(run)
            strings = np.isnan(net.ohms[net.strings[run]]).any()
            lead = run in net.leads and np.isnan(net.ohms[net.leads[run]])
            thin = wire_of(kind.awg, kind.mm2) is None
            lacks = {
                "volts": (net.regulated[where] & np.isnan(net.rated[where])).any(),
                "channel_ma": np.isnan(net.full[where]).any(),
                "idle_ma": np.isnan(net.idle[where]).any(),
                "pitch": strings and kind.pitch is None,
                "awg or mm2": (strings or lead) and thin,
            }
            keys = [key for key, is_so in lacks.items() if is_so]
            if keys and self.state.drop.fed[where].any():
                yield where.start, f"pixel.{kind.name} lacks {', '.join(keys)}"

    def _of_feeds(self) -> Iterator[tuple[int, str]]:
        """Feeds with no wire size, or along a run whose pitch is not said."""
        net = self.state.circuit
        for name, joins in net.joins.items():
            feed = self.state.show.feeds[name]
            for join in joins:
                if np.isnan(net.ohms[join.wire]):
                    bare = wire_of(feed.awg, feed.mm2) is None
                    kind = self.state.show.runs[join.run].pixel
                    yield join.point, f"feed.{name} has no wire size" if bare else f"pixel.{kind} lacks pitch"
