"""How well the diagnosis does: tables in markdown.

    python tests/benchmarks/diagnosis.py [--shows 20] [--seed 0] [--trials 60] [--wrong 300] [--cases 30]
        [--pairs 200] [--unmodelled 300] [--all] [--thing RUN]

Over shows/heron-lock.toml and random shows, for both eyes: faults drawn evenly from each kind (`--all`: every one of
Heron Lock), what they end in, questions and prices, class sizes, wrong answers, few classes beside the best tree.

A *class* is worked out apart from the engine: hypotheses under which on every run the same data lights in the same
order, with the dark pixels between for the eye that sees gaps. That is all that an eye can know which names no place;
on grids, where it names corners, the engine may know more, and is then counted as right where the fault is named.
Nothing is asserted.
"""

from __future__ import annotations

import argparse
import math
import random
import sys
from collections import Counter, defaultdict
from functools import cache
from pathlib import Path
from time import perf_counter, process_time

import numpy as np

sys.path.insert(0, str(Path(__file__).parents[1]))
from patcher.diagnosis.engine import Engine
from patcher.diagnosis.hypotheses import WEIGHTS, chain_of
from patcher.diagnosis.information import entropy_bits, weighed
from patcher.diagnosis.question_frame import fed_as
from patcher.diagnosis.questions import Repertoire
from patcher.diagnosis.scene import Scene, build_scene, scene_of
from patcher.diagnosis.views import see
from patcher.errors import PatcherError
from patcher.eye import Eye
from patcher.faults import RANDOM, build, departure, planned
from patcher.placement.allocation import allocate
from patcher.show.show_file import read_show
from patcher.wiring import Wiring, wire
from rig.chips import Onlooker, worlds
from rig.diagnosed_shows import order, until_apart
from rig.shipped import SHOWS, wired

EYES = {"sees gaps": Eye(), "sees no gap": Eye(gaps=False)}
MOST = 60


def random_show(seed: int) -> Wiring:
    """One to three boxes of one to three ports, with one to three runs each: lines, grids, tees, RGB and RGBW."""
    rng = random.Random(seed)
    runs, controllers = {}, {}
    for box in range(rng.randint(1, 3)):
        port = {}
        for number in range(1, rng.randint(1, 3) + 1):
            chain = [f"run-{box}-{number}-{place}" for place in range(rng.randint(1, 3))]
            for name in chain:
                run = {"pixel": rng.choice(("rgb", "grb", "rgbw")), "nulls": rng.choice((0, 0, 0, 1))}
                if rng.random() < 0.3:
                    size = {"columns": rng.randint(2, 9), "rows": rng.randint(2, 7)}
                    turns = rng.choice(("serpentine", "same-way"))
                    run |= size | {"shape": "grid", "area": [[0.0, 0.0], [3.0, 2.0]], "turns": turns}
                    run |= {
                        "lines": rng.choice(("rows", "columns")),
                        "data_in": rng.choice(("bottom-left", "top-right")),
                    }
                else:
                    run["pixels"] = rng.randint(4, 90)
                    if rng.random() < 0.1:
                        runs[f"{name}-tee"] = run | {"same_data_as": name}
                runs[name] = run
            port[str(number)] = chain
        controllers[f"box-{box}"] = {
            "address": f"192.0.2.{box + 1}", "ports": 4, "port": port, "reorders": rng.random() < 0.7,
            "start_per": rng.choice(("port", "port", "run", "controller")), "skips_nulls": rng.random() < 0.7,
        }  # fmt: skip
    pixels = {"rgb": {"colour_order": "RGB"}, "grb": {"colour_order": "GRB"}, "rgbw": {"colour_order": "GRBW"}}
    return wired({"show": {"title": "Random"}, "pixel": pixels, "controller": controllers, "run": runs})


def things(wiring: Wiring) -> list[str]:
    """Every run, every port with more than one, and every box."""
    hung = [name for name, run in wiring.show.runs.items() if run.hung]
    ports = [f"{box}/{port}" for (box, port) in wiring.chains if len(chain_of(wiring, (box, port))) > 1]
    return [*hung, *ports, *dict.fromkeys(box for box, _ in wiring.chains)]


