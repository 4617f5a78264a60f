"""What all tests share: the guard that keeps every frame on this machine, and places to work in."""

import os
import shutil
import subprocess
import sys
from collections.abc import Iterator
from datetime import date
from functools import partial
from pathlib import Path
from typing import Any

import pytest
from hypothesis import is_hypothesis_test, settings

from rig import examples, unproved
from rig.guard import GUARD
from rig.in_process import run
from rig.shipped import SHOWS, Patcher

sys.dont_write_bytecode = False
os.environ.pop("PYTHONDONTWRITEBYTECODE", None)
# Many workers and programs read the same modules: compiled once, they start in half the time.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
# Before numpy is read: where workers share the cores, threads that wait for each other take ten times as long.

settings.register_profile("same", derandomize=True, deadline=None)
settings.register_profile("anew", print_blob=True, deadline=None)
settings.register_profile("few", settings.get_profile("same"), max_examples=25)
settings.load_profile("same")
# Whoever runs the tests of a fresh copy gets what was run before; `--hypothesis-profile anew` looks for more. The quick
# run tries a property that does not say otherwise on a few.

TOGETHER = {
    "drawing": {"test_show_drawing"},
    "paper": {"test_sheet_paper"},
    "swap": {"test_swap"},
    "wire": {
        "test_artnet_libraries", "test_bench", "test_blackout", "test_bounded", "test_close_view", "test_commands",
        "test_datagrams", "test_diagnose_command", "test_e131_libraries", "test_faults", "test_files",
        "test_film_play", "test_guard", "test_handover", "test_listen",
        "test_network", "test_patterns", "test_play", "test_readme", "test_record",
        "test_screen", "test_sender", "test_sender_ends", "test_stream_tshark", "test_phone_clip", "test_phone_doors",
        "test_phone_page",
        "test_todo", "test_two_hosts", "test_verify", "test_yard",
    },
}  # fmt: skip
"""Test files that share what there is once (the ports of the loopback), or what takes long to make: with several
workers (`-n`) each group stays on one."""


ALONE = GUARD / "alone.sh"


def pytest_addoption(parser: pytest.Parser) -> None:
    """Which of the long tests are run."""
    parser.addoption("--whole", action="store_true", help="all long tests, not the share of a day")
    parser.addoption("--day", type=int, default=date.today().toordinal(), help="whose share of the long tests is run")


def pytest_terminal_summary(terminalreporter: Any, config: pytest.Config) -> None:
    """Which share of the long tests was run, so that it can be run again."""
    if examples.many and not config.option.whole:
        terminalreporter.write_line(
            f"A share of the long tests: --day {config.option.day} repeats it, --whole runs all."
        )


@pytest.hookimpl(trylast=True)
def pytest_configure(config: pytest.Config) -> None:
    """Give each worker a network of its own, where the system lets it: then none waits for another's ports."""
    examples.many = config.option.markexpr in ("long", "long or not long")
    if not examples.many and not config.getoption("--hypothesis-profile", None):
        settings.load_profile("few")
    places = getattr(config.option, "tx", None) or []
    if len(places) > 1 and subprocess.run([ALONE, "true"], capture_output=True).returncode == 0:
        config.option.tx = [f"{place}//python={ALONE} {sys.executable}" for place in places]
        del TOGETHER["wire"]


@pytest.hookimpl(tryfirst=True)
def pytest_collection_modifyitems(config: pytest.Config, items: list[pytest.Item]) -> None:
    """The long run takes the tests along that it tries on more examples than the quick one; of all, a share."""
    if not examples.many:
        return
    for item in items:
        if item.get_closest_marker("many") or is_hypothesis_test(getattr(item, "obj", None)):
            item.add_marker("long")
    if not config.option.whole:
        long = [item.nodeid for item in items if item.get_closest_marker("long")]
        later = examples.left_for_another_day(long, config.option.day)
        config.hook.pytest_deselected(items=[item for item in items if item.nodeid in later])
        items[:] = [item for item in items if item.nodeid not in later]


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_auto_num_workers() -> int:
    """One worker more than there are cores, for tests wait too: for frames, for processes, for pages."""
    return (os.cpu_count() or 1) + 1


@pytest.hookimpl(optionalhook=True)
def pytest_xdist_make_scheduler(config: pytest.Config, log: Any) -> Any:
    """With several workers, what is together stays on one, and every other test goes where there is time."""
    from xdist.scheduler import LoadScopeScheduling

    class Together(LoadScopeScheduling):
        def _split_scope(self, nodeid: str) -> str:
            stem = Path(nodeid.partition("::")[0]).stem
            return next((group for group, modules in TOGETHER.items() if stem in modules), nodeid)

    return Together(config, log)


@pytest.fixture(autouse=True, scope="session")
def _what_no_step_proves_is_worked_out_once() -> Iterator[None]:
    with unproved.once():
        yield


@pytest.fixture
def heron_lock(tmp_path: Path) -> Path:
    """The shipped show in a folder of the test's own."""
    for name in ("heron-lock.toml", "willow.csv"):
        shutil.copyfile(SHOWS / name, tmp_path / name)
    return tmp_path / "heron-lock.toml"


@pytest.fixture
def patcher(tmp_path: Path) -> Patcher:
    """Runs the program as a person does, in a folder of the test's own."""

    def start(*arguments: object, stdin: str = "") -> subprocess.CompletedProcess[str]:
        command = [sys.executable, "-m", "patcher", *map(str, arguments)]
        return subprocess.run(command, cwd=tmp_path, input=stdin, capture_output=True, text=True, timeout=120)

    return start


@pytest.fixture
def here(tmp_path: Path) -> Patcher:
    """The same, run in this process, which is quicker than one of its own: where a process is not what is tested."""
    return partial(run, tmp_path)
