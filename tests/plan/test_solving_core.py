"""The constraint builders that plan the day, held against job shops whose shortest makespan is known."""

from typing import Any

import pytest

from fettlebook.plan.bound import Search
from fettlebook.plan.constraints import at_most, chain, one_at_a_time

# Each line a job: machine and length of each operation, in order.
FT06 = """\
2 1 0 3 1 6 3 7 5 3 4 6
1 8 2 5 4 10 5 10 0 10 3 4
2 5 3 4 5 8 0 9 1 1 4 7
1 5 0 5 2 5 3 3 4 8 5 9
2 9 1 3 4 5 5 4 0 3 3 1
1 3 3 3 5 9 0 10 4 4 2 1"""
LA01 = """\
1 21 0 53 4 95 3 55 2 34
0 21 3 52 4 16 2 26 1 71
3 39 4 98 1 42 2 31 0 12
1 77 0 55 4 79 2 66 3 77
0 83 3 34 2 64 1 19 4 37
1 54 2 43 4 79 0 92 3 62
3 69 4 77 1 87 2 87 0 93
2 38 0 60 1 41 3 24 4 83
3 17 1 49 4 25 0 44 2 98
4 77 3 79 2 43 1 75 0 96"""
LA05 = """\
1 72 0 87 4 95 2 66 3 60
4 5 3 35 0 48 2 39 1 54
1 46 3 20 2 21 0 97 4 55
0 59 3 19 4 46 1 34 2 37
4 23 2 73 3 25 1 24 0 28
3 28 0 45 4 5 1 78 2 83
0 53 3 71 1 37 4 29 2 12
4 12 2 87 3 33 1 55 0 38
2 49 3 83 1 40 0 48 4 7
2 65 3 17 0 90 4 27 1 23"""

MUTH_THOMPSON = "J. F. Muth, G. L. Thompson, Industrial Scheduling, Prentice-Hall 1963 (Fisher and Thompson's 6 x 6 instance)"
LAWRENCE = (
    "S. Lawrence, Resource constrained project scheduling: an experimental investigation ... (Supplement), Carnegie-Mellon University 1984"
)


def _shortest(text: str, machine_rule: Any) -> tuple[int, bool]:
    from ortools.sat.python import cp_model

    model = cp_model.CpModel()
    jobs = [[int(x) for x in line.split()] for line in text.splitlines()]
    horizon = sum(sum(j[1::2]) for j in jobs)
    end = model.new_int_var(0, horizon, "")
    machines: dict[int, list[Any]] = {}
    for job in jobs:
        lengths = job[1::2]
        starts = [model.new_int_var(0, horizon, "") for _ in lengths]
        chain(model, starts, lengths)
        for m, s, d in zip(job[::2], starts, lengths, strict=True):
            machines.setdefault(m, []).append(model.new_fixed_size_interval_var(s, d, ""))
        model.add(end >= starts[-1] + lengths[-1])
    for intervals in machines.values():
        machine_rule(model, intervals)
    model.minimize(end)
    solver = Search(60.0, workers=1).solver()
    status = solver.solve(model)
    return int(solver.objective_value), status == cp_model.OPTIMAL


def _pool(model: Any, intervals: list[Any]) -> None:
    at_most(model, intervals, [1] * len(intervals), 1)


@pytest.mark.published(source=MUTH_THOMPSON, sure="secondary")
@pytest.mark.parametrize("rule", [one_at_a_time, _pool])
def test_the_builders_prove_the_shortest_six_by_six_job_shop(rule: Any) -> None:
    assert _shortest(FT06, rule) == (55, True)


@pytest.mark.published(source=LAWRENCE, sure="secondary")
@pytest.mark.parametrize(("text", "makespan"), [(LA01, 666), (LA05, 593)])
def test_the_builders_prove_the_shortest_ten_by_five_job_shops(text: str, makespan: int) -> None:
    assert _shortest(text, one_at_a_time) == (makespan, True)


@pytest.mark.invented
def test_work_of_one_kind_never_exceeds_its_capacity_but_may_reach_it() -> None:
    from ortools.sat.python import cp_model

    for capacity, ends in ((1, 30), (2, 20), (3, 10)):
        model = cp_model.CpModel()
        starts = [model.new_int_var(0, 100, "") for _ in range(3)]
        at_most(model, [model.new_fixed_size_interval_var(s, 10, "") for s in starts], [1, 1, 1], capacity)
        last = model.new_int_var(0, 200, "")
        for s in starts:
            model.add(last >= s + 10)
        model.minimize(last)
        solver = Search(10.0, workers=1).solver()
        solver.solve(model)
        assert solver.objective_value == ends
