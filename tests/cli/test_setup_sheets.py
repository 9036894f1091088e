"""The sheets of the set-up: what is taken as shown, what is asked because it is otherwise, and cups typed as mL alone."""

from pathlib import Path

import pytest
from setup_scenario import NOW, TYPED, calendar

from fettlebook.exchange.setup.asking import Choice, Question, meant
from fettlebook.exchange.setup.dialogue import Dialogue
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.script_flows import WITHIN, seconds_a_cup
from fettlebook.exchange.setup.written import practice_text
from fettlebook.science.flow import way_to_measure

pytestmark = pytest.mark.invented


def _played(folder: Path, typed: dict[str, str]) -> tuple[Draft, list[str]]:
    """Answer every question; return what it comes to, and the questions."""
    folder.mkdir()
    (folder / "book.ics").write_bytes(calendar())
    dialogue, asked = Dialogue(folder, NOW.date, "Europe/London"), list[str]()
    while (question := dialogue.now().question) is not None:
        asked.append(question.id)
        assert len(asked) < 200
        finding = dialogue.answer(typed.get(question.id, ""))
        assert finding is None, (question.id, finding)
    draft = dialogue.now().draft
    assert draft is not None
    return draft, asked


def test_a_sheet_taken_as_shown_is_the_same_as_asking_each_line_and_taking_what_is_offered(tmp_path: Path) -> None:
    usual = {
        name: typed for name, typed in TYPED.items() if not name.endswith(("usual", "bottle", "skills", "outlets")) and ".flow" not in name
    }
    usual["chair 1.alike"] = "none"
    shown, few = _played(tmp_path / "shown", usual)
    every = {
        "practice.usual": "1,2,3,4",
        "chair 1.usual": "1,2,3,4,5",
        "chair 2.usual": "2,3,4,6",
        "machines.usual": "1,2,3",
        "around.usual": "1,2,4,5",  # 3 is another cycle, which has no usual values
        "visits.usual": "1,2,3,4",
        "people.usual": "1,2,3",
    }
    asked_for, many = _played(tmp_path / "asked", usual | every)
    assert practice_text(asked_for, NOW.date()) == practice_text(shown, NOW.date())
    assert len(many) - len(few) > 25


def test_a_chair_unlike_another_keeps_all_that_was_not_chosen(tmp_path: Path) -> None:
    typed = TYPED | {"chair 1.usual": "2,4", "chair 1.amalgam": "no", "chair 1.stirred": "350", "chair 1.hose.scaler hose": "1.4 x 1.9"}
    typed |= {"chair 3.usual": "2", "chair 3.outlets": "scaler, cup filler", "chair 3.hose.cup filler hose": "5 x 1"}
    draft, asked = _played(tmp_path / "x", typed)
    first, second, third = draft.chairs
    assert "chair 2.usual" not in asked
    assert {k: v for k, v in second.items() if k not in ("id", "room", "outlets")} == {
        k: v for k, v in first.items() if k not in ("id", "room", "outlets")
    }
    assert (third["amalgam"], third["stirred"], third["supply"], third["suction"]) == (
        False,
        first["stirred"],
        first["supply"],
        first["suction"],
    )
    hoses = {part["id"]: (part["bore_mm"], part["length_m"], part.get("typical", False)) for part in third["segments"]}
    assert hoses["scaler hose"] == (1.4, 1.9, False)  # as it is known at chair 1
    assert hoses["cup filler hose"] == (5.0, 1.0, False)  # asked for, since chair 1 has none
    assert hoses["feed"][2]
    assert "turbine hose" not in hoses
    assert third["run_together"] == [["scaler"], ["cup filler"]]


def test_another_supply_than_a_bottle_takes_no_bottle_along(tmp_path: Path) -> None:
    typed = TYPED | {"chair 1.usual": "", "chair 3.usual": "1", "chair 3.supply": "2"}
    draft, _ = _played(tmp_path / "x", typed)
    assert draft.chairs[0]["supply"] == {"kind": "bottle", "bottle_ml": 1000.0}
    assert draft.chairs[2]["supply"] == {"kind": "mains through an air gap"}
    assert [at for at, told in draft.comments.items() if told.startswith("bottle")] == ["chairs.0.supply", "chairs.1.supply"]


def test_what_the_calendar_calls_otherwise_is_asked(tmp_path: Path) -> None:
    draft, asked = _played(
        tmp_path / "x", TYPED | {"book.usual": "1,5", "book.chair 1": "not in this file", "book.category.Filling": "Scaling"}
    )
    assert {"book.chair 1", "book.category.Filling"} <= set(asked)
    assert not {"book.chair 2", "book.category.Examination"} & set(asked)
    rules = draft.calendar["rules"]
    assert [rule["chair"] for rule in rules if "chair" in rule] == ["chair 2", "chair 3"]
    assert {"property": "categories", "equals": "Filling", "visit_kind": "scaling"} in rules


def test_a_cup_without_seconds_was_held_as_long_as_the_question_says() -> None:
    question = Question("f", "", "", "", cup_s=30)
    assert meant(question, "55 54,5 55/20 51g 52/1:00") == "55/30 54,5/30 55/20 51g/30 52/1:00"
    assert meant(question, "55, 54; 53") == "55/30 54/30 53/30"
    assert meant(question, meant(question, "55 54")) == "55/30 54/30"  # kept answers are read again
    assert meant(question, "typical") == "typical"


@pytest.mark.parametrize("flow_ml_min", [30.0, 40.0, 80.0, 600.0])
def test_a_cup_is_held_as_long_as_three_of_them_need(flow_ml_min: float) -> None:
    way = way_to_measure(WITHIN, flow_ml_min=flow_ml_min)
    assert way is not None
    assert (seconds_a_cup(flow_ml_min), way.cups) == (way.seconds, 3)


def test_a_room_called_by_a_number_is_chosen_by_its_name() -> None:
    question = Question("r", "", "", "", choices=(Choice("2", "2"), Choice("1", "1"), Choice("3", "3")))
    assert [meant(question, typed) for typed in ("1", "2", "3")] == ["1", "2", "3"]
