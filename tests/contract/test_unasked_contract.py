"""A store adds without asking where the book stands, and whether it has an entry already; that never shows. By SQLite and PostgreSQL."""

from collections.abc import Callable
from typing import Any

import pytest
from sqlalchemy import create_engine, text

from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.kinds import DayPlanned, EntryClash
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.stores import PostgresStore, Store
from fettlebook.book.stores.appending import Appending
from fettlebook.errors import AwayError

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000


def said(n: int, line: str = "Invented.", device: str = "t1") -> Entry:
    data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line=line)
    return new_entry(data, moment=Moment(NOW, "UTC"), device=device, n=n, by="p07")


def put(store: Store, *entries: Entry | bytes) -> list[Any]:
    return store.append(entries, now=NOW, via="t1")


def asks_never(monkeypatch: pytest.MonkeyPatch) -> None:
    def asks(*_: object) -> None:
        raise AssertionError("it asks first")

    monkeypatch.setattr(Appending, "_head", asks)


def test_after_the_first_nothing_is_asked(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    put(store, said(1))
    asks_never(monkeypatch)
    receipts = [one for n in range(2, 600, 100) for one in put(store, *(said(n + i) for i in range(100)))]
    assert [r.seq for r in receipts] == list(range(2, 602))
    assert [r.received for r in receipts] == list(range(NOW + 1, NOW + 601))
    monkeypatch.undo()
    assert store.verify().whole


def test_two_that_add_in_turn_do_not_mislead_each_other(store: Store) -> None:
    other, sent = store.of(store.practice), []
    for n in range(1, 40, 2):
        sent += [said(n), said(n + 1)]
        (one,), (two,) = put(store, sent[-2]), put(other, sent[-1])
        assert (one.seq, two.seq) == (n, n + 1)
    assert [r.entry for r in store.read()] == sent
    assert store.head() == other.head()
    assert store.verify().whole


def test_what_comes_again_gets_its_first_receipt_and_what_is_new_its_own(store: Store) -> None:
    old, new = [said(n) for n in range(1, 5)], [said(n) for n in range(5, 8)]
    first = put(store, *old)
    again = put(store, new[0], *old, new[1])
    assert again[1:-1] == first
    assert [again[0].seq, again[-1].seq] == [5, 6]
    assert put(store, *new)[2].seq == 7  # one of them new
    assert store.head().size == 7
    assert store.verify().whole


def test_another_content_under_an_id_is_refused_and_noted_also_within_one_batch(store: Store) -> None:
    put(store, said(1))
    made = said(2)
    results = put(store, made, made.model_copy(update={"by": "ben"}).encode(), said(3))
    assert [type(one) for one in results] == [Receipt, Refused, Receipt]
    assert [r.entry.kind for r in store.read()] == ["day.planned", "day.planned", EntryClash.KIND, "day.planned"]
    results = put(store, made.model_copy(update={"by": "cid"}).encode())
    assert isinstance(results[0], Refused)
    assert store.head().size == 5
    assert store.verify().whole


@pytest.mark.parametrize("change", ["received = received + 100000", "size = 2, peaks = :peaks"])
def test_where_the_head_was_moved_by_others_it_is_asked(store: Store, change: str) -> None:
    put(store, said(1), said(2))
    peaks = store.head().tree.hashes
    put(store, said(3))
    before = store.head()
    with store._writing() as connection:  # what a book put back from an earlier time looks like
        values = {"practice": store.practice} | ({"peaks": b"".join(peaks)} if ":peaks" in change else {})
        connection.execute(text(f"UPDATE head SET {change} WHERE practice = :practice"), values)
    if ":peaks" in change:
        with pytest.raises(Exception, match=r"(?i)unique"):  # entry 3 stands there: nothing is put over it
            put(store, said(4))
        assert [r.seq for r in store.read()] == [1, 2, 3]
        return
    (receipt,) = put(store, said(4))
    assert receipt.received == before.received + 100_001


def test_a_connection_that_was_cut_between_two_entries_is_not_noticed(open_store: Callable[..., Store], request: Any) -> None:
    store = open_store()
    if not isinstance(store, PostgresStore):
        pytest.skip("a file has no connection")
    put(store, said(1))
    put(store, said(2))
    owner = create_engine(request.getfixturevalue("owner_url"))
    with owner.begin() as connection:
        cut = "SELECT count(pg_terminate_backend(pid)) FROM pg_stat_activity WHERE usename = :role"
        assert connection.execute(text(cut), {"role": store._engine.url.username}).scalar_one() > 0
    owner.dispose()
    assert [one.seq for one in put(store, said(3), said(4))] == [3, 4]
    assert [r.entry.n for r in store.read()] == [1, 2, 3, 4]


def test_what_was_stored_though_no_answer_came_is_not_stored_twice(store: Store, monkeypatch: pytest.MonkeyPatch) -> None:
    if not isinstance(store, PostgresStore):
        pytest.skip("a file has no connection")
    put(store, said(1))
    adding = store._adding

    class Lost:
        def __enter__(self) -> Any:
            self.inner = adding()
            return self.inner.__enter__()

        def __exit__(self, *said: Any) -> None:
            self.inner.__exit__(*said)  # it is committed
            raise AwayError("the database does not answer", where="x", mend="y")

    monkeypatch.setattr(store, "_adding", Lost)
    made = said(2)
    (receipt,) = put(store, made)
    assert (receipt.seq, store.head().size) == (2, 2)
    assert put(store, made) == [receipt]
    assert store.verify().whole
