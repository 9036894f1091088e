"""Neighbourhood search: never a broken plan, never a worse one, the same for the same input, stopped when told."""

import json
import random
from pathlib import Path

import pytest
import reference_check
from detailed_days import detailed_days
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st
from test_solve import tiny_days

from fettlebook.plan.around import Around, Frame, Part
from fettlebook.plan.bound import Search
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.events import at_minute
from fettlebook.plan.improve import Improving, improved, searchable
from fettlebook.plan.instance import Instance, Person, Plan, read_instance, to_json
from fettlebook.plan.naming import Job, name_people
from fettlebook.plan.parts import Parts
from fettlebook.plan.trips import trips_of

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _valid(day: Instance, plan: Plan) -> None:
    assert check_plan(day, plan) == ()
    assert reference_check.check(json.loads(to_json(day)), json.loads(to_json(plan)))[0] == []


def _counted(seed: int, work: float) -> Improving:
    return Improving(seconds_left=lambda: 1.0, seed=seed, counted=work)


@pytest.mark.invented
@settings(max_examples=25, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days(), st.integers(0, 1000))
def test_any_part_of_any_day_gives_a_valid_plan_no_later_than_before(day: Instance, seed: int) -> None:
    plan = dispatch(day)
    assume(not plan.left_out)
    frame = Frame.of(day, plan)
    draw = random.Random(seed)
    begin = draw.randrange(0, 150)
    loose = frozenset(i for i, t in enumerate(frame.trips) if draw.random() < 0.6 and (t.whole or not t.loads))
    loose = frozenset(i for i in loose if not frame.trips[i].whole or plan.batches[frame.trips[i].loads["wash"]].load_start >= begin)
    part = Part(begin, begin + draw.randrange(20, 200), loose, draw.choice((1, 2)))
    found = Around(frame, part).better(Search(5.0, seed, 1))
    if found.plan is not None:
        _valid(day, found.plan)
        assert figures(day, found.plan).weighted_minutes_late <= figures(day, plan).weighted_minutes_late
        kept = {v.id: v for v in plan.visits if v.start < begin}
        assert all(v == kept[v.id] for v in found.plan.visits if v.id in kept)
    else:
        assert not found.exhausted or not part.end > begin or found.work == 0


@pytest.mark.invented
@settings(max_examples=40, deadline=None, suppress_health_check=list(HealthCheck))
@given(detailed_days(), st.integers(0, 1000))
def test_what_version_2_asks_still_holds_after_a_search(day: Instance, seed: int) -> None:
    plan = dispatch(day)
    day = day.moved(plan).without(plan.left_out)
    plan = plan.model_copy(update={"left_out": ()})
    assume(searchable(day, plan) and not check_plan(day, plan))
    frame = Frame.of(day, plan)
    draw = random.Random(seed)
    loose = frozenset(i for i, t in enumerate(frame.trips) if "bath" not in t.loads and t.whole and draw.random() < 0.6)
    found = Around(frame, Part(day.day_start, day.day_end, loose, 2)).better(Search(5.0, seed, 1))
    if found.plan is not None:
        assert check_plan(day, found.plan) == ()
        assert figures(day, found.plan).weighted_minutes_late <= figures(day, plan).weighted_minutes_late


@pytest.mark.invented
def test_the_search_makes_the_medium_day_less_late_but_never_less_than_is_proven() -> None:
    day = _day("medium-1")
    plan = dispatch(day)
    better = improved(day, plan, _counted(1, 0.08))
    _valid(day, better)
    # 295 was proven best by another program and another model; the list scheduler alone stands above 320.
    assert 295 <= figures(day, better).weighted_minutes_late < figures(day, plan).weighted_minutes_late


@pytest.mark.invented
def test_the_same_work_gives_the_same_plan() -> None:
    day = _day("small-1")
    plan = dispatch(day)
    one, two = (improved(day, plan, _counted(3, 0.06)) for _ in range(2))
    assert one == two
    assert figures(day, one).rank[:2] <= figures(day, plan).rank[:2]


@pytest.mark.invented
def test_from_the_middle_of_a_day_what_was_done_stays() -> None:
    day = _day("small-1")
    plan = dispatch(day)
    for now in (560, 700, 800):
        moment = at_minute(day, plan, now)
        better = improved(moment.day, plan, _counted(now, 0.04))
        _valid(moment.day, better)
        assert figures(day, better).weighted_minutes_late <= figures(day, plan).weighted_minutes_late


