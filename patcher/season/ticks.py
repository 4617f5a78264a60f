"""What a person ticked off with their hands done, for which settings and when; how long work took; what boxes answered.

A tick holds as long as the plan asks for the very settings for which it was given. The last tick of a job is the one
that counts, and so is the last word: a tick that was taken away is none.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import timedelta

from patcher.season.jobs import Job, Plan, Step
from patcher.walk.record import When

PAUSE = timedelta(hours=2)
"""A longer time between two ticks is a pause, and says nothing of how long the work took. Own choice."""
LEAST = 1.0
"""Minutes below which a sum says nothing: then all was ticked off together."""


@dataclass(frozen=True, slots=True)
class Done:
    """A job that was ticked off: the digest of what it was ticked off for, and when."""

    against: str
    when: When


@dataclass(frozen=True, slots=True)
class Worked:
    """That something was ticked off just then; `minutes` is how long it took, where a person said so.

    `box` is empty where it was several boxes at once: then nobody knows which took how long.
    """

    when: When
    box: str
    step: Step
    minutes: float | None = None


@dataclass(frozen=True, slots=True)
class Spent:
    """How many minutes a step of a box took in a season."""

    box: str
    step: Step
    minutes: float


@dataclass(frozen=True, slots=True)
class Season:
    """A season that is over: when it ended, and what its work took as far as that is known."""

    ended: When
    spent: tuple[Spent, ...] = ()


@dataclass(frozen=True, slots=True)
class Answered:
    """What an Art-Net box said that it listens to, and when."""

    port_addresses: tuple[int, ...]
    when: When


@dataclass(frozen=True)
class Ticks:
    """All that is kept of a season's work.

    Attributes:
        done: what was ticked off this season, by job.
        log: when something was ticked off this season, oldest first.
        seasons: the seasons that are over, oldest first.
        answered: what each Art-Net box said last that it listens to.
    """

    done: Mapping[Job, Done] = field(default_factory=dict)
    log: tuple[Worked, ...] = ()
    seasons: tuple[Season, ...] = ()
    answered: Mapping[str, Answered] = field(default_factory=dict)

    def is_done(self, job: Job, plan: Plan) -> bool:
        """Whether a job was ticked off for what the plan now asks for."""
        done = self.done.get(job)
        return done is not None and done.against == plan.against

    def ticked(self, jobs: Mapping[Job, Plan], when: When, minutes: float | None = None) -> Ticks:
        """With these jobs ticked off as they are planned now."""
        done = {**self.done, **{job: Done(plan.against, when) for job, plan in jobs.items()}}
        kept = replace(self, done=done)
        for step in dict.fromkeys(job.step for job in jobs):
            boxes = {plan.box for job, plan in jobs.items() if job.step == step}
            kept = kept.worked(boxes, step, when, minutes)
        return kept

    def worked(self, boxes: Iterable[str], step: Step, when: When, minutes: float | None = None) -> Ticks:
        """With it noted that a step was ticked off at these boxes just then."""
        own = set(boxes)
        box = own.pop() if len(own) == 1 else ""
        return replace(self, log=(*self.log, Worked(when, box, step, minutes if box else None)))

    def unticked(self, jobs: Iterable[Job]) -> Ticks:
        """With the ticks of these jobs taken away."""
        gone = set(jobs)
        return replace(self, done={job: done for job, done in self.done.items() if job not in gone})

    def heard(self, said: Mapping[str, Answered]) -> Ticks:
        """With what boxes just said that they listen to."""
        return replace(self, answered={**self.answered, **said})

    def new_season(self, when: When, proved: Iterable[Worked] = ()) -> Ticks:
        """With all jobs of the hands to do again; what they took is kept, with the answers of `verify` among them."""
        seasons = (*self.seasons, Season(when, spent([*self.log, *proved])))
        return replace(self, done={}, log=(), seasons=seasons)

    @property
    def last_season(self) -> dict[tuple[str, Step], float]:
        """Minutes that each step of each box took last season, where that is known."""
        return {(one.box, one.step): one.minutes for one in (self.seasons[-1].spent if self.seasons else ())}


def spent(log: Sequence[Worked]) -> tuple[Spent, ...]:
    """How long each step of each box took, by the times of the ticks: the time from the tick before.

    The first tick has none before it, and a long time between two is a pause: of both nobody knows, but where a person
    said how long it took.
    """
    sums: dict[tuple[str, Step], float] = {}
    before = None
    for one in sorted(log, key=lambda each: each.when):
        minutes = one.minutes
        if minutes is None and before is not None and one.when - before <= PAUSE:
            minutes = (one.when - before) / timedelta(minutes=1)
        if minutes is not None and one.box:
            sums[one.box, one.step] = sums.get((one.box, one.step), 0.0) + minutes
        before = one.when
    return tuple(Spent(box, step, round(total, 1)) for (box, step), total in sums.items() if total >= LEAST)
