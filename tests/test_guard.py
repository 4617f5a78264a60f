"""The guard itself: what it stops, here and in the programs that tests start."""

import os
import socket
import subprocess
import sys

import pytest

from rig.guard import SentOutside

SEND = "import socket; socket.socket(socket.AF_INET, socket.SOCK_DGRAM).sendto(b'x', ({!r}, 5568))"


@pytest.mark.parametrize("host", ["192.0.2.21", "255.255.255.255", "239.255.0.1"])
def test_nothing_leaves_this_machine(host: str) -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock, pytest.raises(SentOutside):
        sock.sendto(b"x", (host, 5568))


def test_the_loopback_is_open_also_for_groups() -> None:
    with socket.socket(socket.AF_INET, socket.SOCK_DGRAM) as sock:
        sock.setsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, socket.inet_aton("127.0.0.1"))
        assert sock.sendto(b"x", ("127.0.0.1", 5568)) == 1
        assert sock.sendto(b"x", ("239.255.0.1", 5568)) == 1


def test_programs_that_tests_start_are_guarded_too() -> None:
    ran = subprocess.run([sys.executable, "-c", SEND.format("192.0.2.21")], capture_output=True, text=True)
    assert ran.returncode != 0
    assert "SentOutside" in ran.stderr
    unguarded = {key: value for key, value in os.environ.items() if key != "PYTHONPATH"}
    local = subprocess.run([sys.executable, "-c", SEND.format("127.0.0.1")], env=unguarded)
    assert local.returncode == 0
