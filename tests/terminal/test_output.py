"""What is printed while something is timed: nobody waits for a reader, and nothing is lost that anybody reads."""

import io
import os
import threading
import time

import pytest

from patcher.terminal import output
from patcher.terminal.output import MOST, Output

PATIENCE = 20.0


class Reader:
    """Reads from the other end of a pipe, when told to."""

    def __init__(self) -> None:
        ours, theirs = os.pipe()
        self.under = os.fdopen(theirs, "w")
        self.read = b""
        self._ours = ours
        self._thread = threading.Thread(target=self._go)

    def begin(self) -> None:
        self._thread.start()

    def _go(self) -> None:
        while octets := os.read(self._ours, 65536):
            self.read += octets

    def end(self) -> str:
        self.under.close()
        self._thread.join(PATIENCE)
        os.close(self._ours)
        return self.read.decode()


def test_all_is_written_in_order_where_somebody_reads() -> None:
    reader = Reader()
    reader.begin()
    out = Output(reader.under)
    said = [f"step {number}\n" for number in range(5000)]
    for line in said:
        print(line, end="", file=out)
    assert out.settled(PATIENCE)
    out.end()
    assert reader.end() == "".join(said)


def test_nobody_waits_for_a_reader_that_does_not_read_and_what_was_left_out_is_said() -> None:
    # Source: found in use: a reader that stops reading held up the frames
    reader = Reader()
    out = Output(reader.under)
    line, lines = "x" * 99, 3 * MOST // 100
    took: list[float] = []

    def say() -> None:
        for _ in range(lines):
            began = time.monotonic()
            print(line, file=out)
            took.append(time.monotonic() - began)

    writer = threading.Thread(target=say, daemon=True)
    writer.start()
    writer.join(PATIENCE / 2)
    assert len(took) == lines
    assert max(took) < 0.5
    assert out.busy
    assert not out.settled(0.05)
    reader.begin()
    assert out.settled(PATIENCE)
    print("back", file=out)
    assert out.settled(PATIENCE)
    out.end()
    *whole, _, left_out, last = reader.end().splitlines()
    assert last == "back"
    assert all(text == line for text in whole)
    assert left_out == f"… {lines - len(whole)} lines were not shown: nobody read them in time."


def test_what_is_said_at_the_end_is_never_left_out() -> None:
    reader = Reader()
    out = Output(reader.under)
    out.timed = False
    writer = threading.Thread(target=lambda: [print("y" * 99, file=out) for _ in range(3 * MOST // 100)])
    writer.start()
    writer.join(0.2)
    assert writer.is_alive()  # it waits, as printing does everywhere
    reader.begin()
    writer.join(PATIENCE)
    assert out.settled(PATIENCE)
    out.end()
    assert reader.end().count("\n") == 3 * MOST // 100


def test_an_error_of_writing_is_raised_where_more_is_printed(capsys: pytest.CaptureFixture[str]) -> None:
    class Full(io.StringIO):
        def write(self, text: str) -> int:
            raise OSError(28, "No space left on device")

    out = Output(Full())
    out.write("lost\n")
    assert out.settled(PATIENCE)
    with pytest.raises(OSError, match="No space left"):
        out.write("more\n")
    out.end()
    with output.timed():
        print("said")
        assert not output.failed()
    output.end()
    assert capsys.readouterr().out == "said\n"
