"""How fast and how evenly packets leave, beside other ways to send them, all in one run on the loopback.

Packets a second: 1 000 E1.31 universes to 127.0.0.1. All ways take turns in this one process, in bursts of some frames,
so that whatever else the machine does hits all alike; a burst's first two frames are not counted, since another way
had the caches. Of each way there are the average of all frames, by the clock and by processor time, and the quickest
frame. A way's ratio is the median over the turns, of two bursts of the same turn.

`Sender` has new levels for every packet; the C loops, compiled here, and the plain loops send packets that were built
before and never change; sacn packs each packet as its own sender does. The receiver is a bound socket that nobody
reads: the system takes the packets in until its buffer is full, and then drops them there.

Then 1 000 universes at 40 frames a second, levels changing in every packet, for as many seconds as the argument says:
how late the frames were, and which share of one core it took. Prints tables, and a verdict on each
ratio that has a goal.

    python tests/benchmarks/sending.py [SECONDS]
"""

from __future__ import annotations

import ctypes
import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import partial
from itertools import count
from pathlib import Path

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.frames.levels import Levels
from patcher.stream.clock import Clock
from patcher.stream.datagrams import Sendto
from patcher.stream.packets import Packets
from patcher.stream.sender import Sender, Target
from patcher.trade import UDP_PORTS
from patcher.wire import e131
from rig.verdicts import at_least

UNIVERSES, RATE = 1_000, 40.0
TURNS, WARM, QUICK_FRAMES, SLOW_FRAMES = 60, 2, 20, 1
"""Turns, and frames of a burst: those that are not counted, and those that are; of the slow way, just one."""
HOST = "127.0.0.1"
SACN = "sacn: `DataPacket`, `getBytes`, `sendto`"
CID, SOURCE = bytes(range(16)), "benchmark"

C_PROGRAM = r"""
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <netinet/in.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

enum { SIZE = 638, MOST = 1024 };
static unsigned char packets[MOST][SIZE];
static struct mmsghdr headers[MOST];
static struct iovec parts[MOST];
static struct sockaddr_in to;
static int out, count;

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec + t.tv_nsec / 1e9;
}

/* 0 when ready to send so many packets, each of SIZE octets */
int prepare(const char *host, int port, const unsigned char *built, int packet_count) {
    to = (struct sockaddr_in){.sin_family = AF_INET, .sin_port = htons(port)};
    out = socket(AF_INET, SOCK_DGRAM, 0);
    count = packet_count;
    if (out < 0 || count > MOST || inet_pton(AF_INET, host, &to.sin_addr) != 1) return 1;
    if (ntohl(to.sin_addr.s_addr) >> 24 != 127) return 1;
    memcpy(packets, built, (size_t)count * SIZE);
    for (int i = 0; i < count; i++) {
        parts[i] = (struct iovec){packets[i], SIZE};
        headers[i].msg_hdr = (struct msghdr){&to, sizeof to, &parts[i], 1, 0, 0, 0};
    }
    return 0;
}

/* Seconds of the quickest of some frames; less than 0: the system refused one. */
double burst(int many, int frames) {
    double quickest = 1e9;
    while (frames-- > 0) {
        double frame = now();
        if (many) {
            for (int at = 0; at < count;) {
                int left = sendmmsg(out, headers + at, count - at, 0);
                if (left < 0) return -1;
                at += left;
            }
        } else {
            for (int i = 0; i < count; i++)
                if (sendto(out, packets[i], SIZE, 0, (struct sockaddr *)&to, sizeof to) < 0) return -1;
        }
        frame = now() - frame;
        if (frame < quickest) quickest = frame;
    }
    return quickest;
}
"""

Burst = Callable[[int], float]
"""Sends so many frames, and says how many seconds the quickest took."""


def frames() -> list[Levels]:
    """Two frames that differ in every universe."""
    random = np.random.default_rng(5)
    universes = tuple(range(1, UNIVERSES + 1))
    return [Levels(universes, random.integers(0, 256, (UNIVERSES, 512), dtype=np.uint8)) for _ in range(2)]


