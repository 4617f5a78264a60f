"""The copper of a show as a netlist for ngspice: a second definition of the network, from the tables of the file alone.

Nothing here is taken from `patcher.limits`. Every conductor is a resistor of its own, every pixel a source of current
from its V+ to its ground, every supply an ideal source of voltage. What no V+ leads to from a supply draws nothing.
Nodes with no length of wire between them are one node: of the micrometres that stand there in `patcher.limits`, ngspice
makes errors of millivolts (its rounding; Kirchhoff's law then fails by milliamperes).
"""

from __future__ import annotations

import subprocess
from collections.abc import Iterator
from dataclasses import dataclass, field
from itertools import pairwise
from math import pi
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import networkx as nx
import numpy as np

from rig.judges import judge

Tables = dict[str, Any]
Node = tuple[str, str, int]
"""A conductor, `+` or `-`; what it is at, a run or a supply; the pixel, from 1, or 0 for a supply."""
PIVOTS = "0.5"
"""How much smaller a pivot may be than the largest of its column; ngspice's own 0.001 loses digits in copper."""
SURE = 1e-6
"""Volts by which ngspice may miss the volts of a source."""
# Source: IEC 60228, class 5, largest Ω/km at 20 °C.
CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1: 19.5, 1.5: 13.3, 2.5: 7.98, 4: 4.95, 6: 3.30, 10: 1.91}


def ohms_a_metre(wire: Tables, celsius: float) -> float | None:
    """Of one conductor; None where the table names no wire."""
    # Source: IEC 60028: 0.017241 Ω·mm²/m at 20 °C, 0.393 % more a kelvin. From memory: ASTM B258: AWG 36 is 0.005 inch,
    # AWG 0000 is 0.46, and 39 equal steps of ratio lie between them.
    warm = 1 + 0.00393 * (celsius - 20)
    if "awg" in wire:
        millimetres = 25.4 * 0.005 * (0.46 / 0.005) ** ((36 - wire["awg"]) / 39)
        return 0.017241 / (pi * millimetres**2 / 4) * warm
    return CLASS_5[wire["mm2"]] / 1000 * warm if "mm2" in wire else None


@dataclass
class Netlist:
    """Copper, sources and loads; `text` is what ngspice reads.

    Attributes:
        pixels: how many each hung run has.
        wires: first node, second node, ohms.
        supplies: volts of each.
        loads: V+ node, ground node, amperes, and the volts for which they are said where the power is constant.
        names: what ngspice calls each node that it is shown.
    """

    pixels: dict[str, int] = field(default_factory=dict)
    wires: list[tuple[Node, Node, float]] = field(default_factory=list)
    supplies: dict[str, float] = field(default_factory=dict)
    loads: list[tuple[Node, Node, float, float | None]] = field(default_factory=list)
    names: dict[Node, str] = field(default_factory=dict)

    def pair(self, first: tuple[str, int], second: tuple[str, int], ohms: float, *, plus: bool = True) -> None:
        """Two conductors, or ground alone."""
        self.wires += [((sign, *first), (sign, *second), ohms) for sign in ("+-" if plus else "-")]

    def fed(self) -> set[Node]:
        """Every V+ node that copper joins to a supply."""
        copper = nx.Graph((first, second) for first, second, _ in self.wires if first[0] == "+")
        plus = [("+", name, 0) for name in self.supplies]
        return {node for start in plus if start in copper for node in nx.node_connected_component(copper, start)}

    def text(self) -> str:
        """The netlist, its operating point asked for."""
        fed = self.fed()
        loads = [load for load in self.loads if load[0] in fed]
        copper = [wire for wire in self.wires if wire[0][0] == "-" or wire[0] in fed]
        supplies = [name for name in self.supplies if ("+", name, 0) in fed]
        whole = nx.Graph((first, second) for first, second, _ in copper)
        whole.add_edges_from((("+", name, 0), ("-", name, 0)) for name in supplies)
        whole.add_edges_from(load[:2] for load in loads)
        same = nx.Graph((first, second) for first, second, ohms in copper if ohms == 0)
        same.add_nodes_from(whole)
        self.names = {}
        for part in nx.connected_components(whole):
            minus = next((("-", name, 0) for name in supplies if ("-", name, 0) in part), None)
            for joint in nx.connected_components(same.subgraph(part)) if minus else ():
                self.names |= dict.fromkeys(joint, "0" if minus in joint else f"n{len(self.names)}")
        return "\n".join(self._lines(copper, supplies, loads))

    def _lines(self, copper: list, supplies: list[str], loads: list) -> Iterator[str]:
        names = self.names
        yield "* the copper of a show"
        yield f".options reltol=1e-7 abstol=1e-9 vntol=1e-8 gmin=1e-15 pivrel={PIVOTS} itl1=500"
        for number, (first, second, ohms) in enumerate(copper):
            if first in names and names[first] != names[second]:
                yield f"r{number} {names[first]} {names[second]} {ohms!r}"
        for number, name in enumerate(supplies):
            yield f"v{number} {names['+', name, 0]} {names['-', name, 0]} {self.supplies[name]!r}"
        most = max(self.supplies.values(), default=0.0)
        for number, (plus, minus, amps, rated) in enumerate(loads):
            first, second = names[plus], names[minus]
            if rated is None:
                yield f"i{number} {first} {second} {amps!r}"
            else:
                yield f"b{number} {first} {second} i={amps * rated!r}/max(v({first},{second}),{rated / 4!r})"
        if any(load[3] is not None for load in loads):
            yield from (f".nodeset v({name})={most!r}" for node, name in names.items() if node[0] == "+")
        yield ".op"
        yield ".end\n"


