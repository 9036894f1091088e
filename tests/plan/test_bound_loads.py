"""The bound by one washer's loads: never above what a plan reaches, above the circulation bound where loads cost."""

from pathlib import Path

import pytest

from fettlebook.plan.bound import Search, circulation_bound
from fettlebook.plan.bound_loads import applies, loads_bound
from fettlebook.plan.check import figures
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.model import ExactModel

pytestmark = pytest.mark.invented
INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def test_on_a_tight_day_it_lies_between_the_circulation_bound_and_the_proven_optimum() -> None:
    day = _day("smalltight-1")  # 487 without machines and 626 at best, as another program proved both
    assert 487 < loads_bound(day, Search(120.0, workers=1), floor=487, known=700) <= 626


def test_on_the_tightest_day_it_rises_by_counted_work_alone() -> None:
    day = _day("mediumtight-1")
    found = [loads_bound(day, Search(120.0, workers=1, deterministic=0.3), floor=1546, known=2300) for _ in range(2)]
    assert found[0] == found[1] > 1600


@pytest.mark.parametrize("owned", [1, 2])
@pytest.mark.parametrize("minutes", [20, 60])
@pytest.mark.parametrize("first", range(5))
def test_it_is_never_above_the_best_plan_of_the_exact_model(owned: int, minutes: int, first: int) -> None:
    day = _day("smalltight-1")
    chairs = {c.id for c in day.chairs[:2]}
    visits = tuple(v for v in day.visits if v.chair in chairs)[first : first + 7]
    types = tuple(t.model_copy(update={"owned": max(owned, *(v.needs().get(t.id, 0) for v in visits))}) for t in day.set_types)
    washers = tuple(w.model_copy(update={"minutes": minutes}) for w in day.washers)
    small = day.model_copy(update={"visits": visits, "set_types": types, "washers": washers})
    best = ExactModel(small).solve(Search(20.0, workers=1))
    if best.plan is None or not applies(small):
        return
    late = figures(small, best.plan).weighted_minutes_late
    floor = circulation_bound(small, Search(20.0, workers=1)).minutes
    assert floor <= loads_bound(small, Search(60.0, workers=1), floor=floor, known=late + 50) <= late


def test_it_says_nothing_of_two_washers_or_of_a_day_that_has_begun() -> None:
    day = _day("smalltight-1")
    assert applies(day)
    assert not applies(day.model_copy(update={"washers": (*day.washers, day.washers[0].model_copy(update={"id": "another"}))}))
    assert not applies(day.model_copy(update={"now": 600}))
