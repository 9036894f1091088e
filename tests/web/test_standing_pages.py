"""The pages of the book on an invented week: what they show is what standing says, at any moment; read only; tables to save."""

import csv
import io
import sys
from collections.abc import Iterator
from datetime import UTC, date, datetime
from functools import cache
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day

from fettlebook.book import disk
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import EntryCorrected, LoadPacked, MachineTest, SampleTaken, from_ms
from fettlebook.book.kinds.instruments import InLoad
from fettlebook.book.received import Received
from fettlebook.book.stores import open_book
from fettlebook.demo.life import Habits, Life
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.due import due_duties
from fettlebook.standing.look_back import since_last_good
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)


class Files(made_up_day.Hands):
    """The made-up day, with the rules and times that really follow from the practice file."""

    def read(self) -> Reading:
        practice = made_up_day.practice()
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), 1, NOW)


@cache
def lived() -> tuple[Received, ...]:
    reading = Files().read()
    life = Life(reading.practice, reading.rulebook, reading.times, habits=Habits(forgets=0.01, fails=0.1, visits_a_day=1))
    return tuple(life.days(date(2026, 11, 18), 8))


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[TestClient, Record]]:
    desk = Desk(Files(), lambda: NOW)
    with open_book(tmp_path_factory.mktemp("book") / "book.sqlite", "quayside") as store:
        for one in lived():
            if one.received <= NOW.timestamp() * 1000:
                store.append([one.entry], now=one.received, via=one.via)
        record = Record(store, desk)
        assert record.ready(30)
        app = create_app(desk, made_up_day.DAY, record=record)
        yield TestClient(app, base_url="http://127.0.0.1", follow_redirects=False), record
        record.close()
    assert desk.close(wait_s=10)


@pytest.fixture
def client(book: tuple[TestClient, Record]) -> TestClient:
    return book[0]


@pytest.fixture
def record(book: tuple[TestClient, Record]) -> Record:
    return book[1]


def rows(client: TestClient, address: str) -> list[dict[str, str]]:
    answer = client.get(address)
    assert answer.status_code == 200
    assert answer.headers["content-type"].startswith("text/csv")
    return list(csv.DictReader(io.StringIO(answer.text)))


def test_the_board_shows_every_subject_with_the_verdict_that_standing_gives(client: TestClient, record: Record) -> None:
    page = client.get("/standing").text
    saved = {row["subject"]: row["verdict"] for row in rows(client, "/standing.csv")}
    with record.view() as view:
        assert saved == {subject: view.standing(subject).verdict.value for subject in view.subjects()}
        for chair in view.look.basis.chairs:
            verdict = view.standing(f"chair:{chair}").verdict.value
            assert f'card-of v-{verdict}">' in page
    assert len(set(saved.values())) > 1
    assert "Quayside Dental Rooms" in page
    assert "invented data" in page


def test_a_subject_shows_each_condition_with_rule_entry_and_end(client: TestClient, record: Record) -> None:
    page = client.get("/standing/chair:chair 1").text
    with record.view() as view:
        standing = view.standing("chair:chair 1")
        for condition in standing.conditions:
            assert condition.what.replace("'", "&#39;") in page
            assert all(f'href="/entries/{entry}"' in page for entry in condition.evidence)
    for owed in standing.way_to_fit.duties:
        assert owed.name.replace("'", "&#39;") in page


@pytest.mark.parametrize("known", ["then", "now"])
def test_a_past_moment_is_judged_as_standing_judges_it(client: TestClient, record: Record, known: str) -> None:
    moment = made_up_day.at(8, 29).replace(day=19)
    at = round(moment.timestamp() * 1000)
    saved = {row["subject"]: row["verdict"] for row in rows(client, f"/standing.csv?at=2026-11-19T08:29&known={known}")}
    with record.view(at, at if known == "then" else None) as view:
        assert saved["chair:chair 2"] == view.standing("chair:chair 2").verdict.value
    page = client.get(f"/standing/chair:chair 2?at=2026-11-19T08:29&known={known}").text
    assert "Thu 19 Nov 2026 08:29" in page
    assert ("had been received by then" in page) == (known == "then")


