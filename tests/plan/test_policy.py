"""The live policy: what it does is valid, never looks ahead, and agrees with a queue of one chair."""

import json
from pathlib import Path

import pytest
import reference_check
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_solve import tiny_days

from fettlebook.plan.check import check_plan
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Chair, Instance, Person, Reprocess, Step, Visit, read_instance, to_json
from fettlebook.plan.overruns import Overruns, draw_minutes
from fettlebook.plan.policy import UNTIL_CLOSED_MIN, Policy, live, policy_of, rehearse, with_minutes, with_stay
from fettlebook.plan.solve import solve

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _one_chair(gaps: list[int], minutes: int) -> Instance:
    """One chair, one person all day, no sets: a queue with one server."""
    at, visits = 10, []
    for k, gap in enumerate(gaps):
        visits.append(Visit(id=f"v{k}", chair="c", booked=at, minutes=minutes, uses={}, weight=1))
        at += gap
    turn = (Step(name="turn", minutes=4, attended=True),)
    person = Person(id="p", from_=0, to=2000)
    reprocess = Reprocess(load_minutes=1, unload_minutes=1, pack_minutes=1, cool_minutes=0)
    chair = Chair(id="c", opening=(), turnover=turn, closing=turn)
    return Instance(day_start=0, day_end=2000, people=(person,), chairs=(chair,), visits=tuple(visits), reprocess=reprocess)


@pytest.mark.published(
    source="D. V. Lindley, The theory of queues with a single server, 1952: the next one waits max(0, wait + service - gap)", sure="memory"
)
@settings(max_examples=30, deadline=None)
@given(st.lists(st.integers(10, 60), min_size=2, max_size=12), st.data())
def test_one_chair_and_one_person_wait_as_a_queue_with_one_server_does(gaps: list[int], data: st.DataObject) -> None:
    day = _one_chair(gaps, 20)
    truly = {v.id: data.draw(st.integers(1, 90)) for v in day.visits}
    wait, expected = 0, {}
    for v, gap in zip(day.visits, gaps, strict=True):
        expected[v.id] = wait
        wait = max(0, wait + truly[v.id] + 4 - gap)
    assert live(day, truly=truly).late == expected


@pytest.mark.invented
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days(), st.integers(0, 10_000), st.booleans())
def test_what_the_policy_does_is_valid_with_the_true_lengths(day: Instance, seed: int, guided: bool) -> None:
    truly = draw_minutes(day, Overruns(cv=0.4), 1, seed)[0]
    lived = live(day, policy_of(day, dispatch(day)) if guided else None, truly=truly)
    assert set(lived.late) | set(lived.never) == {v.id for v in day.visits}
    assert not set(lived.late) & set(lived.never)
    if not lived.never:
        happened = with_stay(with_minutes(day, truly), UNTIL_CLOSED_MIN)
        assert check_plan(happened, lived.plan) == ()
        assert reference_check.check(json.loads(to_json(happened)), json.loads(to_json(lived.plan)))[0] == []


@pytest.mark.invented
@settings(max_examples=30, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days(), st.integers(0, 10_000), st.data())
def test_nothing_before_a_visit_ends_depends_on_how_long_it_will_take(day: Instance, seed: int, data: st.DataObject) -> None:
    truly = draw_minutes(day, Overruns(cv=0.4), 1, seed)[0]
    policy = policy_of(day, dispatch(day))
    lived = live(day, policy, truly=truly)
    if not lived.plan.visits:
        return
    visit = data.draw(st.sampled_from(lived.plan.visits))
    longer = live(day, policy, truly={**truly, visit.id: truly[visit.id] + 25})
    end = visit.start + truly[visit.id]
    for part in ("visits", "steps", "packs"):
        before = [[x for x in getattr(p, part) if x.start < end] for p in (lived.plan, longer.plan)]
        assert before[0] == before[1]


@pytest.mark.invented
@pytest.mark.parametrize("name", ["small-1", "smalltight-1", "medium-1", "mediumtight-1"])
def test_the_days_that_the_policy_lives_through_hold_every_rule(name: str) -> None:
    day = _day(name)
    policy = policy_of(day, solve(day, limit_s=0).plan)
    for truly in draw_minutes(day, Overruns(), 4, 3):
        lived = live(day, policy, truly=truly)
        assert lived.never == ()
        assert check_plan(with_stay(with_minutes(day, truly), UNTIL_CLOSED_MIN), lived.plan) == ()
        assert live(day, policy, truly=truly) == lived


@pytest.mark.invented
def test_a_visit_too_late_to_end_is_not_begun_and_its_chair_is_closed() -> None:
    day = _one_chair([30] * 4, 20)
    day = day.model_copy(update={"day_end": 140, "people": (Person(id="p", from_=0, to=140),)})
    lived = live(day, truly={"v0": 150}, stay_min=30)
    assert lived.never == ("v1", "v2", "v3")
    assert lived.closed == 10 + 150 + 4 + 4  # turned over for the visit that then could not begin, closed after it


@pytest.mark.invented
def test_a_rehearsal_keeps_the_plain_manner_where_no_other_is_surely_better() -> None:
    day = _one_chair([30] * 4, 20)
    assert rehearse(day, draw_minutes(day, Overruns(), 10, 1)) == Policy()
