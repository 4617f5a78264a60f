"""Fails any program of the tests that sends outside this machine.

Python loads this file at its start wherever its folder is on PYTHONPATH, so it guards the commands that tests start as
well as the tests themselves. A datagram or a connection may go to 127.0.0.0/8, and to a multicast group only through
the loopback interface.
"""

import ipaddress
import socket
import sys


class SentOutside(BaseException):
    """No test catches this by accident."""


def _may(sock: socket.socket, address: object) -> bool:
    if sock.family == socket.AF_UNIX:
        return True
    if not isinstance(address, tuple) or address[0] in ("localhost", "::1"):
        return isinstance(address, tuple)
    try:
        host = ipaddress.ip_address(address[0])
    except ValueError:
        return False
    if host.is_multicast:
        way = sock.getsockopt(socket.IPPROTO_IP, socket.IP_MULTICAST_IF, 4)
        return way == socket.inet_aton("127.0.0.1")
    return host.is_loopback


def _watch(event: str, arguments: tuple[object, ...]) -> None:
    # patcher.sendmmsg: what the sender raises itself for each place, since Python cannot know of its system call.
    if event not in ("socket.sendto", "socket.sendmsg", "socket.connect", "patcher.sendmmsg"):
        return
    sock, address = arguments[0], arguments[1]
    if address is not None and not _may(sock, address):
        raise SentOutside(f"a test sends to {address!r}")


sys.addaudithook(_watch)
