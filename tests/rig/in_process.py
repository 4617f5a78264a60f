"""The program run in this process: the same words, documents and exit code as from one of its own, in less time."""

import io
import os
import subprocess
import sys
from functools import cache
from pathlib import Path
from typing import Any
from unittest.mock import patch


def run(folder: Path, *arguments: object, stdin: str | io.StringIO = "") -> subprocess.CompletedProcess[str]:
    """Runs it in a folder as a person would, with pipes for its streams; it may not end in a fault of its own.

    It listens only for a moment for others that send: no test has any there.
    """
    import typer

    from patcher import cli
    from patcher.cli import playback

    words, commands = ["patcher", *map(str, arguments)], _commands()
    streams = {name: io.TextIOWrapper(io.BytesIO(), encoding="utf-8") for name in ("stdout", "stderr")}
    before, code = Path.cwd(), 0
    os.chdir(folder)
    try:
        stdin = io.StringIO(stdin) if isinstance(stdin, str) else stdin
        with (
            patch.multiple(sys, argv=words, stdin=stdin, **streams),
            patch.object(playback, "LISTENS", 0.02),
            patch.object(typer.main, "get_command", lambda app: commands),
        ):
            cli.main()
    except SystemExit as left:
        code = int(left.code or 0)
    finally:
        os.chdir(before)
    said = {name: text(stream) for name, stream in streams.items()}
    assert "Traceback" not in said["stdout"] + said["stderr"]
    assert "fault of its own" not in said["stderr"]
    return subprocess.CompletedProcess(words, code, **said)


@cache
def _commands() -> Any:
    """All commands with their options: built once, not each time that one is run."""
    import typer

    from patcher.cli import app

    return typer.main.get_command(app)


def text(stream: io.TextIOWrapper) -> str:
    stream.flush()
    octets = stream.buffer.getvalue()  # type: ignore[attr-defined]
    return octets.decode()