def test_the_moment_of_knowledge_can_be_any_other(client: TestClient, record: Record) -> None:
    at, known = (round(made_up_day.at(8, 29).replace(day=day).timestamp() * 1000) for day in (20, 21))
    answer = client.get("/standing.csv?at=2026-11-20T08:29&known=then&known_at=2026-11-21T08:29")
    saved = {row["subject"]: row["verdict"] for row in csv.DictReader(io.StringIO(answer.text))}
    with record.view(at, known) as view:
        assert saved == {subject: view.standing(subject).verdict.value for subject in view.subjects()}
    page = client.get("/standing?at=2026-11-20T08:29&known=then&known_at=2026-11-21T08:29").text
    assert "by what had been received by Sat 21 Nov 2026 08:29" in page
    assert "known=2026-11-21T08%3A29" in page  # links ask about the same


def test_an_entry_that_comes_while_the_page_is_open_counts_at_once(client: TestClient, record: Record) -> None:
    before = client.get("/standing/machine:sterilizer 2").text
    moment = Moment(round(NOW.timestamp() * 1000) - 1000, "Europe/London")
    record.store.note(MachineTest(machine="sterilizer 2", test="daily steam", outcome="failed"), moment=moment, by="ana")
    after = client.get("/standing/machine:sterilizer 2").text
    assert "failed 08:28" in after
    assert "failed 08:28" not in before


def test_what_is_due_is_what_standing_says_is_due(client: TestClient, record: Record) -> None:
    with record.view() as view:
        found = due_duties(view)
    saved = rows(client, "/due.csv")
    assert [(row["subject"], row["duty"], row["overdue"]) for row in saved] == [
        (owed.subject, owed.name, "yes" if owed.overdue else "no") for owed in found
    ]
    assert f"{len(found)} duties" in client.get("/due").text


def test_a_look_back_lists_the_visits_concerned_and_what_is_in_the_cupboard(client: TestClient, record: Record) -> None:
    with record.view() as view:
        machine = next(m for m in view.look.basis.machines if m.startswith("ster") and since_last_good(view.look, m).bad_ms is not None)
        found = since_last_good(view.look, machine)
    saved = rows(client, f"/look-back/machine:{machine}.csv")
    assert [row["visit"] for row in saved if row["what"] == "visit"] == [visit for visit, _, _ in found.visits]
    assert sum(row["what"] == "still in the cupboard" for row in saved) == len(found.at_hand)
    assert f">{len(found.visits)}<" in client.get(f"/look-back/machine:{machine}").text
    assert client.get("/look-back/person:ana").status_code == 404


def test_a_trace_goes_from_a_visit_to_its_sets_loads_and_tests(client: TestClient, record: Record) -> None:
    used = next(one.entry.data for one in record.store.read(kinds=["visit.ended"]) if one.entry.data.units)
    visit = f"visit:{used.visit}"
    found = {row["to"].partition(":")[0] for row in rows(client, f"/trace/{visit}.csv")}
    assert found >= {"chair", "unit", "load", "machine"}
    assert "Trace of" in client.get(f"/trace/{visit}").text


@pytest.mark.parametrize(
    ("typed", "found"), [("chair 1", "chair%3Achair%201"), ("exam#3", "unit%3Aexam%233"), ("practice", "practice%3Aall")]
)
def test_a_subject_is_found_as_people_call_it(client: TestClient, typed: str, found: str) -> None:
    answer = client.get("/standing/find", params={"subject": typed})
    assert (answer.status_code, answer.headers["location"]) == (303, f"/standing/{found}")


