"""The pages of water: what they show is what the book says; a form that reads a result like a laboratory's line, or says what is wrong."""

import csv
import io
import sys
from collections.abc import Iterator
from pathlib import Path

import icalendar
import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, SampleResult, SampleTaken, to_ms
from fettlebook.book.stores import open_book
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)
DAY_MS = 86_400_000
HERE = {"origin": "http://127.0.0.1"}


class Files(made_up_day.Hands):
    def read(self) -> Reading:
        practice = made_up_day.practice()
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Record]]:
    desk = Desk(Files(), lambda: NOW)
    with open_book(tmp_path_factory.mktemp("book") / "book.sqlite", "quayside") as store:
        for number, (chair, days, colonies, mark) in enumerate(
            [("chair 1", 60, 3, None), ("chair 1", 30, 5, None), ("chair 2", 30, 0, "below"), ("chair 3", 30, 95, None)], 1
        ):
            at, volume = to_ms(NOW) - days * DAY_MS, 100_000
            taken: Data = SampleTaken(sample=f"W{number}", what="water", chair=chair, outlets=("turbine",), neutralised=True)
            value = 10 if mark else colonies * 10
            result = SampleResult(
                sample=f"W{number}", quantity="water count", value=value, value_unit="CFU/mL", mark=mark, chair=chair,
                colonies=colonies, plated_nl=volume,
            )  # fmt: skip
            store.note(taken, moment=Moment(at, "Europe/London"), by="ana")
            store.note(result, moment=Moment(at + 7 * DAY_MS, "Europe/London"), by="ana")
        record = Record(store, desk)
        assert record.ready(30)
        yield TestClient(create_app(desk, made_up_day.DAY, record=record), base_url="http://127.0.0.1", follow_redirects=False), record
        record.close()
    assert desk.close(wait_s=10)


def test_all_chairs_stand_with_their_verdict_level_and_a_missing_sample_as_unproven(book: tuple[TestClient, Record]) -> None:
    text = book[0].get("/water").text
    assert "chair 3: the last result" in text
    rows = {row["chair"]: row for row in csv.DictReader(io.StringIO(book[0].get("/water.csv").text))}
    assert rows["chair 3"]["by_the_counts"] == "unfit"
    assert rows["chair 4"]["by_the_counts"] == "unproven"
    assert rows["chair 4"]["level_cfu_ml"] == ""
    assert float(rows["chair 1"]["from_5_pct"]) < float(rows["chair 1"]["level_cfu_ml"]) < float(rows["chair 1"]["to_95_pct"])


def test_a_chairs_history_is_drawn_and_stands_as_a_table_with_its_entries(book: tuple[TestClient, Record]) -> None:
    text = book[0].get("/water/of/chair%201").text
    assert "<svg" in text
    assert "style=" not in text.partition("<main")[2]
    assert "5 on 0.1 mL" in text
    assert "/entries/" in text
    rows = list(csv.DictReader(io.StringIO(book[0].get("/water/of/chair%201/results.csv").text)))
    assert [(row["sample"], row["colonies"], row["plated_ml"]) for row in rows] == [("W1", "3", "0.1"), ("W2", "5", "0.1")]
    assert float(rows[1]["high_95"]) == pytest.approx(116.7, abs=0.1)  # 11.668 colonies on 0.1 mL
    below = book[0].get("/water/of/chair%202").text
    assert "less than 10" in below
    assert "at most 0 on 0.1 mL" in below


def test_a_chair_that_is_not_there_is_not_found(book: tuple[TestClient, Record]) -> None:
    assert book[0].get("/water/of/chair%2099").status_code == 404


def test_the_diary_says_what_is_due_and_what_the_plan_can_tell(book: tuple[TestClient, Record]) -> None:
    text = book[0].get("/water/diary").text
    assert "no valid sample in the book" in text
    assert "treat intensively first" in text
    assert "passes a sample with chance" in text
    assert book[0].get("/water/sheet.pdf").content.startswith(b"%PDF")
    assert "chair 4" in book[0].get("/water/diary.csv").text


FORM = {"chair": "chair 4", "sampled": "2026-11-03", "count": "<10", "unit": "per mL", "volume": "0,1", "report": "", "by": "ana"}


@pytest.mark.parametrize(
    ("field", "typed", "said"),
    [
        ("count", "n.d.", "none detected"),
        ("count", "1,234", "comma may be a decimal"),
        ("count", "", "the count is nothing"),
        ("volume", "", "nothing was entered"),
        ("volume", "0", "volume"),
        ("sampled", "2062-01-01", "still to come"),
        ("sampled", "yesterday", "is no day"),
        ("chair", "chair 9", "no chair was chosen"),
        ("by", "zoe", "nobody was chosen"),
        ("count", "=1+1", "is no number"),
    ],
)
def test_a_result_that_cannot_be_read_is_named_at_its_field_and_not_written(
    book: tuple[TestClient, Record], field: str, typed: str, said: str
) -> None:
    size = book[1].store.head().size
    answer = book[0].post("/water/enter", data=FORM | {field: typed}, headers=HERE)
    assert answer.status_code == 422
    assert said in answer.text
    assert book[1].store.head().size == size


def test_a_result_is_entered_once_and_shows(book: tuple[TestClient, Record]) -> None:
    answer = book[0].post("/water/enter", data=FORM, headers=HERE)
    assert answer.status_code == 303
    assert "Entered: a result of chair 4" in book[0].get(answer.headers["location"]).text
    last = book[1].store.latest("sample.result")
    assert last is not None
    assert isinstance(last.entry.data, SampleResult)
    assert (last.entry.data.colonies, last.entry.data.mark, last.entry.data.plated_nl) == (0, "below", 100_000)
    assert last.entry.by == "ana"
    again = book[0].post("/water/enter", data=FORM, headers=HERE)
    assert again.status_code == 422
    assert "the book has this result already" in again.text


def test_a_form_from_elsewhere_is_refused(book: tuple[TestClient, Record]) -> None:
    assert book[0].post("/water/enter", data=FORM).status_code == 403


def test_the_diary_goes_into_a_calendar(book: tuple[TestClient, Record]) -> None:
    answer = book[0].get("/water/diary.ics")
    assert answer.headers["content-type"].startswith("text/calendar")
    rows = list(csv.DictReader(io.StringIO(book[0].get("/water/diary.csv").text)))
    events = icalendar.Calendar.from_ical(answer.content).walk("VEVENT")
    assert [str(one["summary"]).split(" (")[0] for one in events] == [f"Water sample: {row['chair']}, {row['outlet']}" for row in rows]
    assert "/water/diary.ics" in book[0].get("/water/diary").text
