"""What if: each part of a trial changes just that, and what can't be is refused by name."""

from pathlib import Path

import pytest

from fettlebook.errors import Mendable
from fettlebook.plan.check import check_plan
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.solve import solve
from fettlebook.plan.what_if import HELPER, Trial, trial_words, tried

INSTANCES = Path(__file__).with_name("instances")
pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def day() -> Instance:
    return read_instance((INSTANCES / "smalltight-1.json").read_text(), "smalltight-1")


def test_nothing_tried_is_the_same_day(day: Instance) -> None:
    assert Trial().nothing
    assert Trial(moved=day.visits[0].id).nothing
    assert tried(day, Trial()) == day


def test_each_part_changes_just_that(day: Instance) -> None:
    kind = day.set_types[0].id
    visit = day.visits[-1]
    trial = Trial({kind: 2}, 60, 600, 1, -1, 3, visit.id, 300)
    new = tried(day, trial)
    assert new.owned() == day.owned() | {kind: day.owned()[kind] + 2}
    assert [p.id for p in new.people] == [*(p.id for p in day.people), HELPER]
    assert (new.people[-1].from_, new.people[-1].to) == (600, 660)
    assert (len(new.washers), len(new.sterilizers)) == (len(day.washers) + 1, len(day.sterilizers) - 1)
    for a, b in zip(day.chairs, new.chairs, strict=True):
        assert sum(s.minutes for s in b.turnover) == sum(s.minutes for s in a.turnover) + 3
        assert (a.opening, a.closing) == (b.opening, b.closing)
    moved = {v.id: v.booked for v in new.visits}
    assert moved == {v.id: v.booked for v in day.visits} | {visit.id: visit.booked + 300}


def test_a_turnover_never_loses_its_last_minute(day: Instance) -> None:
    new = tried(day, Trial(turnover_min=-10))
    assert all(s.minutes >= 1 for c in new.chairs for s in c.turnover)


def test_one_more_of_everything_is_never_worse(day: Instance) -> None:
    before = solve(day, limit_s=30, deterministic=0.4, seed=1)
    trial = Trial({t.id: 3 for t in day.set_types}, washers=1, sterilizers=1)
    after = solve(tried(day, trial), limit_s=30, deterministic=0.4, seed=1)
    assert check_plan(tried(day, trial), after.plan) == ()
    assert after.bound <= before.weighted_minutes_late or before.plan.left_out
    assert after.figures.rank[:2] <= before.figures.rank[:2]


def test_a_visit_on_another_chair_is_booked_there_and_only_where_there_is_room(day: Instance) -> None:
    visit = day.visits[0]
    other = next(c.id for c in day.chairs if c.id != visit.chair)
    taken = next(v for v in day.visits if v.chair == other)
    with pytest.raises(Mendable, match=f"{other} is booked then"):
        tried(day, Trial(moved=visit.id, moved_to=other, moved_min=taken.booked - visit.booked))
    late = max(v.booked + v.minutes for v in day.visits)
    new = tried(day, Trial(moved=visit.id, moved_to=other, moved_min=late - visit.booked))
    assert next(v for v in new.visits if v.id == visit.id).chair == other


@pytest.mark.parametrize(
    ("trial", "what"),
    [
        (Trial({"no such set": 1}), "no set type 'no such set'"),
        (Trial(washers=-99), "99 washers fewer"),
        (Trial(moved="nobody", moved_min=5), "no visit 'nobody'"),
    ],
)
def test_what_is_not_there_is_refused_by_name(day: Instance, trial: Trial, what: str) -> None:
    with pytest.raises(Mendable, match=what):
        tried(day, trial)


def test_more_sets_taken_away_than_there_are_is_refused(day: Instance) -> None:
    kind = day.set_types[0]
    with pytest.raises(Mendable, match=f"{kind.owned} owned"):
        tried(day, Trial({kind.id: -kind.owned - 1}))


def test_a_trial_in_words() -> None:
    trial = Trial({"exam": 2, "filling": 0, "hygiene": -1}, 30, 600, 1, -2, -1, "chair 1, 09:00", -15, "chair 2")
    words = trial_words(trial, lambda t: f"{t} set", lambda m: f"{m // 60:02}:{m % 60:02}")
    assert words == (
        "2 more exam set",
        "1 fewer hygiene set",
        "one more person from 10:00 to 10:30",
        "1 more washer",
        "2 fewer sterilizers",
        "each turnover 1 min shorter",
        "the visit chair 1, 09:00 moved to chair 2 15 min earlier",
    )
