"""Any show with supplies and feeds that a person can write."""

import tomli_w
from hypothesis import strategies as st

from patcher.show.parser import read
from patcher.wiring import Wiring, problems, wire


@st.composite
def anything(draw: st.DrawFn, *, wild: bool = False) -> dict:
    """Boxes with runs on any port, tees, and feeds that join anything anywhere, more than one at a pixel.

    Args:
        draw: of hypothesis.
        wild: numbers of any size that the file may hold.
    """

    def number(*usual: float) -> float:
        if wild and draw(st.integers(0, 5)) == 0:
            return draw(st.floats(1e-6, 1e3) | st.floats(1e-300, 1e6))
        return draw(st.sampled_from(usual))

    kinds: dict[str, dict] = {}
    for kind in ("lamp", "foam", "dot"):
        said = {
            "volts": 5.0 if kind == "dot" else 12.0,
            "channel_ma": number(10.0, 20.0, 60.0, 0.1),
            "idle_ma": number(0.5, 1.0),
            "min_volts": number(3.8, 4.4) if kind == "dot" else number(9.0, 10.5, 11.5),
            "awg": draw(st.sampled_from([16, 18, 20, 26])),
            "pitch": number(0.05, 0.1, 0.3),
            "draw": "power" if kind == "foam" else "current",
        }
        unsaid = draw(st.sets(st.sampled_from([*said]), max_size=1)) if draw(st.integers(0, 7)) == 0 else set()
        kinds[kind] = {"colour_order": "RGB"} | {key: value for key, value in said.items() if key not in unsaid}
    runs: dict[str, dict] = {}
    boxes: dict[str, dict] = {}
    for box in ("left", "right"):
        ports: dict[str, list[str]] = {}
        for _ in range(draw(st.integers(1, 3))):
            name, pixels = f"{box}-{len(runs)}", draw(st.integers(1, 40))
            runs[name] = {
                "pixel": draw(st.sampled_from([*kinds])), "pixels": pixels, "lead": draw(st.sampled_from([0.0, 2.0])),
                "power_joined": draw(st.booleans()), "hung": draw(st.integers(0, 9)) > 0,
                "nulls": draw(st.integers(0, 1)),
            }  # fmt: skip
            if pixels > 1:
                runs[name]["power_cuts"] = sorted(draw(st.sets(st.integers(2, pixels), max_size=2)))
            if draw(st.booleans()):
                x, y = draw(st.floats(-9, 9)), draw(st.floats(0, 4))
                shape = {"shape": "line", "path": [[x, y], [x + pixels * 0.1, y]]}
                if pixels > 1:
                    runs[name] |= shape
            ports.setdefault(str(draw(st.integers(1, 2))), []).append(name)
        for chain in ports.values():
            chain.sort(key=lambda name: not runs[name]["hung"])  # what does not hang comes last
        boxes[box] = {
            "address": f"192.0.2.{len(boxes) + 1}", "ports": 2, "port": ports, "start_per": "run",
            "level": draw(st.sampled_from([1.0, 0.5, 0.0])), "skips_nulls": True,
        }  # fmt: skip
        if draw(st.booleans()):
            boxes[box]["at"] = [draw(st.floats(-9, 9)), draw(st.floats(-3, 3))]
        if draw(st.booleans()):
            boxes[box]["logic"] = {"supply": "five", "amps": draw(st.sampled_from([0.0, 0.4]))}
    for name in list(runs):
        if draw(st.integers(0, 5)) == 0:
            runs[f"{name}-tee"] = runs[name] | {"same_data_as": name}
    supplies = {
        "one": {"volts": 12.0, "amps": number(3.0, 12.5, 40.0), "box": "left"},
        "two": {"volts": number(12.0, 12.0, 13.8), "amps": 12.5},
        "five": {"volts": 5.0, "amps": number(4.0, 20.0), "box": "right"},
        "shelf": {"volts": 12.0, "amps": number(0.1, 4.0, 30.0), "spare": True},
        "shelf-five": {"volts": 5.0, "amps": number(0.1, 4.0, 30.0), "spare": True},
    }
    feeds: dict[str, dict] = {}
    for _ in range(draw(st.integers(0, 5))):
        taps = []
        for name in draw(st.lists(st.sampled_from(sorted(runs)), min_size=1, max_size=3)):
            pixel = draw(st.one_of(st.just(1), st.just("first"), st.just("last"), st.integers(1, runs[name]["pixels"])))
            place = {"every": draw(st.integers(1, 20))} if draw(st.integers(0, 4)) == 0 else {"pixel": pixel}
            taps.append({"run": name, "length": number(0.0, 1.0, 6.0)} | place)
        feed: dict = {"supply": draw(st.sampled_from([*supplies])), "taps": taps}
        if feeds and draw(st.booleans()):
            source = draw(st.sampled_from([*feeds]))
            feed = {"from": source, "tap": draw(st.integers(1, len(feeds[source]["taps"]))), "taps": taps}
        if draw(st.integers(0, 9)):
            feed["awg"] = draw(st.sampled_from([10, 14, 18, 24]))
        if draw(st.booleans()):
            feed["fuse"] = number(3, 10, 30)
        feeds[f"feed-{len(feeds)}"] = feed
    level = draw(st.sampled_from([1.0, 0.4, 0.0]))
    return {
        "show": {"title": "any", "level": level}, "pixel": kinds, "controller": boxes, "run": runs,
        "supply": supplies, "feed": feeds,
    }  # fmt: skip


def wired_or_none(tables: dict) -> Wiring | None:
    """The wiring of a show; None where the file is wrong."""
    reading = read(tomli_w.dumps(tables))
    if reading.show is None or reading.findings or problems(wiring := wire(reading.show)):
        return None
    return wiring