def built() -> list[bytearray]:
    """Every universe's packet."""
    every = range(1, UNIVERSES + 1)
    return [e131.data_packet(cid=CID, source=SOURCE, universe=universe) for universe in every]


def goals() -> list[Target]:
    return [Target("e131", universe, HOST) for universe in range(1, UNIVERSES + 1)]


def repeated(frame: Callable[[int], object]) -> Burst:
    """Bursts of a frame that is told its number."""
    numbers = count()

    def burst(frames: int) -> float:
        quickest = np.inf
        for _ in range(frames):
            at = time.perf_counter()
            frame(next(numbers))
            quickest = min(quickest, time.perf_counter() - at)
        return float(quickest)

    return burst


def with_sender(stack: ExitStack) -> Burst:
    levels = frames()
    sender = stack.enter_context(Sender(goals()))
    return repeated(lambda number: sender.send(levels[number % 2]))


def with_sendto_behind_the_face(stack: ExitStack) -> Burst:
    levels = frames()
    block = Packets(goals(), cid=CID, source=SOURCE, priority=100, sync=False)
    rows = np.arange(UNIVERSES)
    sock = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))
    out = Sendto(sock, block.octets, block.begins, block.lengths, block.places)

    def frame(number: int) -> None:
        block.write(levels[number % 2])
        block.count_on(rows)
        out.send(rows, 1.0)

    return repeated(frame)


def with_a_plain_loop(stack: ExitStack) -> Burst:
    packets = built()
    sock = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))

    def frame(number: int) -> None:
        for packet in packets:
            sock.sendto(packet, (HOST, UDP_PORTS["e131"]))

    return repeated(frame)


def with_sacn(stack: ExitStack) -> Burst:
    """As sacn's own sender does it: levels and sequence into a packet object, its octets, a datagram."""
    from sacn.messages.data_packet import DataPacket

    packets = [DataPacket(tuple(CID), SOURCE, universe) for universe in range(1, UNIVERSES + 1)]
    levels = [[tuple(row) for row in frame.slots.tolist()] for frame in frames()]
    sock = stack.enter_context(socket.socket(socket.AF_INET, socket.SOCK_DGRAM))

    def frame(number: int) -> None:
        for packet, slots in zip(packets, levels[number % 2], strict=True):
            packet.dmxData = slots
            packet.sequence_increase()
            sock.sendto(bytearray(packet.getBytes()), (HOST, UDP_PORTS["e131"]))

    return repeated(frame)


def compiled(folder: Path) -> Callable[[bool], Burst] | None:
    """The C loops, with `sendmmsg` or without; None where there is no C compiler."""
    compiler = shutil.which("cc")
    if compiler is None:
        return None
    source, library = folder / "sending.c", folder / "sending.so"
    source.write_text(C_PROGRAM)
    subprocess.run([compiler, "-O2", "-shared", "-fPIC", "-o", library, source], check=True)
    loops = ctypes.CDLL(str(library))
    loops.burst.restype = ctypes.c_double
    if loops.prepare(HOST.encode(), UDP_PORTS["e131"], b"".join(built()), UNIVERSES):
        raise OSError("the C loops cannot send")

    def burst(many: bool, frames: int) -> float:
        quickest = float(loops.burst(int(many), frames))
        if quickest < 0:
            raise OSError("the system refused a packet")
        return quickest

    return lambda many: partial(burst, many)


@dataclass
class Measured:
    """Bursts of one way.

    Attributes:
        wall: seconds a frame of each, by the clock.
        processor: the same by processor time.
        quickest: seconds of the quickest frame of all.
    """

    wall: list[float] = field(default_factory=list)
    processor: list[float] = field(default_factory=list)
    quickest: float = np.inf

    def burst(self, way: Burst, frames: int) -> None:
        """Measure one."""
        way(WARM if frames > 1 else 0)
        wall, processor = time.perf_counter(), time.thread_time()
        quickest = way(frames)
        self.processor.append((time.thread_time() - processor) / frames)
        self.wall.append((time.perf_counter() - wall) / frames)
        self.quickest = min(self.quickest, quickest)


