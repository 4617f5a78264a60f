"""Shows that are worked by hand: boxes with the lengths of their runs, and what is typed into them."""

from patcher.patch.chains import chains
from patcher.patch.patch import Patch, Start
from rig.patch_pencil import ORDERS
from rig.shipped import wired


def by_hand(boxes: dict[str, str], keys: dict[str, dict] | None = None, **settings: object) -> dict:
    """A show whose runs are written RUN:PIXELS, RUN:PIXELS*KIND or RUN:PIXELS@PORT; else RGB, on ports in their order.

    Args:
        boxes: the runs of each box.
        keys: what else the table of a box has.
        settings: what else the show's table has.
    """
    controllers, runs = {}, {}
    for number, (name, text) in enumerate(boxes.items(), start=1):
        ports: dict[str, list[str]] = {}
        for port, word in enumerate(text.split(), start=1):
            run, _, rest = word.partition(":")
            length, _, there = rest.partition("@")
            pixels, _, kind = length.partition("*")
            ports.setdefault(there or str(port), []).append(run)
            runs[run] = {"pixel": kind or "rgb", "pixels": int(pixels)}
        controllers[name] = {"address": f"192.0.2.{number}", "ports": 10, "port": ports} | (keys or {}).get(name, {})
    return {
        "show": {"title": "by hand", "placement": "fresh"} | settings,
        "pixel": {kind: {"colour_order": order} for kind, order in ORDERS.items()},
        "controller": controllers, "run": runs,
    }  # fmt: skip


def typed_in(tables: dict, places: str) -> Patch:
    """The patch of a show, each start typed in where it is said, in the order of the file."""
    pairs = (map(int, place.split("/")) for place in places.split())
    return Patch(tuple(Start(chain, *pair) for chain, pair in zip(chains(wired(tables)), pairs, strict=True)))


def starts(patch: Patch) -> dict[str, str]:
    """Where each start is, by its name."""
    return {start.chain.name: start.address for start in patch.starts}
