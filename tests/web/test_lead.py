"""The lead's desk and the practice file: who may, what stands there, and that a file is saved whole, seen before, with a name."""

import csv
import html
import io
import re
import sys
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
sys.path.insert(0, str(Path(__file__).parent / "people"))
import made_up_day
from knocking import PIN, Knocking
from test_standing_pages import Files, lived

from fettlebook.book.kinds import NoticeBegun, NoticeEnded, OutOfService, PracticeFileVersion, Returned, TrainingHeld, to_ms
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text
from fettlebook.practice.load import read_practice
from fettlebook.standing.ahead import days_ahead
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk
from fettlebook.web.people.people import People
from fettlebook.web.people.people_file import PeopleFile
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(8, 29)


@dataclass
class House:
    record: Record
    path: Path
    lead: Knocking
    app: object
    given: list = field(default_factory=list)

    def other(self) -> Knocking:
        return Knocking(TestClient(self.app, base_url="http://127.0.0.1", follow_redirects=False))  # type: ignore[arg-type]

    def digest(self) -> str:
        return read_practice(self.path.read_bytes(), self.path.name).digest


@pytest.fixture(scope="module")
def house(tmp_path_factory: pytest.TempPathFactory) -> Iterator[House]:
    folder = tmp_path_factory.mktemp("lead")
    path = folder / "practice.toml"
    path.write_bytes(practice_text())
    desk = Desk(Files(), lambda: NOW)
    with open_book(folder / "book.sqlite", "quayside") as store:
        for one in lived():
            if one.received <= to_ms(NOW):
                store.append([one.entry], now=one.received, via=one.via)
        record = Record(store, desk)
        assert record.ready(30)
        people = People(lambda: desk.reading.practice, PeopleFile(folder / "people"), b"p" * 32)
        app = create_app(desk, made_up_day.DAY, record=record, people=people, practice_file=path)
        lead = Knocking(TestClient(app, base_url="http://127.0.0.1", follow_redirects=False))
        lead.send("/sign-in", person="ana")
        assert lead.send("/people/ana/pin", pin=PIN, again=PIN).status_code == 303
        yield House(record, path, lead, app)
        record.close()
    assert desk.close(wait_s=10)


@pytest.fixture
def file(house: House) -> Iterator[Path]:
    """The practice file, as it was again afterwards."""
    yield house.path
    house.path.write_bytes(practice_text())


ADDRESSES = (
    "/lead",
    "/lead/week.csv",
    "/lead/training.csv",
    "/lead/file",
    "/lead/file/text",
    "/lead/file/versions",
    "/lead/file/versions.csv",
    "/lead/file/versions/1",
)


def test_only_the_lead_sees_and_writes_them(house: House) -> None:
    assert house.lead.send("/people/ben/pin", pin="314159", again="314159", own_pin=PIN).status_code == 303
    tablet = house.other()
    assert tablet.send("/enrol", code=house.lead.code_for("tablet")).status_code == 303
    assert tablet.sign_in("ben", "314159").status_code == 303
    size = house.record.store.head().size
    for address in ADDRESSES:
        answer = tablet.get(address)
        assert answer.status_code == 403, address
        assert "invented practice" not in answer.text.lower()
    for address in ("/lead/service", "/lead/training", "/lead/file/form", "/lead/file/look", "/lead/file/save"):
        assert tablet.send(address, subject="chair:chair 1", act="stop", reason="no", text="x", digest=house.digest()).status_code == 403
    assert house.record.store.head().size == size
    assert house.path.read_bytes() == practice_text()
    nobody = house.other()
    assert all(nobody.get(address).status_code == 303 for address in ADDRESSES)


def test_the_week_is_what_the_fold_says_of_each_coming_day(house: House) -> None:
    rows = list(csv.DictReader(io.StringIO(house.lead.get("/lead/week.csv").text)))
    with house.record.view() as view:
        told = [(str(one.day), o.subject, o.name) for one in days_ahead(view) for o in one.duties]
    assert [(row["day"], row["subject"], row["what"]) for row in rows] == told
    assert told
    page = house.lead.text("/lead")
    assert all(name in page for _, _, name in told)


