"""`phone`: serves a page for the phone in a person's pocket."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import frame_goals, load, load_patch, need_yard, together
from patcher.cli.options import Interface, ShowFile, Yard
from patcher.errors import refuse
from patcher.trade import PRIORITY

if TYPE_CHECKING:
    from patcher.phone.content import Content
    from patcher.stream.sender import Target

PORT = 8420
"""The TCP port of the page, unless another is named."""
Hold = Annotated[
    float,
    typer.Option(
        metavar="N", min=1, max=86400, help="Black out after N seconds without any phone; 180 at least while filming."
    ),
]


def phone(
    show: ShowFile,
    address: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Address of this machine at which the phone reaches it; else this machine only."
        ),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(metavar="N", min=0, max=65535, help="TCP port; 0: any that is free.")] = PORT,
    yard: Yard = False,
    hold: Hold = 60,
    interface: Interface = None,
) -> None:
    """Serve a page for your phone, to test from the ladder.

    Ctrl-C ends it, and leaves all pixels dark.
    """
    from patcher.cli.phone_film import film_reader
    from patcher.cli.playback import say_others
    from patcher.door.authentication import Authentication
    from patcher.door.connections import listen
    from patcher.phone.content import WHOLE
    from patcher.phone.desk import Desk
    from patcher.phone.film_thread import FilmThread
    from patcher.phone.pages import Pages
    from patcher.phone.session import Session
    from patcher.phone.walk_thread import WalkThread
    from patcher.terminal.signals import stopping

    together(("--interface", interface), ("--yard", yard))
    check_address(address)

    def goals(plan: Content) -> list[Target]:
        return frame_goals(show, plan.wiring, plan.patch, yard=yard)

    plan = _read(show, 1, practice=yard)
    if not plan.find(WHOLE).parts:
        raise refuse(str(show), "has no pixels to light", "hang a run on a port")
    if yard:
        need_yard(show)
    desk = Desk(plan, hold)
    with stopping() as stop, listen(address, port) as server:
        if not yard:
            say_others(goals(plan), PRIORITY, interface, stop)
        entry = Authentication(address, server.getsockname()[1])
        walks = WalkThread(desk, lambda number: _read(show, number, practice=yard))
        films, pages = FilmThread(desk, film_reader()), Pages(yard=yard, hold=hold)
        evening = Session(desk, entry, walks, films, pages, goals, "127.0.0.1" if yard else interface)
        evening.go(server, stop, lambda: _say(entry.url, address, hold))
    if desk.failed:
        raise refuse("phone", desk.failed, "start it again")
    print("Ended; all pixels are dark.")


def check_address(address: str) -> None:
    """Refuse an address that this machine does not have."""
    from patcher.stream.interfaces import interfaces

    known = interfaces()
    if address not in [interface.address for interface in known]:
        remedy = f"choose from: {', '.join(map(str, known))}"
        raise refuse("--address", f"this machine has no address {address}", remedy)


def _read(show: Path, number: int, *, practice: bool) -> Content:
    from patcher.phone.content import Content

    wiring = load(show)
    return Content(number, show, wiring, load_patch(show, wiring), practice)


def _say(url: str, address: str, hold: float) -> None:
    """Print where the page is, and its code to scan."""
    import segno

    from patcher.phone.desk import hold_of
    from patcher.stream.interfaces import interfaces

    print(url)
    if address.startswith("127."):
        others = [str(known) for known in interfaces() if not known.address.startswith("127.")]
        has = f"the address that this machine has there: {', '.join(others)}" if others else "its address there"
        print("Open it in a browser on this machine; only this machine can.")
        print(f"To let a phone in, put this machine on the same network and give --address, {has}.")
    else:
        segno.make(url, error="m", micro=False).terminal(sys.stdout, compact=True, border=2)
        print("Scan the code with the phone, on the same network. Whoever has the code can light the show.")
    filming = hold_of("film", hold)
    longer = f" ({filming:g} s while filming)" if filming > hold else ""
    print(f"Without any phone all pixels go dark after {hold:g} s{longer}. Ctrl-C ends it.", flush=True)
