"""The wall board: what the page says, what the stream sends and when it ends."""

import asyncio
import csv
import io
import sys
import threading
import time
from collections.abc import Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path
from typing import Any

import pytest
from fastapi.sse import ServerSentEvent
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day
from test_standing_pages import Files, lived

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import OutOfService, from_ms, to_ms
from fettlebook.book.stores import open_book
from fettlebook.standing.model import Verdict
from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk
from fettlebook.web.record import Record
from fettlebook.web.wall.live import Live

pytestmark = pytest.mark.invented
Book = tuple[TestClient, Record, Desk, list]


def run_beside(work: Coroutine[Any, Any, None]) -> None:
    """Run it in a thread of its own: in this one the driver of browsers may have its loop."""
    with ThreadPoolExecutor(1) as beside:
        beside.submit(asyncio.run, work).result()


@pytest.fixture(scope="module")
def book(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Book]:
    """One book for all: what is written stays, and each test writes about a chair of its own."""
    times = [made_up_day.at(8, 29)]
    desk = Desk(Files(), lambda: times[0])
    with open_book(tmp_path_factory.mktemp("wall") / "book.sqlite", "quayside") as store:
        for one in lived():
            if one.received <= to_ms(times[0]):
                store.append([one.entry], now=one.received, via=one.via)
        record = Record(store, desk)
        assert record.ready(30)
        for _ in range(3000):
            if desk.day(made_up_day.DAY).plan is not None:
                break
            time.sleep(0.02)
        else:
            pytest.fail("the day was never planned")
        app = create_app(desk, made_up_day.DAY, record=record)
        yield TestClient(app, base_url="http://127.0.0.1", follow_redirects=False), record, desk, times
        record.close()
    assert desk.close(wait_s=10)


def stop_chair(record: Record, desk: Desk, chair: str) -> None:
    moment = Moment(to_ms(desk.now()), "Europe/London")
    Door(record.store).note(OutOfService(chair=chair, reason="the light flickers"), moment=moment, by="ana")


def test_the_board_shows_each_chair_machine_and_set_type_with_shape_and_word(book: Book) -> None:
    client, record, _, _ = book
    page = client.get("/board").text
    with record.view() as view:
        practice = view.look.basis.practice
        for subject in (*(f"chair:{c.id}" for c in practice.chairs), *(f"machine:{m.id}" for m in practice.machines)):
            assert f'<h3><a href="/standing/{subject.replace(":", "%3A").replace(" ", "%20")}">' in page
            assert f'v-{view.standing(subject).verdict.value}"><svg class="shape"' in page
        assert all(one.name in page for one in practice.sets if one.owned)
    assert "style=" not in page


def test_the_board_can_be_saved_as_a_table(book: Book) -> None:
    client, record, _, _ = book
    rows = {row["subject"]: row for row in csv.DictReader(io.StringIO(client.get("/board.csv").text))}
    with record.view() as view:
        for chair in view.look.basis.practice.chairs:
            assert rows[f"chair:{chair.id}"]["verdict"] == view.standing(f"chair:{chair.id}").verdict.value


def test_the_part_has_the_same_mark_until_it_reads_otherwise(book: Book) -> None:
    client, record, desk, _ = book
    first, second = client.get("/board/now").json(), client.get("/board/now").json()
    assert first == second
    assert f'data-mark="{first["mark"]}"' in client.get("/board").text
    stop_chair(record, desk, "chair 1")
    third = client.get("/board/now").json()
    assert third["mark"] != first["mark"]
    assert "the light flickers" in third["html"]


def live_of(record: Record, desk: Desk) -> Live:
    return Live(record, desk, lambda wall: "\n".join(f"{row.subject} {row.verdict.value}" for row in (*wall.chairs, *wall.machines)))


async def until(stream, event: str) -> ServerSentEvent:
    async with asyncio.timeout(20):
        async for one in stream:
            if one.event == event:
                return one
    raise AssertionError("the stream ended")


def test_the_stream_sends_the_part_again_after_an_entry_and_nothing_that_the_screen_has(book: Book) -> None:
    _, record, desk, _ = book

    async def look() -> None:
        live = live_of(record, desk)
        seen = live.part().mark
        stream = live.stream(seen, lambda: True)
        await until(stream, "still")  # it has this one
        noting = threading.Thread(target=stop_chair, args=(record, desk, "chair 2"))
        noting.start()
        told = await until(stream, "board")
        noting.join()
        assert told.id == live.part().mark != seen
        assert "chair:chair 2 unfit" in str(told.raw_data)
        again = live.stream(seen, lambda: True)  # a screen that comes back with an older mark
        assert (await until(again, "board")).id == told.id

    run_beside(look())


def test_the_stream_tells_the_end_of_a_verdict_that_no_entry_brings(book: Book) -> None:
    _, record, desk, times = book

    async def look() -> None:
        live = live_of(record, desk)
        wall = live.wall()
        assert wall.changes_ms is not None
        stream = live.stream(live.part().mark, lambda: True)
        await until(stream, "still")
        size = record.store.head().size
        times[0] = from_ms(wall.changes_ms, "Europe/London")
        told = await until(stream, "board")
        assert record.store.head().size == size
        assert str(told.raw_data).count(" fit") < sum(one.verdict is Verdict.FIT for one in (*wall.chairs, *wall.machines))

    run_beside(look())


@pytest.mark.parametrize("how", ["the device is withdrawn", "the server stops"])  # the last one: nobody is told anything any more
def test_the_stream_ends_by_itself_when(book: Book, how: str) -> None:
    _, record, desk, _ = book
    there = threading.Event()
    there.set()

    async def look() -> None:
        stream = live_of(record, desk).stream("", there.is_set)
        await until(stream, "board")
        if how == "the server stops":
            record.changed.close()
        else:
            there.clear()
        async with asyncio.timeout(20):
            left = [one async for one in stream]
        assert all(one.event != "board" for one in left)

    run_beside(look())
