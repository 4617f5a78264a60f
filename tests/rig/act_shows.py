"""Shows to try acts on, of everything that an act can touch; and acts, of everything that may be asked for."""

import random
import re
import tomllib
from typing import Any

import tomli_w
from hypothesis import strategies as st

from patcher.acts.act import Act, read_act
from patcher.show.parser import read
from patcher.show.schema import Show
from rig.any_show import any_show
from rig.comments import commented, picked

GRID = {"area": [[1.0, 5.0], [4.0, 7.0]], "columns": 7, "rows": 4}
CORNERS = ("bottom-left", "bottom-right", "top-left", "top-right")
KINDS = ("run", "prop", "controller", "supply", "feed")


def act_show(seed: int) -> dict[str, Any]:
    """The tables of a sound show: runs of every shape, copies, a grid in bands, feeds, pins, judged warnings."""
    rng = random.Random(seed)
    show = any_show(seed, 20)
    show["show"]["units"] = rng.choice(("m", "ft"))
    runs, boxes = show["run"], show["controller"]
    for box in boxes.values():
        box["at"] = [round(rng.uniform(-5, 5), 2), 0.5]
        if box["start_per"] == "run":
            box["start"] = {next(iter(box["port"].values()))[0]: "900/1"}
    kind = next(iter(show["pixel"]))
    show["prop"]["wall"] = GRID | {
        "lines": rng.choice(("rows", "columns")), "turns": rng.choice(("serpentine", "same-way")),
        "data_in": rng.choice(CORNERS),
    }  # fmt: skip
    for name, lines in (("wall-near", [1, 2]), ("wall-far", [3, 4])):
        runs[name] = {"pixel": kind, "shape": "band", "of": "wall", "band": lines, "data_in": rng.choice(CORNERS)}
    _copies(rng, show)
    show["supply"] = {"mill": {"volts": 12.0, "amps": 20.0, "box": "box0"}, "barn": {"volts": 12.0, "amps": 9.0}}
    boxes["box0"]["logic"] = {"supply": "mill", "amps": 0.4}
    _feeds(rng, show)
    first = next(iter(runs))
    show["accept"] = [
        {"rule": "lead-length", "where": f"run.{first}.lead", "why": "so it is"},
        {"rule": "link-load", "where": "show.frame_rate", "why": "a gigabit"},
        {"rule": "supply-load", "where": "supply.mill", "why": "it is large"},
    ]
    return show


def _copies(rng: random.Random, show: dict[str, Any]) -> None:
    """Copies of runs, about props or not, of copies and of the grid."""
    runs, props = show["run"], show["prop"]
    drawn = [name for name, run in runs.items() if "shape" in run and run["shape"] != "band"]
    for number, name in enumerate(rng.sample(drawn, min(len(drawn), 3))):
        upright = runs[name]["shape"] in ("grid", "arch")
        copy: dict[str, Any] = {"like": name, "moved": [round(rng.uniform(-9, 9), 2), 1.5]}
        copy |= {"mirrored": True} if rng.random() < 0.5 else {}
        copy |= {} if upright or rng.random() < 0.4 else {"turned": rng.choice((30.0, 90.0, -45.5))}
        holding = [prop for prop, own in props.items() if name in own.get("runs", ())]
        copy |= {"about": holding[0]} if holding else {}
        runs[f"like{number}"] = copy
        runs[f"again{number}"] = {"like": f"like{number}", "moved": [0.0, 4.0]} | rng.choice(({}, {"lead": 2.0}))
    props["wall-2"] = {"like": "wall", "moved": [20.0, 0.0], "mirrored": rng.random() < 0.5}


def _feeds(rng: random.Random, show: dict[str, Any]) -> None:
    names = list(show["run"])
    taps = [
        {"run": rng.choice(names), "pixel": rng.choice((1, "first", "last")), "length": round(rng.uniform(0, 9), 1)}
        for _ in range(rng.randint(2, 4))
    ]
    show["feed"] = {
        "north": {"supply": "mill", "awg": 14, "taps": taps},
        "south": {"from": "north", "tap": rng.randint(1, len(taps)), "awg": 16, "taps": taps[:1]},
        "east": {"from": "south", "tap": 1, "mm2": 1.5, "taps": [{"run": names[0], "every": 3, "length": 1.0}]},
    }


def parsed(text: str) -> Show:
    """The show that a text describes; a text with anything wrong fails the test."""
    found = read(text.removeprefix("\ufeff"))
    assert found.findings == ()
    assert found.show is not None
    return found.show


