"""Takes the addresses of a person's own table as the patch to keep.

Each row is matched with a run of the show; the start of a chain is where the row of its first run says. What breaks a
rule is kept all the same, and said.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import NamedTuple

from patcher.adoption.address_table import Row
from patcher.adoption.draft import folded, legal_name, parts_of
from patcher.errors import Finding, Severity, choose_from
from patcher.patch.chains import chains
from patcher.patch.patch import Chain, Patch, Start, address, behind, first_fit, running, written
from patcher.trade import CHANNELS, USUAL_CHANNELS, USUAL_WIDTHS
from patcher.wiring import Wiring, port_name


class Match(NamedTuple):
    """Which row gives the address of which run, the runs that rows cover besides, and what did not fit."""

    rows: dict[str, Row]
    covered: frozenset[str]
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class Adoption:
    """What a table gives.

    Attributes:
        patch: the starts that it gives; a chain without an address is not in it.
        left: the names of the chains without one.
        findings: where it does not fit the show's chains, and where it breaks the rules pixel by pixel.
    """

    patch: Patch
    left: tuple[str, ...]
    findings: tuple[Finding, ...]


def joined(rows: Sequence[Row], table: str) -> tuple[list[Row], list[Finding]]:
    """The rows, one a run: with those that carry on the run above, a universe a row, as part of it, and none twice."""
    found: list[Row] = []
    twice: list[Finding] = []
    seen: dict[tuple[object, ...], int] = {}
    for row in rows:
        what = (folded(row.controller), row.port, folded(" ".join(row.runs)), folded(row.prop))
        line = seen.setdefault((*what, row.universe, row.channel, row.pixels), row.line)
        if line != row.line:
            twice.append(
                _of_row("warning", "twice", table, row, f"stands in line {line} already", "take one of them out")
            )
        elif found and _carries_on(found[-1], row):
            found[-1] = replace(found[-1], pixels=(found[-1].pixels or 0) + (row.pixels or 0))
        else:
            found.append(row)
    return found, twice


def _carries_on(one: Row, two: Row) -> bool:
    same = (one.controller, one.port, one.runs, one.prop) == (two.controller, two.port, two.runs, two.prop)
    if one.parts > 1 or two.parts > 1 or not (same and one.runs and one.pixels and two.pixels and two.channel == 1):
        return False
    widths = (one.channels,) if one.channels else USUAL_WIDTHS
    return any(first_fit(behind(_at(one), one.pixels, width), width) == _at(two) for width in widths)


def _at(row: Row) -> int:
    return running(row.universe, row.channel)


def _of_row(severity: Severity, rule: str, table: str, row: Row, says: str, remedy: str) -> Finding:
    return Finding(severity, rule, "address", table, f"{row.name}: {says}", remedy, line=row.line)


def uncounted(rows: Iterable[Row], table: str) -> Iterator[Finding]:
    """The rows that do not say how many pixels they have, where there is no show that does."""
    for row in rows:
        if row.pixels is None:
            says = "no number of pixels; 1 is assumed"
            yield _of_row(
                "warning", "pixels", table, row, says, "write it in the table and adopt again, or in the show file"
            )


# --- which row is which run ----------------------------------------------------------------------------------------


def match(rows: Iterable[Row], wiring: Wiring, table: str) -> Match:
    """Hold the rows against the runs of a sound show: by run, else by prop, else by box and port.

    Args:
        rows: the table's rows, one a run.
        wiring: the show.
        table: what the table is called, for the findings.
    """
    matcher = _Matcher(wiring, table)
    given = [part for row in rows for part in matcher.parts(row)]
    named = {row.key for row in given if matcher.by_name(row)}
    for row in sorted(given, key=lambda row: row.port is None):  # a row without a port takes what the others leave
        if row.key not in named:
            matcher.by_place(row)
    return Match(
        matcher.rows, frozenset(matcher.covered), tuple(sorted(matcher.findings, key=lambda one: one.line or 0))
    )


class _Matcher:
    def __init__(self, wiring: Wiring, table: str) -> None:
        self.wiring = wiring
        self.table = table
        show = wiring.show
        self.runs = _by_folded(show.runs)
        self.boxes = _by_folded(show.controllers)
        self.props = {folded(name): runs for name, runs in show.prop_runs().items()}
        self.rows: dict[str, Row] = {}
        self.covered: set[str] = set()
        self.findings: list[Finding] = []

    def _say(self, severity: Severity, rule: str, row: Row, says: str, remedy: str) -> None:
        self.findings.append(_of_row(severity, rule, self.table, row, says, remedy))

    def _run(self, row: Row, said: str) -> str | None:
        exact = said if said in self.wiring.show.runs else None
        return exact or _find(self.runs, said, "run") or _find(self.runs, f"{row.prop} {said}", "run")

    def parts(self, row: Row) -> list[Row]:
        """A row of several runs of one length (`3 x 190`) as a row for each, where the show has them so, as its draft
        does; else the row as it is.
        """
        if row.parts == 1 or row.pixels is None or (row.runs and self._run(row, " ".join(row.runs))):
            return [row]
        show, whole = self.wiring.show, list(parts_of(row, [USUAL_CHANNELS] * row.parts))
        runs = [self._run(part, " ".join(part.runs)) for part in whole] if whole[0].runs else []
        if not runs:
            here = [run for run in self._on_port(row, self._box(row)) if show.runs[run].pixels == whole[0].pixels]
            runs = [*here[: row.parts]]
        known = list(dict.fromkeys(filter(None, runs)))
        if len(known) < row.parts or any(show.runs[run].pixels != whole[0].pixels for run in known):
            return [row]
        return list(parts_of(row, [show.type_of(show.runs[run]).channels for run in known]))

    def by_name(self, row: Row) -> bool:
        """Whether the row names a run of the show; then it is taken, or what is wrong with it is said."""
        whole = self._run(row, " ".join(row.runs)) if row.runs else None
        names = [whole] if whole else [self._run(row, said) for said in row.runs]
        if not names or names[0] is None:
            return False
        known = [self.wiring.source(name) for name in names if name]
        self._take(row, known[0], known)
        return True

    def by_place(self, row: Row) -> None:
        """Take a row that names no run: the next run of its prop, or of its port, or of its box."""
        box = self._box(row)
        on_port, prop = self._on_port(row, box), self._prop(row)
        candidates = [run for run in prop if run in on_port] or list(prop) or on_port
        if not candidates:
            self._say("error", "row", row, "matches no run, prop or box of this show", self._remedy(row, box))
            return
        free = [run for run in candidates if run not in self.rows]
        run = (free or candidates)[0]
        if row.runs and not prop:
            says = f"is not a run of this show; going by its box and port, it is {run}"
            self._say("warning", "other-name", row, says, "correct the name in the table, if that is the run")
        whole = not free or not prop or row.pixels == sum(self.wiring.show.runs[name].pixels for name in candidates)
        self._take(row, run, candidates if whole else [run])

    def _box(self, row: Row) -> str | None:
        return _find(self.boxes, row.controller, "box") if row.controller else None

    def _on_port(self, row: Row, box: str | None) -> list[str]:
        """The runs on the port that the row names; on all of the box's, where it names none."""
        ports = self.wiring.of_controller(box) if box else {}
        return [run for port, runs in ports.items() if row.port in (None, port) for run in runs]

    def _prop(self, row: Row) -> tuple[str, ...]:
        for said in filter(None, (row.prop, *row.runs)):
            runs = self.props.get(folded(said)) or self.props.get(folded(legal_name(said, "prop"))) or ()
            if runs:
                return tuple(dict.fromkeys(self.wiring.source(run) for run in runs))
        return ()

    def _remedy(self, row: Row, box: str | None) -> str:
        show = self.wiring.show
        if said := next(filter(None, (*row.runs, row.prop)), None):
            hint = choose_from(said, [*show.runs, *show.props])
            return f"{hint} Or add it to the show" if hint.endswith("?") else f"{hint}; or add it to the show"
        if box and row.port is not None:
            used = ", ".join(port_name(box, port) for port in self.wiring.of_controller(box)) or "none"
            return f"ports in use there: {used}"
        return (
            choose_from(row.controller, show.controllers) if row.controller else "give the row a run, or a box and port"
        )

    def _take(self, row: Row, run: str, covers: Sequence[str]) -> None:
        before = self.rows.get(run)
        if before is not None:
            same = _at(before) == _at(row)
            says = f"gives {run} again" + (f", as line {before.line} does" if same else f": line {before.line} gave it")
            says += "" if same else f" {address(_at(before))}, which is kept; this row says {address(_at(row))}"
            self._say("warning" if same else "error", "twice", row, says, "take one of the two rows out")
            return
        self.rows[run] = row
        self.covered.update(covers)
        self._compare(row, run, covers)

    def _compare(self, row: Row, run: str, covers: Sequence[str]) -> None:
        """Say where the row and the show differ in what is no address."""
        show = self.wiring.show
        controller, port = self.wiring.ports[run]
        box = self._box(row)
        if box and (box != controller or row.port not in (None, port)):
            said = port_name(box, row.port) if row.port is not None else box
            says = f"hangs on {said}; in the show it is on {port_name(controller, port)}"
            self._say("warning", "place", row, says, "correct the table or the show; the table's address is used")
        address = show.controllers[controller].address
        if row.ip and address and row.ip != address:
            says = f"gives {controller} the address {row.ip}; in the show it is {address}"
            self._say("warning", "place", row, says, "correct the table or the show; the table's channels are used")
        counts = {show.runs[run].pixels, sum(show.runs[name].pixels for name in covers)}
        if row.pixels is not None and row.pixels not in counts:
            says = f"has {row.pixels} pixels; {run} has {show.runs[run].pixels} in the show"
            self._say("warning", "pixels", row, says, "correct the table or the show; the table's address is used")
        width = show.type_of(show.runs[run]).channels
        if row.channels not in (None, width):
            says = f"has {row.channels} channels a pixel; {run} has {width} in the show"
            self._say("warning", "pixels", row, says, "correct the table, or colour_order in the show")


