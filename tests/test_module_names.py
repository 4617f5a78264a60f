"""Names of modules in texts are names of modules: programs that tests start as text would else fail only when run."""

import importlib
import re
from importlib.util import find_spec
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parents[next(n for n, p in enumerate(Path(__file__).parents) if p.name == "tests") + 1]
TEXTS = sorted(path for path in (ROOT / "tests").rglob("*.py") if path != Path(__file__))
IMPORTS = re.compile(r"^\s*(?:from (patcher[\w.]*) import ([\w, ]+)|import (patcher[\w.]*))", re.MULTILINE)


@pytest.mark.parametrize("path", [path for path in TEXTS if "patcher" in path.read_text(encoding="utf-8")], ids=str)
def test_every_module_that_a_text_imports_is_there(path: Path) -> None:
    # Source: the modules themselves, as Python's own import system finds them
    for module, names, alone in IMPORTS.findall(path.read_text(encoding="utf-8")):
        assert find_spec(module or alone), f"{path.name}: {module or alone}"
        for name in (each.split(" as ")[0].strip() for each in names.split(",") if each.strip()):
            there = hasattr(importlib.import_module(module), name) or find_spec(f"{module}.{name}")
            assert there, f"{path.name}: {module}.{name}"