@st.composite
def texts(draw: Any) -> str:
    """A show's text with comments in it."""
    tables = act_show(draw(st.integers(0, 3000)))
    if draw(st.booleans()):  # in either way in which judged warnings are written
        return commented(tomli_w.dumps(tables), draw(picked))
    accepts = [f"\n[[accept]]\n{tomli_w.dumps(accept)}" for accept in tables.pop("accept")]
    return commented("".join([tomli_w.dumps(tables), *accepts]), draw(picked))


def names_of(text: str, *kinds: str) -> list[str]:
    """The names of all things of these kinds in a text."""
    tables = tomllib.loads(text)
    return [name for kind in kinds if isinstance(tables.get(kind), dict) for name in tables[kind]]


def lines_outside(text: str, *touched: str) -> list[str]:
    """The lines that are in no touched table, blank lines left out; of a line in a table its heading says which.

    A comment above a heading belongs to no table.
    """
    found, heading, waiting = [], "", list[str]()
    for line in text.split("\n"):
        if line.startswith("["):
            found += waiting if heading in touched else []
            heading = (
                ".".join(re.split(r"[\].]", line.strip("["))[:2]) if "." in line else line.split("]")[0].strip("[")
            )
        waiting = [*waiting, line] if line.lstrip().startswith("#") else []
        if line.strip() and heading not in touched:
            found.append(line)
    return found


spots = st.tuples(*[st.integers(-9000, 9000).map(lambda millimetres: millimetres / 1000)] * 2)
"""Places in metres, to the millimetre."""


@st.composite
def any_act(draw: Any, text: str) -> Act:
    """An act of any kind on what there is, and now and then on what there is not."""
    names = [*names_of(text, *KINDS), "nothing", "show"]
    thing = draw(st.sampled_from(names))
    number = draw(st.integers(0, 5))
    to = draw(spots)
    keys = draw(any_keys)
    document = draw(st.sampled_from([
        {"act": "draw", "run": "new", "keys": keys},
        {"act": "draw-grid", "prop": "new", "keys": keys},
        {"act": "corner", "thing": thing, "corner": number, "to": to},
        {"act": "corner-in", "thing": thing, "before": number, "to": to},
        {"act": "corner-out", "thing": thing, "corner": number},
        {"act": "shift", "things": [thing, draw(st.sampled_from(names))], "by": to},
        {"act": "set", "thing": thing, **draw(any_key)},
        {"act": "copy", "thing": thing, "by": to, "count": 1 + number % 3, "mirrored": draw(st.booleans()),
         "turned": draw(st.sampled_from([0.0, 90.0, 180.0, 33.3]))},
        {"act": "take-out", "thing": thing},
        {"act": "rename", "thing": thing, "name": draw(st.sampled_from([*names, "fresh"]))},
        {"act": "box", "name": "new", "at": draw(st.sampled_from([None, to])), "keys": keys},
        {"act": "hang", "run": thing, "box": draw(st.sampled_from(["box0", "box1"])), "port": 1 + number,
         "behind": draw(st.sampled_from([None, *names]))},
        {"act": "unhang", "run": thing},
        {"act": "supply", "name": "new", "keys": keys},
        {"act": "feed", "name": "new", "keys": keys, "taps": [keys]},
        {"act": "tap", "feed": draw(st.sampled_from(["north", "south", thing])), "number": 1 + number, "tap": keys},
        {"act": "untap", "feed": draw(st.sampled_from(["north", "south", thing])), "number": 1 + number},
    ]))  # fmt: skip
    return read_act(document)


_SCALARS = st.none() | st.booleans() | st.integers(-3, 99) | st.floats(-9, 9) | st.sampled_from(
    ["kind-RGB", "line", "run0", "box0", "mill", "last", "top-left", "rows", "# no comment", 'a "b"\\\n', "ünï", ""]
)  # fmt: skip
_VALUES = st.recursive(
    _SCALARS.filter(lambda value: value is not None),
    lambda inner: (
        st.lists(inner, max_size=3) | st.dictionaries(st.sampled_from(["run", "1", "a b"]), inner, max_size=2)
    ),
    max_leaves=6,
)
_KEYS = st.sampled_from(
    ["pixel", "shape", "path", "pixels", "lead", "nulls", "at", "area", "data_in", "runs", "like", "moved", "mirrored",
     "about", "of", "port", "start", "logic", "title", "units", "level", "supply", "taps", "from", "tap", "box",
     "volts", "amps", "same_data_as", "spare", "odd"]
)  # fmt: skip
any_keys = st.dictionaries(_KEYS, _VALUES, max_size=4) | st.just(
    {"pixel": "kind-RGB", "shape": "line", "path": [[0, 0], [1, 2.5]], "pixels": 9}
)
any_key = st.fixed_dictionaries({"key": _KEYS, "value": st.none() | _VALUES})
