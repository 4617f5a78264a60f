"""`python -m patcher` is `patcher`."""

from patcher.cli import main

main()
