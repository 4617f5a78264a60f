"""A verdict on each goal that a benchmark states as a ratio of two things measured in one run, whatever the machine."""

import sys


class Verdicts:
    """Says of each ratio whether its goal is met; `end` ends the program with 1 where one is not."""

    def __init__(self) -> None:
        self._missed = 0

    def at_least(self, what: str, ratio: float, goal: float) -> None:
        self._say(f"{what}: {ratio:.2f}, at least {goal:g}", ratio >= goal)

    def at_most(self, what: str, ratio: float, goal: float) -> None:
        self._say(f"{what}: {ratio:.2f}, at most {goal:g}", ratio <= goal)

    def _say(self, text: str, met: bool) -> None:
        self._missed += not met
        print(f"Verdict: {text}: {'met' if met else 'MISSED'}", flush=True)

    def end(self) -> None:
        sys.exit(self._missed > 0)
