"""The room's own rules: bytes only, quick to import, and examples that are true."""

import doctest
import subprocess
import sys
from pathlib import Path
from types import ModuleType

import pytest

from patcher.wire import artnet, e131, malformed

ROOM = Path(e131.__file__).parent


def test_importing_brings_no_socket_no_clock_and_nothing_heavy() -> None:
    # Common practice, no source: the design's rules for this room, "bytes only: no socket, no show", and for imports
    modules = [f"patcher.wire.{path.stem}" for path in ROOM.glob("*.py") if path.stem != "__init__"]
    program = (
        "import importlib, sys\n"
        "before = set(sys.modules)\n"
        f"for module in {modules}: importlib.import_module(module)\n"
        "print(*set(sys.modules) - before)\n"
    )
    run = subprocess.run(
        [sys.executable, "-c", program], cwd=ROOM.parents[1], check=True, capture_output=True, text=True, timeout=60
    )
    brought = set(run.stdout.split())
    assert set(modules) <= brought
    assert not {module.partition(".")[0] for module in brought} & {"socket", "asyncio", "sacn", "numpy", "pydantic"}
    rooms = {module for module in brought if module.startswith("patcher.")}
    assert rooms == {"patcher.wire", "patcher.trade", *modules}


@pytest.mark.parametrize("module", [e131, artnet, malformed])
def test_examples_are_true(module: ModuleType) -> None:
    # Common practice, no source: an example in a docstring that does not run misleads
    assert doctest.testmod(module).failed == 0
