"""Shows with sockets: a quay hut whose sums can be done with a pencil."""

from rig.power_show import fed, show, tap

PLAIN = {"colour_order": "RGB", "volts": 12.0, "channel_ma": 20.0, "idle_ma": 1.0, "min_volts": 6.0, "awg": 12}
"""A pixel that draws the same at any voltage: 1 mA dark, 61 mA at full white."""


def supplies(**sockets: dict) -> dict:
    """Supplies of 12 V and 30 A, by name with what each says besides."""
    return {name: {"volts": 12.0, "amps": 30.0} | keys for name, keys in sockets.items()}


def hut(pixels: dict[str, int], plugged: dict[str, dict], sockets: dict[str, dict], **settings: object) -> dict:
    """A show in which each supply feeds one run of its own, with so many pixels.

    Args:
        pixels: of each supply.
        plugged: of each supply the keys of its mains plug.
        sockets: the sockets.
        settings: of the show.
    """
    runs = {f"run-{name}": {"pixels": count, "pixel": "plain"} for name, count in pixels.items()}
    feeds = {f"feed-{name}": fed(tap(f"run-{name}", length=0.0), supply=name) for name in pixels}
    ports = {str(at): [run] for at, run in enumerate(runs, start=1)}
    tables = show(runs, feeds, supplies=supplies(**plugged), kinds={"plain": PLAIN}, ports=ports, **settings)
    return tables | {"socket": sockets}
