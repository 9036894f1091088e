"""Arrivals while the pages are open: the watched folder, the address for machines, the page, and the form of a machine's logs."""

import os
import sys
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent.parent))
import made_up_day

from fettlebook.book.kinds import CycleRecorded
from fettlebook.book.stores import Store, open_book
from fettlebook.demo.heat import as_csv, make_log
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.web.app import create_app
from fettlebook.web.arriving import Watching
from fettlebook.web.desk import Desk, Reading
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
NOW = made_up_day.at(10, 42)
OURS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}
HERE = "/machines/sterilizer 1/log-form"


class Files(made_up_day.Hands):
    def __init__(self, path: Path) -> None:
        super().__init__()
        self.path = path

    def read(self) -> Reading:
        practice = load_practice(self.path)
        rulebook = load_rulebook(practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), (), (), self.path.stat().st_mtime_ns, NOW)

    def mark(self) -> int:
        return self.path.stat().st_mtime_ns


@dataclass
class Open:
    client: TestClient
    store: Store
    folder: Path
    people: People
    practice_file: Path
    watching: Watching

    def cycles(self) -> int:
        return len(list(self.store.read(kinds=[CycleRecorded.KIND])))


@pytest.fixture
def opened(tmp_path: Path) -> Iterator[Open]:
    practice_file = tmp_path / "practice.toml"
    practice_file.write_bytes(files("fettlebook.demo").joinpath("practice.toml").read_bytes())
    desk = Desk(Files(practice_file), lambda: NOW)
    with open_book(tmp_path / "book.sqlite", desk.reading.practice.practice.id) as store:
        record = Record(store, desk)
        folder = tmp_path / "arrivals"
        (tmp_path / "exports").mkdir()
        watching = Watching(folder, record, desk, appointments=tmp_path / "exports", every_s=0.05)
        people = People(lambda: desk.reading.practice)
        app = create_app(desk, practice_file=practice_file, record=record, people=people, watching=watching)
        yield Open(TestClient(app, base_url="http://127.0.0.1", headers=OURS), store, folder, people, practice_file, watching)
        watching.close()
        record.close()
        assert desk.close(wait_s=10)


def good() -> bytes:
    return as_csv(make_log("good", 1)).encode()


def test_a_file_in_the_folder_is_in_the_book_a_moment_later_and_on_the_page(
    opened: Open, settled: Callable[[Callable[[], bool]], None]
) -> None:
    for source in ("sterilizer 1", "oven"):
        beside = opened.folder.with_name(source)
        beside.mkdir()
        (beside / "a.csv").write_bytes(good())
        os.utime(beside / "a.csv", (NOW.timestamp() - 60, NOW.timestamp() - 60))
        opened.folder.mkdir(exist_ok=True)
        beside.rename(opened.folder / source)
    settled(lambda: len(opened.watching.came()) == 2)
    assert opened.cycles() == 1
    page = opened.client.get("/arrivals").text
    assert "kept" in page
    assert "no machine is called" in page
    assert "oven" in opened.client.get("/arrivals.csv").text
    opened.client.post("/arrivals/again")
    settled(lambda: len(opened.watching.came()) == 4)
    assert opened.cycles() == 1


def test_a_machine_sends_to_its_address(opened: Open, settled: Callable[[Callable[[], bool]], None]) -> None:
    sent = opened.client.put("/arrive/sterilizer 1/run.csv", content=good())
    assert (sent.status_code, sent.json()["length_bytes"]) == (202, len(good()))
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=good()).json() == sent.json()
    settled(lambda: opened.cycles() == 1)
    assert opened.client.put("/arrive/../run.csv", content=b"x").status_code in (404, 405, 422)
    assert opened.client.put("/arrive/%2e%2e%2f/run.csv", content=b"x").status_code in (404, 405, 422)
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=b"x" * 20_000_001).status_code == 413


def test_once_somebody_has_a_pin_a_machine_needs_its_token(opened: Open) -> None:
    devices = Devices(opened.people)
    lead = next(one for one in opened.people.practice().people if opened.people.person(one.id).role.value == "lead")  # type: ignore[union-attr]
    devices.give_pin(lead.id, "583104", "583104", lead.id)
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=good()).status_code == 401
    code = devices.code("gateway", lead.id)
    let_in = opened.client.post("/arrive/enrol", content=code)
    assert let_in.status_code == 201
    assert opened.client.post("/arrive/enrol", content=code).status_code == 403
    bearer = {"Authorization": f"Bearer {let_in.json()['token']}"}
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=good(), headers=bearer).status_code == 202
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=good(), headers={"Authorization": "Bearer x.y"}).status_code == 401
    devices.withdraw(let_in.json()["device"], lead.id)
    assert opened.client.put("/arrive/sterilizer 1/run.csv", content=good(), headers=bearer).status_code == 401


