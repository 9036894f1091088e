"""The prices of starts: with any plan's starts they never come to more than the plan is late (weak duality)."""

import random
from pathlib import Path

import pytest
from ortools.sat.python import cp_model

from fettlebook.plan.bound import Search, add_people, add_rows, circulation_bound, lateness
from fettlebook.plan.bound_prices import FINE, add_prices, prices
from fettlebook.plan.check import figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.manner import Manner, wide
from fettlebook.plan.rows import rows

pytestmark = pytest.mark.invented
INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _plans(day: Instance, count: int) -> list[Plan]:
    draw = random.Random(1)
    plans = [dispatch(day, m) for m in (Manner(), *(wide(draw) for _ in range(count)))]
    return [p for p in plans if not p.left_out]


@pytest.mark.parametrize("name", ["tiny-1", "small-1", "medium-1", "mediumtight-1"])
def test_no_plan_pays_more_than_it_is_late(name: str) -> None:
    day = _day(name)
    plans = _plans(day, 12)
    assert plans
    known = max(figures(day, p).weighted_minutes_late for p in plans)
    priced = prices(day, known)
    assert priced is not None
    for plan in plans:
        paid = 0
        for v in plan.visits:
            first, tenths = priced.above[v.id]
            paid += tenths[v.start - first]
        assert priced.low + paid <= FINE * figures(day, plan).weighted_minutes_late


@pytest.mark.parametrize(("name", "bound"), [("smalltight-1", 487), ("mediumtight-1", 1546)])
def test_at_the_cheapest_starts_they_are_the_bound_by_minutes(name: str, bound: int) -> None:
    priced = prices(_day(name), bound + 300)
    assert priced is not None
    assert bound - 1 <= priced.low / FINE <= bound
    assert all(min(tenths) == 0 for _, tenths in priced.above.values())
    assert any(max(tenths) > 0 for _, tenths in priced.above.values())


@pytest.mark.parametrize("above", [-1, 0])
def test_a_model_of_chairs_and_people_with_them_reaches_the_bound_and_nothing_below(above: int) -> None:
    day = _day("tiny-1")
    bound = circulation_bound(day, Search(20.0, workers=1)).minutes
    model = cp_model.CpModel()
    all_rows = rows(day)
    starts = add_rows(model, all_rows)
    add_people(model, day, {"chairs": [model.new_fixed_size_interval_var(s, n.minutes, "") for n, s in starts.items() if n.attended]})
    late = lateness(day, starts)
    model.add(late <= bound + above)
    if (priced := prices(day, bound + above)) is not None:
        add_prices(model, starts, priced, bound + above)
        status = Search(20.0, workers=1).solver().solve(model)
        assert (status == cp_model.OPTIMAL) == (above == 0)
    else:
        assert above < 0  # the program itself says that there is no such day
