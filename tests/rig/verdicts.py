"""A verdict on each goal that a benchmark states as a ratio of two things measured in one run, whatever the machine.

It is printed, and ends nothing: a busy machine is no fault of the program.
"""


def at_least(what: str, ratio: float, goal: float) -> None:
    """Print whether a ratio is as large as its goal."""
    print(f"Verdict: {what}: {ratio:.2f}, at least {goal:g}: {'met' if ratio >= goal else 'MISSED'}", flush=True)


def at_most(what: str, ratio: float, goal: float) -> None:
    """Print whether a ratio is as small as its goal."""
    print(f"Verdict: {what}: {ratio:.2f}, at most {goal:g}: {'met' if ratio <= goal else 'MISSED'}", flush=True)
