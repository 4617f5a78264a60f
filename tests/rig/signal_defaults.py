"""What each signal does to a process that leaves it alone: `python -m rig.signal_defaults` finds out by doing it.

It does so in a process of its own, which is small, since it forks once for each signal.
"""

import json
import os
import resource
import signal
import subprocess
import sys
from functools import cache


@cache
def defaults() -> dict[int, str]:
    """By the number of each signal: "ends", "stops", "nothing" or "cannot be caught"."""
    said = subprocess.run([sys.executable, "-S", __file__], capture_output=True, text=True, check=True, env={}).stdout
    return {int(number): does for number, does in json.loads(said).items()}


def _by_default(number: int) -> str:
    child = os.fork()
    if child == 0:
        try:
            os.setpgid(0, 0)  # a process whose whole group has no parent would not stop
            resource.setrlimit(resource.RLIMIT_CORE, (0, 0))
            signal.pthread_sigmask(signal.SIG_UNBLOCK, signal.valid_signals())
            signal.signal(number, signal.SIG_DFL)
            os.kill(os.getpid(), number)
            os._exit(0)
        except OSError:
            os._exit(7)
    _, status = os.waitpid(child, os.WUNTRACED)
    if os.WIFSTOPPED(status):
        os.kill(child, signal.SIGKILL)
        os.waitpid(child, 0)
        return "stops"
    return "ends" if os.WIFSIGNALED(status) else {0: "nothing", 7: "cannot be caught"}[os.WEXITSTATUS(status)]


if __name__ == "__main__":
    print(json.dumps({number: _by_default(number) for number in sorted(signal.valid_signals())}))