def _by_folded(names: Iterable[str]) -> dict[str, str]:
    """The names by what is left of them when folded; of two that fold alike, none."""
    found: dict[str, list[str]] = {}
    for name in names:
        found.setdefault(folded(name), []).append(name)
    return {key: same[0] for key, same in found.items() if len(same) == 1}


def _find(names: Mapping[str, str], said: str, kind: str) -> str | None:
    return names.get(folded(said)) or names.get(folded(legal_name(said, kind)))


# --- from rows to starts -------------------------------------------------------------------------------------------


def adopt(matched: Match, wiring: Wiring, table: str) -> Adoption:
    """The patch that the matched rows give.

    Args:
        matched: which row gives the address of which run.
        wiring: the show.
        table: what the table is called, for the findings.
    """
    starts: list[Start] = []
    left: list[str] = []
    found = [*_straight(matched, wiring, table), *_apart(matched, wiring, table)]
    for chain in chains(wiring):
        start = _start(chain, matched, table, found.append)
        if start is None:
            left.append(chain.name)
        else:
            starts.append(start)
            found += _behind_the_start(start, matched, table)
    return Adoption(Patch(tuple(starts)), tuple(left), tuple(sorted(found, key=lambda one: one.line or 0)))


def _start(chain: Chain, matched: Match, table: str, say: Callable[[Finding], None]) -> Start | None:
    """Where the chain begins, by the row of its first run; None where there is none, and that is said."""
    first = chain.links[0]
    row = matched.rows.get(first.run)
    if row is None:
        orphans = [matched.rows[link.run] for link in chain.links if link.run in matched.rows]
        for orphan in orphans:
            says = f"is not the first on {chain.name}, whose start is that of {first.run}, which no row gives"
            say(_of_row("error", "no-start", table, orphan, says, f"add a row for {first.run}"))
        if not orphans:
            says = "has no address in the table"
            remedy = "patcher patch finds it a free place; or add it to the table, and adopt that"
            say(Finding("warning", "no-start", "address", f"run.{first.run}", says, remedy))
        return None
    at = _at(row)
    of_pixel = bool(row.runs or row.prop) and not row.is_start
    if first.nulls and of_pixel:
        before = _before_nulls(at, first.nulls, first.channels)
        if before is None:
            says = f"begins at {address(at)}, with no room before it for its null pixels ({first.nulls})"
            say(_of_row("error", "nulls", table, row, says, "give the start its own row: the box and the port"))
            return None
        at = before
    return Start(chain, *written(at))


