"""Searches beside the search: what comes is whole and better each time, they end when told to, and one that dies takes nothing along."""

import time
from pathlib import Path

import pytest

from fettlebook.plan.beside import Beside
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.solve import solve
from fettlebook.plan.stages import Searching, beside_each_other

pytestmark = pytest.mark.invented
INSTANCES = Path(__file__).with_name("instances")


@pytest.fixture(scope="module")
def day() -> Instance:
    """Three chairs of a day on which all wait for sets."""
    whole = read_instance((INSTANCES / "medium-1.json").read_text(), "medium-1")
    chairs = {c.id for c in whole.chairs[:3]}
    types = tuple(t.model_copy(update={"owned": max(2, t.owned // 4)}) for t in whole.set_types)
    return whole.model_copy(update={"visits": tuple(v for v in whole.visits if v.chair in chairs), "set_types": types})


def test_plans_come_from_all_of_them_until_they_are_closed(day: Instance) -> None:
    others = Beside(day, processes=2, seconds=60.0, seed=1, goal=0)
    processes = [process for process, _ in others._running]
    came: list[Plan] = []
    try:
        others.take(came.append, lambda: len(came) < 3)
    finally:
        others.close()
    assert len(came) >= 3
    assert not any(check_plan(day, plan) or plan.left_out for plan in came)
    assert not any(process.is_alive() for process in processes)


def test_one_that_dies_takes_nothing_along(day: Instance) -> None:
    others = Beside(day, processes=2, seconds=60.0, seed=1, goal=0)
    others._running[0][0].kill()
    came: list[Plan] = []
    try:
        others.take(came.append, lambda: not came)
    finally:
        others.close()
    assert came


def test_all_dead_is_an_end_not_a_wait(day: Instance) -> None:
    others = Beside(day, processes=1, seconds=3_600.0, seed=1, goal=0)
    others._running[0][0].kill()
    others.take(lambda _: None, lambda: True)
    others.close()


def test_the_best_of_all_is_kept_and_a_worse_one_never(day: Instance) -> None:
    s = Searching(day, 14.0, 1, 2, None, None)
    s.offer(dispatch(day), "list scheduler")
    assert s.best_figures is not None
    first = s.best_figures.weighted_minutes_late
    beside_each_other(s)
    assert s.best is not None
    assert not check_plan(day, s.best)
    assert s.best_figures.weighted_minutes_late < first
    late = [p.weighted_minutes_late for p in s.progress]
    assert late == sorted(late, reverse=True)


def test_a_search_that_is_called_off_ends_its_others_too(day: Instance) -> None:
    began = time.perf_counter()
    solved = solve(day, limit_s=600.0, seed=1, stop=lambda: time.perf_counter() - began > 8)
    assert not check_plan(day, solved.plan)
    assert figures(day, solved.plan).weighted_minutes_late >= solved.bound
