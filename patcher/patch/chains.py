"""The chains of a wiring: everything that has a start address of its own."""

from __future__ import annotations

from patcher.patch.patch import Chain, Link
from patcher.show.schema import Controller, Show
from patcher.wiring import Wiring


def chains(wiring: Wiring) -> list[Chain]:
    """Everything that has a start of its own, controllers in the file's order, ports in theirs."""
    show = wiring.show
    found: list[Chain] = []
    for controller in show.controllers.values():
        ports = wiring.of_controller(controller.name)
        links = {port: tuple(_link(show, controller, port, run) for run in runs) for port, runs in ports.items()}
        if not links:
            continue
        match controller.start_per:
            case "controller":
                every = tuple(link for port in links.values() for link in port)
                found.append(Chain(controller.name, None, None, every))
            case "port":
                found += [Chain(controller.name, port, None, chain) for port, chain in links.items()]
            case "run":
                every_run = [(port, link) for port, chain in links.items() for link in chain]
                found += [Chain(controller.name, port, link.run, (link,)) for port, link in every_run]
    return found


def _link(show: Show, controller: Controller, port: int, name: str) -> Link:
    run = show.runs[name]
    nulls = 0 if controller.skips_nulls else run.nulls
    return Link(port, name, run.pixels, show.type_of(run).channels, nulls)