def test_a_chair_goes_out_of_service_with_a_reason_and_comes_back_by_name(house: House) -> None:
    for act, kind, why in (("stop", OutOfService, "the <b>light</b> flickers"), ("return", Returned, "new lamp")):
        assert house.lead.send("/lead/service", subject="chair:chair 2", act=act, reason=why).status_code == 303
        entry = house.record.newest(1)[0].entry
        assert isinstance(entry.data, kind)
        assert (entry.data.chair, entry.data.reason, entry.by) == ("chair 2", why, "ana")
        page = house.lead.get("/lead").text
        assert (html.escape(why) in page) == (act == "stop")
        assert "<b>light</b>" not in page


def test_one_switch_enters_a_boil_water_notice_and_lifts_it(house: House) -> None:
    for act, kind in (("begin", NoticeBegun), ("end", NoticeEnded)):
        assert house.lead.send("/lead/notice", act=act, issued_by="invented authority").status_code == 303
        noted = house.record.store.latest(kind.KIND)
        assert noted is not None
        assert (noted.entry.by, noted.entry.data) == ("ana", kind(notice="boil water", issued_by="invented authority"))
        told = "in force since" if act == "begin" else "none in force"
        assert told in house.lead.get("/lead").text


HELD = {"person": "ben", "what": "sterilizer", "held_on": "2026-11-20", "held_by": "Ana"}


def test_a_training_that_was_held_is_entered_listed_and_stands_on_the_persons_trace(house: House) -> None:
    answer = house.lead.send("/lead/training", **HELD, again_on="2026-12-20", remark="with the new door")
    assert answer.status_code == 303
    noted = house.record.store.latest(TrainingHeld.KIND)
    assert noted is not None
    assert noted.entry.by == "ana"
    data = noted.entry.data
    assert isinstance(data, TrainingHeld)
    assert (data.person, data.what, data.held_on, data.held_by, data.again_on) == (
        "ben", "sterilizer", "2026-11-20", "Ana", "2026-12-20",
    )  # fmt: skip
    assert data.remark is not None
    assert b"new door" not in noted.leaf
    page = house.lead.text("/lead")
    assert "by Sun 20 Dec 2026" in page  # within 60 days
    rows = list(csv.DictReader(io.StringIO(house.lead.get("/lead/training.csv").text)))
    assert [(r["person"], r["training"], r["held_on"], r["wanted_again_by"], r["said_by"], r["overdue"]) for r in rows] == [
        ("ben", "sterilizer", "2026-11-20", "2026-12-20", "entry", "no")
    ]
    assert "sterilizer, held by Ana" in house.lead.text("/trace/person:ben")


@pytest.mark.parametrize(
    ("wrong", "told"),
    [
        ({"person": "a patient"}, "nobody was chosen"),
        ({"what": " "}, "nothing was entered"),
        ({"held_by": ""}, "nothing was entered"),
        ({"held_on": ""}, "no day was entered"),
        ({"held_on": "2026-13-45"}, "is no day"),
        ({"held_on": "2027-06-01"}, "still to come"),
        ({"again_on": "2026-11-20"}, "not after the training"),
    ],
    ids=str,
)
def test_a_training_that_can_not_be_is_refused_in_words_and_what_was_typed_stays(house: House, wrong: dict[str, str], told: str) -> None:
    size = house.record.store.head().size
    answer = house.lead.send("/lead/training", **{**HELD, "remark": "kept words", **wrong})
    assert answer.status_code == 422
    assert told in answer.text
    assert "kept words" in answer.text
    assert house.record.store.head().size == size


@pytest.mark.parametrize(("subject", "reason"), [("chair:nowhere", "why"), ("chair:chair 1", " "), ("unit:exam#1", "why"), ("", "why")])
def test_what_cannot_be_taken_out_is_refused_and_nothing_is_written(house: House, subject: str, reason: str) -> None:
    size = house.record.store.head().size
    answer = house.lead.send("/lead/service", subject=subject, act="stop", reason=reason)
    assert answer.status_code == 422
    assert house.record.store.head().size == size


