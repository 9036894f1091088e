"""Who waits for entries is told: by a thread or a coroutine, of this store's at once, of another server's on the same PostgreSQL soon."""

import asyncio
import threading
from collections.abc import Callable, Coroutine, Iterator
from concurrent.futures import ThreadPoolExecutor
from typing import Any

import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.stores import Store, open_group_book
from fettlebook.book.stores.told import Told
from fettlebook.web.changed import Changed

pytestmark = pytest.mark.invented
MOMENT = Moment(1_772_442_000_000, "Europe/Berlin")
LONG_S = 30.0  # far more than anything takes; a test that needs it has failed


def run_beside(work: Coroutine[Any, Any, Any]) -> Any:
    """Run it in a thread of its own: in this one the driver of browsers may have its loop."""
    with ThreadPoolExecutor(1) as beside:
        return beside.submit(asyncio.run, work).result()


def add(store: Store, text: str = "a = 1\n") -> None:
    store.note(PracticeFileVersion.of(text), moment=MOMENT)


@pytest.fixture
def changed(store: Store) -> Iterator[Changed]:
    made = Changed(store)
    yield made
    made.close()


def test_what_is_there_already_is_told_without_waiting(store: Store, changed: Changed) -> None:
    add(store)
    assert changed.wait_for(0, 0) == 1
    assert changed.wait_for(0, LONG_S) == 1
    assert run_beside(changed.after(0, LONG_S)) == 1


def test_where_nothing_comes_the_wait_ends_in_time_with_what_is_known(store: Store, changed: Changed) -> None:
    add(store)
    assert changed.wait_for(1, 0.01) == 1
    assert run_beside(changed.after(1, 0.01)) == 1


def test_a_thread_that_waits_is_told_of_the_next_entry(store: Store, changed: Changed) -> None:
    got: list[int] = []
    thread = threading.Thread(target=lambda: got.append(changed.wait_for(0, LONG_S)))
    thread.start()
    add(store)
    thread.join(LONG_S)
    assert got == [1]


def test_every_coroutine_that_waits_is_told_and_one_may_be_called_off(store: Store, changed: Changed) -> None:
    async def waits() -> list[int]:
        some = [asyncio.create_task(changed.after(0, LONG_S)) for _ in range(20)]
        off = asyncio.create_task(changed.after(0, LONG_S))
        await asyncio.sleep(0)
        off.cancel()
        await asyncio.to_thread(add, store)
        first = await asyncio.gather(*some)
        following = asyncio.create_task(changed.after(1, LONG_S))
        await asyncio.to_thread(add, store, "a = 2\n")
        assert (await asyncio.gather(off, return_exceptions=True)) != [1]
        return [*first, await following]

    assert run_beside(waits()) == [1] * 20 + [2]
    assert not changed._waiting


def test_a_refused_write_tells_nobody(store: Store, changed: Changed) -> None:
    told: list[int] = []
    forget = store.on_added(told.append)
    store.append([b"{}"], now=MOMENT.at, via="tablet-1")
    assert [size for size in told if size] == []
    add(store)
    assert told[-1] == 1
    forget()
    add(store, "a = 2\n")
    assert told[-1] == 1


def test_who_waits_is_let_go_when_the_program_ends(store: Store) -> None:
    changed = Changed(store)
    got: list[int] = []
    thread = threading.Thread(target=lambda: got.append(changed.wait_for(0, LONG_S)))
    thread.start()

    async def waits() -> int:
        task = asyncio.create_task(changed.after(0, LONG_S))
        await asyncio.sleep(0)
        changed.close()
        return await task

    assert run_beside(waits()) == 0
    thread.join(LONG_S)
    assert got == [0]
    assert changed.closed


def test_of_two_practices_in_one_book_only_the_one_that_grew_is_told(open_store: Callable[..., Store]) -> None:
    oak, elm = open_store("oak street"), open_store("elm street")
    told: list[int] = []
    oak.on_added(told.append)
    add(elm)
    assert told == []
    add(oak)
    assert told == [1]


@pytest.mark.parametrize("kind_of_store", ["postgres"], indirect=True)
def test_what_another_server_adds_is_seen_by_looking(open_store: Callable[..., Store], plain_url: str) -> None:
    here = open_store()
    with open_group_book(plain_url, here.practice, durable=False) as there:
        changed = Changed(here)
        assert changed.wait_for(0, 0) == 0
        got: list[int] = []
        thread = threading.Thread(target=lambda: got.append(changed.wait_for(0, LONG_S)))
        thread.start()
        add(there)
        thread.join(LONG_S)
        assert got == [1]

        async def waits() -> int:
            task = asyncio.create_task(changed.after(1, LONG_S))
            await asyncio.to_thread(add, there, "a = 2\n")
            return await task

        assert run_beside(waits()) == 2
        changed.close()


def test_only_who_asked_is_told() -> None:
    first: list[int] = []
    second: list[int] = []
    told = Told()
    forget = told.add(first.append)
    told.add(second.append)
    told.added(1)
    forget()
    told.added(2)
    assert (first, second) == ([1], [1, 2])
