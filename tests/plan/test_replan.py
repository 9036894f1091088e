"""Planning the rest of a day again: valid by both checkers whatever happened, what is done stays, promises are told."""

import json
from pathlib import Path

import pytest
import reference_check
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st
from test_solve import tiny_days

from fettlebook.errors import Mendable
from fettlebook.plan.check import check_plan
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.events import ChairOut, Emergency, Event, FailedCycle, MachineOut, Missing, Overrun, at_minute
from fettlebook.plan.instance import Instance, Plan, read_instance, to_json
from fettlebook.plan.replan import Replanned, replan
from fettlebook.plan.solve import solve

INSTANCES = Path(__file__).with_name("instances")
AT = 630


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


@pytest.fixture(scope="module", params=["small-1", "smalltight-1", "medium-1"])
def planned(request: pytest.FixtureRequest) -> tuple[Instance, Plan]:
    day = _day(request.param)
    return day, solve(day, limit_s=0).plan


def _valid(r: Replanned) -> None:
    assert check_plan(r.day, r.plan) == ()
    broken, _ = reference_check.check(json.loads(to_json(r.day)), json.loads(to_json(r.plan)))
    assert broken == []
    assert r.forced <= r.figures.weighted_minutes_late
    for b in r.plan.batches:
        if b.load_start >= (r.day.now or 0):
            assert b.load_start >= r.blocked.get(b.machine, 0)


def _events(day: Instance, plan: Plan, at: int) -> dict[str, list[Event]]:
    length = {v.id: v.minutes for v in day.visits}
    running = [v.id for v in plan.visits if v.start < at < v.start + length[v.id]]
    loaded = [b.machine for b in plan.batches if b.load_start < at <= (b.unload_start or at)]
    out: dict[str, list[Event]] = {
        "nothing": [],
        "overrun": [Overrun(v, 20) for v in running[:1]],
        "two overruns": [Overrun(v, 15) for v in running[:2]],
        "sterilizer out": [MachineOut(day.sterilizers[0].id)],
        "washer out for a while": [MachineOut(day.washers[0].id, at + 70)],
        "missing": [Missing(day.people[0].id)],
        "missing for a while": [Missing(day.people[-1].id, at + 60)],
        "urgent": [Emergency(30)],
        "chair out": [ChairOut(day.chairs[0].id)],
        "chair out for a while": [ChairOut(day.chairs[-1].id, at + 90)],
        "chair out, its visits elsewhere": [ChairOut(day.chairs[0].id, None, tuple(c.id for c in day.chairs[1:]))],
        "all at once": [Overrun(running[0], 20), Missing(day.people[0].id, at + 45), Emergency(20)] if running else [],
    }
    if loaded:
        out["failed"] = [FailedCycle(loaded[0])]
    return out


@pytest.mark.invented
def test_whatever_happens_the_rest_of_the_day_has_a_valid_plan(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    for events in _events(day, plan, AT).values():
        r = replan(day, plan, at=AT, events=events, rounds=4)
        _valid(r)
        assert r.line
        assert r.figures.weighted_minutes_late <= r.first_late or r.figures.weight_left_out < sum(v.weight for v in day.visits)


@pytest.mark.invented
def test_counted_rounds_give_the_same_plan_on_every_run() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    one, two = (replan(day, plan, at=AT, events=[Missing(day.people[0].id), Emergency(20)], rounds=6) for _ in range(2))
    assert (one.plan, one.changes, one.line) == (two.plan, two.changes, two.line)


@pytest.mark.invented
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days(), st.integers(1, 150), st.sampled_from(["overrun", "failed", "out", "missing", "urgent", "nothing"]), st.integers(1, 40))
def test_on_tiny_days_each_event_at_any_minute_ends_in_a_valid_plan_or_a_clear_refusal(day: Instance, at: int, what: str, n: int) -> None:
    plan = dispatch(day)
    if check_plan(day, plan):
        return
    all_events: dict[str, list[Event]] = {
        "overrun": [Overrun(day.visits[n % len(day.visits)].id, n)],
        "failed": [FailedCycle("w" if n % 2 else "s")],
        "out": [MachineOut("w" if n % 2 else "s", None if n % 3 else at + n)],
        "missing": [Missing(day.people[n % len(day.people)].id, None if n % 3 else at + n)],
        "urgent": [Emergency(n, uses=("exam",) if n % 2 else ())],
        "nothing": [],
    }
    try:
        r = replan(day, plan, at=at, events=all_events[what], rounds=3)
    except Mendable:
        # No load to fail, a chair being closed or too few sets, nobody left, an overrun that the rest contradicts.
        assert what in {"failed", "urgent", "missing", "overrun"}
        return
    _valid(r)