@dataclass(frozen=True)
class Verdict:
    """Volts of each pixel of each hung run, NaN where no supply leads to it; amperes of each supply."""

    volts: dict[str, np.ndarray]
    amps: dict[str, float]


def netlist(tables: Tables, level: float, celsius: float = 20.0) -> Netlist:
    """The network of a show with every pixel white at a level; what the file leaves unsaid is a KeyError."""
    metre = 0.3048 if tables["show"].get("units") == "ft" else 1.0
    net = Netlist(supplies={name: float(supply["volts"]) for name, supply in tables.get("supply", {}).items()})
    runs = {name: run for name, run in tables.get("run", {}).items() if run.get("hung", True)}
    boxes = {run: box for box in tables["controller"].values() for chain in box["port"].values() for run in chain}

    def ohms(metres: float, wire: Tables) -> float:
        each = ohms_a_metre(wire, celsius)
        if each is None:
            raise KeyError("awg")
        return metres * metre * each

    def lead(name: str) -> float:
        own = {key: runs[name][f"lead_{key}"] for key in ("awg", "mm2") if f"lead_{key}" in runs[name]}
        return ohms(runs[name].get("lead", 0.0), own or tables["pixel"][runs[name]["pixel"]])

    for name, run in runs.items():
        kind = tables["pixel"][run["pixel"]]
        places = lamps(tables, name)
        net.pixels[name] = len(places)
        for pixel in range(1, len(places)):
            metres = abs(places[pixel] - places[pixel - 1]) * kind["pitch"]
            cut = pixel + 1 in run.get("power_cuts", ())
            net.pair((name, pixel), (name, pixel + 1), ohms(metres, kind), plus=not cut)
        source = name
        while "same_data_as" in tables["run"][source]:
            source = tables["run"][source]["same_data_as"]
        white = level * boxes[source].get("level", 1.0) * kind["channel_ma"] * len(kind.get("colour_order", "RGB"))
        rated = kind["volts"] if kind.get("draw") == "power" else None
        for pixel in range(1, len(places) + 1):
            asleep = 1 + run.get("nulls", 0) if pixel == 1 else 1
            amps = (asleep * kind["idle_ma"] + white) / 1000
            net.loads.append((("+", name, pixel), ("-", name, pixel), amps, rated))
        if run.get("same_data_as") in runs:
            net.pair((run["same_data_as"], 1), (name, 1), lead(name), plus=False)
    for box in tables["controller"].values():
        for chain in box["port"].values():
            before = None
            for name in (name for name in chain if name in runs):
                if before is not None:
                    joined = runs[name].get("power_joined", True)
                    net.pair((before, net.pixels[before]), (name, 1), lead(name), plus=joined)
                before = name
    for name in tables.get("feed", {}):
        for here, there, metres in trunk(tables, name):
            net.pair(here, there, ohms(metres, tables["feed"][name]))
    return net


def lamps(tables: Tables, name: str) -> list[int]:
    """The drawn place of each pixel of a run, in data order."""
    run = tables["run"][name]
    if run.get("shape") == "grid":
        count = run["columns"] * run["rows"]
    elif run.get("shape") == "points":
        count = len(run["at"])
    else:
        count = run["pixels"]
    if isinstance(run.get("data_in"), int):  # round a closed outline: places go on counting behind its last
        begin, step = run["data_in"], -1 if run.get("backwards") else 1
        gone = [begin + step * number for number in range(count)]
        return [place for place in gone if (place - 1) % count + 1 not in run.get("gaps", ())]
    places = [place for place in range(1, count + 1) if place not in run.get("gaps", ())]
    return places[::-1] if run.get("data_in") == "last" else places


