"""What check says of the addresses of boxes, against the numbers of RFC 1918 and RFC 5737 and a count of networks."""

from collections import Counter

from hypothesis import example, given
from hypothesis import strategies as st

from patcher.limits.findings import check
from patcher.show.schema import Show
from rig.examples import examples
from rig.shipped import wired

OWN = ("10.1.2.", "172.16.0.", "172.31.9.", "192.168.0.", "192.168.1.", "192.0.2.", "198.51.100.", "203.0.113.")
"""Networks of nobody's and of examples. Source: RFC 1918, 3; RFC 5737, 3."""
PUBLIC = ("8.8.8.", "192.186.1.", "172.15.0.", "172.32.0.", "11.0.0.", "192.169.1.", "193.168.1.")
NETWORKS = st.sampled_from(OWN) | st.sampled_from(("192.168.1.", "192.168.1.", "192.0.2.")) | st.sampled_from(PUBLIC)
ADDRESSES = st.lists(st.tuples(NETWORKS, st.integers(0, 255)), min_size=1, max_size=6, unique=True)
RULES = {"public-address", "network-address", "other-network", "loopback"}


def said(addresses: list[str]) -> dict[str, str]:
    """The rule that each address breaks, by the address."""
    boxes = {
        f"box-{at}": {"address": address, "ports": 1, "port": {"1": [f"run-{at}"]}}
        for at, address in enumerate(addresses)
    }
    runs = {f"run-{at}": {"pixel": "bulb", "pixels": 5} for at in range(len(addresses))}
    tables = {"show": {"title": "x"}, "pixel": {"bulb": {"colour_order": "RGB"}}, "controller": boxes, "run": runs}
    _, found = check(wired(tables))
    mine = [finding for finding in found if finding.rule in RULES]
    assert all(finding.severity == "warning" and finding.area == "address" and finding.remedy for finding in mine)
    places = {f"controller.{name}.address": box["address"] for name, box in boxes.items()}
    assert len({finding.where for finding in mine}) == len(mine), "one warning a box"
    return {places[finding.where]: finding.rule for finding in mine}


@examples(80, 500)
@given(ADDRESSES)
@example([("192.168.1.", 50), ("192.168.1.", 51), ("192.168.0.", 52)])
@example([("192.168.1.", 50), ("192.168.0.", 51)])
@example([("192.186.1.", 50), ("192.168.1.", 51)])
def test_an_address_that_is_public_or_apart_is_warned_of(drawn: list[tuple[str, int]]) -> None:
    # Source: found by a reader: 192.186.1.50, a slip for 192.168.1.50, and 192.168.1.255 were sent to without a word
    inside = [network for network, _ in drawn if network in OWN]
    (usual, number), = Counter(inside).most_common(1) or [("", 0)]  # fmt: skip
    if number * 2 <= len(inside) and len(inside) != 2:
        usual = ""
    wanted = {}
    for network, last in drawn:
        if network in PUBLIC:
            wanted[f"{network}{last}"] = "public-address"
        elif last in (0, 255):
            wanted[f"{network}{last}"] = "network-address"
        elif usual and network != usual:
            wanted[f"{network}{last}"] = "other-network"
    assert said([f"{network}{last}" for network, last in drawn]) == wanted


def test_a_box_without_an_address_and_one_alone_are_not_warned_of() -> None:
    assert said(["10.255.255.254"]) == {}
    boxes = {
        name: {"delivery": "multicast", "ports": 1, "port": {"1": [name + "s"]}} | more
        for name, more in (("a", {}), ("b", {"address": "10.0.0.7"}))
    }
    runs = {"as": {"pixel": "bulb", "pixels": 5}, "bs": {"pixel": "bulb", "pixels": 5}}
    tables = {"show": {"title": "x"}, "pixel": {"bulb": {"colour_order": "RGB"}}, "controller": boxes, "run": runs}
    assert isinstance(wired(tables).show, Show)
    assert not {finding.rule for finding in check(wired(tables))[1]} & RULES
