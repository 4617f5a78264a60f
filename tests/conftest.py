"""What all tests share: the guard that keeps every frame on this machine, and places to work in."""

import os
import shutil
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
import tomli_w
from hypothesis import settings

TESTS = Path(__file__).parent
SHOWS = TESTS.parent / "shows"
GUARD = str(TESTS / "guard")

sys.path.insert(0, GUARD)
if "sitecustomize" in sys.modules and not hasattr(sys.modules["sitecustomize"], "SentOutside"):
    del sys.modules["sitecustomize"]
import sitecustomize  # noqa: E402

SentOutside = sitecustomize.SentOutside
os.environ["PYTHONPATH"] = os.pathsep.join([GUARD, *filter(None, [os.environ.get("PYTHONPATH")])])

from patcher.show.parser import read  # noqa: E402  (behind the guard)
from patcher.wiring import Wiring, problems, wire  # noqa: E402

settings.register_profile("same", derandomize=True)
settings.register_profile("anew", print_blob=True)
settings.load_profile("same")
# Whoever runs the tests of a fresh copy gets what was run before; `--hypothesis-profile anew` looks for more.

TOGETHER = {
    "drawing": {"test_drawing"},
    "paper": {"test_sheet_paper"},
    "swap": {"test_swap"},
    "wire": {
        "test_artnet_libraries", "test_bench", "test_blackout", "test_bounded", "test_close", "test_commands",
        "test_datagrams", "test_diagnose_command", "test_e131_libraries", "test_faults", "test_files", "test_guard",
        "test_handing", "test_listen", "test_network", "test_patterns", "test_play", "test_readme", "test_record",
        "test_screen", "test_sender", "test_sender_ends", "test_stream_tshark", "test_phone_doors", "test_phone_page",
        "test_todo", "test_two_hosts", "test_verify", "test_yard",
    },
}  # fmt: skip
"""Test files that share what there is once (the ports of the loopback), or what takes long to make: with several
workers (`-n`) each group stays on one."""


ALONE = TESTS / "guard" / "alone.sh"


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Give each worker a network of its own, where the system lets it: then none waits for another's ports."""
    places = getattr(config.option, "tx", None) or []
    if len(places) > 1 and subprocess.run([ALONE, "true"], capture_output=True).returncode == 0:
        config.option.tx = [f"{place}//python={ALONE} {sys.executable}" for place in places]
        del TOGETHER["wire"]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With several workers, what is together stays on one, and every other test goes where there is time."""
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            stem = Path(nodeid.partition("::")[0]).stem
            return next((group for group, modules in TOGETHER.items() if stem in modules), nodeid)

    return Together(config, log)


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
        assert "has a bug" not in said.err
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
