"""Whatever is done to a book behind the program's back is found, and located."""

import os
import random
import sqlite3
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book.entries import Moment, Mono, new_entry, new_id
from fettlebook.book.kinds import CycleRecorded, DayPlanned
from fettlebook.book.received import Receipt
from fettlebook.book.stores import SqliteStore, Store, open_book, tables
from fettlebook.book.stores.pen import SqlitePen
from fettlebook.book.stores.quick import AtStart, Quick
from fettlebook.book.sweep import RUN, Salt
from fettlebook.book.sweeper import sweep_apart
from fettlebook.book.tree import TILE, Peaks, leaf_hash, peaks_of
from fettlebook.book.verify import HOLES_MOST, Anchor, Row, Verification, verify_book
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
SIZE = 700  # two whole runs of 256 and a rest of 188 = 128 + 32 + 16 + 8 + 4
FLIPS = int(os.environ.get("FETTLEBOOK_FLIPS", "100"))  # more in a soak
NOW = 1_772_442_000_000


class Book:
    """What a store holds, as values to tamper with."""

    def __init__(self, rows: list[Row], leaves: list[bytes]) -> None:
        self.rows, self.leaves = rows, leaves
        tree, nodes = Peaks(), {}
        for hashed in leaves:
            tree, made = tree.grown(hashed)
            nodes |= {(level, number): value for level, number, value in made if level == 8}
        self.tree, self.nodes = tree, nodes

    def verify(self, rows: list[Row] | None = None, **more: Any) -> Verification:
        given_ = {"size": self.tree.size, "peaks": self.tree.hashes, "nodes": self.nodes} | more
        return verify_book(self.rows if rows is None else rows, **given_)


