"""Bodies go after their term, and nothing else does; a body that went without an entry saying so is found."""

from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

import pytest
from sqlalchemy import create_engine, text

from fettlebook.book.bundle import export_book, import_book
from fettlebook.book.entries import Entry, Moment, new_entry
from fettlebook.book.kinds import BookPruned, DayPlanned, PracticeFileVersion
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.stores import SqliteStore, Store, prune_group_book
from fettlebook.book.tree import verify_consistency, verify_inclusion
from fettlebook.book.verify import Anchor

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
DAY = 86_400_000
LATER = Moment(NOW + 400 * DAY, "Europe/Berlin")


def planned(n: int) -> Entry:
    data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line=f"secret words {n}")
    return new_entry(data, moment=Moment(NOW, "Europe/Berlin"), device="tablet-3", n=n, by="p07", subjects=("day:2026-03-02",))


@pytest.fixture
def sent(store: Store) -> list[Entry]:
    """600 entries, a day apart each hundred; the practice file is the third."""
    entries = [planned(n) for n in range(1, 601)]
    store.append(entries[:2], now=NOW, via="tablet-3")
    store.note(PracticeFileVersion.of("a = 1\n"), moment=Moment(NOW + 10, "UTC"))
    for begin in range(2, 600, 100):
        store.append(entries[begin : begin + 100], now=NOW + begin * DAY // 100 + 20, via="tablet-3")
    return entries


@pytest.fixture
def pruned(store: Store, sent: list[Entry], request: pytest.FixtureRequest) -> Store:
    found = store.prunable(NOW + 3 * DAY)
    assert (found.last, found.goes, found.stays) == (303, 302, 1)
    assert store.prune(found.last, rule="three days", moment=LATER, by="ana") is not None
    if not isinstance(store, SqliteStore):
        assert prune_group_book(request.getfixturevalue("owner_url"), store.practice) == found.goes
    return store


def test_what_went_is_gone_and_all_else_is_as_it_was(pruned: Store, sent: list[Entry]) -> None:
    last = next(r for r in pruned.read(kinds=[BookPruned.KIND])).entry
    assert isinstance(last.data, BookPruned)
    gone = last.data.last_seq
    assert last.by == "ana"
    assert pruned.get(sent[0].id) is None
    assert [r.entry.kind for r in pruned.read(until=gone)] == [PracticeFileVersion.KIND]
    assert [r.entry for r in pruned.read(gone, kinds=["day.planned"])] == sent[gone - 1 :]
    assert [r.seq for r in pruned.read(subjects=["day:2026-03-02"])] == list(range(gone + 1, 602))
    assert pruned.latest(PracticeFileVersion.KIND) is not None
    assert pruned.prunable(NOW + 3 * DAY).goes == 0
    assert pruned.prune(gone, rule="again", moment=LATER) is None
    assert pruned.pruned_numbers()["tablet-3"] == [(1, gone - 1)]


def test_every_proof_still_holds_and_the_book_verifies_as_pruned(pruned: Store) -> None:
    size, root = pruned.head().size, pruned.head().root
    for seq in (1, 3, 200, 257, 402, 500, size):
        proof = pruned.prove_entry(seq)
        assert verify_inclusion(proof.leaf_hash, seq - 1, size, proof.hashes, root)
    for old in (1, 100, 256, 300, 601):
        assert verify_consistency(old, size, pruned.root_at(old), root, pruned.prove_growth(old))
    found = pruned.verify(anchors=[Anchor(300, pruned.root_at(300), "a day sheet"), Anchor(size, root, "a tablet")])
    assert found.whole, found.faults
    assert found.pruned > 200
    assert not found.not_received


def test_a_pruned_entry_sent_again_does_not_come_back(pruned: Store, sent: list[Entry]) -> None:
    size = pruned.head().size
    (again, known) = pruned.append([sent[0], sent[-1]], now=LATER.at, via="tablet-3")
    assert isinstance(again, Refused)
    assert "pruned" in again.findings[0].what
    assert isinstance(known, Receipt)
    assert pruned.head().size == size


def test_no_device_can_say_that_entries_were_pruned(store: Store) -> None:
    said = new_entry(BookPruned(first_seq=1, last_seq=5, rule="mine"), moment=LATER, device="tablet-3", n=1, by="p07")
    (result,) = store.append([said], now=NOW, via="tablet-3")
    assert isinstance(result, Refused)


@pytest.mark.parametrize("kind_of_store", ["sqlite"], indirect=True)
def test_a_body_that_went_without_an_entry_saying_so_and_a_changed_hash_are_found(pruned: SqliteStore) -> None:
    """Against the database itself, with its guard taken away."""

    def attack(statement: str) -> set[str]:
        engine = create_engine(f"sqlite:///{pruned.path}")
        with engine.begin() as connection:
            with suppress(Exception):
                connection.execute(text("DROP TRIGGER entry_no_update"))
            connection.execute(text(statement))
        engine.dispose()
        return {f.kind for f in pruned.verify().faults}

    assert "changed" in attack("UPDATE entry SET leaf = x'' WHERE seq = 550")
    assert "changed" in attack("UPDATE entry SET hash = zeroblob(32) WHERE seq = 5")


@pytest.mark.parametrize("kind_of_store", ["sqlite"], indirect=True)
def test_the_words_are_no_more_in_the_file(pruned: SqliteStore) -> None:
    held = b"".join(path.read_bytes() for path in pruned.path.parent.glob("book.sqlite*"))
    assert b'secret words 1"' not in held
    assert b'secret words 150"' not in held
    assert b'secret words 600"' in held


@pytest.mark.parametrize("kind_of_store", ["sqlite"], indirect=True)
def test_its_guard_is_back_and_tables_can_be_made_again(pruned: SqliteStore) -> None:
    engine = create_engine(f"sqlite:///{pruned.path}")
    with pytest.raises(Exception, match="never changed"), engine.begin() as connection:
        connection.execute(text("UPDATE entry SET leaf = x'' WHERE seq = 590"))
    engine.dispose()
    pruned.rebuild()
    assert pruned.verify().whole


def test_an_export_of_a_pruned_book_is_taken_in_as_it_is(pruned: Store, open_store: Callable[..., Store], tmp_path: Path) -> None:
    export_book(pruned, tmp_path / "out.zip")
    other = open_store("elm street")
    import_book(tmp_path / "out.zip", other)
    assert other.head() == pruned.head()
    found = other.verify()
    assert found.whole, found.faults
    assert found.pruned == pruned.verify().pruned
    assert list(other.read()) == list(pruned.read())
