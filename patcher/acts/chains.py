"""Which runs hang on which port, in which order."""

from __future__ import annotations

from copy import deepcopy

from patcher.acts.act import Hang, Unhang
from patcher.acts.likes import whole_of
from patcher.acts.things import Raw, ReadPoints, kind_of, listed, ports
from patcher.errors import refuse


def hung(raw: Raw, act: Hang, points: ReadPoints) -> Raw:
    """The tables with a run hung on a port, and nowhere else."""
    kind_of(raw, act.run, "run")
    kind_of(raw, act.box, "controller")
    where = f"controller.{act.box}.port.{act.port}"
    tee = whole_of(raw, points).get(("run", act.run), {}).get("same_data_as")
    if tee is not None:
        raise refuse(f"run.{act.run}", f"has the same data as {tee}, and no port", "take same_data_as out first")
    if act.behind == act.run:
        raise refuse(where, f"cannot have {act.run} behind itself", "name another run of the port, or none")
    most = raw["controller"][act.box].get("ports")
    if isinstance(most, int) and act.port > most:
        raise refuse(where, "is no port of the box", f"its ports are 1 to {most}")
    new = off_ports(raw, act.run, but=act.box)
    box = new["controller"][act.box]
    port = box.setdefault("port", {})
    names = listed(port.get(str(act.port))) if isinstance(port, dict) else []
    if not isinstance(port, dict) or (act.behind is not None and act.behind not in names):
        raise refuse(where, f"has no run {act.behind} on it", f"choose from: {', '.join(map(str, names)) or 'none'}")
    at = 0 if act.behind is None else names.index(act.behind) + 1
    port[str(act.port)] = [*names[:at], act.run, *names[at:]]
    return new


def unhung(raw: Raw, act: Unhang) -> Raw:
    """The tables with a run on no port."""
    kind_of(raw, act.run, "run")
    return off_ports(raw, act.run)


def off_ports(raw: Raw, run: str, but: str = "") -> Raw:
    """The tables with a run on no port; its pins go with it, but for those in one box."""
    new = deepcopy(raw)
    for name, box, number, names in list(ports(new)):
        if run not in names:
            continue
        box["port"][number] = [each for each in names if each != run]
        start = box.get("start")
        if name != but and box.get("start_per") == "run" and isinstance(start, dict):
            start.pop(run, None)
    return new