def class_keys(scene: Scene, eye: Eye) -> list[bytes]:
    """What an eye can know of each class, from the takes of its faults alone."""
    plan, found = scene.plan, []
    for members in scene.classes:
        takes = departure(plan, members[0]).takes
        found.append(b"|".join(order(takes.get(run, plan.takes[run]), eye) for run in plan.wiring.show.runs))
    return found


def said(chances: np.ndarray, rng: np.random.Generator, wrong: float) -> int:
    """The answer of an eye that gives each with a chance, and of one who is wrong so often."""
    answer = int(rng.choice(len(chances), p=chances))
    if wrong and rng.random() < wrong:
        answer = int(rng.choice([other for other in range(len(chances) - 1) if other != answer]))
    return answer


def played(scene: Scene, eye: Eye, true: int, rng: np.random.Generator, *, wrong=0.0):
    """Let an eye that stands before a class answer to the end: the engine, and seconds from an answer to the next
    question.
    """
    engine, times, took = Engine(scene, eye), [], 0.0
    while len(engine.told) < MOST:
        begun = process_time()
        chosen = engine.next()
        times.append(process_time() - begun + took)
        if chosen is None:
            break
        answer = said(engine.looks(*chosen, np.array([true]))[0], rng, wrong)
        begun = process_time()
        engine.tell(*chosen, answer)
        took = process_time() - begun
    return engine, times


def kind(scene: Scene, number: int) -> str:
    first = scene.classes[number][0]
    return first[0].kind if first else "none"


