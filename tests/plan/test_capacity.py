"""What some days need: true bounds, purchases confirmed in the same samples, and days that no purchase mends."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_solve import tiny_days

from fettlebook.plan.capacity import capacity, needs_of
from fettlebook.plan.check import figures
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.many_manners import best_of
from fettlebook.plan.overruns import Overruns
from fettlebook.plan.policy import live

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _owning(day: Instance, kind: str, n: int) -> Instance:
    types = tuple(t.model_copy(update={"owned": n}) if t.id == kind else t for t in day.set_types)
    return day.model_copy(update={"set_types": types})


@pytest.mark.invented
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days(), st.integers(0, 99))
def test_with_fewer_sets_than_the_bound_says_no_plan_has_every_visit_on_time(day: Instance, seed: int) -> None:
    for need in needs_of([day]):
        if need.kind == "set type" and need.least > 1:
            short = _owning(day, need.id, need.least - 1)
            plan, found, _ = best_of(short, seed=seed, go_on=lambda n: n < 10)
            assert plan.left_out or found.weighted_minutes_late > 0
            assert figures(short, plan) == found


@pytest.mark.invented
def test_a_purchase_that_is_named_brings_what_is_said_in_the_same_samples() -> None:
    day = _day("smalltight-1")
    found = capacity([day], Overruns(cv=0.0), samples=2, most=2)
    assert len(found.buys) == 2
    now = day
    for buy in found.buys:
        assert buy.kind == "set type"
        before = live(now).weighted_minutes_late
        now = _owning(now, buy.id, buy.owned + 1)
        assert before - live(now).weighted_minutes_late == buy.minutes_saved > 0
        assert buy.after > buy.before
        assert buy.bound_after <= buy.bound_before


@pytest.mark.invented
def test_days_that_the_booking_makes_late_are_not_mended_by_buying() -> None:
    day = _day("tiny-1")
    visits = tuple(v.model_copy(update={"booked": day.visits[0].booked + k, "uses": {}}) for k, v in enumerate(day.visits))
    found = capacity([day.model_copy(update={"visits": visits})], Overruns(), samples=3)
    assert found.ceiling < found.goal
    assert all(b.kind != "set type" for b in found.buys)


@pytest.mark.invented
def test_a_day_with_enough_of_everything_needs_nothing() -> None:
    day = _day("tiny-1")
    far = tuple(v.model_copy(update={"booked": 500 + 120 * k, "chair": day.visits[0].chair, "uses": {}}) for k, v in enumerate(day.visits))
    found = capacity([day.model_copy(update={"visits": far, "day_end": 1400})], Overruns(cv=0.0), samples=2)
    assert found.on_time == 1.0
    assert found.buys == ()


@pytest.mark.invented
def test_more_time_between_visits_is_never_worse_on_a_day_without_sets() -> None:
    day = _day("small-1")
    day = day.model_copy(update={"visits": tuple(v.model_copy(update={"uses": {}}) for v in day.visits)})
    found = capacity([day], Overruns(), samples=4, most=0)
    shares = [found.on_time, *(share for _, share in found.between)]
    assert shares[-1] > shares[0]


@pytest.mark.invented
def test_days_without_people_machines_or_visits_give_an_answer() -> None:
    day = _day("tiny-1")
    for gone in ({"people": ()}, {"washers": ()}, {"sterilizers": ()}, {"visits": ()}):
        found = capacity([day.model_copy(update=gone)], Overruns(), samples=2, most=2)
        assert 0 <= found.on_time <= found.ceiling <= 1


@pytest.mark.invented
def test_the_same_seed_gives_the_same_answer_and_an_interruption_what_is_known() -> None:
    day = _day("smalltight-1")
    one = capacity([day], Overruns(), samples=2, most=1)

    def stop(what: str) -> None:
        if what.startswith("2"):
            raise KeyboardInterrupt

    assert one.buys
    assert capacity([day], Overruns(), samples=2, most=4, told=stop).buys == one.buys
    short = _owning(_day("tiny-1"), "exam", 1)
    again, once_more = (capacity([short], Overruns(), samples=2, most=1) for _ in range(2))
    assert again == once_more


@pytest.mark.invented
def test_hands_are_counted_by_sets_packed_and_not_by_the_places_they_take() -> None:
    def hands(places: int, oil: int = 0) -> str:
        text = (INSTANCES / "tiny-1.json").read_text()
        day = read_instance(text)
        types = tuple(t.model_copy(update={"places": places, "lubricate_minutes": oil}) for t in day.set_types)
        return next(n.why for n in needs_of([day.model_copy(update={"set_types": types})]) if n.kind == "person")

    assert hands(1) == hands(3)
    assert hands(1) != hands(1, oil=4)