def _before_nulls(at: int, nulls: int, width: int) -> int | None:
    """Where a chain begins whose first pixel is at `at`, behind its nulls; None where there is no such place."""
    here, odd = divmod(at % CHANNELS, width)
    if nulls <= here:
        return at - nulls * width
    if odd:
        return None
    each = CHANNELS // width
    whole, rest = divmod(nulls - here - 1, each)
    universe = at // CHANNELS - 1 - whole
    return universe * CHANNELS + (each - rest - 1) * width if universe >= 0 else None


def _behind_the_start(start: Start, matched: Match, table: str) -> Iterator[Finding]:
    """The later runs of a chain whose rows say another address than the box gives them."""
    before = start.chain.links[0].run
    end = start.at
    for link, at in start.placed():
        row = matched.rows.get(link.run)
        if link is not start.chain.links[0]:
            if row is not None and _at(row) not in (at, first_fit(end, link.channels)):
                says = f"begins at {address(_at(row))}, but it hangs behind {before} on {start.chain.name}, "
                says += f"and the box goes on there with {address(at)}"
                remedy = 'set start_per = "run" if the box can; else it moves: tell the player'
                yield _of_row("error", "follows-on", table, row, says, remedy)
            elif row is None and link.run not in matched.covered:
                says = f"has no row of its own; it follows {before}, at {address(at)}"
                yield Finding(
                    "note", "follows-on", "address", f"run.{link.run}", says, "check that it is so in the box"
                )
        before, end = link.run, behind(at, link.pixels, link.channels)


