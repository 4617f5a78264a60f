"""Small shows for the diagnosis, and diagnoses that an eye has answered to their end."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import cache

import numpy as np

from patcher.diagnosis.engine import Engine
from patcher.diagnosis.question_frame import Frame
from patcher.diagnosis.scene import Scene, build_scene, scene_of
from patcher.diagnosis.views import see
from patcher.eye import Ask, Eye
from patcher.faults import Fault, build, codes, departure, parse, planned
from patcher.patch.patch import Patch
from patcher.placement.allocation import allocate
from patcher.wiring import Wiring
from rig.shipped import wired


def tables(runs: dict[str, dict], ports: dict[str, list[str]], **box: object) -> dict:
    controller = {"address": "192.0.2.1", "ports": 3, "port": ports} | box
    lines = {
        name: {"shape": "line", "path": [[0.0, place], [run["pixels"] * 0.1, place]]} if "shape" not in run else {}
        for place, (name, run) in enumerate(runs.items())
    }  # drawn, so that each end can be told from the other
    return {
        "show": {"title": "Landing stage"},
        "pixel": {"rgb": {"colour_order": "GRB"}, "rgbw": {"colour_order": "RGBW"}},
        "controller": {"box": controller},
        "run": {name: {"pixel": "rgb"} | lines[name] | run for name, run in runs.items()},
    }  # fmt: skip


GRID = {"shape": "grid", "area": [[0.0, 0.0], [4.0, 3.0]], "columns": 5, "rows": 4, "data_in": "bottom-left"}


SHOWN = {
    "one run": (tables({"rope": {"pixels": 5}}, {"1": ["rope"]}), "rope"),
    "chain": (tables({"bow": {"pixels": 7}, "stern": {"pixels": 9, "nulls": 1}}, {"1": ["bow", "stern"]}), "box/1"),
    "tee": (tables({"near": {"pixels": 8}, "far": {"pixels": 8, "same_data_as": "near"}}, {"2": ["near"]}), "far"),
    "grid": (tables({"sail": GRID | {"lines": "columns", "turns": "serpentine"}}, {"1": ["sail"]}), "sail"),
    "white": (tables({"foam": {"pixel": "rgbw", "pixels": 11}}, {"1": ["foam"]}, reorders=False), "foam"),
    "two starts": (tables({"a": {"pixels": 3}, "b": {"pixels": 3}}, {"1": ["a"], "2": ["b"]}), "box"),
    "loop": (
        tables({"pane": {"shape": "loop", "corners": [[0, 0], [0, 2], [2, 2], [2, 0]], "pixels": 8}}, {"1": ["pane"]}),
        "pane",
    ),
    "one start": (
        tables({"a": {"pixels": 6}, "b": {"pixels": 6}}, {"1": ["a"], "2": ["b"]}, start_per="controller"), "box",
    ),
}  # fmt: skip


@cache
def shown(name: str) -> tuple[Wiring, Patch, Scene]:
    table, thing = SHOWN[name]
    wiring = wired(table)
    patch = allocate(wiring).patch
    return wiring, patch, scene_of(planned(wiring, patch), thing)


def answered(
    engine: Engine, sees: Callable[[Frame, Ask], np.ndarray], chance: np.random.Generator, wrong: float = 0.0
) -> Engine:
    """A diagnosis at its end, before an eye that gives each answer with a chance."""
    while (chosen := engine.next()) is not None and len(engine.told) < 60:
        chances = sees(*chosen)
        answer = int(chance.choice(len(chances), p=chances))
        if wrong and chance.random() < wrong:
            answer = int(chance.choice([other for other in range(len(chances) - 1) if other != answer]))
        engine.tell(*chosen, answer)
    return engine


def before_class(scene: Scene, true: int, seed: int | np.random.Generator, wrong: float = 0.0, eye: Eye | None = None):
    """The same of pixels that take what they take under a class."""
    engine = Engine(scene, eye or Eye())
    sees = lambda *asked: engine.looks(*asked, np.array([true]))[0]  # noqa: E731
    return answered(engine, sees, np.random.default_rng(seed), wrong)


def before_faults(scene: Scene, texts: Iterable[str], seed: int) -> tuple[Engine, tuple[Fault, ...]]:
    """The same of pixels with faults at once; and the faults."""
    plan = scene.plan
    both = build(plan.wiring, [parse(text, plan.wiring) for text in texts]).faults
    there = build_scene(plan, list(scene.variants), [(), both], [None, departure(plan, both)])
    engine, last = Engine(scene, Eye()), np.array([len(there.classes) - 1])
    return answered(engine, lambda *asked: see(there, engine.eye, *asked, last)[0], np.random.default_rng(seed)), both


def named(engine: Engine) -> set[str]:
    """All that is left at the end of a diagnosis."""
    assert engine.done is not None
    return {codes(faults) for number in engine.done.tolist() for faults in engine.members(number)}


def class_of(scene: Scene, text: str) -> int:
    """The class of a fault; of none, that of the plan."""
    faults = (parse(text, scene.plan.wiring),) if text else ()
    (number,) = [number for number, members in enumerate(scene.classes) if faults in members]
    return number


def until_apart(engine: Engine) -> int:
    """After how many answers those classes are left that all answers leave, for one who trusts every answer."""
    fit = np.logical_and.accumulate([np.ones(len(engine.scene.classes)), *(told.chances > 0 for told in engine.told)])
    return int((fit.sum(axis=1) == fit[-1].sum()).argmax())


def order(takes: np.ndarray, seeing: Eye) -> bytes:
    """What an eye can know of a run that it sees no place of: the order of what lights; with the dark pixels between,
    where it sees gaps.
    """
    lit = np.flatnonzero((takes != -1).any(axis=1))
    kept = takes[lit[0] : lit[-1] + 1] if seeing.gaps and len(lit) else takes[lit]
    return kept.tobytes()
