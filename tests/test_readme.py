"""README is true: its key tables are the schema's, key by key, with their defaults."""

import re
from pathlib import Path

import pytest
from conftest import Patcher

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
    assert "pytest" in lines[1]


# --- what README prints is what is printed ---------------------------------------------------------------------------


def printed(command: str) -> str:
    """What README shows below a command, up to the next one or the end of its block."""
    found = re.search(rf"^\$ {re.escape(command)}\n(.*?)(?=^\$ |^```)", README, re.MULTILINE | re.DOTALL)
    assert found, command
    return found[1].replace("\u00a0", " ")


@pytest.fixture
def cottage(heron_lock: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """The shipped show in a folder `shows`, as README names it, with the patch of the season before."""
    shows = heron_lock.parent / "shows"
    shows.mkdir()
    for path in (heron_lock, heron_lock.with_name("willow.csv")):
        path.rename(shows / path.name)
    monkeypatch.chdir(heron_lock.parent)
    return shows / heron_lock.name


def test_the_patch_and_the_swap(cottage: Path, patcher: Patcher) -> None:
    # Source: README.md, Fewest universes; A dead box, a dead supply.
    ran = patcher("patch", "shows/heron-lock.toml")
    last = "".join(ran.stdout.splitlines(keepends=True)[-10:]).replace("\u00a0", " ")
    assert last == printed("patcher patch shows/heron-lock.toml | tail -10")
    swapped = patcher("swap", "shows/heron-lock.toml", "gatepost", "shelf")
    assert (swapped.returncode, swapped.stdout) == (0, printed("patcher swap shows/heron-lock.toml gatepost shelf"))


def test_the_next_season(cottage: Path, patcher: Patcher) -> None:
    # Source: README.md, The next season.
    assert patcher("patch", "shows/heron-lock.toml").returncode == 0
    text = cottage.read_text(encoding="utf-8")
    for old, new in {
        "pixels = 150\nlead = 9.0": "pixels = 165\nlead = 9.0",
        "pixels = 89\n": "pixels = 120\n",
        '2 = ["window-left", "window-right"]': '2 = ["window-left", "window-right"]\n3 = ["lanterns"]',
        "[run.eaves]": '[run.lanterns]\npixel = "lamp-12v"\npixels = 40\nlead = 3.0\n\n[run.eaves]',
    }.items():
        assert text.count(old) == 1
        text = text.replace(old, new)
    cottage.write_text(text, encoding="utf-8")
    ran = patcher("diff", "shows/heron-lock.toml")
    assert (ran.returncode, ran.stdout) == (0, printed("patcher diff shows/heron-lock.toml"))
    ran = patcher("power", "shows/heron-lock.toml", "--plan")
    assert (ran.returncode, ran.stdout) == (0, printed("patcher power shows/heron-lock.toml --plan"))


def test_the_power(cottage: Path, patcher: Patcher) -> None:
    # Source: README.md, Power: will it hold?
    ran = patcher("power", "shows/heron-lock.toml")
    assert "".join(ran.stdout.splitlines(keepends=True)[:10]) == printed(
        "patcher power shows/heron-lock.toml | head -10"
    )
    ran = patcher("power", "shows/heron-lock.toml", "willow")
    assert (ran.returncode, ran.stdout) == (0, printed("patcher power shows/heron-lock.toml willow"))


def test_the_table_of_ones_own(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, patcher: Patcher) -> None:
    # Source: README.md, A table of your own.
    monkeypatch.chdir(tmp_path)
    (tmp_path / "well-green.csv").write_text(printed("cat well-green.csv"), encoding="utf-8")
    ran = patcher("adopt", "well-green.toml", "well-green.csv")
    assert (ran.returncode, ran.stdout) == (1, printed("patcher adopt well-green.toml well-green.csv"))
    assert patcher("check", "well-green.toml").returncode == 0
