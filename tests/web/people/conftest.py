"""People of the made-up practice behind PINs, with a clock that the test turns."""

import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day
from knocking import LEAD, PIN, Clock, Knocking

from fettlebook.book.kinds import Data
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.people.people_file import PeopleFile


@pytest.fixture
def clock() -> Clock:
    return Clock()


@pytest.fixture
def noted() -> list[tuple[Data, str]]:
    return []


@pytest.fixture
def people(desk: Desk, clock: Clock, noted: list[tuple[Data, str]], tmp_path: Path, settled: Callable[..., None]) -> People:
    desk.day(made_up_day.DAY)
    settled(lambda: desk.day(made_up_day.DAY).plan is not None)
    file = PeopleFile(tmp_path / "book.sqlite.people")
    return People(lambda: desk.reading.practice, file, b"p" * 32, note=lambda data, by: noted.append((data, by)), clock=clock)


@pytest.fixture
def devices(people: People) -> Devices:
    return Devices(people)


@pytest.fixture
def knock(desk: Desk, people: People) -> Callable[[], Knocking]:
    """Give a new browser each time."""
    app = create_app(desk, made_up_day.DAY, people=people)
    return lambda: Knocking(TestClient(app, base_url="http://127.0.0.1", follow_redirects=False))


@pytest.fixture
def lead(knock: Callable[[], Knocking]) -> Knocking:
    """The lead, who gave the first PIN and is signed in with it."""
    browser = knock()
    browser.send("/sign-in", person=LEAD)
    answer = browser.send(f"/people/{LEAD}/pin", pin=PIN, again=PIN)
    assert answer.status_code == 303, answer.text
    return browser


@pytest.fixture
def tablet(lead: Knocking, knock: Callable[[], Knocking]) -> Knocking:
    """A tablet that the lead let in; nobody is signed in there."""
    browser = knock()
    assert browser.send("/enrol", code=lead.code_for("tablet of room 1")).status_code == 303
    return browser
