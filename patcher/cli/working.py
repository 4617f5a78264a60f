"""A sign of life while something is worked out that takes a while, and words for Ctrl-C."""

from __future__ import annotations

import sys
from collections.abc import Iterator
from contextlib import contextmanager

import typer


@contextmanager
def working(at: str) -> Iterator[None]:
    """Show on a terminal what is worked on; Ctrl-C ends it and says that nothing was written.

    Args:
        at: what is worked on: "The search for proposals".
    """
    from rich.console import Console

    console = Console(file=getattr(sys.stderr, "under", sys.stderr), force_terminal=sys.stderr.isatty())
    try:
        if not sys.stderr.isatty():
            yield
        elif console.is_dumb_terminal:  # it draws nothing that moves
            print(f"{at} …", file=sys.stderr)
            yield
        else:
            with console.status(f"{at} …"):
                yield
    except KeyboardInterrupt:
        print(f"\nStopped: {at[0].lower()}{at[1:]} is not done, and nothing was written.", file=sys.stderr)
        raise typer.Exit(130) from None
