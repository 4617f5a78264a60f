"""A pencil that lays a patch pixel by pixel from the show's tables, and shows at random.

It shares no code with the patch."""

from dataclasses import dataclass

from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.placement.allocation import allocate
from rig.shipped import wired

ORDERS = {"mono": "W", "rgb": "RGB", "grb": "GRB", "rgbw": "RGBW", "five": "RGBWA"}


Address = tuple[int, int]


@dataclass
class Lamp:
    """One pixel in the oracle's table; `number` is None for a null."""

    controller: str
    run: str
    number: int | None
    width: int


def pencil_starts(tables: dict) -> list[tuple[str, str, list[Lamp]]]:
    """Every start as (controller, key of its pin, its pixels in data order), in the order of the file."""
    starts: dict[tuple[str, str], list[Lamp]] = {}
    for box, controller in tables["controller"].items():
        for port in sorted(controller.get("port", {}), key=int):
            for run in controller["port"][port]:
                table = tables["run"][run]
                width = len(ORDERS[table["pixel"]])
                key = {"controller": box, "port": port, "run": run}[controller.get("start_per", "port")]
                lamps = starts.setdefault((box, key), [])
                if not controller.get("skips_nulls", True):
                    lamps += [Lamp(box, run, None, width)] * table.get("nulls", 0)
                lamps += [Lamp(box, run, pixel + 1, width) for pixel in range(table["pixels"])]
    return [(box, key, lamps) for (box, key), lamps in starts.items()]


def pencil_lay(start: Address, lamps: list[Lamp]) -> list[tuple[Address, Lamp]]:
    """Where each pixel goes: on the next channels if it fits before 512, else on channel 1 of the next universe."""
    universe, channel = start
    laid = []
    for lamp in lamps:
        if channel + lamp.width - 1 > 512:
            universe, channel = universe + 1, 1
        laid.append(((universe, channel), lamp))
        channel += lamp.width
    return laid


# The sizes are those where something begins or ends: a universe of RGB, of RGBW, of one channel; the rest is free.
sizes = st.one_of(st.integers(1, 6), st.integers(1, 400), st.sampled_from((102, 103, 128, 129, 170, 171, 340, 512)))


@st.composite
def shows(draw, *, pins: bool) -> dict:
    runs: dict[str, dict] = {}
    controllers: dict[str, dict] = {}
    for box_number in range(draw(st.integers(1, 5))):
        box = f"box-{'abcde'[box_number]}"
        controller: dict = {
            "address": f"192.0.2.{box_number + 1}",
            "ports": 9,
            "protocol": draw(st.sampled_from(("e131", "artnet"))),
            "start_per": draw(st.sampled_from(("controller", "port", "run"))),
            "consecutive": draw(st.booleans()),
            "skips_nulls": draw(st.booleans()),
            "port": {},
        }
        numbers = draw(st.lists(st.integers(1, 9), unique=True, max_size=3))
        for number in numbers:  # in the order drawn: a file need not list its ports in order
            chain = controller["port"][str(number)] = []
            for _ in range(draw(st.integers(0, 3))):
                kind, nulls = draw(st.sampled_from(tuple(ORDERS))), draw(st.integers(0, 3))
                chain.append(f"run-{len(runs) + 1}")
                runs[chain[-1]] = {"pixel": kind, "pixels": draw(sizes), "nulls": nulls}
        controllers[box] = controller
    hung = list(runs)
    for number in range(draw(st.integers(0, 2)) if hung else 0):
        of = draw(st.sampled_from(hung))
        # A tee takes as many channels a pixel; its pixels may still want them in another order.
        pixel = runs[of]["pixel"] if runs[of]["pixel"] not in ("rgb", "grb") else draw(st.sampled_from(("rgb", "grb")))
        runs[f"tee-{number + 1}"] = runs[of] | {"pixel": pixel, "same_data_as": of}
    tables = {
        "show": {
            "title": "rules",
            "first_universe": draw(st.sampled_from((1, 1, 7, 500))),
            "placement": draw(st.sampled_from(("fresh", "follow"))),
            "share_universes": draw(st.booleans()),
        },
        "pixel": {name: {"colour_order": order} for name, order in ORDERS.items()},
        "controller": controllers,
        "run": runs,
    }
    if pins:
        draw_pins_and_limits(draw, tables)
    return tables


def draw_pins_and_limits(draw, tables: dict) -> None:
    if draw(st.integers(0, 9)) == 0:
        tables["show"]["first_universe"] = draw(st.sampled_from((63_998, 32_766)))
    by_box: dict[str, list[str]] = {}
    for box, key, _ in pencil_starts(tables):
        by_box.setdefault(box, []).append(key)
    # Pins near each other meet often, pins far apart seldom do; both must come up.
    universes = st.one_of(st.integers(1, 12), st.integers(1, 60_000))
    channels = st.sampled_from((1, 1, 1, 4, 100, 256, 509, 511, 512))
    for box, keys in by_box.items():
        controller = tables["controller"][box]
        if draw(st.integers(0, 2)) == 0:
            controller["first_universe"] = draw(universes)
        for key in keys:
            if draw(st.integers(0, 4)) == 0:
                controller.setdefault("start", {})[key] = f"{draw(universes)}/{draw(channels)}"
        if draw(st.integers(0, 3)) == 0:
            controller["universes"] = draw(st.integers(1, 12))


def allocated(tables: dict):
    """The wiring and its patch, or None for the patch where there can be none; then every reason must be said."""
    wiring = wired(tables)
    try:
        return wiring, allocate(wiring).patch
    except PatcherError as error:
        findings = error.findings
    # Source: the design: messages name the place, what is wrong, and what to do
    assert findings
    assert all(finding.where and finding.says and finding.remedy for finding in findings)
    assert {(finding.area, finding.severity) for finding in findings} == {("address", "error")}
    return wiring, None


def laid_by_pencil(tables: dict, patch) -> list[tuple[str, str, list[tuple[Address, Lamp]]]]:
    """The starts that the patch gives, their pixels laid by the oracle."""
    wanted = pencil_starts(tables)
    assert [(start.controller, start.chain.key) for start in patch.starts] == [(box, key) for box, key, _ in wanted]
    return [
        (box, key, pencil_lay((start.universe, start.channel), lamps))
        for start, (box, key, lamps) in zip(patch.starts, wanted, strict=True)
    ]
