"""What every store promises; run by SQLite and by PostgreSQL."""

import threading
import uuid
from collections.abc import Callable
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.book.entries import Entry, Moment, Mono, new_entry, read_entry
from fettlebook.book.kinds import BookImported, DayPlanned, EntryClash, EntryWithdrawn, ImportedVisit, PracticeFileVersion
from fettlebook.book.received import Receipt, Refused, seal, unseal
from fettlebook.book.stores import BATCH_MOST, Head, Store
from fettlebook.book.tree import EMPTY_ROOT, leaf_hash, peaks_of, verify_consistency, verify_inclusion
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
MOMENT = Moment(NOW, "Europe/Berlin", Mono(session="s1", ms=5))


def planned(n: int, line: str = "All visits fit.", *, device: str = "tablet-3", subjects: tuple[str, ...] = ("day:2026-03-02",)) -> Entry:
    data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line=line)
    return new_entry(data, moment=MOMENT, device=device, n=n, by="p07", subjects=subjects)


def with_id_of(first: Entry, other: Entry) -> bytes:
    return other.model_copy(update={"id": first.id}).encode()


def put(store: Store, *entries: Entry | bytes, now: int = NOW) -> list[Any]:
    return store.append(entries, now=now, via="tablet-3", offset=-250)


def test_an_empty_book_has_nothing_in_it(store: Store) -> None:
    assert store.head() == Head()
    assert store.head().root == EMPTY_ROOT
    assert list(store.read()) == []
    assert store.latest("day.planned") is None
    assert store.get(planned(1).id) is None
    assert store.append([], now=NOW, via="tablet-3") == []


def test_what_was_appended_is_read_in_order_with_place_and_time_of_receipt(store: Store) -> None:
    sent = [planned(n, f"line {n} – ä") for n in (1, 2, 3)]
    receipts = put(store, *sent)
    got = list(store.read())
    assert [g.entry for g in got] == sent
    assert [g.seq for g in got] == [1, 2, 3] == [r.seq for r in receipts]
    assert [g.received for g in got] == [NOW, NOW + 1, NOW + 2] == [r.received for r in receipts]
    assert {(g.offset, g.via) for g in got} == {(-250, "tablet-3")}
    assert [r.id for r in receipts] == [e.id for e in sent]
    assert (store.head().size, store.head().received) == (3, NOW + 2)


def test_the_sealed_bytes_hold_the_record_as_received(store: Store) -> None:
    (receipt,) = put(store, planned(1))
    (got,) = store.read()
    assert got.leaf == seal(got.entry.encode(), seq=1, received=NOW, offset=-250, via="tablet-3")
    assert unseal(got.leaf) == got
    assert receipt.leaf_hash == leaf_hash(got.leaf)


def test_sent_again_in_any_order_and_batch_an_entry_has_its_first_receipt(store: Store) -> None:
    a, b, c = planned(1, "a"), planned(2, "b"), planned(3, "c")
    first = {r.id: r for r in put(store, a, b)}
    again = put(store, c, b, a, c, now=NOW + 5000)
    assert again[1:3] == [first[b.id], first[a.id]]
    assert again[0] == again[3]
    assert store.head().size == 3


def test_other_content_under_a_known_id_is_refused_and_its_digest_is_kept_once(store: Store) -> None:
    a = planned(1, "true")
    put(store, a)
    forged = with_id_of(a, planned(1, "forged"))
    other = with_id_of(a, planned(1, "forged otherwise"))
    for batch in ([forged], [forged, forged], [planned(2, "b"), forged, other]):
        for result, raw in zip(put(store, *batch), batch, strict=True):
            assert isinstance(result, Refused if isinstance(raw, bytes) else Receipt)
    refused = put(store, forged)[0]
    assert refused.id == a.id
    assert "under this id" in refused.findings[0].what
    got = store.get(a.id)
    assert got is not None
    assert got.entry == a
    kept = [r.entry for r in store.read(kinds=["entry.clash"])]
    assert len(kept) == 2
    assert all(isinstance(k.data, EntryClash) and k.refers_to == a.id and k.data.via == "tablet-3" for k in kept)
    assert [r.seq for r in store.read()] == [1, 2, 3, 4]


def test_two_contents_under_one_id_in_one_batch_keep_the_first(store: Store) -> None:
    a = planned(1, "first")
    results = put(store, a, with_id_of(a, planned(1, "second")))
    assert [type(r) for r in results] == [Receipt, Refused]
    assert [r.entry.kind for r in store.read()] == ["day.planned", "entry.clash"]


def test_the_good_ones_of_a_batch_are_stored_where_others_are_refused(store: Store) -> None:
    a, b = planned(1), planned(2)
    results = put(store, a, b"{", b.encode().replace(b'"v":1', b'"v":2'), b"\xff" * 9, b)
    assert [type(r) for r in results] == [Receipt, Refused, Refused, Refused, Receipt]
    assert all(r.findings[0].mend for r in results if isinstance(r, Refused))
    assert [r.entry for r in store.read()] == [a, b]


