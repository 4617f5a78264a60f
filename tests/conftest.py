"""What all tests share: the guard that keeps every frame on this machine, and places to work in."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
import tomli_w

TESTS = Path(__file__).parent
SHOWS = TESTS.parent / "shows"
GUARD = str(TESTS / "guard")

sys.path.insert(0, GUARD)
if "sitecustomize" in sys.modules and not hasattr(sys.modules["sitecustomize"], "SentOutside"):
    del sys.modules["sitecustomize"]
import sitecustomize  # noqa: E402

SentOutside = sitecustomize.SentOutside
os.environ["PYTHONPATH"] = os.pathsep.join([GUARD, *filter(None, [os.environ.get("PYTHONPATH")])])

from patcher.show.reading import read  # noqa: E402  (behind the guard)
from patcher.wiring import Wiring, problems, wire  # noqa: E402

Patcher = Callable[..., subprocess.CompletedProcess[str]]


@pytest.fixture
def heron_lock(tmp_path: Path) -> Path:
    """The shipped show in a folder of the test's own."""
    for name in ("heron-lock.toml", "willow.csv"):
        shutil.copyfile(SHOWS / name, tmp_path / name)
    return tmp_path / "heron-lock.toml"


@pytest.fixture
def patcher(tmp_path: Path) -> Patcher:
    """Runs the program as a person does, in a folder of the test's own."""

    def run(*arguments: object, stdin: str = "") -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "patcher", *map(str, arguments)]
        return subprocess.run(command, cwd=tmp_path, input=stdin, capture_output=True, text=True, timeout=120)

    return run


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Patcher:
    """Runs the program in this process, which is quicker than one of its own where only the words count."""
    from patcher import cli

    def run(*arguments: object) -> subprocess.CompletedProcess[str]:
        words = ["patcher", *map(str, arguments)]
        monkeypatch.setattr(sys, "argv", words)
        monkeypatch.chdir(tmp_path)
        capsys.readouterr()
        with pytest.raises(SystemExit) as left:
            cli.main()
        said = capsys.readouterr()
        assert "Traceback" not in said.out + said.err
        assert "fault of its own" not in said.err
        return subprocess.CompletedProcess(words, int(left.value.code or 0), said.out, said.err)

    return run


def wired(tables: dict) -> Wiring:
    """The wiring of a show given as tables, read as its file would be; a show with a problem fails the test."""
    reading = read(tomli_w.dumps(tables))
    assert reading.findings == ()
    assert reading.show is not None
    wiring = wire(reading.show)
    assert problems(wiring) == []
    return wiring
