"""The table of subjects follows the entries; no one who reads sees that. Run by SQLite and by PostgreSQL."""

import random
import threading
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest
from sqlalchemy import func, select, text

from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.kinds import DayPlanned
from fettlebook.book.stores import BATCH_MOST, Store, open_book, tables
from fettlebook.book.stores.subjects import AT_ONCE, BEHIND_MOST, subjects_in
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
CHAIRS = [f"chair:{n}" for n in range(1, 5)]


def said(n: int, *subjects: str, day: str = "2026-03-02") -> Entry:
    data = DayPlanned(day=day, instance_digest="ab" * 32, verdict="fits", line="Invented.")
    return new_entry(data, moment=Moment(NOW, "UTC"), device="t1", n=n, by="p07", subjects=subjects)


def put(store: Store, entries: list[Entry]) -> None:
    for begin in range(0, len(entries), BATCH_MOST):
        store.append(entries[begin : begin + BATCH_MOST], now=NOW, via="t1")


def rows_of(store: Store) -> int:
    with store._reading() as connection:
        s = tables.entry_subject
        return int(connection.execute(select(func.count()).select_from(s).where(s.c.practice == store.practice)).scalar_one())


def about(store: Store, *subjects: str, **more: Any) -> list[int]:
    return [r.seq for r in store.read(subjects=subjects, **more)]


def test_an_entry_is_found_by_its_subject_as_soon_as_it_is_in_the_book(store: Store) -> None:
    put(store, [said(1, "chair:1"), said(2, "chair:2"), said(3, "chair:1", "chair:2")])
    assert rows_of(store) == 0  # else this would show nothing
    for _ in range(2):
        assert about(store, "chair:1") == [1, 3]
        assert about(store, "chair:1", "chair:2", since=1, until=2) == [2]
        assert about(store, "chair") == about(store) == []
        newest = store.latest("day.planned", "chair:1")
        assert newest is not None
        assert newest.seq == 3
        assert store.latest("chair.released", "chair:1") is None
        assert store.verify().whole
        store.catch_up()
        assert rows_of(store) == 7  # each has its day, too


def test_reading_gives_the_same_however_far_the_table_was_read_off(store: Store) -> None:
    chance = random.Random(20260302)
    told: list[Entry] = []
    for _ in range(30):
        more = [said(len(told) + n, *chance.sample(CHAIRS, chance.randrange(4))) for n in range(1, chance.randrange(1, 40))]
        told += more
        put(store, more)
        if chance.random() < 0.3:
            store.catch_up()
        wanted = chance.sample(CHAIRS, chance.randrange(1, 3))
        since = chance.randrange(len(told))
        right = [n for n, made in enumerate(told, 1) if n > since and not set(wanted).isdisjoint(made.subjects)]
        assert about(store, *wanted, since=since) == right
        newest = store.latest("day.planned", wanted[0])
        of_one = [n for n, made in enumerate(told, 1) if wanted[0] in made.subjects]
        assert (newest.seq if newest else None) == (of_one[-1] if of_one else None)
    assert store.verify().whole


def test_far_behind_the_table_is_brought_forward_before_it_is_read(store: Store) -> None:
    put(store, [said(n, f"chair:{n % 4}") for n in range(1, BEHIND_MOST + 2)])
    assert rows_of(store) == 0
    assert about(store, "chair:1") == list(range(1, BEHIND_MOST + 2, 4))
    assert rows_of(store) == 2 * (BEHIND_MOST + 1)
    assert store.verify().whole


def test_where_the_table_can_not_be_brought_forward_reading_answers_all_the_same(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store, [said(n, f"chair:{n % 4}") for n in range(1, BEHIND_MOST + 2)])

    def full() -> None:
        raise Mendable("the disk is full", where="book", mend="Free space on it.")

    monkeypatch.setattr(store, "catch_up", full)
    assert about(store, "chair:1") == list(range(1, BEHIND_MOST + 2, 4))
    assert store.verify().whole
    assert rows_of(store) == 0


def test_it_is_brought_forward_by_several_at_once_while_others_add(open_store: Callable[..., Store]) -> None:
    stores = [open_store()]
    stores += [stores[0].of(stores[0].practice) for _ in range(3)]
    failed: list[BaseException] = []

    def run(which: int) -> None:
        try:
            for n in range(12):
                device = f"t{which}"
                made = [said(5 * n + i, f"chair:{which}").model_copy(update={"device": device}) for i in range(1, 6)]
                stores[which].append(made, now=NOW, via=device)
                stores[(which + 1) % 4].catch_up()
        except BaseException as error:  # said below, in the test's own thread
            failed.append(error)

    threads = [threading.Thread(target=run, args=(which,)) for which in range(4)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert not failed
    stores[0].catch_up()
    assert rows_of(stores[0]) == 2 * 240
    assert [len(about(stores[0], f"chair:{which}")) for which in range(4)] == [60] * 4
    assert stores[0].verify().whole


@pytest.mark.parametrize(
    ("statement", "whole"),
    [
        ("UPDATE head SET subjects_to = 0", True),  # then more is read from the entries themselves
        ("UPDATE head SET subjects_to = 8", False),  # the table has not been read off so far
        ("UPDATE head SET subjects_to = 1000", False),
        ("INSERT INTO entry_subject SELECT practice, 'chair:4', 2 FROM head", False),
    ],
)
def test_a_place_that_was_changed_is_found_or_changes_nothing(store: Store, statement: str, whole: bool) -> None:
    put(store, [said(n, "chair:1") for n in range(1, 6)])
    store.catch_up()
    put(store, [said(n, "chair:1") for n in range(6, 11)])
    assert store.verify().whole
    with store._writing() as connection:
        connection.execute(text(f"{statement} WHERE practice = :practice"), {"practice": store.practice})
    assert store.verify().whole is whole
    if whole:
        assert about(store, "chair:1") == list(range(1, 11))
        store.catch_up()  # over rows that are there
        assert store.verify().whole


def test_who_may_only_read_a_book_sees_what_its_writer_has_just_added(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite") as writer, open_book(tmp_path / "book.sqlite", write=False) as reader:
        put(writer, [said(n, f"chair:{n % 4}") for n in range(1, BEHIND_MOST + 10)])
        assert about(reader, "chair:1") == list(range(1, BEHIND_MOST + 10, 4))
        newest = reader.latest("day.planned", "chair:2")
        assert newest is not None
        assert newest.seq == BEHIND_MOST + 6
        assert reader.verify().whole
        assert rows_of(reader) == 0
    with open_book(tmp_path / "book.sqlite", write=False) as reader:  # a writer that ends leaves it ready
        assert rows_of(reader) == 2 * (BEHIND_MOST + 9)
        assert reader.verify().whole


def test_a_long_way_is_gone_in_several_transactions(tmp_path: Path) -> None:
    with open_book(tmp_path / "book.sqlite") as store:
        put(store, [said(n, "chair:1") for n in range(1, AT_ONCE + 3)])
        assert len(about(store, "chair:1")) == AT_ONCE + 2
        assert rows_of(store) == 2 * (AT_ONCE + 2)


def test_bytes_that_are_no_record_name_no_subject() -> None:
    for leaf in (
        b"",
        b"{",
        b'{"entry":{"subjects":["chair:1",2]}}',
        b'{"entry":[]}',
        b"[" * 100_000,
        b'{"entry":{}}',
        b'{"entry":{"subjects":["\xff"]}}',
    ):
        assert list(subjects_in(leaf)) == []
    assert list(subjects_in(b'{"entry":{"subjects":["chair:1","day:x","chair:1"]},"seq":1}')) == ["chair:1", "day:x"]