def test_a_client_can_not_write_what_only_the_store_writes(store: Store) -> None:
    first = planned(1)
    note = EntryClash(digest="ab" * 32, via="tablet-3")
    clash = new_entry(note, moment=MOMENT, device="tablet-3", n=2, by="p07", refers_to=first.id)
    assert isinstance(put(store, clash)[0], Refused)
    assert isinstance(put(store, first.encode().replace(b'"v":1', b'"via":"x"'))[0], Refused)
    assert store.head().size == 0


def test_a_batch_that_is_too_long_is_refused_whole(store: Store) -> None:
    one = planned(1)
    with pytest.raises(Mendable, match="501 entries"):
        put(store, *[one] * (BATCH_MOST + 1))
    assert store.head().size == 0
    assert len(put(store, *[one] * BATCH_MOST)) == BATCH_MOST


def test_a_sender_that_can_be_no_device_is_refused(store: Store) -> None:
    for via in ("", "tablet\n3", "x" * 61, "tablet/3"):
        with pytest.raises(Mendable) as caught:
            store.append([planned(1)], now=NOW, via=via)
        assert caught.value.where == "via"
    assert store.head().size == 0


def test_the_time_of_receipt_rises_also_when_the_clock_goes_back(store: Store) -> None:
    put(store, planned(1), planned(2), now=NOW)
    put(store, planned(3), now=NOW - 3_600_000)
    put(store, planned(4), now=NOW + 60_000)
    assert [r.received for r in store.read()] == [NOW, NOW + 1, NOW + 2, NOW + 60_000]


def test_reading_asks_for_part_of_the_book(store: Store) -> None:
    put(
        store,
        planned(1, "a", subjects=("chair:1",)),
        planned(2, "b", subjects=("chair:2", "room:1", "chair:2")),
        planned(3, "c", subjects=("chair:1", "chair:2")),
    )
    store.note(PracticeFileVersion.of("a = 1\n"), moment=MOMENT, subjects=("practice:oak",))
    assert [r.seq for r in store.read(since=2)] == [3, 4]
    assert [r.seq for r in store.read(until=2)] == [1, 2]
    assert [r.seq for r in store.read(kinds=["practice_file.version"])] == [4]
    assert [r.seq for r in store.read(subjects=["chair:2"])] == [2, 3]
    assert [r.seq for r in store.read(subjects=["chair:1", "chair:2"], kinds=["day.planned"], since=1)] == [2, 3]
    for kind, subject, line in (("day.planned", "chair:1", "c"), ("day.planned", "room:1", "b"), ("day.planned", None, "c")):
        got = store.latest(kind, subject)
        assert got is not None
        assert isinstance(got.entry.data, DayPlanned)
        assert got.entry.data.line == line
    assert store.latest("day.planned", "chair:9") is None
    assert store.latest("practice_file.version", "chair:1") is None
    assert list(store.read(kinds=[])) == []
    assert list(store.read(subjects=["chair:3"])) == []


def test_reading_goes_on_over_many_pages_while_the_book_grows(store: Store) -> None:
    for start in range(0, 1200, 400):
        put(store, *(planned(start + i + 1) for i in range(400)))
    seen = []
    for got in store.read():
        if got.seq == 10:
            put(store, planned(1201))
        seen.append(got.seq)
    assert seen == list(range(1, 1202))


def test_the_program_notes_with_its_own_gapless_number_and_reads_the_latest_back(store: Store) -> None:
    store.note(PracticeFileVersion.of("a = 1\n"), moment=MOMENT)
    put(store, planned(1))
    second = store.note(PracticeFileVersion.of("a = 2\n", name="practice.toml"), moment=MOMENT, by="p01")
    got = store.latest("practice_file.version")
    assert got is not None
    assert isinstance(got.entry.data, PracticeFileVersion)
    assert (got.seq, got.entry.id, got.entry.data.text) == (second.seq, second.id, "a = 2\n")
    assert [(r.entry.device, r.entry.n) for r in store.read(kinds=["practice_file.version"])] == [("server", 1), ("server", 2)]
    assert (got.via, got.offset, got.entry.mono) == ("server", 0, MOMENT.mono)


def test_a_note_that_can_not_be_an_entry_leaves_nothing_behind(store: Store) -> None:
    visits = BookImported(day="2026-03-02", calendar_digest="ab" * 32, visits=(), counts={"Not a name": 1})
    many = tuple(ImportedVisit(ref=f"R{n}", chair="2", visit_kind="filling", start_ms=NOW, minutes=30) for n in range(15_000))
    for data in (
        visits,
        BookImported(day="2026-03-02", calendar_digest="ab" * 32, visits=many, counts={}),
        EntryWithdrawn(why="refers to nothing"),
        DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="\x00", line="x"),
    ):
        with pytest.raises(Mendable):
            store.note(data, moment=MOMENT)
    assert store.head().size == 0
    assert store.note(PracticeFileVersion.of(""), moment=MOMENT).seq == 1