@pytest.mark.invented
def test_when_nothing_happens_and_the_plan_is_kept_nobody_is_left_out() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    r = replan(day, plan, at=AT, rounds=0)
    assert r.figures.weight_left_out == 0
    assert {v.id: v.start for v in r.plan.visits if v.start < AT} == {v.id: v.start for v in plan.visits if v.start < AT}


@pytest.mark.invented
def test_sets_of_a_failed_load_count_as_used_and_are_not_lent_before_they_went_round_again() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    at = next(b.start + 1 for b in plan.batches if b.machine == day.sterilizers[0].id)
    load = next(b for b in plan.batches if b.machine == day.sterilizers[0].id)
    r = replan(day, plan, at=at, events=[FailedCycle(day.sterilizers[0].id)], rounds=0)
    _valid(r)
    assert load not in r.plan.batches
    for unit in load.units:
        lent = [v.start for v in r.plan.visits if unit in v.units and v.start >= at]
        washed = [b.start for b in r.plan.batches if unit in b.units and b.machine == day.washers[0].id and b.load_start >= at]
        assert not lent or (washed and min(washed) < min(lent))
    assert any("count as used again" in n for n in r.notes)


@pytest.mark.invented
def test_a_visit_that_runs_past_the_last_shift_makes_somebody_stay_and_says_who() -> None:
    day = _day("tiny-1")
    plan = solve(day, limit_s=0).plan
    last = max(plan.visits, key=lambda v: v.start)
    over = max(p.to for p in day.people) - last.start
    r = replan(day, plan, at=last.start + 1, events=[Overrun(last.id, over)], rounds=0)
    _valid(r)
    assert any("min longer" in n and "stays" in n for n in r.notes)
    assert "to stay" in r.line


@pytest.mark.invented
def test_an_urgent_visit_goes_before_the_visits_still_to_come_and_the_change_is_told() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    r = replan(day, plan, at=AT, events=[Emergency(30)], rounds=2)
    _valid(r)
    urgent = next(v for v in r.plan.visits if v.id == "urgent")
    assert urgent.start >= AT
    assert any(c.kind == "visit" and "urgent" in c.what and "was not planned" in c.what for c in r.changes)


@pytest.mark.invented
def test_without_time_to_search_or_interrupted_at_once_the_first_answer_stands(monkeypatch: pytest.MonkeyPatch) -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    events: list[Event] = [Missing(day.people[0].id)]
    first = replan(day, plan, at=AT, events=events, limit_s=0)
    assert first.first_late == first.figures.weighted_minutes_late

    def stop(*_: object, **__: object) -> None:
        raise KeyboardInterrupt

    monkeypatch.setattr("fettlebook.plan.replan.near", stop)
    stopped = replan(day, plan, at=AT, events=events, rounds=50)
    _valid(stopped)


@pytest.mark.invented
def test_every_visit_that_moves_is_among_the_changes() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    r = replan(day, plan, at=AT, events=[Missing(day.people[0].id)], rounds=2)
    was = {v.id: v.start for v in plan.visits}
    moved = {v.id for v in r.plan.visits if v.start != was[v.id]} | set(r.plan.left_out)
    told = {c.what.split()[1] for c in r.changes if c.kind == "visit"}
    assert moved == told


@pytest.mark.invented
def test_a_new_plan_can_be_planned_again_later() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    first = replan(day, plan, at=AT, events=[Missing(day.people[0].id, AT + 60)], rounds=0)
    whole = first.day.model_copy(update={"now": None, "done": None})
    second = replan(whole, first.plan, at=AT + 90, rounds=0)
    _valid(second)