def test_entries_are_shown_newest_first_by_kind_and_subject_and_saved_as_sealed(client: TestClient, record: Record) -> None:
    wanted = list(record.store.read(kinds=["machine.test"], subjects=["machine:sterilizer 1"]))[::-1]
    saved = rows(client, "/entries.csv?kind=machine.test&about=machine:sterilizer 1")
    assert [row["id"] for row in saved] == [one.entry.id for one in wanted]
    sealed = client.get("/entries.jsonl?kind=machine.test&about=machine:sterilizer 1").content.splitlines()
    assert sealed == [one.leaf for one in wanted]
    page = client.get("/entries").text
    assert page.index(f">{record.store.head().size}<") < page.index(f">{record.store.head().size - 1}<")
    assert "&before=" in page or "&amp;before=" in page


def test_one_entry_is_shown_whole_with_what_mended_it(client: TestClient, record: Record) -> None:
    wrong = record.store.note(
        SampleTaken(sample="W9", what="water", chair="chair 1"), moment=Moment(1_795_000_000_000, "Europe/London"), by="ana"
    )
    mended = EntryCorrected(field="what", was="water", now="suction", why="wrong bottle")
    later = record.store.note(mended, moment=Moment(1_795_000_001_000, "Europe/London"), by="ben", refers_to=wrong.id)
    page = client.get(f"/entries/{wrong.id}").text
    assert wrong.leaf_hash.hex() in page
    assert "Mended later" in page
    assert f"/entries/{later.id}" in page
    assert client.get("/entries/nothing").status_code == 404
    assert client.get("/entries/01900000-0000-7000-8000-000000000000").status_code == 404


def test_what_people_typed_stays_text_on_pages_and_in_tables(client: TestClient, record: Record) -> None:
    from fettlebook.book.kinds import ProductOpened

    record.store.note(
        ProductOpened(product="wipes", lot="=HYPERLINK(<b>x</b>)"), moment=Moment(1_795_000_002_000, "Europe/London"), by="ana"
    )
    for address in ("/entries", "/standing"):
        assert "<b>x</b>" not in client.get(address).text
    from fettlebook.web.saving import csv_of

    assert csv_of([{"lot": "=1+1", "n": -3}]) == "lot,n\r\n'=1+1,-3\r\n"


@pytest.mark.parametrize(
    "address", ["/standing?at=yesterday", "/standing/chair:chair 9", "/trace/day:2026-01-01", "/due?at=2026-03-29T01:30"]
)
def test_what_can_not_be_answered_says_how_to_mend_it(client: TestClient, address: str) -> None:
    answer = client.get(address)
    assert answer.status_code == 422
    assert "mend" in answer.text


@pytest.mark.parametrize("address", ["/standing", "/due", "/trace", "/entries", "/standing/chair:chair 1"])
def test_the_pages_change_nothing(client: TestClient, record: Record, address: str) -> None:
    before = record.store.head()
    client.get(address)
    assert client.post(address).status_code == 405
    assert record.store.head() == before


def test_without_a_book_these_pages_are_not_there() -> None:
    desk = Desk(Files(), lambda: NOW)
    client = TestClient(create_app(desk), base_url="http://127.0.0.1", follow_redirects=False)
    assert client.get("/standing").status_code == 404
    assert "/standing" not in client.get("/rules").text
    assert desk.close(wait_s=10)


def test_the_moments_of_this_test_are_what_they_say() -> None:
    assert from_ms(1_795_000_000_000).astimezone(UTC) < datetime(2026, 11, 25, tzinfo=UTC)
    assert LoadPacked(load="L1", machine="m", items=(InLoad(unit="exam#1"),)).KIND == "load.packed"


def test_a_disk_that_gets_full_is_said_on_every_page(client: TestClient, monkeypatch: pytest.MonkeyPatch) -> None:
    assert "gets full" not in client.get("/standing").text
    monkeypatch.setattr(disk, "LOW_BYTES", 1 << 62)
    for page in ("/standing", "/rules"):
        assert "entries stay on the tablets" in client.get(page).text
