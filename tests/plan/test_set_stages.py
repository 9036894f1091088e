"""Where each set is: nothing is lost, nothing is in two places, and a visit finds its sets on the shelf."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from test_solve import tiny_days

from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, read_instance
from fettlebook.plan.set_stages import STAGES, levels_of, stages_of

INSTANCES = Path(__file__).with_name("instances")
pytestmark = pytest.mark.invented


def _hold(day: Instance) -> None:
    plan = dispatch(day)
    stages = stages_of(day, plan)
    for one in levels_of(day, plan):
        assert all(sum(level.counts.values()) == one.owned for level in one.levels)
        assert all(n >= 0 for level in one.levels for n in level.counts.values())
        assert [x.at for x in one.levels] == sorted({x.at for x in one.levels})
        for level in one.levels:  # counted again, unit by unit
            now = [[s for at, s in stages[f"{one.kind}#{k}"] if at <= level.at][-1] for k in range(1, one.owned + 1)]
            assert {s: now.count(s) for s in STAGES} == level.counts
    for v in plan.visits:
        for unit in v.units:
            before = [s for at, s in stages[unit] if at <= v.start and s != "in use"]
            assert before[-1] == "sterile"
    starts = {v.id: v.start for v in plan.visits}
    for one in levels_of(day, plan):
        if one.short is not None:
            short = next(v for v in day.visits if v.id == one.short.visit)
            assert one.short.at == short.booked
            assert one.short.sterile < one.short.needed == short.needs()[one.kind]
            assert short.id not in starts or starts[short.id] - short.booked == one.short.waits > 0


@pytest.mark.parametrize("name", ["small-1", "smalltight-1", "medium-1", "mediumtight-1"])
def test_the_sets_of_a_day_are_somewhere_at_every_minute(name: str) -> None:
    path = INSTANCES / f"{name}.json"
    if not path.exists():
        pytest.skip("no such instance here")
    _hold(read_instance(path.read_text(), name))


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days())
def test_the_sets_of_any_small_day_are_somewhere_at_every_minute(day: Instance) -> None:
    _hold(day)


def test_a_scarce_set_is_short_at_the_first_visit_that_finds_too_few() -> None:
    day = read_instance((INSTANCES / "small-1.json").read_text(), "small-1")
    kind = max(day.set_types, key=lambda t: sum(v.needs().get(t.id, 0) for v in day.visits)).id
    one = day.model_copy(update={"set_types": tuple(t.model_copy(update={"owned": 1}) if t.id == kind else t for t in day.set_types)})
    short = {x.kind: x.short for x in levels_of(one, dispatch(one))}[kind]
    first_two = sorted((v.booked, v.id) for v in day.visits if v.needs().get(kind))[1]
    assert short is not None
    assert short.at <= first_two[0] + 24 * 60
    assert short.sterile == 0
    plenty = day.model_copy(update={"set_types": tuple(t.model_copy(update={"owned": 400}) for t in day.set_types)})
    assert all(x.short is None for x in levels_of(plenty, dispatch(plenty)))
