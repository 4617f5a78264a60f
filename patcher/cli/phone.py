"""`phone`: a page for the phone in a person's pocket, while this machine stands in the warm."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import ShowFile, load, load_patch
from patcher.errors import refuse
from patcher.trade import PRIORITY

if TYPE_CHECKING:
    from patcher.phone.content import Content
    from patcher.stream.sender import Target

PORT = 8420
"""Of the E1.31 streams, as a sender has it that is not told otherwise."""


def phone(
    show: ShowFile,
    address: Annotated[
        str, typer.Option(metavar="ADDRESS", help="Address of this machine to serve on; else this machine alone.")
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(min=0, max=65535, help="TCP port; 0: any that is free.")] = PORT,
    yard: Annotated[bool, typer.Option("--yard", help="Send to `patcher yard` on this machine.")] = False,
    hold: Annotated[float, typer.Option(min=1, max=86400, help="Seconds without any phone, then all goes dark.")] = 60,
    interface: Annotated[str | None, typer.Option(help="Address of this machine to send from.")] = None,
) -> None:
    """Serve a page for your phone, by which you test from the ladder; Ctrl-C ends it, and leaves everything dark."""
    from patcher.cli.frame_target import frame_goals
    from patcher.cli.send import need_yard, say_others
    from patcher.phone.authentication import Authentication
    from patcher.phone.connections import listen
    from patcher.phone.content import WHOLE
    from patcher.phone.desk import Desk
    from patcher.phone.pages import Pages
    from patcher.phone.session import Session
    from patcher.phone.walk_thread import WalkThread
    from patcher.terminal.signals import stopping

    _fitting(address, yard=yard, interface=interface)

    def goals(plan: Content) -> list[Target]:
        return frame_goals(show, plan.wiring, plan.patch, yard=yard)

    plan = _read(show, 1)
    if not plan.find(WHOLE).parts:
        raise refuse(str(show), "has no pixels to light", "hang a run on a port")
    if yard:
        need_yard(goals(plan), show)
    desk = Desk(plan, hold)
    with stopping() as stop, listen(address, port) as own:
        if not yard:
            say_others(goals(plan), PRIORITY, interface, stop)
        entry = Authentication(address, own.getsockname()[1])
        walks = WalkThread(desk, lambda number: _read(show, number))
        pages = Pages(yard=yard, hold=hold)
        evening = Session(desk, entry, walks, pages, goals, "127.0.0.1" if yard else interface)
        evening.go(own, stop, lambda: _say(entry.url, address, hold))
    if desk.failed:
        raise refuse("phone", desk.failed, "start it again")
    print("Ended; all is dark.")


def _fitting(address: str, *, yard: bool, interface: str | None) -> None:
    from patcher.stream.interfaces import interfaces

    if yard and interface:
        raise refuse("--interface", "does not go with --yard, which stays on this machine", "leave one of them out")
    own = interfaces()
    if address not in [one.address for one in own]:
        remedy = f"choose from: {', '.join(map(str, own))}"
        raise refuse("--address", f"this machine has no address {address}", remedy)


def _read(show: Path, number: int) -> Content:
    from patcher.phone.content import Content

    wiring = load(show)
    return Content(number, show, wiring, load_patch(show, wiring))


def _say(url: str, address: str, hold: float) -> None:
    """Where the page is, and its code to scan."""
    import segno

    print(url)
    segno.make(url, error="m", micro=False).terminal(sys.stdout, compact=True, border=2)
    where = "on this machine alone; --address lets a phone in" if address.startswith("127.") else "on this network"
    print(f"Scan it with the phone: it is served {where}. Whoever has this code can light the show.")
    print(f"Without any phone for {hold:g} s all goes dark. Ctrl-C ends it.", flush=True)