def test_practices_in_one_database_do_not_see_each_other(open_store: Callable[..., Store]) -> None:
    oak, elm = open_store("oak street"), open_store("elm street")
    shared = planned(1)
    (mine,) = put(oak, shared)
    put(elm, planned(1), shared)
    assert mine.seq == 1
    assert [r.seq for r in oak.read()] == [1]
    assert [r.seq for r in elm.read()] == [1, 2]
    assert oak.latest("day.planned") != elm.latest("day.planned")
    put(oak, with_id_of(shared, planned(2)))
    assert (oak.head().size, elm.head().size) == (2, 2)


def test_many_devices_at_once_sending_the_same_get_one_order_without_gaps(store: Store) -> None:
    sent = [planned(n) for n in range(1, 41)]
    receipts: list[dict[str, Receipt]] = []

    def device(shift: int) -> None:
        mine: dict[str, Receipt] = {}
        order = sent[shift:] + sent[:shift]
        for i in range(0, len(order), 7):
            mine |= {r.id: r for r in put(store, *order[i : i + 7]) if isinstance(r, Receipt)}
        receipts.append(mine)

    threads = [threading.Thread(target=device, args=(shift,)) for shift in (0, 11, 23, 37)]
    for thread in threads:
        thread.start()
    for thread in threads:
        thread.join()
    assert len(receipts) == 4
    assert all(r == receipts[0] for r in receipts)
    got = list(store.read())
    assert [r.seq for r in got] == list(range(1, 41))
    assert sorted(r.entry.id for r in got) == sorted(e.id for e in sent)


@settings(max_examples=12, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(st.lists(st.lists(st.integers(0, 11), max_size=6), max_size=6))
def test_any_way_of_sending_a_set_of_entries_gives_the_set(open_store: Callable[..., Store], batches: list[list[int]]) -> None:
    book = open_store(uuid.uuid4().hex)
    sent = [planned(n + 1) for n in range(12)]
    before = book.head().size
    for batch in batches:
        put(book, *(sent[i] for i in batch))
    got = [r.entry.id for r in book.read(since=before)]
    assert sorted(got) == sorted({sent[i].id for batch in batches for i in batch})
    assert book.head().size == before + len(got)


def test_unknown_kinds_of_a_newer_tablet_are_kept_byte_for_byte(store: Store) -> None:
    raw = planned(1).encode().replace(b'"kind":"day.planned"', b'"kind":"chair.polished"').replace(b'"v":1', b'"v":1,"x_new":[1,"a"]')
    assert isinstance(put(store, raw)[0], Receipt)
    (got,) = store.read()
    assert got.entry.encode() == raw == read_entry(raw).encode()


def test_the_tree_grows_with_the_book_and_its_proofs_hold(store: Store) -> None:
    sizes = []
    for start, count in ((0, 1), (1, 2), (3, 252), (255, 1), (256, 1), (257, 270)):
        put(store, *(planned(start + i + 1) for i in range(count)))
        sizes.append(start + count)
        leaves = [leaf_hash(r.leaf) for r in store.read()]
        assert store.head().tree == peaks_of(leaves)
    roots = {size: peaks_of(leaves[:size]).root() for size in sizes}
    for size in sizes:
        assert store.root_at(size) == roots[size]
        for seq in {1, size, size // 2 + 1, max(1, size - 3)}:
            proof = store.prove_entry(seq, size)
            assert proof.leaf_hash == leaves[seq - 1]
            assert verify_inclusion(leaves[seq - 1], seq - 1, size, proof.hashes, roots[size])
        for old in (s for s in sizes if s <= size):
            assert verify_consistency(old, size, roots[old], roots[size], store.prove_growth(old, size))
    assert store.prove_entry(1) == store.prove_entry(1, sizes[-1])
    assert store.prove_growth(3) == store.prove_growth(3, sizes[-1])


def test_a_book_verifies_with_subjects_and_clashes_in_it(store: Store) -> None:
    assert store.verify().whole
    first = [planned(n, subjects=tuple(f"chair:{i}" for i in range(n % 5))) for n in range(1, 301)]
    put(store, *first)
    put(store, with_id_of(first[0], planned(1, "forged")), with_id_of(first[3], planned(1, "forged")))
    found = store.verify(receipts={5: leaf_hash(next(store.read(since=4)).leaf)})
    assert found.faults == ()
    assert found.root == store.head().root
    careful, store.rows = store.rows, None  # type: ignore[method-assign, assignment]  # the quick way is enough for a sound book
    assert store.verify() == store.verify(sealed_only=True) == found
    store.rows = careful  # type: ignore[method-assign]
    store._sweep = lambda *_, **__: None  # type: ignore[method-assign]
    assert store.verify() == found


def test_a_proof_of_what_is_not_there_is_refused_in_words(store: Store) -> None:
    for call in (lambda: store.prove_entry(1), lambda: store.root_at(1), lambda: store.prove_growth(1)):
        with pytest.raises(Mendable, match="entries"):
            call()
    put(store, planned(1))
    for call in (
        lambda: store.prove_entry(2),
        lambda: store.prove_entry(0),
        lambda: store.prove_growth(0),
        lambda: store.prove_growth(1, 2),
    ):
        with pytest.raises(Mendable):
            call()
