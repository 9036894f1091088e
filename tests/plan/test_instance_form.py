"""Reading a day instance: what is wrong is named with its place, and nothing is lost on the way through."""

import json
from pathlib import Path

import pytest

from fettlebook.errors import Mendable
from fettlebook.plan.instance import instance_findings, read_instance, read_plan, to_json

INSTANCES = Path(__file__).with_name("instances")
NAMES = ("tiny-1", "small-1", "smalltight-1", "medium-1", "mediumtight-1", "large-1")

DAY = """{
 "schema": 1, "name": "one chair", "day_start": 420, "day_end": 1080,
 "people": [{"id": "ana", "from": 430, "to": 1020, "breaks": [[720, 750]]}],
 "chairs": [{"id": "c1",
   "opening": [{"name": "flush", "minutes": 2, "attended": false}],
   "turnover": [{"name": "clear", "minutes": 5, "attended": true}],
   "closing": [{"name": "clear", "minutes": 10, "attended": true}]}],
 "visits": [{"id": "v1", "chair": "c1", "booked": 480, "minutes": 30, "uses": {"exam": 1}, "weight": 1}],
 "set_types": [{"id": "exam", "owned": 1}],
 "washers": [{"id": "w", "capacity": 6, "minutes": 45, "not_before": 450}],
 "sterilizers": [{"id": "s", "capacity": 6, "minutes": 40, "not_before": 470}],
 "reprocess": {"load_minutes": 2, "unload_minutes": 2, "pack_minutes": 3, "cool_minutes": 10}
}"""


@pytest.mark.invented
@pytest.mark.parametrize("name", NAMES)
def test_an_instance_comes_out_as_it_went_in(name: str) -> None:
    text = (INSTANCES / f"{name}.json").read_text()
    day = read_instance(text, name)
    assert json.loads(to_json(day)) == json.loads(text)
    assert instance_findings(day) == ()


@pytest.mark.invented
def test_optional_fields_come_out_as_they_went_in() -> None:
    text = DAY.replace('"weight": 1', '"weight": 1, "latest": 500').replace('"from": 430', '"does": ["chairs"], "from": 430')
    text = text.replace('"owned": 1', '"owned": 1, "places": 2')
    text = text.replace(
        '"schema": 1',
        '"schema": 1, "now": 470, "done": {"visits": [], "packs": [], "steps": [], "batches":'
        ' [{"machine": "w", "units": ["exam#1"], "load_start": 460, "load_person": "ana", "start": 462}]}',
    )
    assert json.loads(to_json(read_instance(text))) == json.loads(text)


@pytest.mark.invented
@pytest.mark.parametrize(
    ("written", "instead", "place", "words"),
    [
        ('"day_end": 1080', '"day_end": 400', "$.day_end", "not after"),
        ('"from": 430, "to": 1020', '"from": 1020, "to": 430', "$.people[0].to", "before it begins"),
        ("[[720, 750]]", "[[750, 720]]", "$.people[0].breaks[0]", "empty"),
        ('"capacity": 6, "minutes": 45', '"capacity": 0, "minutes": 45', "$.washers[0].capacity", "greater than or equal to 1"),
        ('"chair": "c1"', '"chair": "c9"', "$.visits[0].chair", "no chair 'c9'"),
        ('"uses": {"exam": 1}', '"uses": {"exma": 1}', "$.visits[0].uses", "no set type 'exma'"),
        ('"minutes": 30', '"minutes": 30.5', "$.visits[0].minutes", "integer"),
        ('"minutes": 30', '"minutes": "30"', "$.visits[0].minutes", "integer"),
        ('"minutes": 30', '"minutes": -30', "$.visits[0].minutes", "greater than or equal to 1"),
        ('"minutes": 30', '"minutes": 100000', "$.visits[0].minutes", "less than or equal"),
        ('"owned": 1', '"owned": -1', "$.set_types[0].owned", "greater than or equal to 0"),
        ('"booked": 480', '"latest": 479, "booked": 480', "$.visits[0].latest", "before booked"),
        ('"turnover": [{"name": "clear", "minutes": 5, "attended": true}]', '"turnover": []', "$.chairs[0].turnover", "at least 1"),
        ('"schema": 1', '"schema": 3', "$.schema", "1"),
        ('"schema": 1', '"schema": 1, "now": 470', "$.now", "belong together"),
        ('"id": "s"', '"id": "w"', "$.sterilizers", "washer's too"),
        ('"reprocess"', '"reproces": 1, "reprocess"', "$.reproces", "unknown field"),
        ('"weight": 1', '"wait": 1', "$.visits[0].weight", "required"),
    ],
)
def test_what_is_wrong_is_named_with_its_place_and_how_to_mend_it(written: str, instead: str, place: str, words: str) -> None:
    assert written in DAY
    with pytest.raises(Mendable) as caught:
        read_instance(DAY.replace(written, instead, 1), "day.json")
    found = next(f for f in caught.value.findings if f.where == f"day.json {place}")
    assert words in found.what
    assert found.mend.endswith((".", "?"))


@pytest.mark.invented
@pytest.mark.parametrize("text", ["", "{", "[]", "null", '{"schema": 1}', "\x00\xff", DAY[:-1], DAY + "x", "9" * 5000])
def test_what_is_no_instance_is_refused_in_our_words(text: str) -> None:
    with pytest.raises(Mendable) as caught:
        read_instance(text, "day.json")
    assert all(f.where.startswith("day.json") and f.what and f.mend for f in caught.value.findings)


@pytest.mark.invented
def test_every_finding_is_told_at_once() -> None:
    text = DAY.replace('"capacity": 6', '"capacity": 0').replace('"minutes": 30', '"minutes": 0')
    with pytest.raises(Mendable) as caught:
        read_instance(text)
    assert len(caught.value.findings) == 3


@pytest.mark.invented
def test_a_set_that_nobody_owns_and_two_visits_at_once_are_warnings_for_they_can_be_planned_around() -> None:
    second = '{"id": "v2", "chair": "c1", "booked": 490, "minutes": 30, "uses": {"exam": 2}, "weight": 1}'
    day = read_instance(DAY.replace('"visits": [', f'"visits": [{second}, '))
    found = {f.where.split("$.")[1]: f for f in instance_findings(day)}
    assert found["visits[0].uses"].what == "visit v2 needs 2 of exam, 1 owned"
    assert "20 min before v1 on c1 ends" in found["visits[0].booked"].what
    assert {f.weight for f in found.values()} == {"warning"}


@pytest.mark.invented
def test_a_plan_with_an_unknown_field_is_refused() -> None:
    with pytest.raises(Mendable, match="unknown field 'visit'"):
        read_plan('{"instance": "x", "visits": [], "steps": [], "packs": [], "batches": [], "visit": 1}')
