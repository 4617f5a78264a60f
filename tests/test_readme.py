"""README is true: its key tables are the schema's, key by key, with their defaults."""

import re
from pathlib import Path

import pytest

from patcher.show import runs, schema
from patcher.show.tables import Table

README = (Path(__file__).parent.parent / "README.md").read_text(encoding="utf-8")
TABLES: list[type[Table]] = [
    schema.Settings, schema.PixelType, schema.Controller, schema.Logic, runs.Run, runs.LineRun, runs.LoopRun,
    runs.ArchRun, runs.GridRun, runs.BandRun, runs.PointsRun, schema.Supply, schema.Feed, schema.Tap, schema.Accept,
]  # fmt: skip


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_every_key_stands_in_the_readme_with_its_default(table: type[Table]) -> None:
    # Source: the schema that reads the file; README says that its tables name every key.
    rows = re.findall(r"^\| `(\w+)` \| (.*?) \|", README, re.MULTILINE)
    assert rows
    for name, field in table.model_fields.items():
        key = field.alias or name
        said = [default for row, default in rows if row == key]
        assert said, f"{table.__name__}.{key}"
        if field.is_required():
            assert "must" in said, f"{table.__name__}.{key} must be given"
        elif (
            isinstance(field.default, str | int | float) and not isinstance(field.default, bool) and field.default != ""
        ):
            plain = f"{field.default:g}" if isinstance(field.default, int | float) else f'"{field.default}"'
            assert f"`{plain}`" in said, f"{table.__name__}.{key} is {plain} by default"


def test_the_two_set_up_lines_are_there_once_each() -> None:
    # Source: .ci/run takes the two lines from README and runs them.
    lines = [line for line in README.splitlines() if line.startswith("    python3 -m venv")]
    assert ["demo" in line for line in lines] == [True, False]
    assert lines[1].endswith("pytest")
