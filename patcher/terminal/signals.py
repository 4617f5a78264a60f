"""Signals: whatever ends or stops the program makes all pixels dark first.

Every signal that can be caught, and that would end or stop the program, is taken while something may be lit. A thread
of its own is told of them, whatever the others are doing: it darkens all pixels at once. A program that was stopped, as
by Ctrl-Z, shows what it showed when it goes on. What nobody can catch: `patcher help safety`.
"""

from __future__ import annotations

import select
import signal
import socket
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager

from patcher.stream import blackout
from patcher.terminal import keyboard, output

HARMLESS = ("SIGCHLD", "SIGCLD", "SIGCONT", "SIGINFO", "SIGURG", "SIGWINCH")
"""Signals that by default neither end nor stop a program. Source: POSIX.1-2024, <signal.h>; SIGINFO is BSD's."""
STOPS = ("SIGTSTP", "SIGTTIN", "SIGTTOU")
"""Signals that by default stop it, and can be caught. Source: as above."""
FAULTS = ("SIGBUS", "SIGFPE", "SIGILL", "SIGSEGV")
"""Signals of the processor for what a thread did itself. Source: as above. A handler that returned from one of those
would have it raised again, for ever."""
ASKED_BY_HAND = ("SIGINT", "SIGQUIT")
"""What a shell has ignored by a program in the background, and whoever sends it all the same means it."""
SETTLES = 0.05
"""Seconds after a stop in which an end that came meanwhile is noticed, before anything is lit again."""


class Stop:
    """Whether someone has asked to stop; asking twice is no different.

    Attributes:
        asked: whether a signal asked to end.
    """

    def __init__(self) -> None:
        self.asked = False
        self._rested = 0.0

    def __call__(self) -> bool:
        """Whether to stop: a signal asked for it, or output can no longer be written."""
        return self.asked or output.failed()

    def now(self) -> float:
        """Seconds of a clock that only rises, and stands still while the program is stopped."""
        with blackout.LOCK:
            return time.monotonic() - self._rested

    def end(self) -> None:
        """Make all pixels dark at once; the work ends when it notices."""
        self.asked = True
        output.abandon()
        blackout.end()

    def rest(self, told: Callable[[float], bool]) -> None:
        """Make all pixels dark and stop the program until it is continued; then light them again, unless it is to end.

        Args:
            told: after so many seconds at most, whether an end was asked for meanwhile.
        """
        with blackout.LOCK:
            began = time.monotonic()
            with keyboard.ordinary(), blackout.rest():
                if not told(0.0) and sys.platform != "win32":
                    # This thread alone is told: so it is stopped before it does anything else, and all others with it.
                    signal.pthread_kill(threading.get_ident(), signal.SIGSTOP)
                if told(SETTLES):
                    self.end()
            self._rested += time.monotonic() - began


def catchable() -> set[int]:
    """The signals of this system that can be caught, and that would else end or stop the program.

    What was ignored from the beginning, as by `nohup`, ends nothing; what another's handler has is theirs.
    """
    by_hand = _numbers(ASKED_BY_HAND)
    # On Windows no thread can leave a fault of its own to another: there it ends the program, and is not taken
    others = _numbers(HARMLESS) | (_numbers(FAULTS) if sys.platform == "win32" else set())
    found: set[int] = set()
    for number in signal.valid_signals() - others:
        before = signal.getsignal(number)
        if before is None or (before is signal.SIG_IGN and number not in by_hand):
            continue
        try:
            signal.signal(number, before)
        except (OSError, ValueError):
            continue  # SIGKILL, SIGSTOP
        found.add(number)
    return found


@contextmanager
def stopping() -> Iterator[Stop]:
    """While this lasts, a signal makes all pixels dark and sets the `Stop`, and printing never blocks."""
    stop = Stop()
    taken = catchable()
    ears, mouth = socket.socketpair()
    for end in (ears, mouth):
        end.setblocking(False)
    before = {number: signal.signal(number, _nothing) for number in taken}
    told = signal.set_wakeup_fd(mouth.fileno(), warn_on_full_buffer=False)
    faults = taken & _numbers(FAULTS)
    if sys.platform != "win32":
        signal.pthread_sigmask(signal.SIG_BLOCK, faults)
    watcher = threading.Thread(target=_watch, args=(stop, ears, faults), name="signals", daemon=True)
    watcher.start()
    try:
        with output.timed():
            yield stop
    finally:
        for number, handler in before.items():
            signal.signal(number, handler)
        signal.set_wakeup_fd(told, warn_on_full_buffer=False)
        mouth.shutdown(socket.SHUT_WR)
        watcher.join()
        if sys.platform != "win32":
            signal.pthread_sigmask(signal.SIG_UNBLOCK, faults)
        ears.close()
        mouth.close()


def _nothing(number: int, frame: object) -> None:
    """Do nothing: the watching thread is told through the wake-up descriptor."""


def _numbers(names: tuple[str, ...]) -> set[int]:
    return {getattr(signal, name) for name in names if hasattr(signal, name)}


def _watch(stop: Stop, ears: socket.socket, faults: set[int]) -> None:
    """Do at once what each signal asks for, until the other end of `ears` is shut."""
    if sys.platform != "win32":
        # Threads that block these end, with the program, by a fault of their own; one that was sent comes to this one.
        signal.pthread_sigmask(signal.SIG_UNBLOCK, faults)
    stops = _numbers(STOPS)

    def heard(seconds: float | None) -> set[int] | None:
        """The signals that have come; none after so many seconds; None: there will be no more."""
        if not select.select([ears], [], [], seconds)[0]:
            return set()
        return set(ears.recv(4096)) or None

    def told(seconds: float) -> bool:
        came = heard(seconds)
        return came is None or bool(came - stops)

    while (came := heard(None)) is not None:
        if came - stops:
            stop.end()
        elif not stop.asked:
            stop.rest(told)
