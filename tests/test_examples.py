"""Which share of the long tests is run on which day."""

from rig.examples import DAYS, left_for_another_day

NAMES = ["a.py::one", *(f"b.py::two[{number}]" for number in range(3)), *(f"c.py::two[{n}-x]" for n in range(23))]


def test_a_long_run_takes_some_of_every_file_and_within_some_days_all() -> None:
    left = [left_for_another_day(NAMES, day) for day in range(700, 700 + DAYS)]
    for day in left:
        taken = {*NAMES} - day
        assert {name.partition("::")[0] for name in taken} == {"a.py", "b.py", "c.py"}
        assert len(taken) <= 1 + 1 + 4
    assert not set.intersection(*left)


def test_the_same_day_takes_the_same_of_a_file_whichever_others_there_are() -> None:
    assert left_for_another_day(NAMES, 701) & {*NAMES[:4]} == left_for_another_day(NAMES[:4], 701)