def test_a_form_shows_what_would_change_and_writes_nothing(house: House, file: Path) -> None:
    before = file.read_bytes()
    answer = house.lead.send("/lead/file/form", group="sets", digest=house.digest(), **{"sets.0.owned": "9"})
    assert answer.status_code == 200
    assert re.search(r'class="added">.*owned = 9', answer.text)
    assert re.search(r'class="gone">.*owned = 14', answer.text)
    assert file.read_bytes() == before
    same = house.lead.send("/lead/file/form", group="sets", digest=house.digest(), **{"sets.0.owned": "14"})
    assert "Nothing was changed." in same.text


def test_a_saved_version_is_the_file_and_an_entry_with_who_made_it(house: House, file: Path) -> None:
    new = file.read_text().replace('name = "Ben"', 'name = "Ben K."')
    looked = house.lead.send("/lead/file/look", text=new.replace("\n", "\r\n"), digest=house.digest())
    assert looked.status_code == 200
    assert "Save this version" in looked.text
    size = house.record.store.head().size
    wrong = house.lead.send("/lead/file/save", text=new, digest=house.digest(), own_pin="000000")
    assert wrong.status_code == 422
    assert file.read_bytes() == practice_text()
    assert house.record.store.head().size == size
    saved = house.lead.send("/lead/file/save", text=new.replace("\n", "\r\n"), digest=house.digest(), own_pin=PIN)
    assert saved.status_code == 303, saved.text
    assert file.read_text() == new
    entry = house.record.newest(1, kinds=[PracticeFileVersion.KIND])[0].entry
    assert isinstance(entry.data, PracticeFileVersion)
    assert (entry.data.text, entry.by) == (new, "ana")
    versions = list(csv.DictReader(io.StringIO(house.lead.get("/lead/file/versions.csv").text)))
    assert (versions[0]["by"], versions[0]["sha256"]) == ("ana", house.digest())
    page = house.lead.text(f"/lead/file/versions/{versions[0]['number']}")
    assert new in page


def test_a_text_with_errors_shows_each_by_its_line_and_is_never_saved(house: House, file: Path) -> None:
    bad = file.read_text().replace("owned = 14", "owned = -1").replace('time_zone = "Europe/London"', 'time_zone = "Nowhere"')
    found = read_practice(bad.encode(), "practice.toml")
    for address in ("/lead/file/look", "/lead/file/save"):
        answer = house.lead.send(address, text=bad, digest=house.digest(), own_pin=PIN)
        assert answer.status_code == 422
        for one in found.located:
            if one.finding.weight == "error":
                assert f"line {one.line}:" in answer.text
                assert html.escape(one.finding.what) in answer.text.replace("&#34;", "&quot;").replace("&#39;", "&#x27;")
        assert "owned = -1" in answer.text  # what was typed is not lost
    assert file.read_bytes() == practice_text()


@pytest.mark.parametrize("text", ["", "\x00", "]" * 2000, "[" * 5000, "schema = 1", '<script>alert("x")</script>'])
def test_any_text_ends_in_findings(house: House, file: Path, text: str) -> None:
    answer = house.lead.send("/lead/file/look", text=text, digest=house.digest())
    assert answer.status_code == 422
    assert "must be mended" in answer.text
    assert "<script>alert" not in answer.text
    assert file.read_bytes() == practice_text()


def test_a_file_that_somebody_else_changed_meanwhile_stays_as_it_is(house: House, file: Path) -> None:
    digest, text = house.digest(), file.read_text()
    theirs = text.replace("owned = 14", "owned = 12")
    file.write_text(theirs)
    for address in ("/lead/file/save", "/lead/file/look", "/lead/file/form"):
        typed = {"group": "sets"} if address.endswith("form") else {"text": text.replace("owned = 14", "owned = 13")}
        answer = house.lead.send(address, digest=digest, own_pin=PIN, **typed)
        assert answer.status_code == 422
        assert "changed since this page was opened" in answer.text
    assert file.read_text() == theirs
