"""The phone's page measured: from a tap to the packet on the wire, with 20 pages open; and what many requests cost.

    python tests/benchmarks/phone.py [TAPS] [REQUESTS]

A tap leaves a page's socket; what is timed is when the packet that it changes comes out of a socket of the yard, on the
loopback of this machine. Both clocks are one. Beside it: until every one of the 20 pages is told.
"""

import json
import shutil
import socket
import sys
import tempfile
import threading
import time
from contextlib import ExitStack
from pathlib import Path

import numpy as np

TESTS = Path(__file__).parent.parent
sys.path[:0] = [str(TESTS), str(TESTS.parent)]

from rig.phones import Rig, evening, until  # noqa: E402

PAGES = 20


def resident() -> float:
    """Megabytes of this process that are in memory now."""
    return int(Path("/proc/self/statm").read_text().split()[1]) * 4096 / 1e6


def latency(rig: Rig, taps: int) -> None:
    """Walk a dot by taps on one of the pages, each when the one before has been seen by all."""
    with ExitStack() as stack:
        pages = [stack.enter_context(rig.page()) for _ in range(PAGES)]
        told: list[dict[int, float]] = [{} for _ in range(PAGES)]

        def follow(number: int) -> None:
            while True:
                try:
                    step = json.loads(pages[number].recv())["step"]
                except Exception:
                    return
                told[number].setdefault(step, time.monotonic())

        for number in range(PAGES):
            threading.Thread(target=follow, args=(number,), daemon=True).start()
        pages[0].send('{"do":"find","text":"willow"}')
        pages[0].send('{"do":"pattern","text":"dot"}')
        assert until(lambda: rig.lit() == {"willow/1"})
        time.sleep(0.5)
        wire, all_told = [], []
        for tap in range(taps):
            wanted = tap + 1
            before = len(rig.arrived)
            begin = time.monotonic()
            pages[tap % PAGES].send('{"do":"on"}')
            assert until(lambda wanted=wanted: all(wanted in steps for steps in told))
            all_told.append(max(steps[wanted] for steps in told) - begin)
            assert until(lambda before=before, begin=begin: any(at > begin for at in rig.arrived[before:]))
            wire.append(next(at for at in rig.arrived[before:] if at > begin) - begin)
            time.sleep(0.02 + 0.03 * (tap % 7) / 7)
    for name, found in (("tap to packet", wire), (f"tap to all {PAGES} pages told", all_told)):
        p50, p95, p99 = np.percentile(np.array(found) * 1000, [50, 95, 99])
        print(f"{name}: p50 {p50:.1f} ms, p95 {p95:.1f} ms, p99 {p99:.1f} ms, most {max(found) * 1000:.1f} ms")


def many(rig: Rig, requests: int) -> None:
    """Requests without a cookie, as fast as they are answered."""
    head = f"GET /show HTTP/1.1\r\nHost: {rig.entry.host}\r\n\r\n".encode()
    batch = 500
    at, begin = resident(), time.monotonic()
    for number in range(requests // batch):
        with socket.create_connection(("127.0.0.1", rig.port)) as line:
            threading.Thread(target=line.sendall, args=(head * batch,)).start()
            answered = 0
            while answered < batch:
                octets = line.recv(1 << 20)
                assert octets
                assert b"Heron" not in octets
                answered += octets.count(b"first.")
        if number == requests // batch // 10:
            at = resident()
    seconds = time.monotonic() - begin
    assert not rig.lit()
    print(
        f"{requests} requests without a cookie: {requests / seconds:.0f} a second, memory {at:.0f} MB after a tenth, "
        f"{resident():.0f} MB at the end; nothing lit"
    )


def main() -> None:
    """Measure, and print."""
    taps = min(499, int(sys.argv[1])) if len(sys.argv) > 1 else 300
    requests = int(sys.argv[2]) if len(sys.argv) > 2 else 20_000
    with tempfile.TemporaryDirectory() as folder:
        for name in ("heron-lock.toml", "willow.csv"):
            shutil.copyfile(TESTS.parent / "shows" / name, Path(folder) / name)
        with evening(Path(folder) / "heron-lock.toml") as rig:
            latency(rig, taps)
            rig.desk.alter(lambda state: type(state)())
            assert until(lambda: not rig.lit())
            many(rig, requests)


if __name__ == "__main__":
    main()
