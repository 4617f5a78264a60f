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
    draw,
    film,
    listen,
    phone,
    plan_files,
    power,
    propose,
    send,
    sheet,
    swap,
    todo,
    verify,
    yard,
)
from patcher.cli.help import help_
from patcher.errors import Finding, PatcherError, choose_from, refuse
from patcher.terminal import output
from patcher.terminal.screen import Unread, let_go, screens
from patcher.units import of_percent
from patcher.visible import one_line

UsageError: Any = typer.BadParameter.__mro__[1]
"""What typer raises where the call is wrong; it does not export the class."""


class Command(TyperCommand):
    """A command that refuses numbers that are not finite, and file names with control characters."""

    def invoke(self, ctx: Any) -> Any:
        """Run the command; PatcherError where the value of an option or argument cannot be."""
        for parameter in self.params:
            value, name = ctx.params.get(parameter.name or ""), parameter.opts[0]
            if isinstance(value, float) and not math.isfinite(value):
                raise refuse(name, f"{value} is not a finite number", "give a number, as 0.5")
            if isinstance(value, Path) and re.search(r"[\x00-\x1f\x7f-\x9f]", str(value)):
                raise refuse(str(value), "has a control character in its name", "rename the file or folder")
        return super().invoke(ctx)


app = typer.Typer(
    add_completion=False, rich_markup_mode=None, pretty_exceptions_enable=False, no_args_is_help=True,
    help="Plan, check and test the wiring of a display of addressable pixels.",
)  # fmt: skip
for _command in (
    plan_files.new, check.check, plan_files.patch, plan_files.diff, todo.todo, adopt.adopt, swap.swap, power.power,
    check.where, send.send, bench.bench, listen.listen, yard.yard, verify.verify, diagnose.diagnose, film.film,
    sheet.sheet, phone.phone, draw.draw, propose.propose, check.schema, demo.demo,
):  # fmt: skip
    app.command(_command.__name__, cls=Command)(_command)
app.command("help", cls=Command)(help_)


def main() -> None:
    """Run a command; whatever goes wrong is said in words, and never as a traceback."""
    gc.set_threshold(200_000)  # a show is many small values without cycles; looking for those takes a tenth of the time
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
    """Print what went wrong; for scripts as findings."""
    from patcher.terminal.printed import say_findings

    as_json = "--json" in sys.argv
    if isinstance(error, PatcherError):
        say_findings(error.findings, as_json=as_json)
    elif isinstance(error, UsageError):
        if (value := _of_value(error)) is not None:
            say_findings([value], as_json=as_json)
        elif as_json:
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
        says = f"Patcher has a bug: {type(error).__name__}: {error}"
        then = "No file was left half-written, and no pixel lit. Set PATCHER_TRACEBACK=1 and run it again to see where."
        if as_json:
            say_findings([_fault("patcher", says, then)], as_json=True)
        else:
            print(f"{one_line(says)}\n{then}", file=sys.stderr)


def _of_call(error: Any) -> Finding:
    """A wrong call as a finding: which option or argument, why, and where to read on."""
    command = error.ctx.command_path if error.ctx is not None else "patcher"
    return _fault(_where(error), error.format_message(), f"{command} --help")


def _where(error: Any) -> str:
    """The option or argument that an error of the call is about."""
    named = getattr(error, "param", None)
    return str(
        getattr(error, "option_name", None) or (named and (named.opts[0] if named.opts else named.name)) or "call"
    )


_BOUNDS = {"less_than_equal": ("high", "le", "at most"), "greater_than_equal": ("low", "ge", "at least")}


def _of_value(error: Any) -> Finding | None:
    """A value that an option or argument cannot have, in words; None where the call is wrong in another way."""
    details: list[dict[str, Any]] = getattr(error.__cause__, "errors", list)()
    if len(details) != 1 or getattr(error, "param", None) is None:
        return None
    detail, where = details[0], _where(error)
    kind, value, context = detail["type"], detail["input"], detail.get("ctx", {})
    if kind in _BOUNDS:
        much, key, most = _BOUNDS[kind]
        percent = of_percent(str(value)) if (much, context[key]) == ("high", 1) else ""
        return _fault(where, f"{value} is too {much}", f"give {most} {context[key]:g}" + f": {percent}" * bool(percent))
    if kind in ("int_parsing", "int_from_float", "float_parsing"):
        what = "a number" if kind == "float_parsing" else "a whole number"
        percent = of_percent(str(value)) if getattr(error.param, "metavar", None) == "0..1" else ""
        return _fault(where, f"“{value}” is not {what}", f"give {what}" + f": {percent}" * bool(percent))
    _, is_choice, choices = str(context.get("error", "")).partition(" is not one of ")
    if kind == "value_error" and is_choice:
        says = f"no {str(error.param.name).replace('_', ' ')} is named “{value}”"
        return _fault(where, says, choose_from(str(value), re.findall("'(.*?)'", choices), most=99))
    return None


def _fault(where: str, says: str, remedy: str) -> Finding:
    return Finding("error", "call", "file", where, says, remedy)