@pytest.mark.invented
def test_a_state_that_is_given_is_taken_as_it_is() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    moment = at_minute(day, plan, AT)
    r = replan(moment.day, plan, rounds=0)
    _valid(r)
    assert r.day.now == AT
    with pytest.raises(Mendable, match="stands at"):
        replan(moment.day, plan, at=AT + 1)


@pytest.mark.invented
@pytest.mark.parametrize(
    ("event", "what"),
    [
        (Overrun("nobody", 5), "no visit 'nobody'"),
        (FailedCycle("nothing"), "no machine 'nothing'"),
        (FailedCycle("sterilizer 1"), "holds no load"),
        (MachineOut("nothing"), "no machine 'nothing'"),
        (Missing("nobody"), "no person 'nobody'"),
        (Emergency(20, chair="nowhere"), "no chair 'nowhere'"),
        (Emergency(20, uses=("gold",)), "no set type 'gold'"),
        (Emergency(20, uses=("root canal",) * 50), "owned"),
    ],
)
def test_an_event_that_cannot_be_is_refused_with_what_would_be_right(event: Event, what: str) -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    with pytest.raises(Mendable) as seen:
        replan(day, plan, at=day.day_start + 1, events=[event], rounds=0)
    assert what in seen.value.what
    assert seen.value.mend


@pytest.mark.invented
def test_a_plan_of_another_day_and_a_minute_outside_the_day_are_refused() -> None:
    day, other = _day("small-1"), solve(_day("tiny-1"), limit_s=0).plan
    plan = solve(day, limit_s=0).plan
    with pytest.raises(Mendable):
        replan(day, other, at=AT)
    with pytest.raises(Mendable, match="outside the day"):
        replan(day, plan, at=day.day_end + 1)
    with pytest.raises(Mendable, match="no minute"):
        replan(day, plan)


@pytest.mark.invented
def test_when_everybody_leaves_while_visits_run_the_day_is_refused_and_says_why() -> None:
    day = _day("small-1")
    plan = solve(day, limit_s=0).plan
    with pytest.raises(Mendable, match="no valid plan") as seen:
        replan(day, plan, at=AT, events=[Missing(p.id) for p in day.people], rounds=0)
    assert "somebody must be there" in seen.value.mend


@pytest.mark.invented
def test_a_chair_out_serves_nobody_more_and_its_visits_wait_move_or_are_named(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    chair = day.chairs[0].id
    later = {v.id for v in day.visits_of(chair)} & {v.id for v in plan.visits if v.start >= AT}
    gone = replan(day, plan, at=AT, events=[ChairOut(chair)], rounds=0)
    assert later <= set(gone.plan.left_out)
    named = " ".join(c.what for c in gone.changes if "not served" in c.what)
    assert all(f"visit {v} " in named for v in later)
    until = AT + 90
    back = replan(day, plan, at=AT, events=[ChairOut(chair, until)], rounds=0)
    assert all(v.start >= until for v in back.plan.visits if v.id in later)
    moved = replan(day, plan, at=AT, events=[ChairOut(chair, None, tuple(c.id for c in day.chairs[1:]))], rounds=0)
    at = {v.id: v.chair for v in moved.day.visits}
    assert all(at[v.id] != chair for v in moved.plan.visits if v.id in later)
    assert len(moved.plan.left_out) <= len(gone.plan.left_out)


@pytest.mark.invented
def test_a_chair_that_is_not_there_is_refused_by_name() -> None:
    day = _day("small-1")
    with pytest.raises(Mendable, match="no chair 'chair 99'"):
        replan(day, solve(day, limit_s=0).plan, at=AT, events=[ChairOut("chair 99")], rounds=0)


@pytest.mark.invented
def test_a_search_that_is_told_to_stop_gives_its_first_answer() -> None:
    day = _day("smalltight-1")
    plan = solve(day, limit_s=0).plan
    events = [MachineOut(day.sterilizers[0].id)]
    stopped = replan(day, plan, at=AT, events=events, limit_s=60, stop=lambda: True)
    assert stopped.plan == replan(day, plan, at=AT, events=events, rounds=0).plan