def ratios(ours: Measured, theirs: Measured) -> tuple[float, float, float]:
    """How many times as fast we are: by the median turn, by all processor time, by the quickest frame."""
    median = float(np.median(np.array(theirs.wall) / np.array(ours.wall)))
    return median, float(np.mean(theirs.processor) / np.mean(ours.processor)), theirs.quickest / ours.quickest


def rates() -> dict[str, tuple[float, float]]:
    """The first table; by their names, the ratios that have a goal, with it."""
    with tempfile.TemporaryDirectory() as folder, ExitStack() as stack:
        ways: dict[str, Burst] = {"`Sender`, new levels in every packet": with_sender(stack)}
        loops = compiled(Path(folder))
        if loops is None:
            print("There is no C compiler (cc) here, so the C loops are left out.\n")
        else:
            ways["C, `sendmmsg`, prebuilt packets"] = loops(True)
            ways["C, `sendto`, prebuilt packets"] = loops(False)
        ways["Python, `sendto`, prebuilt packets"] = with_a_plain_loop(stack)
        ways["as `Sender` where there is no `sendmmsg`"] = with_sendto_behind_the_face(stack)
        ways[SACN] = with_sacn(stack)
        measured = {name: Measured() for name in ways}
        for turn in range(TURNS):
            for name in list(ways)[:: 1 if turn % 2 else -1]:
                measured[name].burst(ways[name], SLOW_FRAMES if name == SACN else QUICK_FRAMES)
    ours = next(iter(measured.values()))
    wanted = {"C, `sendmmsg`, prebuilt packets": 0.9, SACN: 15.0}
    print("Packets a second; and how many times as fast `Sender` is, sustained and in the quickest frame.\n")
    print("| way | sustained | of processor time | quickest frame | × sustained | × processor | × quickest | goal |")
    print("| --- | --: | --: | --: | --: | --: | --: | --: |")
    for name, one in measured.items():
        speeds = [UNIVERSES / seconds for seconds in (np.mean(one.wall), np.mean(one.processor), one.quickest)]
        cells = [f"{speed:,.0f}" for speed in speeds] + [f"{ratio:.2f}" for ratio in ratios(ours, one)]
        print(f"| {name} | {' | '.join(cells)} | {'≥ ' + format(wanted[name], 'g') if name in wanted else ''} |")
    return {name: (ratios(ours, measured[name])[0], goal) for name, goal in wanted.items() if name in measured}


def stream(seconds: float) -> None:
    """The second table."""
    levels = frames()
    clock = Clock(RATE)

    def wait(left: float) -> bool:
        time.sleep(left)
        return False

    with Sender(goals(), interface=HOST) as sender:
        begun = time.process_time()
        for number, elapsed in enumerate(clock.frames(wait)):
            if elapsed >= seconds:
                break
            sender.send(levels[number % 2])
        share = (time.process_time() - begun) / clock.elapsed
        packets = sender.packets
    late = clock.late
    print(f"\n{UNIVERSES:,} universes at {RATE:g} frames a second for {clock.elapsed:.0f} s: {packets:,} packets.\n")
    print("| what | measured | goal |\n| --- | --: | --: |")
    print(f"| late, median | {late.percentile(0.5):.2f} ms | |")
    print(f"| late, 99th percentile | {late.percentile(0.99):.2f} ms | ≤ {250 / RATE:.2f} ms |")
    print(f"| late, most | {late.most * 1000:.2f} ms | |")
    print(f"| frames dropped | {clock.dropped} of {late.frames + clock.dropped} | |")
    print(f"| share of one core | {share:.2f} | < 0.5 |")


def main() -> None:
    """Both tables."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 60.0
    print(f"{os.cpu_count()} cores, {sys.platform}, Python {sys.version.split()[0]}\n")
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as receiver:
        receiver.bind((HOST, UDP_PORTS["e131"]))
        found = rates()
        stream(seconds)
    print()
    for name, (ratio, goal) in found.items():
        at_least(f"`Sender` ÷ {name}", ratio, goal)


if __name__ == "__main__":
    main()