def trunk(tables: Tables, name: str) -> Iterator[tuple[tuple[str, int], tuple[str, int], float]]:
    """Each piece of a feed's wire: from where, to where, how long, in the file's unit."""
    feed = tables["feed"][name]
    here = (feed["supply"], 0) if "supply" in feed else joints(tables, feed["from"])[feed["tap"] - 1][-1][:2]
    for tap in joints(tables, name):
        for run, pixel, metres in tap:
            yield here, (run, pixel), metres
            here = run, pixel


def joints(tables: Tables, name: str) -> list[list[tuple[str, int, float]]]:
    """Where each tap of a feed joins: the run, the pixel, the wire from the joint before. At a run that is not hung it
    hangs loose: the feed goes on from there, and joins nothing else that hangs loose.
    """
    found = []
    for number, tap in enumerate(tables["feed"][name]["taps"], start=1):
        places = lamps(tables, tap["run"])
        if "every" in tap:
            pixels = [pixel for pixel in range(1, len(places) + 1) if (pixel - 1) % tap["every"] == 0]
            if pixels[-1] != len(places):
                pixels.append(len(places))
        else:
            pixels = [{"first": 1, "last": len(places)}.get(tap["pixel"], tap["pixel"])]
        lengths = [tap["length"]]
        for before, pixel in pairwise(pixels):
            pitch = tables["pixel"][tables["run"][tap["run"]]["pixel"]]["pitch"]
            lengths.append(abs(places[pixel - 1] - places[before - 1]) * pitch)
        hung = tables["run"][tap["run"]].get("hung", True)
        there = tap["run"] if hung else f"tap {number} of {name}, loose"
        found.append([(there, pixel, length) for pixel, length in zip(pixels, lengths, strict=True)])
    return found


class NoOperatingPointError(Exception):
    """ngspice finds no voltages that fulfil the equations."""


def run_ngspice(text: str) -> dict[str, float]:
    """Every voltage and current of the operating point of a netlist, by ngspice's names.

    Raises:
        NoOperatingPointError: it does not converge.
    """
    # Judge: ngspice 39 (Debian); its raw file holds whole doubles.
    with TemporaryDirectory() as folder:
        deck, raw = Path(folder, "deck.cir"), Path(folder, "out.raw")
        deck.write_text(text)
        command = [judge("ngspice", "ngspice"), "-b", "-r", str(raw), str(deck)]
        ran = subprocess.run(command, capture_output=True, text=True, timeout=120)
        said = ran.stdout + ran.stderr
        if not raw.exists() or "singular" in said or "failed" in said or "aborted" in said:
            raise NoOperatingPointError(said)
        head, _, body = raw.read_bytes().partition(b"Binary:\n")
    variables = head.decode().partition("Variables:\n")[2].splitlines()
    numbers = np.frombuffer(body, dtype=float)
    return {line.split()[1]: float(number) for line, number in zip(variables, numbers, strict=True)}


def _sure(net: Netlist, text: str) -> dict[str, float]:
    """The operating point, with the choice of pivots at which ngspice keeps what it was told of the sources.

    Where a supply hangs on the rest by one ground wire its elimination may lose the volts of the source by rounding.
    """
    for pivots in ("0.5", "1e-3", "0.9", "0.05"):
        found = run_ngspice(text.replace(f"pivrel={PIVOTS}", f"pivrel={pivots}")) | {"v(0)": 0.0}
        across = [
            found[f"v({net.names['+', name, 0]})"] - found[f"v({net.names['-', name, 0]})"] - volts
            for name, volts in net.supplies.items()
            if ("+", name, 0) in net.names
        ]
        if np.abs(across).max() < SURE:
            return found
    raise AssertionError("ngspice contradicts its own sources, so it is no judge of this network")


def ask(net: Netlist) -> Verdict:
    """What ngspice says of a network.

    Raises:
        NoOperatingPointError: it does not converge.
    """
    fed = net.fed()
    text = net.text()
    found = _sure(net, text) if net.names else {}

    def volts(run: str, pixel: int) -> float:
        if ("+", run, pixel) not in fed:
            return np.nan
        plus, minus = (found[f"v({net.names[sign, run, pixel]})"] for sign in "+-")
        return plus - minus

    pixels = {run: np.array([volts(run, pixel) for pixel in range(1, count + 1)]) for run, count in net.pixels.items()}
    sources = iter(name for name in net.supplies if ("+", name, 0) in fed)
    amps = dict.fromkeys(net.supplies, 0.0)
    return Verdict(pixels, amps | {name: -found[f"i(v{number})"] for number, name in enumerate(sources)})