def _straight(matched: Match, wiring: Wiring, table: str) -> Iterator[Finding]:
    """The rows whose pixels must run straight on across the end of a universe to end where another row begins."""
    show = wiring.show
    begins = {_at(row): run for run, row in matched.rows.items()}
    for run, row in matched.rows.items():
        at, width = _at(row), show.type_of(show.runs[run]).channels
        pixels = row.pixels or show.runs[run].pixels
        end = at + pixels * width
        room = CHANNELS - at % CHANNELS
        laid = behind(at, pixels, width)
        if end in begins and laid != end:
            pixel = next(
                number for number in range(room // width, pixels)
                if (at + number * width) % CHANNELS > CHANNELS - width
            )  # fmt: skip
            universe, channel = written(at + pixel * width)
            says = f"runs straight on to {begins[end]} at {address(end)}, which cuts pixel {pixel + 1}: it would begin "
            says += f"at {universe}/{channel} and end in universe {universe + 1}"
            free = first_fit(laid, show.type_of(show.runs[begins[end]]).channels)
            remedy = f"begin {begins[end]} at {address(free)}, where a box gets to without cutting a pixel"
            yield _of_row("error", "split-pixel", table, row, says, remedy)


def _apart(matched: Match, wiring: Wiring, table: str) -> Iterator[Finding]:
    """The rows that begin less than one pixel behind where another one ends: no pixel fits between them."""
    show = wiring.show
    ordered = sorted(matched.rows.items(), key=lambda pair: _at(pair[1]))
    for (before, one), (run, two) in pairwise(ordered):
        width, next_width = (show.type_of(show.runs[name]).channels for name in (before, run))
        pixels = one.pixels or show.runs[before].pixels
        end = behind(_at(one), pixels, width)
        meant = first_fit(end, next_width)
        gap = _at(two) - meant
        if 0 < gap < min(width, next_width) and end // CHANNELS == _at(two) // CHANNELS:
            says = f"begins at {address(_at(two))}; {before} ends at {address(end - 1)}, and the {gap} channel"
            says += f"{'s' if gap > 1 else ''} between are too few for a pixel"
            remedy = f"look in the box whether it is {address(meant)}; the table's address is used"
            yield _of_row("warning", "gap", table, two, says, remedy)