@pytest.fixture(scope="module")
def path(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("verify") / "book.sqlite"
    with open_book(path) as store:
        data = [DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line=f"Plan {n}, invented.") for n in range(SIZE)]
        made = [
            new_entry(d, moment=Moment(NOW + n, "UTC"), device=f"t{n % 3}", n=n // 3 + 1, by="p07", subjects=(f"chair:{n % 3}",))
            for n, d in enumerate(data)
        ]
        for start in range(0, SIZE, 350):
            store.append(made[start : start + 350], now=NOW + start * 1000, via="t0")
    return path


@pytest.fixture(scope="module")
def book(path: Path) -> Book:
    with open_book(path, write=False) as store:
        rows = list(store.rows())
    return Book(rows, [leaf_hash(row.leaf) for row in rows])


def replace(row: Row, **changed: Any) -> Row:
    return row._replace(**changed)


def said(verification: Verification) -> list[tuple[str, int, int]]:
    return [(f.kind, f.first, f.last) for f in verification.faults]


def rewritten(row: Row, old: bytes = b"invented", new: bytes = b"INVENTED") -> Row:
    leaf = row.leaf.replace(old, new)
    assert leaf != row.leaf
    return replace(row, leaf=leaf, hash=leaf_hash(leaf))


def test_a_book_that_nobody_touched_is_whole_and_has_the_root_of_its_head(path: Path, book: Book) -> None:
    with open_book(path, write=False) as store:
        found = store.verify(anchors=[Anchor(300, store.root_at(300), "a day sheet")], receipts={5: book.leaves[4]})
        assert found.whole
        assert (found.size, found.root) == (SIZE, store.head().root)
        assert found.not_received == {}
    assert book.verify() == found
    assert verify_book([], size=0, peaks=(), nodes={}).whole


@pytest.mark.parametrize("seq", [1, 255, 256, 257, 512, 513, 640, 641, 700])
def test_one_changed_byte_is_located_to_its_entry(book: Book, seq: int) -> None:
    row = book.rows[seq - 1]
    changed = replace(row, leaf=row.leaf.replace(b"Plan", b"Plam"))
    found = book.verify([*book.rows[: seq - 1], changed, *book.rows[seq:]])
    assert said(found) == [("changed", seq, seq)]
    assert found.root != book.tree.root()


@pytest.mark.parametrize(("seq", "run"), [(1, (1, 256)), (300, (257, 512)), (513, (513, 640)), (650, (641, 672)), (700, (697, 700))])
def test_a_change_that_also_mends_the_columns_is_located_to_the_run_whose_hash_was_kept(book: Book, seq: int, run: tuple[int, int]) -> None:
    rows = [*book.rows[: seq - 1], rewritten(book.rows[seq - 1]), *book.rows[seq:]]
    assert said(book.verify(rows)) == [("changed", *run)]
    assert ("changed", seq, seq) in said(book.verify(rows, receipts={seq: book.leaves[seq - 1]}))


@pytest.mark.parametrize("column", ["id", "kind", "device", "n", "hash"])
def test_a_changed_column_beside_true_bytes_is_an_index_fault(book: Book, column: str) -> None:
    for seq in (10, 690):
        old = getattr(book.rows[seq - 1], column)
        bad = replace(book.rows[seq - 1], **{column: old + 1 if isinstance(old, int) else old[:-1]})
        found = book.verify([*book.rows[: seq - 1], bad, *book.rows[seq:]])
        assert said(found) == [("index", seq, seq)]
        assert column in found.faults[0].what
        assert found.root == book.tree.root()


@pytest.mark.parametrize(("first", "last"), [(1, 1), (5, 5), (256, 257), (100, 600), (699, 699), (700, 700), (520, 700), (1, 700)])
@pytest.mark.parametrize("renumber", [False, True])
def test_missing_entries_are_named_also_where_the_rest_was_renumbered(book: Book, first: int, last: int, renumber: bool) -> None:
    rows = [*book.rows[: first - 1], *book.rows[last:]]
    if renumber:
        rows = [replace(row, seq=place + 1) for place, row in enumerate(rows)]
    assert said(book.verify(rows)) == [("missing", first, last)]


@pytest.mark.parametrize(("one", "other"), [(5, 6), (1, 700), (20, 300), (513, 515)])
def test_two_entries_that_changed_places_are_named_and_no_others(book: Book, one: int, other: int) -> None:
    rows = list(book.rows)
    rows[one - 1], rows[other - 1] = replace(rows[other - 1], seq=one), replace(rows[one - 1], seq=other)
    found = book.verify(rows)
    assert {f.kind for f in found.faults} == {"reordered"}
    assert {(f.first, f.last) for f in found.faults} == {(one, other)}
    assert len(found.faults) <= 2


def test_a_moved_block_is_one_fault(book: Book) -> None:
    moved = [*book.rows[:99], *book.rows[149:600], *book.rows[99:149], *book.rows[600:]]
    found = book.verify([replace(row, seq=place + 1) for place, row in enumerate(moved)])
    assert said(found) == [("reordered", 100, 600)]
    assert "sealed as 100, it stands at 551" in found.faults[0].what


def test_utter_disorder_is_said_at_once(book: Book) -> None:
    rows = [row for pair in zip(book.rows[1::2], book.rows[::2], strict=True) for row in pair] * 3
    found = book.verify([replace(row, seq=place + 1) for place, row in enumerate(rows)])
    assert ("reordered", 1, SIZE) in said(found)


@pytest.mark.parametrize("seq", [1, 5, 256, 300, 600, 700])
def test_an_entry_put_in_is_named_also_where_the_rest_was_moved_up(book: Book, seq: int) -> None:
    forged = rewritten(book.rows[seq - 1])
    rows = [*book.rows[: seq - 1], forged, *(replace(row, seq=row.seq + 1) for row in book.rows[seq - 1 :])]
    assert said(book.verify(rows)) == [("inserted", seq, seq)]


def test_entries_after_the_end_that_the_head_knows_are_put_in(book: Book) -> None:
    found = book.verify(size=698, peaks=peaks_of(book.leaves[:698]).hashes)
    assert said(found) == [("inserted", 699, 700)]


@pytest.mark.parametrize(
    "leaf", [b"", b"\xff", b"{}", b"[]", b'{"entry":1,"offset":0}', b'{"entry":{},"offset":0}', b"[" * 100_000], ids=lambda b: repr(b)[:20]
)
def test_bytes_that_can_not_be_read_are_located(book: Book, leaf: bytes) -> None:
    for seq in (1, 300, 700):
        rows = [*book.rows[: seq - 1], replace(book.rows[seq - 1], leaf=leaf), *book.rows[seq:]]
        assert said(book.verify(rows)) == [("changed", seq, seq)]


def test_a_kept_hash_that_was_changed_or_is_gone_is_told_from_changed_entries(book: Book) -> None:
    assert said(book.verify(nodes=book.nodes | {(8, 1): bytes(32)})) == [("index", 257, 512)]
    assert said(book.verify(nodes={(8, 0): book.nodes[8, 0]})) == [("index", 257, 512)]
    assert said(book.verify(peaks=book.tree.hashes[:-1])) == [("index", 1, SIZE)]


def test_who_rewrites_the_whole_book_is_found_by_a_root_that_left_the_machine(book: Book) -> None:
    rows = [*book.rows[:399], rewritten(book.rows[399]), *book.rows[400:]]
    forged = Book(rows, [leaf_hash(row.leaf) for row in rows])
    assert forged.verify().whole  # it agrees with itself: no program can tell from the machine alone
    anchors = [Anchor(n, peaks_of(book.leaves[:n]).root(), f"day sheet {n}") for n in (100, 390, 450, 700)]
    found = forged.verify(anchors=anchors)
    assert said(found) == [("rewritten", 391, 450)]
    assert "day sheet 450" in found.faults[0].what
    assert said(forged.verify(receipts={400: book.leaves[399]})) == [("changed", 400, 400)]


def test_a_book_cut_short_with_a_right_head_is_found_by_what_left_the_machine(book: Book) -> None:
    short = Book(book.rows[:600], book.leaves[:600])
    assert short.verify().whole
    assert said(short.verify(anchors=[Anchor(700, book.tree.root(), "tablet 3")])) == [("missing", 601, 700)]
    assert said(short.verify(receipts={650: book.leaves[649]})) == [("missing", 650, 650)]


def test_numbers_that_a_tablet_has_used_and_that_never_came_are_named(book: Book) -> None:
    rows = [row for row in book.rows if not (row.device == "t1" and row.n in {5, 7})]
    entries = [row for row in book.rows if row.device == "t1"]
    assert {row.n for row in entries} >= {5, 7}
    assert book.verify(rows).not_received == {"t1": (5, 7)}


tampering = st.sampled_from(["byte", "bit", "column", "drop", "swap", "double", "receive"])


@settings(max_examples=60, deadline=None)
@given(tampering, st.integers(1, SIZE), st.data())
def test_any_single_tampering_is_found_near_where_it_was_done(book: Book, how: str, seq: int, data: st.DataObject) -> None:
    rows, i = list(book.rows), seq - 1
    row = rows[i]
    if how in {"byte", "bit"}:
        at = data.draw(st.integers(0, len(row.leaf) - 1))
        flip = data.draw(st.integers(1, 255)) if how == "byte" else 1 << data.draw(st.integers(0, 7))
        rows[i] = replace(row, leaf=row.leaf[:at] + bytes([row.leaf[at] ^ flip]) + row.leaf[at + 1 :])
    elif how == "column":
        rows[i] = replace(row, kind=row.kind + "x")
    elif how == "drop":
        del rows[i]
    elif how == "swap":
        other = data.draw(st.integers(1, SIZE).filter(lambda n: n != seq)) - 1
        rows[i], rows[other] = replace(rows[other], seq=seq), replace(row, seq=other + 1)
    elif how == "double":
        rows = [*rows[:i], row, *(replace(r, seq=r.seq + 1) for r in rows[i:])]
    else:
        rows[i] = rewritten(row, b'"received":', b'"received":1')
    found = book.verify(rows)
    assert not found.whole
    assert any(f.first <= seq <= f.last for f in found.faults)


def tamper(path: Path, *statements: str) -> None:
    raw = sqlite3.connect(path)
    raw.executescript(";".join(["DROP TRIGGER entry_no_update", "DROP TRIGGER entry_no_delete", *statements]))
    raw.close()


@pytest.mark.parametrize(
    ("statement", "expected"),
    [
        (
            'UPDATE entry SET leaf = CAST(replace(CAST(leaf AS TEXT), \'"by":"p07"\', \'"by":"p01"\') AS BLOB) WHERE seq = 42',
            ("changed", 42, 42),
        ),
        ("UPDATE entry SET kind = 'x.y' WHERE seq = 300", ("index", 300, 300)),
        ("DELETE FROM entry WHERE seq BETWEEN 10 AND 12", ("missing", 10, 12)),
        ("DELETE FROM entry WHERE seq = 700", ("missing", 700, 700)),
        ("UPDATE entry SET seq = seq + 1000", ("index", 1001, 1700)),
        ("UPDATE head SET size = 650", ("index", 1, 650)),
        ("UPDATE head SET received = 5", ("index", 700, 700)),
        ("UPDATE entry_subject SET subject = 'chair:3' WHERE seq = 7 AND subject LIKE 'chair:%'", ("index", 1, 700)),
        ("DELETE FROM entry_subject WHERE seq = 7", ("index", 1, 700)),
        ("INSERT INTO entry_subject SELECT practice, 'chair:3', 7 FROM head", ("index", 1, 700)),
        ("INSERT INTO clash SELECT practice, 'x', x'00', 7 FROM head", ("index", 1, 700)),
        ("UPDATE node SET hash = zeroblob(32) WHERE number = 0", ("index", 1, 256)),
    ],
)
def test_tampering_in_the_file_itself_is_found_by_the_store(
    path: Path, tmp_path: Path, statement: str, expected: tuple[str, int, int]
) -> None:
    copy = tmp_path / "book.sqlite"
    copy.write_bytes(path.read_bytes())
    tamper(copy, statement)
    with open_book(copy, write=False) as store:
        assert expected in said(store.verify())


def test_a_flipped_bit_anywhere_in_the_file_is_found_or_changes_nothing_that_is_read(tmp_path: Path) -> None:
    path = tmp_path / "book.sqlite"
    with open_book(path) as store:
        data = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line="Invented.")
        made = [new_entry(data, moment=Moment(NOW, "UTC"), device="t1", n=n, by="p07", subjects=("chair:1",)) for n in range(1, 41)]
        store.append(made, now=NOW, via="t1")
    good, chance = path.read_bytes(), random.Random(os.environ.get("FETTLEBOOK_SEED", "20260302"))
    with open_book(path, write=False) as store:
        before = everything(store)
    silent = 0
    for _ in range(FLIPS):
        place = chance.randrange(len(good) * 8)
        flipped = bytearray(good)
        flipped[place // 8] ^= 1 << place % 8
        path.write_bytes(flipped)
        try:
            with open_book(path, write=False) as store:
                store.check()
                found = not store.verify().whole
                assert found or everything(store) == before, f"bit {place}"
                silent += not found
        except Mendable:
            pass
    assert silent < FLIPS  # some were found: the test can fail


def everything(store: SqliteStore) -> list[Any]:
    with store._reading() as connection:
        return [connection.exec_driver_sql(f"SELECT * FROM {table}").all() for table in tables.metadata.tables]


@pytest.mark.parametrize("quick", [True, False])
def test_a_book_is_verified_while_others_write(path: Path, tmp_path: Path, quick: bool) -> None:
    copy = tmp_path / "book.sqlite"
    copy.write_bytes(path.read_bytes())
    with open_book(copy) as store:
        rows: Callable[..., Any] = store.rows
        swept: Callable[..., Any] = store._sweep
        data = DayPlanned(day="2026-03-03", instance_digest="ab" * 32, verdict="fits", line="x")

        def and_write(until: int | None = None) -> Any:
            for row in rows(until):
                if row.seq % 200 == 0:
                    store.note(data, moment=Moment(NOW, "UTC"))
                yield row

        def and_write_three(*asked: Any, **how: Any) -> Any:
            for _ in range(3):
                store.note(data, moment=Moment(NOW, "UTC"))
            return swept(*asked, **how)

        store.rows = and_write  # type: ignore[method-assign]
        store._sweep = and_write_three if quick else lambda *_, **__: None  # type: ignore[method-assign]
        assert store.verify().whole
        assert store.head().size == SIZE + 3


@pytest.fixture(scope="module")
def long_book(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A book with all that entries can look like: clocks, roles, references, quotation marks, files, clashes, unknown kinds."""
    path = tmp_path_factory.mktemp("long") / "book.sqlite"
    with open_book(path) as store:
        log = store.keep_file(b"time,temp\n0,20\n", media="text/csv", name="log.csv")
        cycle = CycleRecorded(machine="sterilizer 1", cycle="standard", began_ms=NOW, said="passed", log=log)
        plan = DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line='Says "n":7,"subjects":["x"],"v":1,"zone":"Z".')
        made = []
        for n in range(1, 1400):
            moment = Moment(NOW + n, "Europe/Berlin", Mono(session="s1", ms=n) if n % 3 else None)
            data = cycle if n % 50 == 0 else plan
            subjects = (f"chair:{n % 7}", f'sample:a "{n}"], [', f"practice:{n}ä") if n % 2 else ()
            one = new_entry(data, moment=moment, device=f"t {n % 3}", n=n // 3 + 1 + (n > 700) * 5, by="p07", subjects=subjects)
            made.append(one.model_copy(update={"role_as_shown": "lead"}) if n % 5 == 0 else one)
        for start in range(0, len(made), 500):
            store.append(made[start : start + 500], now=NOW + start * 1000, via="t0")
        store.append([made[3].model_copy(update={"by": "p08"})], now=NOW, via="t0")
        newer = (
            made[0]
            .encode()
            .replace(b'"zone":', b'"way":{"n":9,"subjects":["x"],"v":1,"zone":"y"},"zone":')
            .replace(b'"n":1,', b'"n":9999,')
        )
        newer = newer.replace(made[0].id.encode(), new_id(NOW).encode())
        assert isinstance(store.append([newer], now=NOW, via="t0")[0], Receipt)
    return path


def quick_and_careful(store: SqliteStore, **how: Any) -> tuple[Verification, Verification]:
    """Verify both ways; the quick one must have needed no care."""
    rows = store.rows
    store.rows = None  # type: ignore[method-assign, assignment]  # so that a fall back to care fails
    quick = store.verify(**how)
    store.rows = rows  # type: ignore[method-assign]
    store._sweep = lambda *_, **__: None  # type: ignore[method-assign]
    return quick, store.verify(**how)


def test_the_quick_way_finds_a_sound_book_whole_and_says_what_the_careful_way_says(long_book: Path) -> None:
    with open_book(long_book, write=False) as store:
        size = store.head().size
        anchors = [Anchor(n, store.root_at(n), f"day sheet {n}") for n in (1, 255, 256, 257, 1024, 1300, size)]
        receipts = {seq: leaf_hash(row.leaf) for seq, row in enumerate(store.rows(), 1) if seq % 300 == 1}
        quick, careful = quick_and_careful(store, anchors=anchors, receipts=receipts)
    assert quick == careful
    assert quick.whole
    assert quick.not_received["t 0"] == (1, 235, 236, 237, 238, 239)


@pytest.mark.parametrize("cores", [1, 2, 3])
def test_processes_that_share_the_work_find_what_one_finds(long_book: Path, tmp_path: Path, cores: int) -> None:
    with open_book(long_book, write=False) as store:
        one = store.verify()
        uri, size = f"file:{long_book}?mode=ro", store.head().size
        salt = Salt(bytes(16), 11, 13)
        assert sweep_apart(uri, "practice", size, salt, cores=cores) == Store._sweep(store, size, salt, cores=None)
        assert sweep_apart(uri, "practice", size, None, cores=cores) == Store._sweep(store, size, None, cores=None)
        assert one.whole
    copy = tmp_path / "book.sqlite"
    copy.write_bytes(long_book.read_bytes())
    tamper(copy, "UPDATE entry SET kind = 'x.y' WHERE seq = 1300")
    assert sweep_apart(f"file:{copy}?mode=ro", "practice", size, salt, cores=cores) is None
    assert sweep_apart(f"file:{tmp_path}/none?mode=ro", "practice", size, salt, cores=cores) is None


@pytest.mark.parametrize("dies", ["pass", "input(); print('null')", "input(); print('half', end='')", "import sys; sys.stdin.close()"])
def test_a_process_that_dies_at_its_work_makes_nothing_whole(long_book: Path, monkeypatch: pytest.MonkeyPatch, dies: str) -> None:
    monkeypatch.setattr("fettlebook.book.sweeper._COMMAND", [sys.executable, "-c", dies])
    with open_book(long_book, write=False) as store:
        assert sweep_apart(f"file:{long_book}?mode=ro", "practice", store.head().size, None, cores=2) is None


class Numbers:
    """The numbers of one device, as `Quick` asks for them."""

    def __init__(self, numbers: set[int]) -> None:
        self.raw = sqlite3.connect(":memory:")
        self.raw.execute("CREATE TABLE entry (practice, device, n)")
        self.raw.executemany("INSERT INTO entry VALUES ('p', 't', ?)", [(n,) for n in numbers])

    @contextmanager
    def reading(self) -> Iterator[SqlitePen]:
        yield SqlitePen(self.raw)


@pytest.mark.parametrize(
    "gaps", [[(1, 1)], [(1, 3), (7, 7)], [(4_000, 12_000), (20_000, 20_001)], [(2, 99_999)], [(2, 100_001)], [(9, 9), (5_001, 5_001)]]
)
def test_numbers_that_never_came_are_named_also_between_many(gaps: list[tuple[int, int]]) -> None:
    highest = gaps[-1][1] + 7_000
    absent = {n for first, last in gaps for n in range(first, last + 1)}
    quick = Quick("p", AtStart(1, 1, (), 1), Numbers(set(range(1, highest + 1)) - absent).reading)
    told = [n for first, last in gaps if last + 1 - first < HOLES_MOST for n in range(first, last + 1)]
    assert quick._holes("t", highest) == tuple(told)


def test_a_run_of_a_sweep_is_what_the_tree_keeps() -> None:
    assert RUN == 1 << TILE


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entry SET id = substr(id, 1, 35) || 'x' WHERE seq = 900",
        "UPDATE entry SET device = 't 9' WHERE seq = 900",
        "UPDATE entry SET n = 100000 WHERE seq = 900",
        "UPDATE entry SET n = 100000 WHERE seq = 905",
        "UPDATE entry SET kind = 'day.plan' WHERE seq = 900",
        "UPDATE entry SET hash = zeroblob(32) WHERE seq = 900",
        "UPDATE entry_subject SET seq = seq + 1 WHERE seq = 901 AND subject LIKE 'chair:%'",
        "DELETE FROM clash",
        "UPDATE node SET hash = zeroblob(32) WHERE number = 3",
        "DELETE FROM node WHERE number = 3",
        "DROP TRIGGER file_no_update; UPDATE file SET content = x'00'",
        "DROP TRIGGER file_no_delete; DELETE FROM file",
    ],
)
def test_the_quick_way_never_calls_whole_what_the_careful_way_finds(long_book: Path, tmp_path: Path, statement: str) -> None:
    copy = tmp_path / "book.sqlite"
    copy.write_bytes(long_book.read_bytes())
    tamper(copy, statement)
    with open_book(copy, write=False) as store:
        assert not store.verify().whole


def test_the_sealed_bytes_alone_are_verified_where_only_these_are_asked_for(long_book: Path, tmp_path: Path) -> None:
    copy = tmp_path / "book.sqlite"
    copy.write_bytes(long_book.read_bytes())
    tamper(copy, "DELETE FROM entry_subject", "UPDATE entry SET kind = 'x.y' WHERE seq = 3")
    with open_book(copy, write=False) as store:
        assert store.verify(sealed_only=True).whole  # what finds entries can be made again from them
        assert not store.verify().whole
    tamper_again = "UPDATE entry SET leaf = CAST(replace(CAST(leaf AS TEXT), 'p07', 'p01') AS BLOB) WHERE seq = 1000"
    raw = sqlite3.connect(copy)
    raw.execute(tamper_again)
    raw.commit()
    raw.close()
    with open_book(copy, write=False) as store:
        assert ("changed", 1000, 1000) in said(store.verify(sealed_only=True))
