"""What `power` and `check` say of the mains: sockets, circuits, the order to switch on, energy; as text and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from math import isnan
from typing import Any

from patcher.errors import first_few
from patcher.mains.circuits import MainsCircuit, SocketLoad, Takes
from patcher.mains.energy import Season
from patcher.mains.usual import CONTINUOUS, CONTINUOUS_HOURS, EFFICIENCY, INRUSH_AMPS, LEAKAGE_MA, LOCAL, POWER_FACTOR
from patcher.power.flow import if_known
from patcher.terminal.printed import say_table

_USUAL = {
    "efficiency": f"efficiency {EFFICIENCY:g}", "inrush_amps": f"inrush {INRUSH_AMPS:g} A",
    "leakage_ma": f"leakage {LEAKAGE_MA:g} mA",
}  # fmt: skip
"""What is counted by common practice where a supply does not give a key, in words."""


def say(circuits: Sequence[MainsCircuit], level: float, season: Season | None) -> None:
    """Print what hangs on each socket and circuit; nothing where there is none."""
    if not circuits:
        return
    print(f"Mains, with every pixel dark, white at level {level:g}, and at full white:\n")
    say_table(
        ("socket", "volts", "dark", "at_level", "full_white", "supplies"),
        [_socket_row(socket) for circuit in circuits for socket in circuit.sockets],
        right="volts dark at_level full_white",
    )
    if any(socket.socket.other_amps for circuit in circuits for socket in circuit.sockets):
        print("Watts are those of the supplies alone; amperes count the other loads too.")
    print()
    say_table(
        ("circuit", "dark", "at_level", "full_white", "for_hours", "breaker", "inrush", "leakage", "RCD"),
        [_circuit_row(circuit) for circuit in circuits],
        right="dark at_level full_white for_hours breaker inrush leakage RCD",
    )
    print(
        f"For hours: what the breaker carries for {CONTINUOUS_HOURS} hours and more, {CONTINUOUS * 100:g} % of what it "
        "is rated."
    )
    print(
        "Inrush: of all supplies at once. Leakage: of at most a third of what trips the residual-current device (RCD)."
    )
    if len({circuit.rcd_name for circuit in circuits}) < len(circuits):
        print("Leakage counts all circuits behind the same device.")
    for line in _said(circuits):
        print(line)
    if season is not None:
        print()
        _say_energy(circuits, level, season)
    print(f"This counts and warns, and plans nothing: {LOCAL}.\n")


def _said(circuits: Sequence[MainsCircuit]) -> list[str]:
    """What stands below the tables: what was counted without being given, and the order to switch on."""
    lines = []
    supplies = [load.supply for circuit in circuits for load in circuit.supplies]
    usual = {key: [supply.name for supply in supplies if getattr(supply, key) is None] for key in _USUAL}
    for names in dict.fromkeys(tuple(names) for names in usual.values() if names):
        keys = [_USUAL[key] for key, own in usual.items() if tuple(own) == names]
        lines.append(f"Not given, so the usual is counted (common practice, no source): {', '.join(keys)}")
        lines[-1] += f" of {first_few(names, 4)}."
    if bare := [supply.name for supply in supplies if supply.power_factor is None]:
        lines.append(
            f"Power factor {POWER_FACTOR:g} is counted of {first_few(bare, 4)} (common practice, no source): one that "
            "corrects it takes less. Write the power_factor that is on it."
        )
    lines += [
        f"Switch on {circuit.name} one after the other: {', '.join(circuit.switch_on)} (biggest load first: common "
        "practice, no rule)."
        for circuit in circuits
        if len(circuit.supplies) > 1
    ]
    return lines


def _socket_row(load: SocketLoad) -> tuple[str, ...]:
    other = f"other loads {load.socket.other_amps:g} A" if load.socket.other_amps else ""
    names = ", ".join(filter(None, [*(each.supply.name for each in load.supplies), other])) or "nothing"
    return load.socket.name, _volts(load.volts), *map(_both, load.watts, load.amps), names


def _circuit_row(circuit: MainsCircuit) -> tuple[str, ...]:
    rcd = "none" if circuit.rcd is False else "not said" if circuit.rcd_ma is None else f"{circuit.rcd_ma:g} mA"
    rcd += "" if circuit.rcd_name == circuit.name else f", {circuit.rcd_name}"
    breaker, hours, most = circuit.breaker, circuit.continuous, circuit.most_leakage
    leaks = f"{circuit.rcd_leakage:g}" + ("" if most is None else f" of {most:.3g}") + " mA"
    return (
        circuit.name, *map(_amps, circuit.amps), "not said" if hours is None else f"{hours:g} A",
        "not said" if breaker is None else f"{breaker:g} A", f"{circuit.inrush:g} A", leaks, rcd,
    )  # fmt: skip


def _volts(volts: float) -> str:
    return "not said" if isnan(volts) else f"{volts:g} V"


def _watts(watts: float) -> str:
    return "not known" if isnan(watts) else f"{watts:.0f} W"


def _amps(amps: float) -> str:
    return "not known" if isnan(amps) else f"{amps:.2f} A"


def _both(watts: float, amps: float) -> str:
    """Watts and amperes; once where neither is known."""
    return _watts(watts) if isnan(watts) and isnan(amps) else f"{_watts(watts)}, {_amps(amps)}"


def _say_energy(circuits: Sequence[MainsCircuit], level: float, season: Season) -> None:
    energy, cost = season.energy(circuits), season.cost(circuits)
    price = "" if season.price is None else f", at {season.price:g} a kWh"
    heads = ("all_the_time", "energy", *(["price"] if cost is not None else []))
    words = ("dark", f"white at level {level:g}", "full white")
    print(f"Energy of {season.hours:g} hours a day on {season.days} days{price}, other loads not counted:\n")
    rows = [
        (word, _kilowatt_hours(each), *([] if cost is None else [_money(cost[at])]))
        for at, (word, each) in enumerate(zip(words, energy, strict=True))
    ]
    say_table(heads, rows, right="energy price")
    print("A real show is dark much of the time: what it takes lies between the first two lines.")


def _kilowatt_hours(energy: float) -> str:
    return "not known" if isnan(energy) else f"{energy:.1f} kWh"


def _money(price: float) -> str:
    return "not known" if isnan(price) else f"{price:.2f}"


def in_one_line(circuits: Sequence[MainsCircuit], level: float) -> str:
    """What each circuit takes of what its breaker carries, for `check`."""
    words = [
        f"{circuit.name} {_amps(circuit.amps.at_level)}"
        + ("" if circuit.breaker is None else f" of {circuit.breaker:g} A")
        for circuit in circuits
    ]
    return f"Mains, every pixel white at level {level:g}: {first_few(words, 4)}."


def document(circuits: Sequence[MainsCircuit], season: Season | None = None) -> dict[str, Any]:
    """The sockets and circuits for scripts; what is not known is null."""
    return {
        "sockets": [
            {
                "socket": load.socket.name, "circuit": circuit.name, "volts": if_known(load.volts),
                **_takes("watts", load.watts), **_takes("amps", load.amps), "other_amps": load.socket.other_amps,
                "plugged_in": [each.supply.name for each in load.supplies],
            }
            for circuit in circuits
            for load in circuit.sockets
        ],
        "circuits": [_circuit_json(circuit) for circuit in circuits],
        "energy": season and _energy_json(circuits, season),
    }  # fmt: skip


def _circuit_json(circuit: MainsCircuit) -> dict[str, Any]:
    return {
        "circuit": circuit.name, **_takes("watts", circuit.watts), **_takes("amps", circuit.amps),
        "breaker": circuit.breaker, "for_hours": circuit.continuous, "inrush_amps": circuit.inrush,
        "leakage_ma": circuit.leakage, "most_leakage_ma": circuit.most_leakage, "rcd": circuit.rcd,
        "rcd_ma": circuit.rcd_ma, "rcd_name": circuit.rcd_name, "rcd_leakage_ma": circuit.rcd_leakage,
        "switch_on": list(circuit.switch_on),
    }  # fmt: skip


def _energy_json(circuits: Sequence[MainsCircuit], season: Season) -> dict[str, Any]:
    cost = season.cost(circuits)
    return {
        "hours": season.hours, "days": season.days, "price": season.price,
        **_takes("kwh", season.energy(circuits)), **({} if cost is None else _takes("cost", cost)),
    }  # fmt: skip


def _takes(unit: str, takes: Takes) -> dict[str, float | None]:
    return {
        f"dark_{unit}": if_known(takes.dark), f"{unit}_at_level": if_known(takes.at_level),
        f"full_white_{unit}": if_known(takes.full_white),
    }  # fmt: skip
