"""`listen`: who sends what on the network, which boxes answer, and which pixels all of it would light."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import load, load_patch
from patcher.cli.options import AsJson
from patcher.errors import refuse
from patcher.trade import FIRST_UNIVERSE, HIGHEST_UNIVERSE

if TYPE_CHECKING:
    from patcher.listener.listen_session import ListenedShow, Outcome

USUAL_UNIVERSES = "1-64"
"""What is listened to where nothing says which."""
USUAL_SECONDS = 4.0


def listen(
    show: Annotated[Path | None, typer.Argument(metavar="[SHOW]", help="The show file, if any.")] = None,
    universe: Annotated[
        str | None, typer.Option(metavar="1-20,64", help="E1.31 universes to listen to, besides the show's.")
    ] = None,
    interface: Annotated[
        str | None, typer.Option(metavar="ADDRESS", help="Address of this machine to listen on.")
    ] = None,
    seconds: Annotated[
        float | None, typer.Option(metavar="N", min=0.1, max=86400, help="How long to listen.  [default: 4]")
    ] = None,
    watch: Annotated[bool, typer.Option("--watch", help="Listen until Ctrl-C; report each change.")] = False,
    boxes: Annotated[bool, typer.Option("--boxes/--no-boxes", help="Ask the show's boxes whether they are on.")] = True,
    yard: Annotated[bool, typer.Option("--yard", help="Listen to `patcher yard` on this machine only.")] = False,
    as_json: AsJson = False,
) -> None:
    """List who sends what on the network, and who collides.

    Also which boxes answer, and which pixels it would light.
    """
    from patcher.listener import listen_session
    from patcher.reports.listen_report import changes, document, say
    from patcher.terminal.printed import say_json
    from patcher.terminal.signals import stopping

    if yard and (interface is not None or show is None):
        raise refuse("--yard", "goes with a show and without --interface", "write: patcher listen SHOW --yard")
    interface = "127.0.0.1" if yard else interface
    _check_interface(interface)
    scene = _scene(show, boxes=boxes, yard=yard)
    universes = _universes(universe, scene)
    ends = seconds if seconds is not None else float("inf") if watch else USUAL_SECONDS
    with stopping() as stop:
        outcome = listen_session.listen(
            scene, universes, interface, lambda lasted: stop() or lasted >= ends,
            changes(scene) if watch and not as_json else None,
        )  # fmt: skip
    ticked = _tick(show, outcome) if show is not None else []
    if as_json:
        say_json(document(outcome) | {"ticked": ticked})
    else:
        say(outcome)
        if ticked:
            practice = " (practice)" * yard
            print(f"\nTicked off as typed in{practice}: address and protocol of {', '.join(ticked)}.")
    if any(finding.severity != "note" for finding in outcome.findings):
        raise typer.Exit(1)


def _check_interface(interface: str | None) -> None:
    """PatcherError where this machine has no such address, or where it is a group's or everyone's."""
    import socket

    from patcher.show.tables import station_address

    if interface is None:
        return
    try:
        station_address(interface)
        with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as tried:
            tried.bind((interface, 0))
    except (OSError, ValueError):
        from patcher.listener.listen_sockets import own_addresses

        says = f"this machine has no address {interface}"
        raise refuse("--interface", says, f"choose from: {', '.join(own_addresses())}") from None


def _scene(show: Path | None, *, boxes: bool, yard: bool) -> ListenedShow:
    from patcher.listener.listen_session import ListenedShow

    if show is None:
        return ListenedShow()
    wiring = load(show)
    patch = load_patch(show, wiring)
    hosts = {box: wiring.show.controllers[box].address for box in patch.boxes} if boxes else {}
    if not yard:
        return ListenedShow(wiring, patch, hosts)
    from patcher.yard.yard import addresses, is_running

    hosts |= {box: host for box, host in addresses(show, wiring.show).items() if box in hosts}
    return ListenedShow(wiring, patch, hosts, yard=True, yard_runs=is_running(show))


def _universes(text: str | None, scene: ListenedShow) -> list[int]:
    """The E1.31 universes to join, rising: those named, and the show's; the usual ones where that is none."""
    from patcher.listener.listen_sockets import MOST_GROUPS

    shows = set(scene.patch.universes) if scene.patch is not None else set()
    named = text or ("" if shows else USUAL_UNIVERSES)
    found = sorted(shows.union(*map(_range, named.split(",") if named else ())))
    if len(found) > MOST_GROUPS:
        if text:
            says = f"{len(found)} universes are more than the {MOST_GROUPS} that can be listened to at once"
            raise refuse("--universe", says, "name fewer")
        print(
            f"Listening to the first {MOST_GROUPS} of {len(found)} universes; --universe names others.", file=sys.stderr
        )
    return found[:MOST_GROUPS]


def _range(text: str) -> range:
    """The universes of `7` or of `1-20`."""
    first, dash, last = (piece.strip() for piece in text.partition("-"))
    numbers = [first, last] if dash else [first]
    if not all(number.isascii() and number.isdigit() and len(number) < 6 for number in numbers):
        raise refuse("--universe", f"“{text}” is neither a universe nor a range of them", "write it like 1-20,64")
    low, high = int(numbers[0]), int(numbers[-1])
    if not FIRST_UNIVERSE <= low <= high <= HIGHEST_UNIVERSE:
        says = f"“{text}” is not a rising range within {FIRST_UNIVERSE} to {HIGHEST_UNIVERSE}"
        raise refuse("--universe", says, "write it like 1-20,64")
    return range(low, high + 1)


def _tick(show: Path, outcome: Outcome) -> list[str]:
    """Keep what Art-Net boxes said that they listen to; the boxes that thereby are ticked off.

    A box that answers ArtPoll at its address, for all its Port-Addresses, has its address and its protocol. What else
    is typed in, it does not say.
    """
    from patcher.patch import entered
    from patcher.patch.patch_file import change_entered, read_entered, read_patch
    from patcher.season.ticks import Answered
    from patcher.season.ticks_file import change_ticks
    from patcher.walk.record_file import local_time

    scene = outcome.scene
    wiring, patch = scene.wiring, scene.patch
    heard = {box.box: box for box in outcome.boxes if box.answers == "ArtPoll"}
    if wiring is None or patch is None or not heard or read_patch(show) is None:
        return []
    now = local_time()
    said = {name: Answered(box.port_addresses, now) for name, box in heard.items()}
    change_ticks(show, lambda kept: kept.heard(said), practice=scene.yard)
    waiting = entered.todo(read_entered(show, practice=scene.yard), wiring, patch).boxes
    ready = [
        change.controller
        for change in waiting
        if (box := heard.get(change.controller)) and set(box.universes) <= set(box.port_addresses)
    ]
    if ready:
        own = [(box, entered.OWN) for box in ready]
        change_entered(show, lambda kept: entered.typed(kept, wiring, patch, own), practice=scene.yard)
    return ready
