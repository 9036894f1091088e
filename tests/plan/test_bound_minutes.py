"""The bound by minutes: held against the figures of another program, and against a plain model of the same rules."""

import random
from pathlib import Path

import pytest
from ortools.sat.python import cp_model

from fettlebook.plan.bound import Search, add_circulation, add_rows, circulation_bound, lateness, round_up
from fettlebook.plan.bound_minutes import minute_bound
from fettlebook.plan.check import figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Chair, Instance, Machine, Person, Reprocess, SetType, Step, Visit, read_instance
from fettlebook.plan.rows import rows

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _minutes(day: Instance, known: int | None = None) -> int:
    return minute_bound(day, rows(day), left=lambda: 60.0, known=known).minutes


def _plain(day: Instance) -> int | None:
    """Chairs and sets given to the solver as intervals; None: impossible."""
    model = cp_model.CpModel()
    own = rows(day)
    if any(r.impossible() for r in own):
        return None
    starts = add_rows(model, own)
    add_circulation(model, day, own, starts, set())
    model.minimize(lateness(day, starts))
    solver = Search(60.0, workers=1).solver()
    status = solver.solve(model)
    assert status in {cp_model.OPTIMAL, cp_model.INFEASIBLE}
    return round_up(solver.best_objective_bound) if status == cp_model.OPTIMAL else None


def _drawn(seed: int) -> Instance:
    draw = random.Random(seed)
    steps = (
        Step(name="clear", minutes=draw.randrange(1, 9), attended=True),
        Step(name="wait", minutes=draw.randrange(1, 9), attended=False),
    )
    chairs, visits = [], []
    for c in range(draw.randrange(1, 4)):
        chairs.append(Chair(id=f"c{c}", opening=(), turnover=steps, closing=steps[: draw.randrange(1, 3)]))
        at = 480
        for k in range(draw.randrange(1, 4)):
            minutes = draw.randrange(10, 50)
            uses = {t: draw.choice((0, 0, 1, 1, 2)) for t in ("a", "b")}
            visits.append(
                Visit(id=f"{c}-{k}", chair=f"c{c}", booked=at, minutes=minutes, uses=uses, weight=draw.randrange(1, 4), latest=None)
            )
            at += minutes + draw.randrange(0, 60)
    return Instance(
        name="drawn",
        day_start=420,
        day_end=1500,
        people=tuple(Person(id=f"p{k}", from_=420, to=1500) for k in range(9)),
        chairs=tuple(chairs),
        visits=tuple(visits),
        set_types=tuple(SetType(id=t, owned=draw.randrange(2, 4)) for t in ("a", "b")),
        washers=(Machine(id="w", capacity=9, minutes=draw.randrange(10, 40), not_before=420),),
        sterilizers=(Machine(id="s", capacity=9, minutes=draw.randrange(10, 40), not_before=420),),
        reprocess=Reprocess(load_minutes=1, unload_minutes=1, pack_minutes=2, cool_minutes=5),
    )


@pytest.mark.invented
@pytest.mark.parametrize(
    ("name", "bound"),
    [("tiny-1", 120), ("small-1", 38), ("smalltight-1", 487), ("medium-1", 285), ("mediumtight-1", 1546), ("large-1", 285)],
)
def test_it_is_what_another_program_found_with_the_people(name: str, bound: int) -> None:
    assert _minutes(_day(name)) == bound


@pytest.mark.invented
@pytest.mark.parametrize("seed", range(40))
def test_it_is_never_above_what_a_plain_model_finds_and_at_it_where_whole(seed: int) -> None:
    day = _drawn(seed)
    plain = _plain(day)
    if plain is None:
        return
    found = minute_bound(day, rows(day), left=lambda: 60.0)
    assert found.possible
    assert found.minutes <= plain
    if found.starts:  # whole: then it is a plan of chairs and sets, so no bound can be higher
        assert found.minutes == plain


@pytest.mark.invented
def test_many_drawn_days_come_out_whole_and_some_wait_for_sets() -> None:
    days = [_drawn(seed) for seed in range(20)]
    whole = [d for d in days if minute_bound(d, rows(d), left=lambda: 60.0).starts]
    assert len(whole) >= 10
    assert sum(_minutes(d) > _minutes(d.model_copy(update={"set_types": _plenty(d)})) for d in days) >= 5


def _plenty(day: Instance) -> tuple[SetType, ...]:
    return tuple(t.model_copy(update={"owned": 99}) for t in day.set_types)


@pytest.mark.invented
def test_a_known_plan_only_shortens_the_work() -> None:
    day = _day("medium-1")
    late = figures(day, dispatch(day)).weighted_minutes_late
    assert _minutes(day, known=late) == 285
    assert _minutes(day, known=285) == 285
    assert _minutes(day, known=200) <= 200  # a plan that can't be: the bound claims no more than it


@pytest.mark.invented
def test_a_day_with_too_few_sets_is_proven_impossible() -> None:
    day = _day("smalltight-1")
    fewer = day.model_copy(update={"set_types": tuple(t.model_copy(update={"owned": max(1, t.owned // 3)}) for t in day.set_types)})
    assert _plain(fewer) is None
    assert not minute_bound(fewer, rows(fewer), left=lambda: 60.0).possible


@pytest.mark.invented
def test_without_time_it_says_what_the_chairs_force_and_no_more() -> None:
    day = _day("tiny-1")
    assert minute_bound(day, rows(day), left=lambda: 0.0).minutes == 12


@pytest.mark.invented
def test_the_same_counted_search_gives_the_same_bound() -> None:
    day = _day("mediumtight-1")
    found = [circulation_bound(day, Search(5.0, workers=1, deterministic=0.5)) for _ in range(2)]
    assert [b.minutes for b in found] == [1546, 1546]
