"""What every store keeps beside the entries: files, checkpoints, devices' counters; and tables that can be made again."""

import threading
from collections.abc import Callable
from typing import Any

import pytest
from cryptography.hazmat.primitives.asymmetric.ed25519 import Ed25519PrivateKey
from sqlalchemy import create_engine, delete, select, text

from fettlebook.book.checkpoint import read_checkpoint
from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.kinds import ClockBack, StepDone
from fettlebook.book.notes import Signer
from fettlebook.book.received import Receipt
from fettlebook.book.stores import Rebuilt, SqliteStore, Store, rebuild_group_book, tables
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
HOUR = 3_600_000


def done(n: int, chair: str, *, device: str = "tablet-3", at: int = NOW) -> Entry:
    data = StepDone(duty="chair.between", step="between.flush", chair=chair, outcome="done", outlets=("turbine",))
    return new_entry(data, moment=Moment(at, "Europe/Berlin"), device=device, n=n, by="ana")


def put(store: Store, *entries: Entry, now: int = NOW) -> list[Any]:
    return store.append(entries, now=now, via=entries[0].device)


def test_a_file_is_kept_once_under_its_digest(store: Store) -> None:
    held = store.keep_file(b"time,temp\n0,20\n", media="text/csv", name="cycle.csv")
    assert store.keep_file(b"time,temp\n0,20\n", media="text/csv", name="again.csv").digest == held.digest
    assert store.file(held.digest) == b"time,temp\n0,20\n"
    assert list(store.files()) == [(held.digest, True)]
    with pytest.raises(Mendable, match="not kept here"):
        store.file("00" * 32)


