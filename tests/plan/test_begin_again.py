"""Beginning neighbourhoods again from plans of other manners: whole plans, the least late first, never a worse one kept."""

from pathlib import Path

import pytest

from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.many_manners import plans_of_other_manners
from fettlebook.plan.stages import Searching, begin_again

pytestmark = pytest.mark.invented
INSTANCES = Path(__file__).with_name("instances")


def _day() -> Instance:
    """Three chairs of a day on which all wait for sets."""
    day = read_instance((INSTANCES / "medium-1.json").read_text(), "medium-1")
    chairs = {c.id for c in day.chairs[:3]}
    types = tuple(t.model_copy(update={"owned": max(2, t.owned // 4)}) for t in day.set_types)
    return day.model_copy(update={"visits": tuple(v for v in day.visits if v.chair in chairs), "set_types": types})


def _searching(day: Instance, *, counted: float = 0.24, called_off: bool = False) -> Searching:
    s = Searching(day, 100.0, 1, 1, counted, None, stop=lambda: called_off)
    s.offer(dispatch(day), "list scheduler")
    return s


def test_the_plans_of_other_manners_are_whole_and_stand_in_order() -> None:
    day = _day()
    plans = plans_of_other_manners(day, seed=1, go_on=lambda n: n < 30)
    late = [figures(day, p).weighted_minutes_late for p in plans]
    assert len(late) > 2
    assert late == sorted(set(late))
    assert not any(check_plan(day, p) for p in plans)
    assert plans == plans_of_other_manners(day, seed=1, go_on=lambda n: n < 30)


def test_by_counted_work_it_finds_the_same_better_plan_on_every_run() -> None:
    day = _day()
    found = []
    for _ in range(2):
        s = _searching(day)
        assert s.best_figures is not None
        first = s.best_figures.weighted_minutes_late
        begin_again(s, share=1.0)
        assert s.best is not None
        assert not check_plan(day, s.best)
        found.append((s.best, first - s.best_figures.weighted_minutes_late))
    assert found[0] == found[1]
    assert found[0][1] > 0


def test_called_off_it_keeps_what_there_was() -> None:
    s = _searching(_day(), called_off=True)
    before = s.best
    begin_again(s, share=1.0)
    assert s.best == before
