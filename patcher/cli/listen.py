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
    from patcher.listener.listen_session import ListenedShow

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
    if as_json:
        say_json(document(outcome))
    else:
        say(outcome)
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
