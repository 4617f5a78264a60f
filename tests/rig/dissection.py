"""tshark's reading of UDP payloads: what its dissectors of ACN and Art-Net print, field by field.

The rule of this file: many packets, one run, since each start of tshark takes a second or more.
"""

import json
import subprocess
from collections.abc import Iterable
from pathlib import Path

from rig.judges import judge

OPTIONS = [
    "--enable-heuristic",
    "acn",
    "-o",
    "acn.dmx_enable:TRUE",
    "-o",
    "acn.dmx_display_zeros:TRUE",
    "-o",
    "acn.dmx_display_leading_zeros:TRUE",
    "-o",
    "acn.dmx_display_view:Hex",
]


class Reading:
    """One packet as tshark reads it.

    `layers` are its top layers in order; `fields` maps a field's name to its values in the order of the packet.
    """

    def __init__(self, layers: list[tuple[str, object]]) -> None:
        self.layers = [name for name, _ in layers]
        self.fields: dict[str, list[str]] = {}
        self._gather(layers)

    def _gather(self, pairs: list[tuple[str, object]]) -> None:
        for name, value in pairs:
            if isinstance(value, str):
                self.fields.setdefault(name, []).append(value)
            else:
                self.fields.setdefault(name, [])
                self._gather(value if isinstance(value, list) else [])

    def __getitem__(self, name: str) -> str:
        """The one value of a field."""
        (value,) = self.fields[name]
        return value

    def complaints(self) -> list[str]:
        """Whatever tshark found malformed or worth an expert's remark."""
        return [name for name in self.fields if name.startswith("_ws.")]


def dissect(folder: Path, port: int, payloads: Iterable[bytes]) -> list[Reading]:
    """What tshark reads in payloads that were sent from and to a UDP port. Only files are made, nothing is sent."""
    tshark, text2pcap = judge("tshark", "tshark"), judge("text2pcap", "tshark")
    dump, capture = folder / "dump.txt", folder / "dump.pcap"
    # An offset of 0 begins a new packet.
    dump.write_text("".join(f"000000 {bytes(payload).hex(' ')}\n" for payload in payloads))
    addresses = ["-4", "127.0.0.1,127.0.0.1", "-u", f"{port},{port}"]
    subprocess.run([text2pcap, "-q", *addresses, str(dump), str(capture)], check=True, capture_output=True, timeout=60)
    printed = subprocess.run(
        [tshark, *OPTIONS, "-r", str(capture), "-T", "json"], check=True, capture_output=True, timeout=120
    ).stdout
    packets = json.loads(printed, object_pairs_hook=list)
    return [Reading(dict(dict(packet)["_source"])["layers"]) for packet in packets]
