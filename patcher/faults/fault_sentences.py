"""A fault as a plain sentence: one for each kind."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence

from patcher.faults.fault import BACKWARDS, FORMS, Fault
from patcher.trade import letter_name
from patcher.wiring import Wiring, port_name

AS_PLANNED = "wired as planned"
JOINT = " + "
"""Between the codes of faults that are there together."""


def _entered(fault: Fault) -> str:
    place = fault.value.removesuffix(BACKWARDS)
    if place.isdecimal():
        at = f"place {place} of its outline"
    else:
        at = f"its {place} place drawn" if place in ("first", "last") else f"its {place.replace('-', ' ')} corner"
    against = ", against the order of its corners" if place != fault.value else ""
    return f"the data enters {fault.where} at {at}{against}"


def _turns(fault: Fault) -> str:
    return f"the lines of {fault.where} run " + ("all the same way" if fault.value == "same-way" else "to and fro")


def _shifted(fault: Fault) -> str:
    count, less = fault.value.lstrip("+-"), fault.value[:1] == "-"
    pixels = f"{count} pixel{'s' * (count != '1')} {'fewer' if less else 'more'}"
    return f"{pixels} than planned before the first pixel of {fault.where}"


def _both(fault: Fault) -> str:
    return " and ".join(fault.places)


SENTENCES: dict[str, Callable[[Fault], str]] = {
    "reversed": lambda fault: f"{fault.where} is fed from its other end",
    "data-in": _entered,
    "lines": lambda fault: f"{fault.where} is wired by {fault.value}",
    "turns": _turns,
    "colour-order": lambda fault: f"the colour order of {fault.where} is {fault.value}",
    "swapped-ports": lambda fault: f"the plugs of {_both(fault)} are swapped",
    "swapped-runs": lambda fault: f"{_both(fault)} are swapped, their leads are not",
    "swapped-with-leads": lambda fault: f"{_both(fault)} are swapped, with their leads",
    "shift": _shifted,
    "dark": lambda fault: f"pixel {fault.where} is dark",
    "dark-channel": lambda fault: f"pixel {fault.where} shows no {letter_name(fault.value)}",
    "replaced": lambda fault: f"pixel {fault.where} was replaced by another type, {fault.value}",
    "missing": lambda fault: f"pixel {fault.where} was cut out, the wires joined",
    "cut": lambda fault: f"no data from pixel {fault.where} on",
    "flicker": lambda fault: f"random colours from pixel {fault.where} on",
    "dead": lambda fault: f"{fault.where} sends nothing to its pixels",
    "universe-shift": lambda fault: f"the start universe of {fault.where} is set {off(fault)}",
    "channel-shift": lambda fault: f"the start channel of {fault.where} is set {off(fault)}",
    "count": lambda fault: f"the number of pixels of {fault.where} is set {off(fault)}",
    "swapped-starts": lambda fault: f"the start addresses of {_both(fault)} are typed in each other's place",
}
"""What is wrong, for each kind of fault."""


def off(fault: Fault) -> str:
    """By how much a number that is typed in is wrong: `3 too high`."""
    return f"{fault.value.lstrip('+-')} too {'low' if fault.value[:1] == '-' else 'high'}"


def sentence(fault: Fault, wiring: Wiring | None = None) -> str:
    """What is wrong, as a person says it; without a full stop. With the wiring as planned a plug in a port that should
    be empty is said so: nothing else was swapped with it.
    """
    if wiring is not None and (moved := into_empty(wiring, fault)):
        planned, now, run = moved
        return f"the lead of {run} is in {now}, not in {planned}"
    return SENTENCES[fault.kind](fault)


def into_empty(wiring: Wiring, fault: Fault) -> tuple[str, str, str] | None:
    """Of a plug that is in a port that should be empty: where it should be, where it is, and the first run on it."""
    if fault.kind != "swapped-ports":
        return None
    chains = {port_name(*port): chain for port, chain in wiring.chains.items() if chain}
    planned = [name for name in fault.places if name in chains]
    empty = [name for name in fault.places if name not in planned]
    return (planned[0], empty[0], chains[planned[0]][0]) if planned and empty else None


def codes(faults: Iterable[Fault]) -> str:
    """Faults that are there together as `--fault` takes them, with ` + ` between; `none` for none."""
    return JOINT.join(map(str, faults)) or "none"


def in_words(faults: Sequence[Fault], wiring: Wiring | None = None) -> str:
    """Faults that are there together: a sentence, their codes in brackets behind it."""
    says = ", and ".join(sentence(fault, wiring) for fault in faults)
    return f"{says} ({codes(faults)})" if faults else AS_PLANNED


def code_in_words(code: str, wiring: Wiring | None = None) -> str:
    """The same for codes that were saved; what is none is left as it is."""
    faults = [fault for text in code.split(JOINT) if (fault := _read(text)) is not None]
    return in_words(faults, wiring) if faults and codes(faults) == code else code


def _read(code: str) -> Fault | None:
    kind, _, rest = code.partition(":")
    where, _, value = rest.partition("=")
    form = FORMS.get(kind)
    return Fault(kind, where, value) if form and where and bool(form.value) == bool(value) else None
