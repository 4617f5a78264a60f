"""The wiring as one graph: controllers → ports → runs → runs, and from a run to those that share its data (tees).

A node is what a person calls the thing: `lockhouse`, `lockhouse/1`, `towpath`; a port's has its number. An edge of kind
`port` leads from a controller to its port; one of kind `lead` is a cable; one of kind `tee` joins a run to a run that
hangs on the same data. Chains and order are read off the graph.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import networkx as nx

from patcher import lead_ways
from patcher.errors import Finding
from patcher.show.run_tables import BandRun, Run
from patcher.show.schema import GridProp, Show

EdgeKind = Literal["port", "lead", "tee"]


def port_name(controller: str, port: int) -> str:
    """A port as it is named everywhere: `lockhouse/1`."""
    return f"{controller}/{port}"


@dataclass(frozen=True, eq=False)
class Wiring:
    """What hangs on what.

    Attributes:
        show: the show that is wired.
        graph: the graph described at the head of this file, frozen.
    """

    show: Show
    graph: nx.DiGraph[str]

    def _next(self, node: str, kind: EdgeKind) -> list[str]:
        return [behind for behind, edge in self.graph[node].items() if edge["kind"] == kind]

    def _before(self, node: str, kind: EdgeKind) -> list[str]:
        return [before for before, edge in self.graph.pred[node].items() if edge["kind"] == kind]

    @cached_property
    def chains(self) -> dict[tuple[str, int], tuple[str, ...]]:
        """Each port's runs in data order, for every port that has any; only of a wiring without errors."""
        found: dict[tuple[str, int], tuple[str, ...]] = {}
        for controller in self.show.controllers:
            for port in self._next(controller, "port"):
                chain: list[str] = []
                node = port
                while behind := self._next(node, "lead"):
                    node = behind[0]
                    chain.append(node)
                found[controller, self.graph.nodes[port]["number"]] = tuple(chain)
        return found

    @cached_property
    def ports(self) -> dict[str, tuple[str, int]]:
        """The controller and port of every run; a tee has its run's."""
        found = {run: port for port, chain in self.chains.items() for run in chain}
        return found | {run: found[self.source(run)] for run in self.show.runs if run not in found}

    @cached_property
    def _sources(self) -> dict[str, str]:
        """The run on whose data each tee hangs; only of a wiring without errors."""
        found: dict[str, str] = {}
        for name in self.show.runs:
            way = [name]
            while way[-1] not in found and (before := self._before(way[-1], "tee")):
                way.append(before[0])
            found |= dict.fromkeys(way[:-1], found.get(way[-1], way[-1]))
        return found

    def source(self, run: str) -> str:
        """The run on whose data `run` hangs: itself, but for a tee."""
        return self._sources.get(run, run)

    def joined_to(self, run: str) -> list[str]:
        """The runs that hang on the data of `run`, joined to that very run."""
        return self._next(run, "tee")

    def tees(self, run: str) -> tuple[str, ...]:
        """The runs that share the data of `run`, directly or through another tee."""
        found: list[str] = []
        waiting = self.joined_to(run)[::-1]
        while waiting:
            found.append(waiting.pop())
            waiting += self.joined_to(found[-1])[::-1]
        return tuple(found)

    def lead_has_power(self, run: str) -> bool:
        """Whether a run's lead is to have V+ in it: only from a run before it of the same volts, where the file cuts
        nothing. A box's port gives data and ground.
        """
        runs, kind = self.show.runs, self.show.type_of
        before = next((runs[name] for name in self._before(run, "lead") if name in runs), None)
        if before is None or not runs[run].takes_power_on:
            return False
        volts = {kind(before).volts, kind(runs[run]).volts} - {None}
        return len(volts) < 2

    def of_controller(self, controller: str) -> dict[int, tuple[str, ...]]:
        """The chains of one controller by port, in the order of the ports."""
        numbers = sorted(self.graph.nodes[port]["number"] for port in self._next(controller, "port"))
        return {number: self.chains[controller, number] for number in numbers}


def wire(show: Show) -> Wiring:
    """The graph of a show, sound or not: `problems` says which."""
    graph: nx.DiGraph[str] = nx.DiGraph()
    graph.add_nodes_from(show.runs)
    graph.add_nodes_from(show.controllers)
    for name, controller in show.controllers.items():
        for number, chain in sorted(controller.port.items()):
            if not chain:
                continue
            node = port_name(name, number)
            graph.add_node(node, number=number)
            graph.add_edge(name, node, kind="port")
            for run_name in chain:
                if run_name in show.runs:
                    graph.add_edge(node, run_name, kind="lead")
                    node = run_name
    for name, run in show.runs.items():
        if run.same_data_as in show.runs:
            graph.add_edge(run.same_data_as, name, kind="tee")
    return Wiring(show, nx.freeze(graph))


