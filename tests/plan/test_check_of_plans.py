"""The project's checker and an independent one (standard library only) agree on what is valid and what is broken."""

import json
from pathlib import Path
from typing import Any

import pytest
import reference_check
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan, read_instance, to_json

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> tuple[Instance, dict[str, Any]]:
    text = (INSTANCES / f"{name}.json").read_text()
    return read_instance(text), json.loads(text)


SMALL, SMALL_DATA = _day("small-1")
PLAN = dispatch(SMALL)


@pytest.mark.invented
def test_both_checkers_pass_a_valid_plan_and_read_the_same_figures_from_it() -> None:
    broken, read = reference_check.check(SMALL_DATA, json.loads(to_json(PLAN)))
    own = figures(SMALL, PLAN)
    assert broken == []
    assert check_plan(SMALL, PLAN) == ()
    assert read["weighted_minutes_late"] == own.weighted_minutes_late
    assert read["end_of_day"] == own.end_of_day
    assert read["visits_late"] == own.visits_late
    assert read["attended_minutes"] == list(own.attended_minutes.values())


def _both(data: dict[str, Any]) -> tuple[bool, bool]:
    ours = bool(check_plan(SMALL, Plan.model_validate_json(json.dumps(data))))
    try:
        theirs = bool(reference_check.check(SMALL_DATA, data)[0])
    except (KeyError, TypeError):
        theirs = True
    return ours, theirs


MOVES: list[tuple[str, str]] = [
    ("visits", "start"),
    ("steps", "start"),
    ("packs", "start"),
    ("batches", "load_start"),
    ("batches", "start"),
    ("batches", "unload_start"),
]


@pytest.mark.invented
@settings(max_examples=150, deadline=None)
@given(st.sampled_from(MOVES), st.integers(0, 10_000), st.integers(-200, 200))
def test_the_checkers_agree_on_any_plan_with_one_moment_moved(where: tuple[str, str], pick: int, by: int) -> None:
    data = json.loads(to_json(PLAN))
    part, field = where
    item = data[part][pick % len(data[part])]
    item[field] = max(0, item[field] + by)
    ours, theirs = _both(data)
    assert ours == theirs


@pytest.mark.invented
@settings(max_examples=80, deadline=None)
@given(st.sampled_from(["visits", "steps", "packs", "batches"]), st.integers(0, 10_000), st.sampled_from(["drop", "double"]))
def test_the_checkers_agree_on_any_plan_with_one_part_dropped_or_doubled(part: str, pick: int, how: str) -> None:
    data = json.loads(to_json(PLAN))
    at = pick % len(data[part])
    if how == "drop":
        del data[part][at]
    else:
        data[part].append(data[part][at])
    ours, theirs = _both(data)
    assert ours == theirs


@pytest.mark.invented
@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10_000), st.integers(0, 10_000), st.sampled_from(["visits", "batches"]))
def test_the_checkers_agree_on_any_plan_with_two_units_swapped(one: int, two: int, part: str) -> None:
    data = json.loads(to_json(PLAN))
    places = [(item, k) for item in data[part] for k in range(len(item["units"]))]
    (a, i), (b, k) = places[one % len(places)], places[two % len(places)]
    a["units"][i], b["units"][k] = b["units"][k], a["units"][i]
    ours, theirs = _both(data)
    assert ours == theirs


@pytest.mark.invented
def test_each_rule_is_broken_in_words() -> None:
    data = json.loads(to_json(PLAN))
    data["visits"][0]["start"] -= 1
    data["steps"][0]["person"] = "nobody"
    said = [str(f) for f in check_plan(SMALL, Plan.model_validate_json(json.dumps(data)))]
    assert any("booked for" in s for s in said)
    assert any("whom nobody knows" in s for s in said)


@pytest.mark.invented
def test_a_person_without_the_skill_may_not_do_the_step() -> None:
    people = tuple(p.model_copy(update={"does": ("instruments",)}) for p in SMALL.people)
    assert any("does not do chairs" in f.what for f in check_plan(SMALL.model_copy(update={"people": people}), PLAN))


@pytest.mark.invented
def test_sets_that_take_more_places_than_a_machine_has_do_not_ride() -> None:
    types = tuple(t.model_copy(update={"places": 9}) for t in SMALL.set_types)
    assert any("places" in f.what for f in check_plan(SMALL.model_copy(update={"set_types": types}), PLAN))