@pytest.mark.invented
def test_a_search_that_is_stopped_at_once_gives_the_plan_it_was_given() -> None:
    day = _day("small-1")
    plan = dispatch(day)
    assert improved(day, plan, Improving(seconds_left=lambda: 60.0, stop=lambda: True)) == plan
    assert improved(day, plan, Improving(seconds_left=lambda: 0.0)) == plan


@pytest.mark.invented
def test_parts_shrink_while_they_are_not_searched_to_the_end_and_grow_while_they_are() -> None:
    day = _day("medium-1")
    frame = Frame.of(day, dispatch(day))
    parts = Parts(frame, random.Random(1), day.day_start, day.day_end)
    part = parts.next()
    assert part is not None
    assert day.day_start <= part.begin < part.end <= day.day_end
    size = parts.last.size
    parts.learn(better=False, exhausted=False, frame=frame)
    assert parts.last.size < size
    parts.learn(better=False, exhausted=True, frame=frame)
    parts.learn(better=False, exhausted=True, frame=frame)
    assert parts.last.size > size * 0.9


@pytest.mark.invented
@settings(max_examples=40, deadline=None)
@given(tiny_days())
def test_trips_account_for_every_use_every_load_and_every_packing(day: Instance) -> None:
    plan = dispatch(day)
    trips = trips_of(day.without(plan.left_out), plan)
    assert sorted((t.visit, t.unit) for t in trips) == sorted((v.id, u) for v in plan.visits for u in v.units)
    assert sorted((n, t.unit) for t in trips for n in t.loads.values()) == sorted(
        (n, u) for n, b in enumerate(plan.batches) for u in b.units
    )
    assert sorted(t.pack for t in trips if t.pack is not None) == list(range(len(plan.packs)))


# --- naming ------------------------------------------------------------------------------------------------------


def _by_trying_all(people: tuple[Person, ...], jobs: list[Job]) -> bool:
    """Whether some naming exists, by trying every one."""

    def go(k: int, taken: dict[str, list[Job]]) -> bool:
        if k == len(jobs):
            return True
        job = jobs[k]
        for p in people:
            there = any(a <= job.start and job.end <= b for a, b in p.windows()) and job.fixed in {None, p.id}
            if there and all(x.end <= job.start or job.end <= x.start for x in taken[p.id]):
                taken[p.id].append(job)
                if go(k + 1, taken):
                    return True
                taken[p.id].pop()
        return False

    return go(0, {p.id: [] for p in people})


@pytest.mark.invented
@settings(max_examples=150, deadline=None)
@given(st.data())
def test_people_are_named_whenever_anybody_could_be(data: st.DataObject) -> None:
    people = []
    for k in range(data.draw(st.integers(1, 3))):
        rest = data.draw(st.integers(4, 14))
        people.append(Person(id=f"p{k}", from_=data.draw(st.integers(0, 6)), to=24, breaks=((rest, rest + data.draw(st.integers(1, 6))),)))
    minutes = st.tuples(st.integers(0, 20), st.integers(1, 4))
    jobs = [Job(a, m, "chairs") for a, m in data.draw(st.lists(minutes, min_size=1, max_size=8))]
    names = name_people(tuple(people), jobs)
    assert (names is not None) == _by_trying_all(tuple(people), jobs)
    if names is not None:
        by_id = {p.id: p for p in people}
        for i, (job, name) in enumerate(zip(jobs, names, strict=True)):
            assert any(a <= job.start and job.end <= b for a, b in by_id[name].windows())
            assert all(o != name or x.end <= job.start or job.end <= x.start for x, o in zip(jobs[:i], names[:i], strict=True))


@pytest.mark.invented
def test_two_swap_what_they_have_done_where_one_must_leave() -> None:
    leaves, stays = Person(id="leaves", from_=0, to=10), Person(id="stays", from_=0, to=20)
    # Named in order of start, the one who stays is given the job that ends last, and nobody is left for the third.
    jobs = [Job(5, 3, "chairs", liked="leaves"), Job(6, 4, "chairs"), Job(8, 4, "chairs")]
    assert name_people((leaves, stays), jobs) == ["stays", "leaves", "stays"]
