"""The commands: each reads its arguments, calls one thing and prints it. No rule of the trade lives here.

Every import that takes time is made in the function that needs it, so that `patcher --help` answers in a blink.
"""

import gc
import os
import sys
from io import TextIOWrapper

import typer

from patcher.cli import (
    adopt,
    ask,
    bench,
    demo,
    diagnose,
    edit,
    listen,
    output,
    phone,
    power,
    send,
    sheet,
    swap,
    todo,
    verify,
    yard,
)
from patcher.errors import PatcherError

app = typer.Typer(
    add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True,
    help="Plans, proves and tests the wiring of a display of addressable pixels.",
)  # fmt: skip
app.command("new")(edit.new)
app.command("check")(ask.check)
app.command("patch")(edit.patch)
app.command("diff")(edit.diff)
app.command("todo")(todo.todo)
app.command("adopt")(adopt.adopt)
app.command("swap")(swap.swap)
app.command("power")(power.power)
app.command("where")(ask.where)
app.command("send")(send.send)
app.command("bench")(bench.bench)
app.command("listen")(listen.listen)
app.command("yard")(yard.yard)
app.command("verify")(verify.verify)
app.command("diagnose")(diagnose.diagnose)
app.command("sheet")(sheet.sheet)
app.command("phone")(phone.phone)
app.command("schema")(ask.schema)
app.command("demo")(demo.demo)


def main() -> None:
    """Run a command; whatever goes wrong is said in words, and never as a traceback."""
    gc.set_threshold(200_000)  # a show is many small values without rings: to look for them takes a tenth of the time
    for stream in (sys.stdout, sys.stderr):
        if isinstance(stream, TextIOWrapper):
            stream.reconfigure(errors="replace")
    try:
        try:
            app()
        finally:
            output.end()
    except PatcherError as error:
        from patcher.cli.saying import say_findings

        say_findings(error.findings, as_json="--json" in sys.argv)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        sys.exit(2)
    except OSError as error:
        print(
            f"error: {error.filename or 'the output'} could not be read or written: {error.strerror}", file=sys.stderr
        )
        os._exit(2)
    except Exception as error:
        if os.environ.get("PATCHER_TRACEBACK"):
            raise
        print(f"Patcher has a fault of its own: {type(error).__name__}: {error}", file=sys.stderr)
        print(
            "No file was left half-written, and no lamp lit. Set PATCHER_TRACEBACK=1 and run it again to see where.",
            file=sys.stderr,
        )
        sys.exit(2)
