"""Changing the practice file by fields: what was typed stands in the new text, and no other byte differs."""

from datetime import time
from pathlib import Path

import pytest

from fettlebook.demo import practice_text
from fettlebook.practice.change import Group, change, groups_of
from fettlebook.practice.load import read_practice

pytestmark = pytest.mark.invented
RAW = practice_text()


def group(key: str) -> Group:
    practice = read_practice(RAW, "practice.toml").practice
    assert practice is not None
    return next(one for one in groups_of(practice) if one.key == key)


def after(key: str, **typed: str):
    new = change(RAW, group(key), {name.replace("__", "."): value for name, value in typed.items()})
    return new, read_practice(new, "practice.toml")


def test_nothing_typed_differently_changes_no_byte() -> None:
    practice = read_practice(RAW, "practice.toml").practice
    assert practice is not None
    for one in groups_of(practice):
        assert change(RAW, one, {field.name: field.value for field in one.fields}) == RAW


def test_a_person_gets_another_name_role_and_shift_and_nothing_else_changes() -> None:
    new, loaded = after("person ben", people__1__name='Ben "B" K.', people__1__role="lead", people__1__shifts__0__to="17:00")
    assert loaded.practice is not None, loaded.errors
    ben = loaded.practice.people[1]
    assert (ben.name, ben.acts_as.value, ben.shifts[0].to) == ('Ben "B" K.', "lead", time(17))
    differing = [n for n, (a, b) in enumerate(zip(RAW.splitlines(), new.splitlines(), strict=False)) if a != b]
    before = read_practice(RAW, "practice.toml")
    assert min(differing) >= before.lines["people", 1] - 1
    assert loaded.practice.model_copy(update={"people": before.practice.people}) == before.practice  # type: ignore[union-attr]


@pytest.mark.parametrize(
    ("key", "name", "typed"),
    [
        ("sets", "sets.0.owned", "many"),
        ("hours", "opening.0.from", "early"),
        ("hours", "opening.0.days", "someday"),
        ("person ben", "people.1.name", ""),
    ],
)
def test_what_is_no_such_value_is_refused_by_its_line(key: str, name: str, typed: str) -> None:
    loaded = read_practice(change(RAW, group(key), {name: typed}), "practice.toml")
    assert loaded.practice is None
    assert all(one.line for one in loaded.located if one.finding.weight == "error")


def test_sets_hours_shelf_life_and_a_chair_out_of_service() -> None:
    for key, name, typed, read in (
        ("sets", "sets.0.owned", "9", lambda p: p.sets[0].owned == 9),
        ("hours", "opening.0.days", "mon, tue", lambda p: p.opening[0].days == ("mon", "tue")),
        ("products", "products.0.shelf_open_days", "21", lambda p: p.products[0].shelf_open_days == 21),
        ("chairs", "chairs.0.out_of_service", "yes", lambda p: p.chairs[0].out_of_service),
    ):
        loaded = read_practice(change(RAW, group(key), {name: typed}), "practice.toml")
        assert loaded.practice is not None, loaded.errors
        assert read(loaded.practice)
        assert Path(loaded.file).name == "practice.toml"
