"""The commands: each reads its arguments, calls one thing and prints it. No rule of the trade lives here.

Every import that takes time is made in the function that needs it, so that `patcher --help` answers in a blink.
"""

import gc
import math
import os
import re
import sys
from pathlib import Path
from typing import Any

import typer
from typer.core import TyperCommand

from patcher.cli import (
    adopt,
    bench,
    check,
    demo,
    diagnose,
    listen,
    phone,
    plan_files,
    power,
    send,
    sheet,
    swap,
    todo,
    verify,
    yard,
)
from patcher.cli.help import help_
from patcher.errors import Finding, PatcherError, refuse
from patcher.terminal import output
from patcher.terminal.screen import Unread, let_go, screens
from patcher.visible import one_line

UsageError: Any = typer.BadParameter.__mro__[1]
"""What typer raises where the call is wrong, wherever it keeps it."""


class Command(TyperCommand):
    """A command whose numbers are finite, and whose files have names of one line."""

    def invoke(self, ctx: Any) -> Any:
        """Run it; PatcherError where an option or argument is none that it can be."""
        for parameter in self.params:
            value, name = ctx.params.get(parameter.name or ""), parameter.opts[0]
            if isinstance(value, float) and not math.isfinite(value):
                raise refuse(name, f"{value} is no number to count with", "give a number, as 0.5")
            if isinstance(value, Path) and re.search(r"[\x00-\x1f\x7f-\x9f]", str(value)):
                raise refuse(str(value), "has a control character in its name", "rename the file or folder")
        return super().invoke(ctx)


app = typer.Typer(
    add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True,
    help="Plans, proves and tests the wiring of a display of addressable pixels.",
)  # fmt: skip
app.command("new", cls=Command)(plan_files.new)
app.command("check", cls=Command)(check.check)
app.command("patch", cls=Command)(plan_files.patch)
app.command("diff", cls=Command)(plan_files.diff)
app.command("todo", cls=Command)(todo.todo)
app.command("adopt", cls=Command)(adopt.adopt)
app.command("swap", cls=Command)(swap.swap)
app.command("power", cls=Command)(power.power)
app.command("where", cls=Command)(check.where)
app.command("send", cls=Command)(send.send)
app.command("bench", cls=Command)(bench.bench)
app.command("listen", cls=Command)(listen.listen)
app.command("yard", cls=Command)(yard.yard)
app.command("verify", cls=Command)(verify.verify)
app.command("diagnose", cls=Command)(diagnose.diagnose)
app.command("sheet", cls=Command)(sheet.sheet)
app.command("phone", cls=Command)(phone.phone)
app.command("schema", cls=Command)(check.schema)
app.command("demo", cls=Command)(demo.demo)
app.command("help", cls=Command)(help_)


def main() -> None:
    """Run a command; whatever goes wrong is said in words, and never as a traceback."""
    gc.set_threshold(200_000)  # a show is many small values without rings: to look for them takes a tenth of the time
    with screens():
        code = _run()
        for stream in (sys.stdout, sys.stderr):
            try:
                stream.flush()
            except OSError as error:
                said, code = code == 2, 2
                if not said and not isinstance(error, Unread):
                    print(f"error: the output could not be written: {error.strerror}", file=sys.stderr)
                let_go(stream)
    sys.exit(code)


def _run() -> int:
    """Run a command and say how it ended; the exit code."""
    try:
        try:
            try:
                code = typer.main.get_command(app).main(prog_name="patcher", standalone_mode=False)
            finally:
                output.end()
        except Exception as error:
            _say(error)
            return 1 if isinstance(error, typer.Abort) else 2
        return code if isinstance(code, int) else 0
    except OSError as error:  # stdout takes nothing, not even why
        if not isinstance(error, Unread):
            print(f"error: the output could not be written: {error.strerror}", file=sys.stderr)
        let_go(sys.stdout)
    return 2


def _say(error: Any) -> None:
    """What went wrong; for scripts as findings."""
    from patcher.terminal.tables import say_findings

    as_json = "--json" in sys.argv
    if isinstance(error, PatcherError):
        say_findings(error.findings, as_json=as_json)
    elif isinstance(error, UsageError):
        if as_json:
            say_findings([_of_call(error)], as_json=True)
        else:
            error.show()
    elif isinstance(error, Unread):
        let_go(sys.stdout)
    elif isinstance(error, OSError):
        says = f"could not be read or written: {error.strerror}"
        say_findings([_fault(str(error.filename or "the output"), says, "look at its owner and the free space")],
                     as_json=as_json)  # fmt: skip
    elif isinstance(error, typer.Abort):
        print("Aborted.", file=sys.stderr)
    else:
        if os.environ.get("PATCHER_TRACEBACK"):
            raise error
        says = f"Patcher has a fault of its own: {type(error).__name__}: {error}"
        then = "No file was left half-written, and no pixel lit. Set PATCHER_TRACEBACK=1 and run it again to see where."
        if as_json:
            say_findings([_fault("patcher", says, then)], as_json=True)
        else:
            print(f"{one_line(says)}\n{then}", file=sys.stderr)


def _of_call(error: Any) -> Finding:
    """A call that is wrong, as a finding: which option or argument, why, and where to read on."""
    named = getattr(error, "param", None)
    where = getattr(error, "option_name", None) or (named and (named.opts[0] if named.opts else named.name)) or "call"
    command = error.ctx.command_path if error.ctx is not None else "patcher"
    return _fault(str(where), error.format_message(), f"{command} --help")


def _fault(where: str, says: str, remedy: str) -> Finding:
    return Finding("error", "call", "file", where, says, remedy)
