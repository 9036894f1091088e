"""The page of visits, on a few lived days: what is offered for the tray, and what a begun visit asks at its end."""

from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from click.testing import CliRunner
from fastapi.testclient import TestClient

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import VisitEnded, VisitStarted, from_ms, to_ms
from fettlebook.book.stores import open_book
from fettlebook.cli.demo import demo
from fettlebook.exchange.calendar import booked_days, read_book
from fettlebook.exchange.key import beside, load_or_make_key
from fettlebook.plan.visits_now import needed, visits_now
from fettlebook.practice.load import read_practice
from fettlebook.standing.model import Verdict
from fettlebook.web.app import create_app
from fettlebook.web.chain import Chain
from fettlebook.web.desk import Desk
from fettlebook.web.record import Record

pytestmark = pytest.mark.invented
OURS = {"Origin": "http://127.0.0.1", "Sec-Fetch-Site": "same-origin"}


def test_what_the_invented_practice_lived_is_known_again_in_its_appointment_book(tmp_path: Path) -> None:
    assert CliRunner().invoke(demo, [str(tmp_path), "--lived", "5"]).exit_code == 0
    text, book = (tmp_path / "practice.toml").read_bytes(), (tmp_path / "book.ics").read_bytes()
    practice = read_practice(text, "practice.toml").practice
    assert practice is not None
    with open_book(tmp_path / "book.sqlite", practice.practice.id, write=False) as store:
        begun = [(one.entry.at, one.entry.data) for one in store.read() if isinstance(one.entry.data, VisitStarted)]
    day = from_ms(begun[-1][0], "Europe/London").date()
    booked = read_book(book, "book.ics", practice, day, load_or_make_key(beside(tmp_path / "book.sqlite"))).visits
    lived = {visit.visit: visit.chair for at, visit in begun if from_ms(at, "Europe/London").date() == day}
    assert lived
    assert lived.items() <= {one.ref: one.chair for one in booked}.items()


def test_visits_begin_and_end_with_their_sets(tmp_path: Path) -> None:
    assert CliRunner().invoke(demo, [str(tmp_path), "--lived", "3"]).exit_code == 0
    files = (tmp_path / "practice.toml", tmp_path / "book.ics", tmp_path / "book.sqlite")
    zone = ZoneInfo("Europe/London")
    reading = read_practice(files[0].read_bytes(), "practice.toml").practice
    assert reading is not None
    with open_book(files[2], reading.practice.id, write=False) as store:
        last = from_ms(store.head().received, "Europe/London").date()
    day = next(iter(booked_days(files[1].read_bytes(), "b", reading, last + timedelta(days=1), bytes(32), days=30)))
    moment = datetime(day.year, day.month, day.day, 8, 0, tzinfo=zone)
    chain = Chain(*files, clock=lambda: moment, around=day)
    desk = Desk(chain, lambda: moment)
    record = Record(chain.store, desk)
    try:
        client = TestClient(create_app(desk, practice_file=files[0], record=record), base_url="http://127.0.0.1", headers=OURS)
        person = desk.reading.practice.people[0].id
        client.post("/sign-in", data={"person": person}, follow_redirects=False)
        assert record.ready(30)
        plan = _planned(desk, day)
        with record.view() as view:
            first = visits_now(view, plan)[0]
            needs = needed(view, first.kind_id)
        assert first.began_ms is None
        assert sum(need.count for need in needs) > 0
        for need in needs:
            verdicts = [one.verdict for one in need.offered]
            assert verdicts == sorted(verdicts, key=[Verdict.FIT, Verdict.UNPROVEN, Verdict.UNFIT].index)
        unit = needs[0].offered[0].unit
        page = client.get("/visits").text
        assert f'data-visit="{first.ref}"' in page
        assert f'value="{unit}"' in page
        now = to_ms(moment)
        started = VisitStarted(visit=first.ref, chair=first.chair, visit_kind=first.kind_id, units=(unit,))
        chain.store.note(started, moment=Moment(now - 60_000, "Europe/London"), by=person)
        with record.view() as view:
            running = visits_now(view, plan)[0]
        assert (running.ref, running.units, running.ended_ms) == (first.ref, (unit,), None)
        assert 'data-kind="visit.ended"' in client.get("/visits").text
        ended = VisitEnded(visit=first.ref, chair=first.chair, units=(unit,))
        chain.store.note(ended, moment=Moment(now - 30_000, "Europe/London"), by=person)
        with record.view() as view:
            over = visits_now(view, plan)[-1]
            offered_again = [one for need in needed(view, first.kind_id) for one in need.offered if one.unit == unit]
        assert over.ref == first.ref
        assert over.ended_ms is not None
        assert all(one.verdict is not Verdict.FIT for one in offered_again)  # it is used now
    finally:
        record.close()
        assert desk.close(20)
        chain.close()


def _planned(desk: Desk, day):  # type: ignore[no-untyped-def]
    import time

    for _ in range(1200):
        if (plan := desk.day(day).plan) is not None:
            return plan
        time.sleep(0.05)
    raise AssertionError("no plan came")