def drawn(scene: Scene, trials: int, rng: random.Random) -> list[int]:
    """Classes, as many of each kind as of the others, as far as there are."""
    by_kind = defaultdict(list)
    for number in range(len(scene.classes)):
        by_kind[kind(scene, number)].append(number)
    each = max(1, trials // len(by_kind))
    return [number for own in by_kind.values() for number in rng.sample(own, min(each, len(own)))]


def table(rows: dict[str, list[tuple[int, float, bool, bool]]]) -> None:
    print("| kind | trials | in what is named | exactly its class | questions mean | 90 % | max | price mean |")
    print("| --- | --- | --- | --- | --- | --- | --- | --- |")
    every = [one for own in rows.values() for one in own]
    for name, own in [*sorted(rows.items()), ("**all**", every)]:
        asked = sorted(one[0] for one in own)
        parts = [f"{100 * np.mean([one[place] for one in own]):.2f} %" for place in (2, 3)]
        most = f"{asked[math.ceil(0.9 * len(asked)) - 1]} | {asked[-1]}"
        price = np.mean([one[1] for one in own])
        print(f"| {name} | {len(own)} | {parts[0]} | {parts[1]} | {np.mean(asked):.2f} | {most} | {price:.2f} |")
    asked, price = (
        sum(WEIGHTS[name] * np.mean([one[place] for one in own]) for name, own in rows.items())
        / sum(WEIGHTS[name] for name in rows)
        for place in (0, 1)
    )
    print(f"| **by how often each kind is met** | | | | {asked:.2f} | | | {price:.2f} |\n")


def why(scene: Scene, done) -> str:
    """Why some classes cannot be told apart."""
    takes = [departure(scene.plan, scene.classes[n][0]).takes for n in done]
    for seeing, reason in (
        (Eye(), "the same lights in the same order; the eye names no pixel's place"),
        (Eye(gaps=False), "but for dark pixels between, which it does not see, the same lights in the same order"),
    ):
        orders = {tuple(order(own.get(run, scene.plan.takes[run]), seeing) for run in scene.variants) for own in takes}
        if len(orders) == 1:
            return reason
    return "no reason known"


def singles(plans, eye: Eye, args) -> None:
    """One fault, an eye that errs only as it says."""
    rows, sizes, times, names = defaultdict(list), Counter(), [], Counter()
    bits, mean = [], []
    for plan, thing in plans:
        scene = scene_of(plan, thing)
        keys = class_keys(scene, eye)
        alike = defaultdict(set)
        for number, own in enumerate(keys):
            alike[own].add(number)
        chosen = range(len(scene.classes)) if args.all else drawn(scene, args.trials, random.Random(args.seed))
        for true in chosen:
            engine, took = played(scene, eye, true, np.random.default_rng(args.seed + true))
            times += took
            done = set(engine.done.tolist()) if engine.done is not None else set()
            price = sum(told.ask.price for told in engine.told)
            rows[kind(scene, true)].append((len(engine.told), price, true in done, done == alike[keys[true]]))
            sizes[len(done)] += 1
            if len(done) > 1:
                kinds = Counter(kind(scene, n) for n in done)
                together = " + ".join(f"{count} {name}" if count > 1 else name for name, count in sorted(kinds.items()))
                names[f"{together}: {why(scene, done)}"] += 1
        bits.append(entropy_bits(scene.prior))
        mean.append(len(scene.classes))
    print(f"{len(plans)} things, on the mean {np.mean(mean):.0f} classes and {np.mean(bits):.1f} bits\n")
    table(rows)
    print("Classes named together: " + ", ".join(f"{size}: {count} times" for size, count in sorted(sizes.items())))
    print("What stays together though pixels take other data (equal wirings are one class from the start):")
    for name, count in names.most_common(15):
        print(f"- {count} times {name}")
    worst = sorted(times)
    print(
        f"\nSeconds of processor from an answer to the next question: median {np.median(worst):.3f}, "
        f"90 % {worst[int(0.9 * len(worst))]:.3f}, 99 % {worst[int(0.99 * len(worst))]:.3f}, most {worst[-1]:.3f}\n"
    )


def mistaken(plans, eye: Eye, args) -> None:
    """One answer in ten wrong, faults drawn by their weights."""
    rng, asked, right, sure_wrong = np.random.default_rng(args.seed), [], 0, 0
    scenes = cache(lambda number: scene_of(*plans[number]))
    for trial in range(args.wrong):
        scene = scenes(trial % len(plans))
        true = int(rng.choice(len(scene.prior), p=scene.prior))
        engine, _ = played(scene, eye, true, rng, wrong=0.1)
        hit = engine.done is not None and true in engine.done
        right += hit
        sure_wrong += bool(engine.sure and not hit)
        asked.append(len(engine.told))
    asked.sort()
    print(
        f"| {args.wrong} | {100 * right / args.wrong:.1f} % | {100 * sure_wrong / args.wrong:.1f} % "
        f"| {np.mean(asked):.2f} | {asked[int(0.9 * len(asked))]} | {asked[-1]} |\n"
    )


def look(plan, runs, faults, eye: Eye) -> bytes:
    """What an eye can know of some faults, from what all pixels take under them."""
    takes, found = departure(plan, faults).takes, []
    for run in runs:
        own = takes.get(run, plan.takes[run]).copy()
        own[(own == RANDOM).any(axis=1)] = RANDOM  # a pixel flickers, whichever of its colours is broken
        found.append(order(own, eye))
    return b"|".join(found)


def answered(engine: Engine, there: Scene, rng: np.random.Generator, wrong: float) -> list[float]:
    """Let an eye that stands before the last hypothesis of a scene of its own answer; seconds a question."""
    times = []
    while len(engine.told) < MOST:
        begun = process_time()
        chosen = engine.next()
        times.append(process_time() - begun)
        if chosen is None:
            break
        frame, ask = chosen
        chances = see(there, engine.eye, frame, ask, np.array([len(there.classes) - 1]))[0]
        engine.tell(frame, ask, said(chances, rng, wrong))
    return times


def ever_told(scene: Scene, eye: Eye, hypotheses) -> bool:
    """Whether a frame tells two hypotheses apart, of many: those that ask always the same, four pixels and two
    stretches anywhere, as planned and as either has it fed, and two pixels along all that lights.
    """
    plan, changes = scene.plan, [departure(scene.plan, one) for one in hypotheses]
    both = build_scene(plan, list(scene.variants), [(), *hypotheses], [None, *changes])
    numbers = [next(n for n, own in enumerate(both.classes) if one in own) for one in hypotheses]
    repertoire, found = Repertoire(both), []
    for run, variants in both.variants.items():
        plain, lamps = [*repertoire.fixed(run), *repertoire.proving(run)], variants.pixels
        plain += [repertoire.blocks(run, range(at, at + 5)) for at in range(lamps - 1)]
        plain += [repertoire.blocks(run, [0, at, lamps]) for at in range(1, lamps)]
        fed = [(plan.takes[run].ravel(), there.takes.get(run, plan.takes[run]).ravel()) for there in changes]
        found += [*plain, *(one for own in fed for frame in plain if (one := fed_as(frame, *own)))]
    for there in changes:
        steps = {run: repertoire.along(run, there.takes.get(run, plan.takes[run])) for run in scene.variants}
        for many in (1, 2):
            own = {run: each for run, each in steps.items() if len(each[0]) and each[0].shape[1] == many}
            found += repertoire.followed(own) if own else []
    for candidate in found:
        for ask in candidate.asks:
            one, other = see(both, eye, candidate.frame, ask, np.array(numbers))
            if not np.allclose(one, other):
                return True
    return False


def pairs(plans, eye: Eye, args, wrong: float, *, evenly: bool) -> None:
    """Two faults at once on one chain, drawn evenly from all classes or by their weights. What no frame tells from what
    is named is counted as right, and how often that was.
    """
    rng, counts = np.random.default_rng(args.seed), Counter()
    asked, times = [], []
    scenes = cache(lambda number: scene_of(*plans[number]))
    looks = cache(lambda number: {look(scenes(number).plan, scenes(number).variants, members[0], eye)
                                  for members in scenes(number).classes})  # fmt: skip
    while counts["trials"] < args.pairs:
        number = counts["drawn"] % len(plans)
        scene = scenes(number)
        counts["drawn"] += 1
        weight = None if evenly else scene.prior[1:] / scene.prior[1:].sum()
        two = [scene.classes[n + 1][0][0] for n in rng.choice(len(scene.classes) - 1, 2, replace=False, p=weight)]
        try:
            both = build(scene.plan.wiring, two).faults
            there = build_scene(scene.plan, list(scene.variants), [(), both], [None, departure(scene.plan, both)])
        except PatcherError:
            continue
        engine, true = Engine(scene, eye), look(scene.plan, scene.variants, both, eye)
        times += answered(engine, there, np.random.default_rng([args.seed, counts["drawn"]]), wrong)
        named = [one for n in (engine.done if engine.done is not None else ()) for one in engine.members(n)]
        hit = any(look(scene.plan, scene.variants, one, eye) == true for one in named)
        kind = "masked" if true in looks(number) else "told apart"
        if named and not hit and not ever_told(scene, eye, (tuple(both), named[0])):
            hit, counts["no frame tells"] = True, counts["no frame tells"] + 1
        pool = engine.posterior.pool.scene.classes if engine.posterior.pool is not None else ()
        counts.update({"trials": 1, kind: 1, f"{kind}, right": hit, f"{kind}, sure and wrong": engine.sure and not hit})
        lost = kind == "told apart" and all(set(one) != set(both) for members in pool for one in members)
        counts["told apart, not in the pool"] += lost
        counts["told apart, both named"] += any(set(one) == set(both) for one in named)
        asked.append(len(engine.told))
    parts = [f"{100 * counts['masked'] / counts['trials']:.1f} %"]
    for kind in ("masked", "told apart"):
        of = max(1, counts[kind])
        parts += [f"{100 * counts[f'{kind}, {what}'] / of:.1f} %" for what in ("right", "sure and wrong")]
    parts += [
        str(counts["no frame tells"]),
        str(counts["told apart, not in the pool"]),
        f"{np.mean(asked):.1f}",
        f"{np.quantile(asked, 0.9):.0f}",
    ]
    parts += [str(max(asked)), f"{np.median(times):.3f}", f"{np.quantile(times, 0.99):.3f}", f"{max(times):.3f}"]
    print(f"| {'evenly' if evenly else 'by weight'} | {wrong} | {counts['trials']} | {' | '.join(parts)} |", flush=True)


def unmodelled(plans, eye: Eye, args, wrong: float) -> None:
    """Faults that the program knows no name for, played by a world of its own: what each ends in. Where what it lets
    the eye see is what a known fault would, that fault is a right answer.
    """
    counts, asked, rng = defaultdict(Counter), [], np.random.default_rng(args.seed)
    by_show = {id(plan): (plan, [thing for own, thing in plans if own is plan]) for plan, _ in plans}
    makers = [
        worlds(plan.wiring, plan.patch, [t for t in own if t in plan.wiring.show.runs], random.Random(args.seed))
        for plan, own in by_show.values()
    ]
    trials = 0
    while trials < args.unmodelled:
        number = int(rng.integers(len(makers)))
        plan, _ = list(by_show.values())[number]
        name, world = next(makers[number])
        takes = world.takes()
        wrongly = [run for run, own in takes.items() if not np.array_equal(own, plan.takes[run])]
        if not wrongly:
            continue
        trials += 1
        scene = scene_of(plan, str(rng.choice(wrongly)))
        engine, before = Engine(scene, eye), Onlooker(plan.wiring, takes, eye)
        while len(engine.told) < MOST and (chosen := engine.next()) is not None:
            engine.tell(*chosen, said(before.chances(*chosen), rng, wrong))
        true = b"|".join(order(takes[run].astype(np.int32), eye) for run in scene.variants)
        named = [one for n in (engine.done if engine.done is not None else ()) for one in engine.members(n)]
        hit = any(look(plan, scene.variants, one, eye) == true for one in named)
        end = "named" if hit else "something else" if engine.something_else else "sure and wrong"
        counts[name][end if engine.sure or hit or engine.something_else else "not sure"] += 1
        if args.tell and end == "sure and wrong" and engine.sure:
            print(f"{name} at {wrongly} of {plan.wiring.show.settings.title}: {[str(f) for f in named[0]]}")
        asked.append(len(engine.told))
    ends = ("named", "something else", "not sure", "sure and wrong")
    print(f"| unmodelled, wrong answers: {wrong} | {' | '.join(ends)} |\n| --- {'| --- ' * len(ends)}|")
    total = sum(counts.values(), Counter())
    for name, own in [*sorted(counts.items()), ("**all**", total)]:
        print(f"| {name} | {' | '.join(str(own[end]) for end in ends)} |")
    print(
        f"\n{trials} trials, {100 * total['sure and wrong'] / trials:.1f} % sure and wrong; questions: mean "
        f"{np.mean(asked):.1f}, 90 % {np.quantile(asked, 0.9):.0f}, most {max(asked)}\n"
    )


def few(plans, args) -> None:
    """At most twelve classes: the engine's mean price, up to the answer that tells the last two apart where all answers
    are true, beside that of the best tree of all questions that it asked or weighs first.
    """
    rng, ratios, floors = random.Random(args.seed), [], []
    for case in range(args.cases):
        plan, thing = plans[case % len(plans)]
        whole = scene_of(plan, thing)
        picked = rng.sample(range(1, len(whole.classes)), min(rng.randint(3, 11), len(whole.classes) - 1))
        hypotheses = [(), *(whole.classes[n][0] for n in picked)]
        scene = build_scene(plan, whole.runs, hypotheses, [departure(plan, one) for one in hypotheses])
        total, most, pool = 0.0, 2, {}
        for true in range(len(scene.classes)):
            engine, _ = played(scene, Eye(), true, np.random.default_rng(0))
            told = engine.told[: until_apart(engine)]
            total += scene.prior[true] * sum(one.ask.price for one in told)
            most = max([most, *(len(one.ask.answers) - 1 for one in told)])
            pool |= {(one.frame.key, one.ask): (one.frame, one.ask) for one in engine.told}
        fresh, every = Engine(scene, Eye()), np.arange(len(scene.classes))
        candidates = fresh._candidates(list(scene.variants), fresh.posterior)
        for one in weighed(Eye(), [(scene, every)], candidates, set(), scene.prior, 0.0):
            pool[one.frame.key, one.ask] = (one.frame, one.ask)
        engine = Engine(scene, Eye())
        splits = {}
        for frame, ask in pool.values():
            chances = engine.looks(frame, ask, np.arange(len(scene.classes)))
            if (chances.max(axis=1) == 1).all():
                answers = tuple(chances.argmax(axis=1).tolist())
                splits[answers] = min(splits.get(answers, math.inf), ask.price)
        best = cheapest(splits, scene.prior)
        if best > 0:
            ratios.append(total / best)
            floors.append(total / (entropy_bits(scene.prior) / math.log2(most)))
    print(
        f"{len(ratios)} cases of 3 to 12 classes: price ÷ that of the best tree: mean {np.mean(ratios):.3f}, ", end=""
    )
    print(f"most {max(ratios):.3f}; price ÷ (entropy ÷ log2(answers)): least {min(floors):.2f}\n")


def cheapest(splits: dict[tuple[int, ...], float], prior: np.ndarray) -> float:
    """The lowest mean price of any tree, by searching them all."""

    @cache
    def cost(left: frozenset[int]) -> float:
        best = math.inf
        for answers, price in splits.items():
            parts = defaultdict(set)
            for one in left:
                parts[answers[one]].add(one)
            if len(parts) > 1:
                own = price * sum(prior[one] for one in left)
                best = min(best, own + sum(cost(frozenset(part)) for part in parts.values() if len(part) > 1))
        return 0.0 if best == math.inf else best

    return cost(frozenset(range(len(prior))))


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser()
    for name, default in (("shows", 20), ("seed", 0), ("trials", 60), ("wrong", 300), ("cases", 30), ("pairs", 200)):
        parser.add_argument(f"--{name}", type=int, default=default)
    parser.add_argument("--unmodelled", type=int, default=300)
    parser.add_argument("--all", action="store_true")
    parser.add_argument("--tell", action="store_true", help="each unmodelled fault that ends in another")
    parser.add_argument("--thing", action="append")
    args = parser.parse_args()
    begun = perf_counter()
    heron = wire(read_show(SHOWS / "heron-lock.toml").show)
    plan = planned(heron, allocate(heron).patch)
    own = [(plan, thing) for thing in args.thing or things(heron)]
    others = []
    for seed in range(args.seed, args.seed + args.shows):
        wiring = random_show(seed)
        random_plan = planned(wiring, allocate(wiring).patch)
        others += [(random_plan, thing) for thing in things(wiring)]
    for where, plans in (("Heron Lock", own), (f"{args.shows} random shows", others)):
        for name, eye in EYES.items():
            if plans and args.trials:
                print(f"## {where}, an eye that {name}: ", end="", flush=True)
                singles(plans, eye, args)
    if args.wrong:
        print("| one answer in ten wrong | right | sure and wrong | questions mean | 90 % | max |")
        print("| --- | --- | --- | --- | --- | --- |")
        mistaken([*own, *others], Eye(), args)
    if args.pairs:
        print(
            "| pairs drawn | wrong answers | trials | masked | masked: right | sure and wrong | told apart: right ",
            end="",
        )
        print(
            "| sure and wrong | no frame tells | not in the pool | questions mean | 90 % | max | seconds median "
            "| 99 % | max |"
        )
        print("| --- " * 16 + "|")
        on_chain = [(plan, thing) for plan, thing in own if thing in (args.thing or ("eaves", "towpath"))]
        for wrong in (0.0, 0.1):
            for evenly in (True, False):
                pairs(on_chain, Eye(), args, wrong, evenly=evenly)
        print()
    if args.unmodelled:
        for wrong in (0.0, 0.1):
            unmodelled([*own, *others], Eye(), args, wrong)
    if args.cases:
        few([*own, *others], args)
    print(f"{perf_counter() - begun:.0f} s in all")


if __name__ == "__main__":
    main()
