"""How fast and how evenly packets leave, beside other ways to send them, all in one run on the loopback.

Packets a second: 1 000 E1.31 universes to 127.0.0.1; three runs of a second each, which take turns; of each way the
quickest frame counts, since other programs may hold up any. `Sender` has new levels for every packet; the C programs,
compiled here, and the plain loops send packets that were built before and never change; sacn packs each packet as its
own sender does. The receiver is a bound socket that nobody reads: the system takes the packets in until its buffer is
full, and then drops them there.

Then 1 000 universes at 40 frames a second, levels changing in every packet, for as many seconds as the argument says:
how late the frames were, and which share of one core it took. Prints tables; nothing is asserted.

    python tests/benchmarks/sending.py [SECONDS]
"""

from __future__ import annotations

import os
import shutil
import socket
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np

from patcher.stream.clock import Clock
from patcher.stream.datagrams import Sendto
from patcher.stream.levels import Levels
from patcher.stream.packets import Packets
from patcher.stream.sender import Sender, Target
from patcher.wire import e131

UNIVERSES, RATE = 1_000, 40.0
RUN, BEST_OF = 1.0, 3
HOST = "127.0.0.1"
CID, SOURCE = bytes(range(16)), "benchmark"

C_PROGRAM = r"""
#define _GNU_SOURCE
#include <arpa/inet.h>
#include <netinet/in.h>
#include <stdio.h>
#include <stdlib.h>
#include <string.h>
#include <sys/socket.h>
#include <time.h>

enum { SIZE = 638, MOST = 1024 };
static unsigned char packets[MOST][SIZE];
static struct mmsghdr headers[MOST];
static struct iovec parts[MOST];

static double now(void) {
    struct timespec t;
    clock_gettime(CLOCK_MONOTONIC, &t);
    return t.tv_sec + t.tv_nsec / 1e9;
}

/* way, host, port, seconds, file of packets: prints packets a second */
int main(int argc, char **argv) {
    int many = !strcmp(argv[1], "sendmmsg"), count;
    struct sockaddr_in to = {.sin_family = AF_INET, .sin_port = htons(atoi(argv[3]))};
    double seconds = atof(argv[4]), begin, frame, quickest = 1e9;
    FILE *file = fopen(argv[5], "rb");
    int out = socket(AF_INET, SOCK_DGRAM, 0);
    if (argc != 6 || !file || out < 0 || inet_pton(AF_INET, argv[2], &to.sin_addr) != 1) return 1;
    if (ntohl(to.sin_addr.s_addr) >> 24 != 127) return 1;
    count = fread(packets, SIZE, MOST, file);
    for (int i = 0; i < count; i++) {
        parts[i] = (struct iovec){packets[i], SIZE};
        headers[i].msg_hdr = (struct msghdr){&to, sizeof to, &parts[i], 1, 0, 0, 0};
    }
    begin = now();
    do {
        frame = now();
        if (many) {
            for (int at = 0; at < count;) {
                int left = sendmmsg(out, headers + at, count - at, 0);
                if (left < 0) return 1;
                at += left;
            }
        } else {
            for (int i = 0; i < count; i++)
                if (sendto(out, packets[i], SIZE, 0, (struct sockaddr *)&to, sizeof to) < 0) return 1;
        }
        frame = now() - frame;
        if (frame < quickest) quickest = frame;
    } while (now() - begin < seconds);
    printf("%f\n", count / quickest);
    return 0;
}
"""


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


def repeated(frame: Callable[[int], object]) -> float:
    """Packets a second of the quickest of many frames that follow each other without a pause."""
    quickest, number, begin = np.inf, 0, time.perf_counter()
    while (at := time.perf_counter()) - begin < RUN:
        frame(number)
        number += 1
        quickest = min(quickest, time.perf_counter() - at)
    return UNIVERSES / quickest


def with_sender() -> float:
    levels = frames()
    with Sender(goals()) as sender:
        return repeated(lambda number: sender.send(levels[number % 2]))


def with_sendto_behind_the_face() -> float:
    levels = frames()
    block = Packets(goals(), cid=CID, source=SOURCE, priority=100, sync=False)
    rows = np.arange(UNIVERSES)
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        out = Sendto(sock, block.octets, block.begins, block.lengths, block.places)

        def frame(number: int) -> None:
            block.write(levels[number % 2])
            block.count_on(rows)
            out.send(rows, 1.0)

        return repeated(frame)


def with_a_plain_loop() -> float:
    packets = built()
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:

        def frame(number: int) -> None:
            for packet in packets:
                sock.sendto(packet, (HOST, e131.PORT))

        return repeated(frame)


def with_sacn() -> float:
    """As sacn's own sender does it: levels and sequence into a packet object, its octets, a datagram."""
    from sacn.messages.data_packet import DataPacket

    packets = [DataPacket(tuple(CID), SOURCE, universe) for universe in range(1, UNIVERSES + 1)]
    levels = [[tuple(row) for row in frame.slots.tolist()] for frame in frames()]
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:

        def frame(number: int) -> None:
            for packet, slots in zip(packets, levels[number % 2], strict=True):
                packet.dmxData = slots
                packet.sequence_increase()
                sock.sendto(bytearray(packet.getBytes()), (HOST, e131.PORT))

        return repeated(frame)


def compiled(folder: Path) -> Callable[[str], float] | None:
    """Runs the C program one way; None where there is no C compiler."""
    compiler = shutil.which("cc")
    if compiler is None:
        return None
    source, program, packets = folder / "sending.c", folder / "sending", folder / "packets"
    source.write_text(C_PROGRAM)
    subprocess.run([compiler, "-O2", "-o", program, source], check=True)
    packets.write_bytes(b"".join(built()))

    def run(way: str) -> float:
        call = [program, way, HOST, str(e131.PORT), str(RUN), packets]
        return float(subprocess.run(call, check=True, capture_output=True, text=True).stdout)

    return run


def rates() -> None:
    """The first table."""
    ways: dict[str, Callable[[], float]] = {"`Sender`, new levels in every packet": with_sender}
    with tempfile.TemporaryDirectory() as folder:
        program = compiled(Path(folder))
        if program is None:
            print("There is no C compiler (cc) here, so the C programs are left out.\n")
        else:
            ways["C, `sendmmsg`, prebuilt packets"] = lambda: program("sendmmsg")
            ways["C, `sendto`, prebuilt packets"] = lambda: program("sendto")
        ways["Python, `sendto`, prebuilt packets"] = with_a_plain_loop
        ways["as `Sender` where there is no `sendmmsg`"] = with_sendto_behind_the_face
        ways["sacn: `DataPacket`, `getBytes`, `sendto`"] = with_sacn
        best = dict.fromkeys(ways, 0.0)
        for _ in range(BEST_OF):
            for name, way in ways.items():
                best[name] = max(best[name], way())
    ours = next(iter(best.values()))
    wanted = {"C, `sendmmsg`, prebuilt packets": "≥ 0.9", "sacn: `DataPacket`, `getBytes`, `sendto`": "≥ 15"}
    print("| way | packets a second | `Sender` is so many times as fast | goal |\n| --- | --: | --: | --: |")
    for name, rate in best.items():
        print(f"| {name} | {rate:,.0f} | {ours / rate:.2f} | {wanted.get(name, '')} |")


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
        receiver.bind((HOST, e131.PORT))
        rates()
        stream(seconds)


if __name__ == "__main__":
    main()