def test_two_devices_that_keep_one_file_at_once_keep_it_once(open_store: Callable[..., Store]) -> None:
    store = open_store()
    threads = [threading.Thread(target=store.keep_file, args=(b"x" * 5000,), kwargs={"media": "text/csv"}) for _ in range(6)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(list(store.files())) == 1


def test_a_checkpoint_is_signed_once_for_each_size_and_kept(store: Store) -> None:
    signer = Signer("quayside", Ed25519PrivateKey.generate())
    put(store, done(1, "chair 1"))
    first = store.checkpoint(signer)
    assert store.checkpoint(signer) == first
    put(store, done(2, "chair 1"))
    second = store.checkpoint(signer, already=first)
    assert store.checkpoints() == [first, second]
    found = read_checkpoint(second, [signer.verifier])
    assert (found.size, found.root) == (2, store.head().root)


def test_a_gap_in_a_devices_counter_names_what_it_worked_on(store: Store) -> None:
    put(store, done(1, "chair 1"), done(2, "chair 1", at=NOW + HOUR), done(5, "chair 2", at=NOW + 2 * HOUR))
    missing = store.missing_of("tablet-3")
    assert missing is not None
    assert (missing.ranges, missing.count, missing.anything) == (((3, 4),), 2, False)
    assert missing.subjects == ("chair:chair 1", "chair:chair 2", "outlet:chair 1/turbine", "outlet:chair 2/turbine")
    assert (missing.since, missing.until) == (NOW + HOUR, NOW + 2 * HOUR)
    put(store, done(4, "chair 2"), done(3, "chair 1"))
    assert store.missing_of("tablet-3") is None
    assert store.missing_of("tablet-9") is None


def test_what_a_device_says_that_it_holds_is_missing_until_it_comes(store: Store) -> None:
    put(store, done(1, "chair 1"), done(2, "chair 3", at=NOW + 30 * HOUR))
    heard = store.heard_from("tablet-3", highest_n=4, now=NOW + 31 * HOUR)
    assert heard is not None
    assert heard == store.missing_of("tablet-3")
    assert heard.ranges == ((3, 4),)
    assert heard.subjects == ("chair:chair 3", "outlet:chair 3/turbine")  # chair 1 was the day before
    assert store.heard_from("tablet-3", highest_n=2, now=NOW + 32 * HOUR) == store.missing_of("tablet-3")  # a promise is not taken back
    put(store, done(3, "chair 3"), done(4, "chair 3"))
    assert store.heard_from("tablet-3", highest_n=4, now=NOW + 33 * HOUR) is None
    put(store, done(7, "chair 2", at=NOW + 34 * HOUR))
    again = store.missing_of("tablet-3")
    assert again is not None
    assert again.ranges == ((5, 6),)


def test_a_device_of_which_nothing_came_can_have_touched_anything(store: Store) -> None:
    heard = store.heard_from("tablet-7", highest_n=3, now=NOW)
    assert heard is not None
    assert heard.anything
    assert heard.ranges == ((1, 3),)
    put(store, done(1, "chair 1"))
    assert store.devices() == ("tablet-3", "tablet-7")
    with_gap = store.heard_from("tablet-8", highest_n=0, now=NOW)
    assert with_gap is None


def test_a_clock_that_went_back_is_said_once_and_work_goes_on(store: Store) -> None:
    put(store, done(1, "chair 1"), now=NOW)
    assert store.heed_clock(Moment(NOW - 4000, "UTC")) is None
    said = store.heed_clock(Moment(NOW - HOUR, "UTC"))
    assert isinstance(said, Receipt)
    assert said.received == NOW + 1
    assert store.heed_clock(Moment(NOW - HOUR, "UTC")) is None
    (got,) = store.read(kinds=[ClockBack.KIND])
    assert got.entry.data == ClockBack(from_ms=NOW, to_ms=NOW - HOUR)
    put(store, done(2, "chair 1"), now=NOW - HOUR)
    assert store.heed_clock(Moment(NOW - HOUR, "UTC")) is not None
    assert store.heed_clock(Moment(NOW + HOUR, "UTC")) is None


def beside(store: Store) -> list[Any]:
    with store._reading() as connection:
        found = []
        for table in (tables.entry_subject, tables.clash, tables.node):
            query = select(table).where(table.c.practice == store.practice).order_by(*table.primary_key)
            found.append([tuple(row) for row in connection.execute(query)])
    return found


def test_tables_read_off_the_entries_can_be_dropped_and_made_again(open_store: Callable[..., Store], request: Any) -> None:
    store, other = open_store(), open_store("mill lane")
    made = [done(n, f"chair {n % 3}") for n in range(1, 301)]
    store.append(made, now=NOW, via="tablet-3")
    put(other, done(1, "chair 9"))
    store.append([made[0].model_copy(update={"by": "ben"}).encode()], now=NOW, via="tablet-3")
    store.catch_up()
    other.catch_up()
    before, before_other = beside(store), beside(other)
    assert all(before)
    counts = tuple(map(len, before))

    assert rebuild(store, request) == rebuild(store, request)
    assert beside(store) == before
    wipe(store, request)
    assert not any(beside(store))
    rebuilt = rebuild(store, request)
    assert (rebuilt.subjects, rebuilt.clashes, rebuilt.nodes) == counts
    assert beside(store) == before
    assert beside(other) == before_other
    assert store.verify().whole


def rebuild(store: Store, request: Any) -> Rebuilt:
    if isinstance(store, SqliteStore):
        return store.rebuild()
    return rebuild_group_book(request.getfixturevalue("owner_url"), store.practice)


def wipe(store: Store, request: Any) -> None:
    names = (tables.entry_subject, tables.clash, tables.node)
    if isinstance(store, SqliteStore):
        with store._writing() as connection:
            for table in names:
                connection.execute(delete(table).where(table.c.practice == store.practice))
        return
    engine = create_engine(request.getfixturevalue("owner_url"))
    with engine.begin() as connection:
        for table in names:
            connection.execute(delete(table).where(table.c.practice == store.practice))
    engine.dispose()


def test_a_book_that_is_not_as_sealed_is_not_made_to_look_whole(open_store: Callable[..., Store], request: Any) -> None:
    store = open_store()
    put(store, done(1, "chair 1"), done(2, "chair 1"))
    before = beside(store)
    change = text("UPDATE head SET peaks = :peaks WHERE practice = :practice")
    said = {"peaks": bytes(32), "practice": store.practice}
    with store._writing() as connection:  # the program's own role may: the tree says what came of it
        connection.execute(change, said)
    with pytest.raises(Mendable, match="not as they were sealed"):
        rebuild(store, request)
    assert beside(store) == before


def test_a_kept_file_that_was_changed_or_is_gone_is_found_with_the_entries_that_name_it(open_store: Callable[..., Store]) -> None:
    store = open_store()
    held = store.keep_file(b"time,temp\n", media="text/csv")
    gone = held.model_copy(update={"digest": "ab" * 32})
    for n, one in enumerate((None, held, None, gone, held), start=1):
        data = StepDone(duty="d", step="s", chair="chair 1", outcome="done", files=(one,) if one else None)
        put(store, new_entry(data, moment=Moment(NOW, "UTC"), device="tablet-3", n=n, by="ana"))
    found = store.verify()
    assert [(f.kind, f.first, f.last) for f in found.faults] == [("file", 4, 4)]
    if not isinstance(store, SqliteStore):
        return  # the program's role can't change a file there
    with store._writing() as connection:
        connection.execute(text("DROP TRIGGER file_no_update"))
        connection.execute(text("UPDATE file SET content = CAST('time,temq' AS BLOB)"))
    assert [(f.kind, f.first, f.last) for f in store.verify().faults] == [("file", 2, 5), ("file", 4, 4)]
    with pytest.raises(Mendable, match="were changed"):
        store.file(held.digest)
