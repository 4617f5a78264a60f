"""1 000 universes at 40 frames a second into the yard on the loopback, levels changing in every packet.

A second process sends prebuilt packets on a steady clock; this one is the yard as `patcher yard` runs it: boxes, pixels
and the colours they have shown. Prints a table; nothing is asserted.

    python tests/benchmarks/receiving.py [SECONDS] [UNIVERSES] [FRAMES A SECOND] [--picture]

With `--picture` the terminal picture is drawn besides, ten times a second, to a pseudo-terminal that throws it away.
"""

from __future__ import annotations

import multiprocessing
import os
import socket
import sys
import time
from contextlib import ExitStack
from pathlib import Path

from patcher.trade import UDP_PORTS

UNIVERSES_A_BOX = 100
PIXELS_A_UNIVERSE = 170


def show_text(universes: int) -> str:
    """A show of so many universes of RGB pixels, a hundred a box, ten a port, drawn as lines."""
    out = ['[show]\ntitle = "Receiving"\n\n[pixel.lamp]\ncolour_order = "RGB"\n']
    boxes = -(-universes // UNIVERSES_A_BOX)
    for box in range(boxes):
        here = min(UNIVERSES_A_BOX, universes - box * UNIVERSES_A_BOX)
        out.append(f'[controller.box-{box}]\naddress = "192.0.2.{box + 1}"\nports = 100\n[controller.box-{box}.port]')
        ports = [here - first if here - first < 10 else 10 for first in range(0, here, 10)]
        out += [f'{port} = ["run-{box}-{port}"]' for port in range(1, len(ports) + 1)]
        for port, wide in enumerate(ports, start=1):
            pixels = wide * PIXELS_A_UNIVERSE
            y = box * 10 + port
            out.append(f'[run.run-{box}-{port}]\npixel = "lamp"\nshape = "line"\npath = [[0, {y}], [100, {y}]]')
            out.append(f"pixels = {pixels}\n")
    return "\n".join(out)


def stream(hosts: dict[str, str], universes: dict[str, tuple[int, ...]], frames: int, rate: float, out: object) -> None:
    """Send every universe to its box, frame by frame on an absolute clock; tell how many packets left."""
    from patcher.wire import e131

    goals = [(hosts[box], UDP_PORTS["e131"]) for box, numbers in universes.items() for _ in numbers]
    heads = [
        bytes(e131.data_packet(cid=b"benchmark-sender", source="benchmark", universe=universe))
        for numbers in universes.values() for universe in numbers
    ]  # fmt: skip
    looks = [bytes((frame * 37 + slot) % 256 for slot in range(512)) for frame in range(8)]
    packets = [[bytearray(head[:126] + look) for head in heads] for look in looks]
    wire = socket.socket(socket.AF_INET, socket.SOCK_DGRAM)
    wire.setsockopt(socket.SOL_SOCKET, socket.SO_SNDBUF, 1 << 22)
    sent = 0
    begin = time.perf_counter()
    for frame in range(frames):
        due = begin + frame / rate
        while (left := due - time.perf_counter()) > 0:
            time.sleep(left)
        for packet, goal in zip(packets[frame % 8], goals, strict=True):
            packet[111] = frame % 256
            wire.sendto(packet, goal)
            sent += 1
    out.send((sent, time.perf_counter() - begin))  # type: ignore[attr-defined]


def main() -> None:
    """Run it and print the table."""
    from patcher.faults import Built
    from patcher.listener.receiver import Receiver
    from patcher.placement.allocation import allocate
    from patcher.show.parser import read
    from patcher.wiring import wire
    from patcher.yard.yard import Yard, addresses, ears

    words = [word for word in sys.argv[1:] if word != "--picture"]
    seconds, universes, rate = (float(words[at]) if len(words) > at else d for at, d in enumerate((10, 1000, 40)))
    show = read(show_text(int(universes))).show
    assert show is not None
    wiring = wire(show)
    patch = allocate(wiring).patch
    yard = Yard(wiring, patch, Built())
    hosts = addresses(Path(__file__), show)
    heard_by = ears(show, patch, hosts, yard.universes)
    apart = multiprocessing.get_context("spawn")
    here, there = apart.Pipe(duplex=False)
    with ExitStack() as stack:
        draw = None
        if "--picture" in sys.argv:
            draw = picture(stack, yard, wiring)
        receiver = stack.enter_context(Receiver(heard_by))
        work = (hosts, yard.universes, int(seconds * rate), rate, there)
        sender = apart.Process(target=stream, args=work)
        sender.start()
        polls, longest, most, first, before = 0, 0.0, 0, None, time.process_time()
        while True:
            got = receiver.poll(0.05)
            now = time.monotonic()
            first = first or (now if got else None)
            yard.hear([(heard_by[d.ear], d.octets, d.sender) for d in got], now)
            yard.expire(now)
            if draw:
                draw()
            polls += 1
            most = max(most, len(got))
            longest = max(longest, time.monotonic() - now)
            if not got and here.poll():
                break
        spent = time.process_time() - before
        sent, took = here.recv()
        sender.join()
    taken = sum(box.counts.get("taken", 0) for box in yard.boxes.values())
    lamps = sum(len(shown) for shown in yard.pixels.values())
    heads = "universes|pixels|frames a second|seconds|sent|taken|lost|CPU share of one core|most at once|longest turn"
    values = [f"{universes:.0f}", lamps, f"{int(seconds * rate) / took:.1f}", f"{took:.1f}", sent, taken, sent - taken]
    values += [f"{spent / took:.2f}", most, f"{longest * 1000:.0f} ms"]
    for row in (heads.split("|"), ["---"] * 10, values):
        print("| " + " | ".join(map(str, row)) + " |")


def picture(stack: ExitStack, yard: object, wiring: object) -> object:
    """What draws the yard to a pseudo-terminal whose other end is read and thrown away."""
    import pty
    import threading

    from patcher.yard.far_view import FarView, Throttle

    end, terminal = pty.openpty()
    stack.callback(os.close, end)

    def swallow() -> None:
        try:
            while os.read(end, 65536):
                pass
        except OSError:
            return

    threading.Thread(target=swallow, daemon=True).start()
    shown = stack.enter_context(os.fdopen(terminal, "w"))
    drawn = FarView(yard, wiring, 120, 40, "truecolor")  # type: ignore[arg-type]
    return Throttle(lambda: (shown.write(drawn.text()), shown.flush()), 10)  # type: ignore[arg-type]


if __name__ == "__main__":
    main()
