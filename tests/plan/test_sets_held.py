"""Sets in quarantine on a running day: fewer are there, what was done stays as it was, and the new plan holds every rule."""

import json
from pathlib import Path

import pytest
import reference_check

from fettlebook.errors import Mendable
from fettlebook.plan.check import check_plan
from fettlebook.plan.events import SetsHeld, after, at_minute
from fettlebook.plan.follow import Course, going_on, kept, problems
from fettlebook.plan.instance import Instance, Plan, read_instance, to_json
from fettlebook.plan.replan import replan
from fettlebook.plan.sets_held import without_sets
from fettlebook.plan.solve import solve

pytestmark = pytest.mark.invented
INSTANCES = Path(__file__).with_name("instances")
AT = 630


@pytest.fixture(scope="module", params=["small-1", "medium-1"])
def planned(request: pytest.FixtureRequest) -> tuple[Instance, Plan]:
    day = read_instance((INSTANCES / f"{request.param}.json").read_text(), request.param)
    return day, solve(day, limit_s=0).plan


def _free(day: Instance, plan: Plan, at: int) -> dict[str, int]:
    done = at_minute(day, plan, at).done
    touched = {u for v in done.visits for u in v.units} | {k.unit for k in done.packs} | {u for b in done.batches for u in b.units}
    return {t.id: t.owned - sum(u.rpartition("#")[0] == t.id for u in touched) for t in day.set_types}


def test_the_rest_of_the_day_is_planned_with_so_many_fewer_and_holds_every_rule(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    held = [(t, n) for t, n in _free(day, plan, AT).items() if n > 0]
    assert held, "an instance in which every set was used shows nothing"
    for set_type, count in held:
        for many in {1, count}:
            found = replan(day, plan, at=AT, events=[SetsHeld(set_type, many)], limit_s=0)
            assert found.day.owned()[set_type] == day.owned()[set_type] - many
            assert check_plan(found.day, found.plan) == ()
            broken, _ = reference_check.check(json.loads(to_json(found.day)), json.loads(to_json(found.plan)))
            assert broken == []
            used = {u for v in found.plan.visits for u in v.units if u.rpartition("#")[0] == set_type}
            assert len(used) <= day.owned()[set_type] - many
            before = {v.id: v.start for v in plan.visits if v.start < AT}
            assert {v.id: v.start for v in found.plan.visits if v.id in before} == before, "what was done stays"


def test_what_was_done_keeps_its_shape_under_other_numbers(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    moment = at_minute(day, plan, AT)
    for set_type, count in ((t, n) for t, n in _free(day, plan, AT).items() if n > 0):
        less = without_sets(moment, set_type, count)
        pairs = [
            (a, b)
            for before, now in zip(
                (*moment.done.visits, *moment.done.batches), (*less.done.visits, *less.done.batches), strict=True
            )
            for a, b in zip(before.units, now.units, strict=True)
        ]  # fmt: skip
        names = dict(pairs)
        assert all(names[a] == b for a, b in pairs), "one unit keeps one name"
        assert len(set(names.values())) == len(names), "and no two share one"


def test_a_kept_plan_without_them_can_be_gone_on_from(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    set_type = next(t for t, n in _free(day, plan, AT).items() if n > 0)
    event = SetsHeld(set_type, 1)
    course = kept(
        Course(day, plan, {}, frozenset(), (), "", ()), replan(day, plan, at=AT, events=[event], limit_s=0), [event], ["one less"]
    )
    assert not problems(course)
    later = going_on(course, AT + 30, [], minute=str)
    assert later.day.owned()[set_type] == day.owned()[set_type] - 1


def test_more_than_lie_clean_is_refused_in_words(planned: tuple[Instance, Plan]) -> None:
    day, plan = planned
    moment = at_minute(day, plan, AT)
    set_type, free = next(iter(_free(day, plan, AT).items()))
    for many in (0, free + 1):
        with pytest.raises(Mendable, match="can't be held back"):
            after(moment, SetsHeld(set_type, many), str)
    with pytest.raises(Mendable, match="no set type"):
        after(moment, SetsHeld("what", 1), str)
