"""What takes a while shows a sign of life on a terminal, and Ctrl-C ends it in words."""

from __future__ import annotations

import os
import pty
import shutil
import signal
import subprocess
import sys
from pathlib import Path

import pytest

from rig.shipped import SHOWS

LONG = [
    (["propose", "--afresh", "--seconds", "60"], "The search for proposals", "xterm"),
    (["power", "--plan", "--supplies", "12V30A"], "The plan of feeds", "xterm"),
    (["power", "--plan", "--supplies", "12V30A"], "The plan of feeds", "dumb"),
]


@pytest.mark.parametrize(("words", "says", "terminal"), LONG)
def test_what_takes_a_while_says_so_and_ctrl_c_ends_it_and_writes_nothing(
    words: list[str], says: str, terminal: str, tmp_path: Path
) -> None:
    show = tmp_path / "village.toml"
    shutil.copy(SHOWS / "village.toml", show)
    before = show.read_bytes()
    ours, theirs = pty.openpty()
    which = ["1"] if words[0] == "propose" else []
    with subprocess.Popen(
        [sys.executable, "-m", "patcher", words[0], str(show), *words[1:], "--write", *which],
        stdout=subprocess.DEVNULL, stderr=theirs, env=os.environ | {"TERM": terminal},
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL) and None,  # a shell's background ignores it
    ) as process:  # fmt: skip
        os.close(theirs)
        heard = b""
        while says.encode() not in heard:
            heard += os.read(ours, 4096)
        process.send_signal(signal.SIGINT)
        while b"nothing was written." not in heard:
            heard += os.read(ours, 4096)
        assert process.wait() == 130
    os.close(ours)
    assert show.read_bytes() == before
