"""Shows of one rail for the plan of feeds."""

from hypothesis import strategies as st

from rig.power_show import show, tap


@st.composite
def shows(draw: st.DrawFn) -> dict:
    """Two boxes with a supply or two each, runs of every kind, some of them fed, in metres or in feet."""
    level, units = draw(st.floats(0.3, 1.0)), draw(st.sampled_from(["m", "ft"]))
    kinds = {
        "lamp": {"min_volts": draw(st.floats(9.5, 11.6))},
        "foam": {"draw": "power", "channel_ma": 15.0, "min_volts": draw(st.floats(9.0, 11.0))},
        "dot": {"volts": 5.0, "channel_ma": 12.0, "min_volts": 4.4},
    }
    runs: dict[str, dict] = {}
    boxes: dict[str, dict] = {}
    for box in ("left", "right"):
        chain = []
        for number in range(draw(st.integers(1, 3))):
            name = f"{box}-{number}"
            kind = draw(st.sampled_from(["lamp", "foam", "dot", "lamp"]))
            pixels = draw(st.integers(2, 80))
            run = {"pixel": kind, "pixels": pixels, "lead": draw(st.sampled_from([0.3, 2.0]))}
            if draw(st.booleans()):
                x, y = draw(st.floats(0, 9)), draw(st.floats(0, 4))
                run |= {"shape": "line", "path": [[x, y], [x + pixels * 0.1, y]]}
            same = chain and runs[chain[-1]]["pixel"] == kind
            run["power_joined"] = bool(same and draw(st.booleans()))
            if pixels > 20 and draw(st.booleans()):
                run["power_cuts"] = [draw(st.integers(2, pixels))]
            if draw(st.integers(0, 9)) == 0:
                run["hung"] = False
            runs[name] = run
            chain.append(name)
        chain.sort(key=lambda name: not runs[name].get("hung", True))  # what does not hang comes last
        boxes[box] = {"address": f"192.0.2.{len(boxes) + 1}", "ports": 2, "start_per": "run", "port": {"1": chain}}
        if draw(st.booleans()):
            boxes[box]["at"] = [draw(st.floats(-3, 9)), draw(st.floats(-3, 3))]
    supplies = {
        "one": {"volts": 12.0, "amps": 40.0, "box": "left"},
        "two": {"volts": 12.0, "amps": draw(st.sampled_from([3.0, 12.5, 40.0]))},
        "five": {"volts": 5.0, "amps": 20.0, "box": "right"},
        "shelf": {"volts": 12.0, "amps": 100.0, "spare": True},
    }
    feeds = {}
    for name in draw(st.lists(st.sampled_from(sorted(runs)), max_size=2, unique=True)):
        supply = "five" if runs[name]["pixel"] == "dot" else "one"
        feeds[f"{name}-feed"] = {"supply": supply, "awg": draw(st.sampled_from([14, 18])), "taps": [tap(name, "last")]}
    tables = show(runs, feeds, supplies=supplies, kinds=kinds, level=level, units=units)
    return tables | {"controller": boxes}


def line(pixels: int, y: float = 0.0) -> dict:
    return {"shape": "line", "path": [[0.0, y], [pixels * 0.1, y]], "pixels": pixels}


AT_BOX = {"s": {"volts": 12.0, "amps": 90.0, "box": "box"}}


BOX = {"at": [0.0, 0.0]}


UNFED = show({"a": line(80)}, {}, supplies=AT_BOX, box=BOX)
"""With a supply and no feed; its plan has two taps, and is soon found."""
