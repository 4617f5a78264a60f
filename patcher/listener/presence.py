"""Which of a show's boxes are on the network, by what they answered. No socket, no clock."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from patcher.errors import Finding
from patcher.listener.heard import Node
from patcher.patch.patch import Patch
from patcher.sheets.figures import ranges
from patcher.show.schema import Show
from patcher.trade import Protocol

SIMULATED = "yard"
FEW = 4
"""Numbers that are listed one by one."""


@dataclass(frozen=True, slots=True)
class Presence:
    """A box of the show, and whether it is there.

    Attributes:
        box: its name.
        address: where it was asked; None where it was not.
        protocol: what it takes.
        answers: how it answered: "ArtPoll", "echo", "ARP" (it is in the ARP cache), "yard" (it is simulated), or None.
        short_name, long_name, port_addresses: what an Art-Net node says of itself.
        universes: what the patch has for it.
    """

    box: str
    address: str | None
    protocol: Protocol
    answers: str | None
    short_name: str
    long_name: str
    port_addresses: tuple[int, ...]
    universes: tuple[int, ...]


def presences(
    show: Show, patch: Patch, hosts: Mapping[str, str | None], answered: Mapping[str, str], nodes: Iterable[Node]
) -> list[Presence]:
    """Each box that has pixels.

    Args:
        show: the show.
        patch: its patch.
        hosts: where each box was asked.
        answered: how each address answered.
        nodes: the Art-Net nodes that answered.
    """
    node_of = {node.address: node for node in nodes}
    found = []
    for box, universes in patch.box_universes.items():
        host = hosts.get(box)
        node = node_of.get(host or "")
        told = (node.short_name, node.long_name, node.port_addresses) if node else ("", "", ())
        answers = answered.get(host or "")
        found.append(Presence(box, host, show.controllers[box].protocol, answers, *told, universes))
    return found


def findings(boxes: Iterable[Presence], ways: Sequence[str], *, yard_runs: bool = False) -> list[Finding]:
    """What is wrong, or cannot be told, with the boxes.

    Args:
        boxes: as they answered.
        ways: by what they could be asked, in words.
        yard_runs: whether the yard runs that simulates them.
    """
    found = []
    missing = []
    for box in boxes:
        where = f"controller.{box.box}"
        if box.address is None:
            says = "has no address in the show, so it was not asked"
            found.append(_finding("note", "box-not-asked", where, says, f"write {where}.address to have it asked"))
        elif box.answers is None:
            missing.append(box)
        elif box.answers == "ARP" and len(ways) > 1:
            says = f"does not answer at {box.address}; the ARP cache knows it, so it was there some minutes ago at most"
            found.append(
                _finding("note", "box-unsure", where, says, "look at its lights: some boxes do not answer an echo")
            )
        elif box.protocol == "artnet" and box.answers == "echo":
            says = f"is there at {box.address}, but does not answer ArtPoll"
            found.append(_finding("warning", "no-poll-reply", where, says, "check that the box is set to Art-Net"))
        elif box.answers == "ArtPoll" and (not set(box.universes) <= set(box.port_addresses)):
            says = listens_words(box.port_addresses, box.universes)
            remedy = f"type in what `patcher patch` prints for {box.box}"
            found.append(_finding("warning", "port-addresses", where, says, remedy))
    return [*_missing(missing, ways, yard_runs=yard_runs), *found] if missing else found


def _missing(boxes: Sequence[Presence], ways: Sequence[str], *, yard_runs: bool) -> list[Finding]:
    where = f"controller.{boxes[0].box}" if len(boxes) == 1 else "show"
    named = ", ".join(f"{box.box} ({box.address})" for box in boxes)
    if not ways:
        says = f"this machine has neither ICMP echo nor the ping program, so nobody asked: {named}"
        return [_finding("note", "box-not-asked", where, says, "install the ping program")]
    if SIMULATED in ways and yard_runs:
        says = f"the yard runs, but nothing in it answers for {named}"
        remedy = "a dead box of the yard is like that; if it should live, start the yard again: patcher yard SHOW"
        return [_finding("warning", "box-missing", where, says, remedy)]
    if SIMULATED in ways:
        says = f"no yard is running for {named}"
        return [_finding("warning", "box-missing", where, says, "start it in another terminal: patcher yard SHOW")]
    art_net = any(box.protocol == "artnet" for box in boxes)
    asked = ", ".join(way for way in ways if way != "ArtPoll" or art_net)
    says = f"no answer from {named}; asked by {asked}"
    remedy = "check that each is on, its network cable is in, and its address is the one in the show file"
    return [_finding("warning", "box-missing", where, says, remedy)]


def listens_words(port_addresses: Iterable[int], universes: Iterable[int]) -> str:
    """What a box says that it listens to, against what is planned: `listens to 5, 6 of 5, 6, 7: 7 is missing`."""
    said, planned = set(port_addresses), sorted(set(universes))
    heard = [universe for universe in planned if universe in said]
    missing = [universe for universe in planned if universe not in said]
    if not missing:
        return f"listens to {_list(planned)}, as planned"
    verb = "is" if len(missing) == 1 else "are"
    return f"listens to {_list(heard)} of {_list(planned)}: {_list(missing)} {verb} missing"


def _list(numbers: Sequence[int]) -> str:
    """A few numbers one by one, many as ranges; `none` where there are none."""
    return (", ".join(map(str, numbers)) if len(numbers) <= FEW else ranges(numbers)) or "none"


def _finding(severity: str, rule: str, where: str, says: str, remedy: str) -> Finding:
    return Finding("warning" if severity == "warning" else "note", rule, "network", where, says, remedy)
