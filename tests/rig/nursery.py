"""Processes of the program that start at once: one that has imported everything forks for each.

Run as a program, it reads a line of JSON for each process, and writes one: `["run", arguments, environment, in, out,
err]` → its number; `["wait", number]` → "stopped", or its exit status (less than 0: the signal that ended it), once it
stops or ends.
"""

import atexit
import json
import os
import signal
import subprocess
import sys
from contextlib import suppress
from functools import cache
from pathlib import Path


class Nursery:
    """Starts processes, signals them, and waits for them."""

    def __init__(self) -> None:
        self._server = subprocess.Popen(
            [sys.executable, __file__], stdin=subprocess.PIPE, stdout=subprocess.PIPE, text=True, bufsize=1
        )
        self._running: set[int] = set()

    def _ask(self, *words: object) -> object:
        assert self._server.stdin is not None
        assert self._server.stdout is not None
        self._server.stdin.write(json.dumps(words) + "\n")
        return json.loads(self._server.stdout.readline())

    def run(
        self, *arguments: object, said: Path, errors: Path | None = None, typed: str = "",
        known: dict[str, str] | None = None,
    ) -> int:  # fmt: skip
        """Start the program; what it says goes to a file, or its errors to one of their own. It reads the terminal or
        file `typed`; without one nobody types. `known` is added to its environment; what is empty is taken from it.
        """
        number = self._ask("run", [*map(str, arguments)], known or {}, typed, str(said), str(errors or said))
        assert isinstance(number, int)
        self._running.add(number)
        return number

    def wait(self, number: int) -> object:
        """Until it stops or ends."""
        how = self._ask("wait", number)
        if how != "stopped":
            self._running.discard(number)
        return how

    def close(self) -> None:
        for number in self._running:
            os.kill(number, signal.SIGKILL)
        self._server.communicate()


@cache
def nursery() -> Nursery:
    """One for all tests; it ends with them."""
    opened = Nursery()
    atexit.register(opened.close)
    return opened


def _child(arguments: list[str], known: dict[str, str], typed: str, *said: str) -> None:
    os.environ.update(known)
    for name in [name for name in known if not known[name]]:
        os.environ.pop(name)
    # Somebody who never types: a pipe whose other end stays open.
    os.dup2(os.open(typed, os.O_RDWR | os.O_NOCTTY) if typed else os.pipe()[0], 0)
    for number, path in enumerate(said, start=1):
        os.dup2(os.open(path, os.O_WRONLY | os.O_CREAT | os.O_APPEND), number)
    sys.stdin, sys.stdout, sys.stderr = os.fdopen(0), os.fdopen(1, "w"), os.fdopen(2, "w")
    for number in signal.valid_signals() - {signal.SIGKILL, signal.SIGSTOP, signal.SIGPIPE, signal.SIGXFSZ}:
        signal.signal(number, signal.SIG_DFL)
    signal.signal(signal.SIGINT, signal.default_int_handler)
    sys.argv = ["patcher", *arguments]
    from patcher.__main__ import main

    code = 99
    try:
        main()
        code = 0
    except SystemExit as left:
        code = left.code if isinstance(left.code, int) else int(left.code is not None)
    except KeyboardInterrupt:
        code = 130
    finally:
        for stream in (sys.stdout, sys.stderr):
            with suppress(OSError):
                stream.flush()
        os._exit(code)


def _serve() -> None:
    import patcher.answers.terminal_answers
    import patcher.cli
    import patcher.dialogue.walk_through
    import patcher.listener.receiver
    import patcher.phone.session
    import patcher.stream.player
    import patcher.yard.yard  # noqa: F401

    for line in sys.stdin:
        match json.loads(line):
            case ["run", arguments, known, typed, *said]:
                answer: object = os.fork()
                if answer == 0:
                    _child(arguments, known, typed, *said)
            case ["wait", number]:
                _, status = os.waitpid(number, os.WUNTRACED)
                answer = "stopped" if os.WIFSTOPPED(status) else os.waitstatus_to_exitcode(status)
        print(json.dumps(answer), flush=True)


if __name__ == "__main__":
    _serve()
