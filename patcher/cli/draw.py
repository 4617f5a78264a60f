"""`draw`: serves the page on which a show is drawn."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from patcher.cli.inputs import frame_goals, load, load_patch, need_yard, together
from patcher.cli.options import Interface, ShowFile, Yard
from patcher.cli.phone import check_address

if TYPE_CHECKING:
    from patcher.phone.content import Content
    from patcher.stream.sender import Target

PORT = 8421
"""The TCP port of the page, unless another is named."""


def draw(
    show: ShowFile,
    photo: Annotated[
        Path | None,
        typer.Option(metavar="PICTURE", help="Draw on this photograph of the house; the show file will name it."),
    ] = None,
    address: Annotated[
        str,
        typer.Option(
            metavar="ADDRESS", help="Address of this machine at which a tablet reaches it; else this machine only."
        ),
    ] = "127.0.0.1",
    port: Annotated[int, typer.Option(metavar="N", min=0, max=65535, help="TCP port; 0: any that is free.")] = PORT,
    yard: Yard = False,
    interface: Interface = None,
) -> None:
    """Draw a show in the browser, on a photograph of the house.

    The page writes the show file as you draw, and keeps its comments; an editor may have it open, too. Ctrl-C ends it.
    """
    from patcher.door.authentication import Authentication
    from patcher.door.connections import listen
    from patcher.draw.draft import Draft
    from patcher.draw.lamps import Lamps
    from patcher.draw.session import go
    from patcher.phone.content import Content
    from patcher.terminal.signals import stopping

    together(("--interface", interface), ("--yard", yard))
    check_address(address)
    draft = Draft(show)
    if photo is not None:
        draft.take_photograph(photo)

    def read() -> Content:
        if yard:
            need_yard(show)
        wiring = load(show)
        return Content(1, show, wiring, load_patch(show, wiring), yard)

    def goals(plan: Content) -> list[Target]:
        return frame_goals(show, plan.wiring, plan.patch, yard=yard)

    with stopping() as stop, listen(address, port) as server:
        entry = Authentication(address, server.getsockname()[1])
        _say(entry.url, address)
        go(draft, entry, Lamps(read, goals, "127.0.0.1" if yard else interface), server, stop)
    print("Ended; all pixels are dark.")


def _say(url: str, address: str) -> None:
    print(url)
    if address.startswith("127."):
        print("Open it in a browser on this machine; only this machine can.")
    else:
        print("Open it on the tablet, on the same network. Whoever has this address can change the show and light it.")
    print("Each change is written to the show file at once; the page can undo it. Ctrl-C ends it.", flush=True)
