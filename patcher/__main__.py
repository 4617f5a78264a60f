"""`python -m patcher` is `patcher`."""

import os
import sys
from pathlib import Path


def main() -> None:
    """Run a command; Ctrl-C ends it in silence from the first moment on."""
    nowhere = Path(os.devnull).open("w")  # noqa: SIM115  (it stands in for a closed stream to the very end)
    sys.stdout, sys.stderr = sys.stdout or nowhere, sys.stderr or nowhere
    try:
        from patcher.cli import main as run

        run()
    except KeyboardInterrupt:
        sys.exit(130)


if __name__ == "__main__":
    main()