def _wrong(rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("error", rule, "wiring", where, says, remedy)


def problems(wiring: Wiring, *, complete: bool = True) -> list[Finding]:
    """Everything in the wiring that cannot be.

    Args:
        wiring: the wiring of a show, or of what could be read of it.
        complete: whether every table could be read; if not, nothing is said of what seems to be missing.
    """
    show = wiring.show
    found = [*_hung_twice(wiring), *_not_hung(show), *_rings(wiring), *_addresses(show), *_ports(show)]
    found += lead_ways.problems(show)
    for run in show.runs.values():
        if run.same_data_as in show.runs:
            found += _tee(show, run, show.runs[run.same_data_as])
        elif complete and not wiring.graph.pred[run.name]:
            says = "hangs on no port, so its pixels get no channels"
            remedy = "add it to a port, or take it out; patcher propose SHOW finds ports for runs that are drawn"
            found.append(_wrong("no-port", f"run.{run.name}", says, remedy))
    return found


def _hung_twice(wiring: Wiring) -> Iterator[Finding]:
    places: dict[str, list[str]] = {}
    for controller in wiring.show.controllers.values():
        for number, chain in controller.port.items():
            for run in chain:
                places.setdefault(run, []).append(port_name(controller.name, number))
    for run, ports in places.items():
        if len(ports) > 1:
            says = f"hangs in {len(ports)} places: {', '.join(ports)}"
            if len(set(ports)) == 1:
                says = f"is listed {len(ports)} times on {ports[0]}"
            yield _wrong("hung-twice", f"run.{run}", says, "leave it in one place; a tee is a run with same_data_as")


def _not_hung(show: Show) -> Iterator[Finding]:
    """Runs that are not up this season, with one behind them: the box sends for them, and the next run takes that."""
    for controller in show.controllers.values():
        for number, chain in controller.port.items():
            behind = ""  # the first run behind that hangs
            for run in (show.runs[name] for name in reversed(chain) if name in show.runs):
                if run.hung:
                    behind = run.name
                elif behind:
                    says = f"is not hung, but {behind} comes after it on {port_name(controller.name, number)}: "
                    says += f"the box goes on sending for {run.name}, and {behind} would show that"
                    remedy = "move it to the end of its port’s list, or take it out this season"
                    yield _wrong("not-hung", f"run.{run.name}.hung", says, remedy)


def _rings(wiring: Wiring) -> Iterator[Finding]:
    graph = wiring.graph
    tees = nx.DiGraph((a, b) for a, b, edge in graph.edges(data=True) if edge["kind"] == "tee")
    for ring in nx.simple_cycles(tees):
        says = f"takes its data from itself, in a ring: {' → '.join([*ring, ring[0]])}"
        yield _wrong("tee-ring", f"run.{ring[0]}.same_data_as", says, "name the run that hangs on a port")


def _addresses(show: Show) -> Iterator[Finding]:
    owner: dict[str, str] = {}
    for controller in show.controllers.values():
        if controller.address is None:
            continue
        other = owner.setdefault(controller.address, controller.name)
        if other != controller.name:
            says = f"is {controller.address}, which {other} has already"
            yield _wrong("same-address", f"controller.{controller.name}.address", says, "give each box its own")


def _ports(show: Show) -> Iterator[Finding]:
    for controller in show.controllers.values():
        where = f"controller.{controller.name}"
        if controller.spare and any(controller.port.values()):
            yield _wrong("spare", where, "is a spare, yet runs hang on it", "take spare = true out, or the runs")
        for number, chain in controller.port.items():
            place = f"{where}.port.{number}"
            if number > controller.ports:
                says = f"is not a port of the box: it has {controller.ports}"
                yield _wrong("port-lacking", place, says, "use another port, or correct ports = …")
            runs = [show.runs[name] for name in chain if name in show.runs and _counted(show, show.runs[name])]
            pixels = sum(run.pixels + run.nulls for run in runs)
            if controller.port_pixels is not None and pixels > controller.port_pixels:
                over = pixels - controller.port_pixels
                says = (
                    f"carries {pixels} pixels with its nulls, {over} more than port_pixels = {controller.port_pixels}"
                )
                yield _wrong("port-pixels", place, says, _shorter(runs, controller.port_pixels))


def _shorter(runs: Sequence[Run], most: int) -> str:
    """What to do about a port that carries more pixels than it may: a run that is too long alone fits no other."""
    if long := [run.name for run in runs if run.pixels + run.nulls > most]:
        alone = f"{', '.join(long)} alone {'is' if len(long) == 1 else 'are'} too long for such a port"
        return f"{alone}: correct the number of pixels, or make two runs of it, on two ports"
    return "move a run to another port"


def _counted(show: Show, run: Run) -> bool:
    return not isinstance(run, BandRun) or isinstance(show.props.get(run.of), GridProp)


def _tee(show: Show, tee: Run, source: Run) -> Iterator[Finding]:
    where = f"run.{tee.name}"
    on_port = [c.name for c in show.controllers.values() if any(tee.name in chain for chain in c.port.values())]
    if on_port:
        says = f"shares the data of {source.name}, yet hangs on a port of {on_port[0]}"
        yield _wrong("tee", where, says, "take it off the port, or take same_data_as out")
    if not (_counted(show, tee) and _counted(show, source)):
        return
    if tee.pixels != source.pixels:
        says = f"has {tee.pixels} pixels, but {source.name}, whose data it shares, has {source.pixels}"
        yield _wrong("tee", where, says, "a tee is as long as its run")
    if tee.nulls != source.nulls:
        says = f"has nulls = {tee.nulls}, but {source.name}, whose data it shares, has {source.nulls}"
        yield _wrong("tee", f"{where}.nulls", says, "give both the same nulls, or the tee shows another pixel's data")
    kinds = [show.pixel_types.get(run.pixel) for run in (tee, source)]
    if kinds[0] and kinds[1] and kinds[0].channels != kinds[1].channels:
        says = f"has pixels of {kinds[0].channels} channels, {source.name} of {kinds[1].channels}"
        yield _wrong("tee", f"{where}.pixel", says, "a tee has pixels that take as many channels as its run's")
