"""Version 2 of the day instance: every plan of any scheduler, on any day, holds every rule of the checker."""

import json

import pytest
from detailed_days import detailed_days
from exhaustive import TooManyError
from exhaustive_detail import least_lateness
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.errors import Mendable
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.events import Emergency, FailedCycle, MachineOut, Missing, Overrun, at_minute
from fettlebook.plan.explain import Words, line, shortages_of, why_late
from fettlebook.plan.instance import Instance, instance_findings, read_instance, read_plan, to_json
from fettlebook.plan.leftover import with_leftovers
from fettlebook.plan.many_manners import best_of
from fettlebook.plan.replan import replan
from fettlebook.plan.slack import not_placed, with_duties
from fettlebook.plan.solve import solve

pytestmark = pytest.mark.invented
SLOW = list(HealthCheck)


@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(detailed_days(), st.integers(0, 1000))
def test_any_manner_of_the_list_scheduler_holds_every_rule_of_version_2(day: Instance, seed: int) -> None:
    plan, found, _ = best_of(day, seed=seed, go_on=lambda n: n < 12)
    assert check_plan(day, plan) == ()
    assert found == figures(day, plan)
    whole = with_leftovers(day, with_duties(day, plan))
    assert check_plan(day, whole) == ()
    assert figures(day, whole).rank[:3] == found.rank[:3]


@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(detailed_days(), st.integers(0, 150))
def test_a_detailed_day_can_be_planned_on_from_any_minute(day: Instance, now: int) -> None:
    plan, _, _ = best_of(day, seed=1, go_on=lambda n: n < 3)
    plan = with_leftovers(day, with_duties(day, plan))
    rest = day.without(plan.left_out)
    moment = at_minute(rest, plan.model_copy(update={"left_out": ()}), now)
    later, _, _ = best_of(moment.day, seed=1, go_on=lambda n: n < 3)
    assert check_plan(moment.day, with_duties(moment.day, later)) == ()


@settings(max_examples=40, deadline=None, suppress_health_check=SLOW)
@given(detailed_days())
def test_a_detailed_day_and_its_plan_come_out_as_they_went_in(day: Instance) -> None:
    assert [f for f in instance_findings(day) if f.weight == "error"] == []
    assert read_instance(to_json(day)) == day
    plan, _, _ = best_of(day, seed=1, go_on=lambda n: n < 2)
    plan = with_duties(day, plan)
    assert read_plan(to_json(plan)) == plan
    assert {d.id for d in not_placed(day, plan)} == {d.id for d in day.duties} - {d.id for d in plan.duties}


def test_what_schema_1_does_not_know_is_refused_under_its_number() -> None:
    text = {
        "schema": 1,
        "day_start": 0,
        "day_end": 100,
        "people": [],
        "chairs": [],
        "visits": [],
        "set_types": [{"id": "exam", "owned": 1, "dry_minutes": 5}],
        "reprocess": {"load_minutes": 1, "unload_minutes": 1, "pack_minutes": 1, "cool_minutes": 1},
    }
    day = Instance.model_validate_json(json.dumps(text))
    assert [f.what for f in instance_findings(day)] == ["schema 1 does not know dry_minutes of set_types"]
    assert instance_findings(Instance.model_validate_json(json.dumps({**text, "schema": 2}))) == ()


@settings(max_examples=12, deadline=None, suppress_health_check=SLOW)
@given(detailed_days(most_visits=2))
def test_solving_a_detailed_day_gives_a_valid_plan_and_a_true_bound(day: Instance) -> None:
    solved = solve(day, limit_s=60, workers=1, deterministic=0.2)
    assert check_plan(day, solved.plan) == ()
    assert solved.figures == figures(day, solved.plan)
    if not solved.plan.left_out:
        assert solved.bound <= solved.weighted_minutes_late
    try:
        least = least_lateness(day, 10**9 if solved.plan.left_out else solved.weighted_minutes_late + 1)
    except TooManyError:
        return
    if least is None:
        assert solved.plan.left_out
    else:
        assert solved.bound <= least or solved.plan.left_out
        assert not solved.proven or least == solved.weighted_minutes_late


@settings(max_examples=20, deadline=None, suppress_health_check=SLOW)
@given(detailed_days(), st.integers(10, 150))
def test_the_rest_of_a_detailed_day_is_planned_again_with_its_duties(day: Instance, now: int) -> None:
    plan, _, _ = best_of(day, seed=1, go_on=lambda n: n < 3)
    plan = with_duties(day, plan)
    again = replan(day, plan, at=now, rounds=3)
    assert check_plan(again.day, again.plan) == ()
    begun = {d.id for d in plan.duties if d.start < now}
    assert begun <= {d.id for d in again.plan.duties}


@settings(max_examples=25, deadline=None, suppress_health_check=SLOW)
@given(detailed_days(), st.integers(5, 150), st.integers(0, 4), st.integers(0, 99))
def test_whatever_happens_on_a_detailed_day_the_rest_holds_every_rule_or_is_refused_in_words(
    day: Instance, now: int, what: int, pick: int
) -> None:
    plan, _, _ = best_of(day, seed=1, go_on=lambda n: n < 3)
    plan = with_leftovers(day, with_duties(day, plan))
    machines = [m.id for m in (*day.baths, *day.washers, *day.sterilizers)]
    event = (
        Overrun(day.visits[pick % len(day.visits)].id, 15),
        FailedCycle(machines[pick % len(machines)]),
        MachineOut(machines[pick % len(machines)], None if pick % 2 else now + 30),
        Missing(day.people[pick % len(day.people)].id, None if pick % 2 else now + 30),
        Emergency(10, None, ("exam",)),
    )[what]
    try:
        again = replan(day, plan, at=now, events=[event], rounds=2)
    except Mendable:
        return
    assert check_plan(again.day, again.plan) == ()


@settings(max_examples=15, deadline=None, suppress_health_check=SLOW)
@given(detailed_days())
def test_a_detailed_day_is_explained_like_any_other(day: Instance) -> None:
    solved = solve(day, limit_s=0)
    words = Words(str, {})
    shortages = shortages_of(day, solved, words, limit_s=0.1)
    said = line(day, solved, words, booked=len(day.visits), shortages=shortages)
    moved = day.moved(solved.plan)
    late = {v.id for v in day.visits if any(p.id == v.id and p.start > v.booked for p in solved.plan.visits)}
    assert set(why_late(moved, solved.plan, words)) == late
    assert ("on time" in said) == (not late and not solved.plan.left_out)
