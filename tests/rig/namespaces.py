"""Hosts of the tests' own: network namespaces of Linux, joined by cables that are made here and end at each other.

Nothing in them can reach another network: they have no other interface. That is why programs run without the tests'
guard there, which knows the loopback only, and nowhere else.
"""

import json
import os
import subprocess
import uuid
from collections.abc import Iterator
from contextlib import contextmanager

import pytest

from rig.judges import judge
from rig.shipped import ROOT

End = tuple[str, str]
"""A host and its port: `("boxes", "eth0")`."""


def ip(*words: str) -> str:
    return subprocess.run(["ip", *words], check=True, capture_output=True, text=True, timeout=20).stdout


def inside(namespace: str, *command: str) -> list[str]:
    """A command there; where there is no such namespace, it does not run."""
    path = os.pathsep.join((str(ROOT), str(ROOT / "tests")))
    return ["ip", "netns", "exec", namespace, "env", f"PYTHONPATH={path}", *command]


def setting(namespace: str, key: str, value: object) -> bool:
    """Whether a setting of net.ipv4 could be made there."""
    words = inside(namespace, "sh", "-c", f"echo '{value}' > /proc/sys/net/ipv4/{key}")
    return subprocess.run(words, capture_output=True, timeout=20).returncode == 0


@contextmanager
def hosts(cables: list[tuple[End, End]], addresses: dict[End, list[str]]) -> Iterator[dict[str, str]]:
    """The namespace of each host, its ports up and with their addresses; skips where the system allows none."""
    judge("ip", "iproute2")
    ports = [end for cable in cables for end in cable]
    made = {host: f"pt-{host[:2]}{uuid.uuid4().hex[:6]}" for host, _ in ports}
    try:
        try:
            for name in made.values():
                ip("netns", "add", name)
            for (one, port), (other, end) in cables:
                words = ("link", "add", port, "type", "veth", "peer", "name", end, "netns", made[other])
                ip("-n", made[one], *words)
        except subprocess.CalledProcessError as error:
            pytest.skip(f"no two hosts here, only the loopback: {' '.join(error.cmd)}: {error.stderr.strip()}")
        for host, port in [*((host, "lo") for host in made), *ports]:
            for address in addresses.get((host, port), []):
                ip("-n", made[host], "addr", "add", address, "dev", port)
            ip("-n", made[host], "link", "set", port, "up")
        for host, name in made.items():
            known = {"lo", *(port for one, port in ports if one == host)}
            assert {one["ifname"] for one in json.loads(ip("-j", "-n", name, "link"))} <= known, "no way out"
        yield made
    finally:
        for name in made.values():
            subprocess.run(["ip", "netns", "del", name], capture_output=True, timeout=20)
