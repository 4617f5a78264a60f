"""Shows at random with spares for `swap`."""

from hypothesis import assume
from hypothesis import strategies as st

from patcher.errors import PatcherError
from patcher.placement.allocation import allocate
from patcher.swaps.box_swap import swap_box
from rig.shipped import wired

KINDS = {
    "rgb": {"colour_order": "RGB"},
    "grb": {"colour_order": "GRB"},
    "rgbw": {"colour_order": "RGBW", "reset_us": 80},
    "slow": {"colour_order": "RGB", "bit_rate": 400_000},
}


def show_of(runs: dict, dead: dict, spare: dict, **more: object) -> dict:
    """A show of a box, a spare, and of the kinds of pixel those that are used."""
    used = {run["pixel"] for run in runs.values()}
    return {
        "show": {"title": "swap"} | dict(more.pop("show", {})),
        "pixel": {name: kind for name, kind in KINDS.items() if name in used},
        "controller": {
            "dead": {"address": "192.0.2.1", "ports": 9} | dead,
            "spare": {"spare": True, "ports": 9} | spare,
        },
        "run": runs,
    } | more


sizes = st.one_of(st.integers(1, 8), st.sampled_from((100, 127, 128, 129, 170, 171, 300)))


@st.composite
def yards(draw) -> dict:
    """A few boxes with runs, a spare, supplies and feeds; every way to have starts on either side of the swap."""
    runs: dict[str, dict] = {}
    controllers: dict[str, dict] = {}
    kinds = draw(st.sampled_from((("rgb",), ("rgb", "rgbw"), ("rgb", "grb", "rgbw"))))
    units = draw(st.sampled_from(("m", "ft")))
    for number, name in enumerate(draw(st.permutations(("dead", "spare", "other", "last")))):
        box: dict = {
            "ports": draw(st.integers(2, 5)),
            "protocol": draw(st.sampled_from(("e131", "artnet"))),
            "start_per": draw(st.sampled_from(("controller", "port", "run"))),
            "consecutive": draw(st.booleans()),
            "reorders": draw(st.booleans()),
            "skips_nulls": draw(st.booleans()),
            "level": draw(st.sampled_from((1.0, 0.5))),
        }
        if name == "spare":
            box |= {"spare": True, "port_pixels": draw(st.sampled_from((200, 500, 3000)))}
            if draw(st.booleans()):
                box["universes"] = draw(st.integers(3, 30))
        else:
            box["address"] = f"192.0.2.{number + 1}"
            if box["protocol"] == "e131" and draw(st.booleans()):
                box["delivery"] = "multicast"
            box["port"] = {}
            for port in draw(st.lists(st.integers(1, box["ports"]), unique=True, min_size=name == "dead", max_size=3)):
                chain = [f"run-{len(runs) + n}" for n in range(1, draw(st.integers(1, 3)) + 1)]
                for run in chain:
                    runs[run] = {
                        "pixel": draw(st.sampled_from(kinds)),
                        "pixels": draw(sizes),
                        "nulls": draw(st.integers(0, 2)),
                    }
                    if draw(st.booleans()):
                        runs[run] |= {"shape": "line", "path": [[len(runs) * 1.0, 0.0], [0.0, len(runs) * 1.5]]}
                box["port"][str(port)] = chain
            if draw(st.integers(0, 3)) == 0 and box["port"]:
                box["first_universe"] = draw(st.sampled_from((40, 60)))
            box["logic"] = {"supply": "five", "amps": 0.25}
        if draw(st.booleans()):
            box["at"] = [float(number), 0.5]
        controllers[name] = box
    feeds = {
        f"wire-{run}": {"supply": "five", "taps": [{"run": run, "pixel": 1, "length": 1.0}]} for run in list(runs)[::2]
    }
    tables = show_of(runs, {}, {})
    tables["show"] |= {
        "units": units,
        "placement": draw(st.sampled_from(("fresh", "follow"))),
        "share_universes": draw(st.booleans()),
    }
    tables["controller"] = controllers
    tables["supply"] = {"five": {"volts": 5.0, "amps": 40.0, "box": "dead"}}
    return tables | {"feed": feeds}


