"""`python -m patcher` is `patcher`."""

import os
import sys


def main() -> None:
    """Run a command; Ctrl-C ends it in silence from the first moment on."""
    while (nowhere := os.open(os.devnull, os.O_RDWR)) <= 2:  # closed streams: no file of ours may get their numbers
        pass
    sys.stdin = sys.stdin or open(nowhere, closefd=False)  # noqa: SIM115  (open to the very end)
    sys.stdout, sys.stderr = (stream or open(nowhere, "w", closefd=False) for stream in (sys.stdout, sys.stderr))  # noqa: SIM115
    try:
        from patcher.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