def test_the_form_of_a_log_is_made_from_a_first_file_tried_and_kept(opened: Open, settled: Callable[[Callable[[], bool]], None]) -> None:
    cells = (row.split(",") for row in good().decode().splitlines()[2:])
    rows = (";".join((one[0], one[1], f"{float(one[4]) / 100:.4f}")).replace(".", ",") for one in cells)
    strange = "\n".join(["X;Y;Z", *rows]).encode()
    assert opened.client.get(HERE).status_code == 200
    shown = opened.client.post(f"{HERE}/file", files={"log": ("strange.csv", strange, "text/csv")})
    assert "can be kept once the file is read without an error" in shown.text
    form = {
        "column time": "X",
        "column chamber": "Y",
        "column pressure": "Z",
        "unit pressure": "bar",
        "reference": "absolute",
        "decimal": ",",
    }
    too_soon = opened.client.post(HERE, data={"column time": "X", "act": "keep"})
    assert too_soon.status_code == 422
    tried = opened.client.post(HERE, data={**form, "act": "try"})
    assert "would be judged: fit" in tried.text, tried.text[tried.text.find("What comes out") :][:900]
    assert opened.client.get(f"{HERE}/graph.svg").text.startswith("<svg")
    assert "log = " not in opened.practice_file.read_text("utf-8")
    kept = opened.client.post(HERE, data={**form, "act": "keep"})
    assert kept.status_code == 200, kept.text
    found = next(m for m in load_practice(opened.practice_file).machines if m.id == "sterilizer 1").log
    assert found is not None
    assert (found.columns, found.units, found.decimal) == ({"time": "X", "chamber": "Y", "pressure": "Z"}, {"pressure": "bar"}, ",")
    settled(lambda: "A form is kept" in opened.client.get(HERE).text)
    opened.client.put("/arrive/sterilizer 1/strange.csv", content=strange)
    settled(lambda: opened.cycles() == 1)


def test_nonsense_in_the_form_is_said_and_nothing_is_written(opened: Open) -> None:
    before = opened.practice_file.read_bytes()
    opened.client.post(f"{HERE}/file", files={"log": ("x.csv", b"\x00\x01", "text/csv")})
    assert opened.client.post(HERE, data={"ambient": "a lot", "act": "keep"}).status_code == 422
    assert opened.client.post(HERE, data={"reference": "moon", "act": "try"}).status_code == 422
    assert opened.client.post(HERE, data={"column time": "<script>", "act": "keep"}).status_code == 422
    assert opened.client.post(f"{HERE}/file", data={}).status_code == 422
    assert opened.client.get("/machines/oven/log-form").status_code == 404
    assert opened.practice_file.read_bytes() == before


def test_a_calendar_subscribes_by_its_own_token_and_can_be_withdrawn(opened: Open) -> None:
    from icalendar import Calendar

    person = opened.people.practice().people[0].id
    free = opened.client.get(f"/feed/{person}/x.ics")
    assert (free.status_code, free.headers["content-type"]) == (200, "text/calendar; charset=utf-8")
    assert Calendar.from_ical(free.content)["X-WR-CALNAME"].startswith("Duties, ")
    assert opened.client.get("/feed/nobody/x.ics").status_code == 404
    devices = Devices(opened.people)
    lead = next(one for one in opened.people.practice().people if opened.people.person(one.id).role.value == "lead")  # type: ignore[union-attr]
    devices.give_pin(lead.id, "583104", "583104", lead.id)
    assert opened.client.get(f"/feed/{person}/x.ics").status_code == 404
    device, token = devices.let_in("calendar of ana", lead.id)
    assert opened.client.get(f"/feed/{person}/{token}.ics").status_code == 200
    assert "v_" not in opened.client.get(f"/feed/all/{token}.ics").text  # no reference of a visit
    devices.withdraw(device, lead.id)
    assert opened.client.get(f"/feed/{person}/{token}.ics").status_code == 404


def test_the_booking_program_sends_its_export_to_the_folder_of_exports(opened: Open, tmp_path: Path) -> None:
    visit = "BEGIN:VEVENT\nUID:1\nDTSTART:20261125T090000Z\nDTEND:20261125T093000Z\nLOCATION:Treatment room 1\nEND:VEVENT\n"
    calendar = f"BEGIN:VCALENDAR\nVERSION:2.0\n{visit}END:VCALENDAR\n"
    sent = opened.client.put("/arrive/appointments/export", content=calendar)
    assert sent.status_code == 202, sent.text
    assert [one.read_text() for one in (tmp_path / "exports").iterdir()] == [calendar]
    refused = opened.client.put("/arrive/appointments/export.ics", content=b"no calendar")
    assert refused.status_code == 422
    assert "not a calendar" in refused.text
    assert len(list((tmp_path / "exports").iterdir())) == 1
    opened.watching.appointments = None
    assert opened.client.put("/arrive/appointments/export.ics", content=calendar).status_code == 409