def a_swap(tables: dict):
    """The wiring, its patch and the swap; a show with no patch is none to swap in."""
    wiring = wired(tables)
    try:
        kept = allocate(wiring).patch
    except PatcherError:
        assume(False)
    return wiring, kept, swap_box(wiring, kept, "dead", "spare")


@st.composite
def with_tees(draw) -> dict:
    """A yard in which some runs of the dead box have a tee, and leads have wires and ways of their own."""
    tables = draw(yards())
    for run in list(tables["run"].values()):
        run |= draw(st.sampled_from(({}, {"lead": 12.0}, {"lead_via": "differential"}, {"lead": 3.0, "lead_awg": 16})))
    for run in [run for runs in tables["controller"]["dead"]["port"].values() for run in runs]:
        if draw(st.integers(0, 3)) == 0:
            tee = {key: tables["run"][run][key] for key in ("pixel", "pixels", "nulls")}
            tables["run"][f"{run}-tee"] = tee | {"same_data_as": run, "lead": 2.0}
    if draw(st.booleans()):
        tables["controller"]["spare"]["ports"] = draw(st.integers(1, 2))
    return tables


@st.composite
def fed(draw) -> dict:
    """Runs on two ports with cuts and joins of V+, and feeds with branches from two supplies."""
    runs: dict[str, dict] = {}
    ports = {}
    for port in (1, 2):
        ports[str(port)] = [f"run-{len(runs) + n}" for n in range(1, draw(st.integers(1, 3)) + 1)]
        for run in ports[str(port)]:
            pixels = draw(st.integers(2, 12))
            runs[run] = {
                "pixel": draw(st.sampled_from(("rgb", "rgbw"))),
                "pixels": pixels,
                "power_joined": draw(st.booleans()),
                "power_cuts": sorted(draw(st.sets(st.integers(2, pixels), max_size=2))),
            }
    last = ports["2"][-1]
    runs[last]["hung"] = draw(st.booleans())
    runs["tee"] = runs["run-1"] | {"same_data_as": "run-1"}
    feeds: dict[str, dict] = {}
    for number in range(1, draw(st.integers(1, 5)) + 1):
        taps = []
        for run in draw(st.lists(st.sampled_from(list(runs)), min_size=1, max_size=2)):
            where = draw(st.sampled_from(({"pixel": "first"}, {"pixel": "last"}, {"pixel": 2}, {"every": 3})))
            taps.append({"run": run, "length": 1.0} | where)
        source: dict = {"supply": draw(st.sampled_from(("old", "old", "beside")))}
        if feeds and draw(st.booleans()):
            source = {"from": draw(st.sampled_from(list(feeds))), "tap": 1}
        size = draw(st.sampled_from(({"awg": 14}, {"awg": 18}, {"mm2": 1.5}, {})))
        feeds[f"wire-{number}"] = source | size | {"taps": taps}
    logic = {"supply": "old", "amps": draw(st.sampled_from((0.0, 0.05)))}
    box = {"port": ports, "logic": logic, "level": draw(st.sampled_from((1.0, 1.0, 0.5)))}
    tables = show_of(runs, box, {})
    for kind in tables["pixel"].values():
        kind |= {"channel_ma": 10.0, "idle_ma": 1.0, "awg": 18, "pitch": 0.05, "volts": 5.0}
    tables["pixel"] = {name: dict(kind) for name, kind in tables["pixel"].items()}
    tables["show"]["level"] = draw(st.sampled_from((0.0, 0.3, 1.0)))
    amps = draw(st.sampled_from((0.01, 0.06, 0.2, 0.5, 1.0, 5.0)))
    supplies = {"old": {"amps": 4.0}, "beside": {"amps": 4.0}, "new": {"amps": amps, "spare": True}}
    return tables | {"feed": feeds, "supply": {name: {"volts": 5.0} | supply for name, supply in supplies.items()}}
