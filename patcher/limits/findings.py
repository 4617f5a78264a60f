"""Gathers every finding about a show, and marks those that the person has accepted."""

from __future__ import annotations

from dataclasses import replace

from patcher.errors import Finding, PatcherError
from patcher.limits import advice, box_addresses, lengths, network, refresh
from patcher.mains import circuit_findings
from patcher.patch.changes import misfits
from patcher.patch.patch import Patch
from patcher.patch.rules import breaches
from patcher.placement.allocation import Allocation, allocate
from patcher.power import shortfalls
from patcher.power.flow import Power, power
from patcher.show.schema import Show
from patcher.wiring import Wiring

SEARCH = 2.0
"""Seconds to search for a patch; that there is one is enough here."""


def check(
    wiring: Wiring, kept: Patch | None = None, *, made: Allocation | None = None, state: Power | None = None
) -> tuple[Patch | None, list[Finding]]:
    """The patch of a sound wiring, where there can be one, and everything that is to be said of the show.

    Args:
        wiring: the wiring.
        kept: the patch that is typed into the boxes; what it breaks is said too, where it is a patch of this wiring.
        made: the patch, where it is made already.
        state: the power of the show, where it is solved already.
    """
    patch: Patch | None = None
    found: list[Finding] = []
    try:
        made = made or allocate(wiring, kept, seconds=SEARCH)
        patch, faults = made.patch, made.faults
    except PatcherError as error:
        faults = error.findings
    if kept is not None and misfits(kept, wiring):
        says = "is older than the show: something was added, taken out or changed since"
        remedy = "patcher diff lists the settings to change; patcher patch updates it"
        found.append(Finding("note", "patch-file", "address", "the patch file", says, remedy))
    elif kept is not None:
        found += (_of_kept(breach, made) for breach in breaches(wiring.show, kept) if breach not in faults)
    found += faults
    state = power(wiring) if state is None and wiring.show.sockets else state  # once for both that ask
    found += (
        advice.findings(wiring)
        + box_addresses.findings(wiring.show)
        + lengths.findings(wiring)
        + refresh.findings(wiring)
        + network.findings(wiring, patch)
        + shortfalls.findings(wiring, state)
        + circuit_findings.findings(wiring, state)
    )
    return patch, accepted(wiring.show, found)


def new_findings(
    before: Wiring, after: Wiring, renamed: tuple[str, str] | None = None, *, now: Patch | None = None
) -> list[Finding]:
    """The errors and warnings of a changed show that it did not have before.

    Args:
        before: the show as it is.
        after: the show as it would be.
        renamed: a thing that another one takes the place of: what was said of the one is not new of the other.
        now: the patch of the show as it would be, where it is made already.
    """

    def known(finding: Finding) -> tuple[str, str, str]:
        where, says = (
            text if renamed is None else text.replace(*renamed) for text in (finding.where, finding.says)
        )  # fmt: skip
        return finding.rule, where, says

    old = {known(finding) for finding in check(before)[1]}
    return [
        finding
        for finding in check(after, now)[1]
        if finding.severity != "note"
        and not finding.accepted
        and (finding.rule, finding.where, finding.says) not in old
    ]


def _of_kept(breach: Finding, made: Allocation | None) -> Finding:
    """What the typed patch breaks: where a new one breaks nothing, that is the remedy."""
    return breach if made is None or made.faults else replace(breach, remedy="run patcher patch: it puts that right")


def accepted(show: Show, findings: list[Finding]) -> list[Finding]:
    """The findings with accepted warnings marked, and a note for each `[[accept]]` that meets none."""
    wanted = {(accept.rule, accept.where): accept for accept in show.accepts}
    met: set[tuple[str, str]] = set()
    marked: list[Finding] = []
    for finding in findings:
        key = (finding.rule, finding.where)
        if key in wanted and finding.severity == "warning":
            met.add(key)
            finding = replace(finding, accepted=True)
        marked.append(finding)
    for number, accept in enumerate(show.accepts, start=1):
        if (accept.rule, accept.where) not in met:
            says, remedy = f"accepts {accept.rule} at {accept.where}, but there is no such warning", "take it out"
            if any((f.rule, f.where, f.severity) == (accept.rule, accept.where, "error") for f in findings):
                says = f"accepts {accept.rule} at {accept.where}, which is an error; only warnings can be accepted"
                remedy = "take it out, and put the error right"
            marked.append(Finding("note", "accept", "file", f"accept[{number}]", says, remedy))
    return marked
