"""Which jobs of the hands a person means by the name of a box, a port, a run, a prop, a supply or a feed."""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from patcher.errors import choose_from, refuse
from patcher.patch.entered import ALL
from patcher.patch.thing import split
from patcher.season.jobs import ByHand, Job, Plan
from patcher.wiring import Wiring, port_name

TABLES = ("controller", "run", "prop", "supply", "feed")
_WHAT: dict[ByHand, str] = {
    "bench": "a string to test", "hang": "a run to hang", "leads": "a run with a lead to join",
    "power": "a supply, a feed or a run whose V+ is cut",
}  # fmt: skip


def named_jobs(step: ByHand, names: Iterable[str], planned: Mapping[Job, Plan], wiring: Wiring) -> dict[Job, Plan]:
    """The jobs of a step that are meant by boxes, ports, runs, props, supplies and feeds, or by `all`.

    Raises:
        PatcherError: a name means none of them.
    """
    own = {job: plan for job, plan in planned.items() if job.step == step}
    found: dict[Job, Plan] = {}
    for name in names:
        meant = {job: plan for job, plan in own.items() if name == ALL or _means(name, job, plan, wiring)}
        if not meant:
            known = list(dict.fromkeys([*(plan.box for plan in own.values()), *(job.name for job in own)]))
            raise refuse(name, f"is not {_WHAT[step]}, nor a box that has one", choose_from(name, known))
        found |= meant
    return found


def _means(name: str, job: Job, plan: Plan, wiring: Wiring) -> bool:
    kinds, plain = split(name, TABLES)
    port = port_name(*wiring.ports[job.name]) if job.kind == "run" else None
    runs = wiring.show.prop_runs().get(plain, ()) if "prop" in kinds else ()
    return (
        (job.kind in kinds and job.name == plain)
        or ("controller" in kinds and plan.box == plain)
        or port == name
        or (job.kind == "run" and job.name in runs)
    )
