"""What a late visit waits for: each chain leads without a gap from something that ran as booked to the visit itself."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from test_solve import tiny_days

from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.explain import Words, minutes_late
from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.rows import rows
from fettlebook.plan.waiting import Chain, chains_of

INSTANCES = Path(__file__).with_name("instances")
WORDS = Words(lambda m: f"{m // 60:02}:{m % 60:02}", {})
pytestmark = pytest.mark.invented


def _hold(day: Instance, plan: Plan, chain: Chain) -> None:
    assert chain.links[-1].kind == "visit"
    assert (chain.links[-1].visit, chain.links[-1].start) == (chain.visit, chain.start)
    assert 0 <= chain.forced <= chain.minutes_late
    assert chain.cause
    for before, after in zip(chain.links, chain.links[1:], strict=False):
        ready = after.wait.since if after.wait else after.start
        assert before.start < after.start
        assert before.end <= after.start
        assert ready <= after.start
    for link in chain.links:
        if link.wait is not None:
            assert link.wait.since < link.wait.until <= link.start
            assert link.wait.words
    first = chain.links[0]
    booked = {v.id: v.booked for v in day.visits}
    if first.kind == "visit" and len(chain.links) > 1:
        assert first.start <= booked[first.visit or ""]  # a chain is followed back to what ran as booked


@pytest.mark.parametrize("name", ["small-1", "smalltight-1", "medium-1"])
def test_every_late_visit_of_a_scarce_day_has_a_chain_back_to_what_ran_as_booked(name: str) -> None:
    day = read_instance((INSTANCES / f"{name}.json").read_text(), name)
    scarce = day.model_copy(
        update={
            "set_types": tuple(t.model_copy(update={"owned": max(1, t.owned * 2 // 3)}) for t in day.set_types),
            "people": day.people[:-1],
        }
    )
    for one in (day, scarce):
        plan = dispatch(one)
        found = chains_of(one, plan, WORDS)
        late = {v for v, m in minutes_late(one, plan).items() if m > 0}
        assert {c.visit for c in found} == late
        for chain in found:
            _hold(one, plan, chain)
    assert any(link.wait and link.wait.reason in {"set", "hands", "machine"} for c in found for link in c.links)


@settings(max_examples=60, deadline=None, suppress_health_check=list(HealthCheck))
@given(tiny_days())
def test_chains_of_any_small_day_hold_together(day: Instance) -> None:
    plan = dispatch(day)
    for chain in chains_of(day, plan, WORDS):
        _hold(day, plan, chain)


def test_what_the_chairs_bookings_force_is_told_apart_from_what_the_plan_adds() -> None:
    day = read_instance((INSTANCES / "smalltight-1.json").read_text(), "smalltight-1")
    plan = dispatch(day)
    earliest = {n.visit: n.earliest for row in rows(day.without(plan.left_out)) for n in row.nodes if n.procedure is None}
    booked = {v.id: v.booked for v in day.visits}
    for chain in chains_of(day, plan, WORDS):
        assert chain.forced == min(chain.minutes_late, max(0, earliest[chain.visit] - booked[chain.visit]))
