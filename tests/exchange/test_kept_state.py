"""A kept fold answers as a fresh one does, and is never taken where it isn't that of the book at hand."""

import json
from collections.abc import Iterable, Iterator
from contextlib import suppress
from datetime import date
from functools import cache
from pathlib import Path
from typing import Any

import pytest
from click.testing import CliRunner
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from fettlebook.book.keyfile import make_key
from fettlebook.book.received import Received
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.cli.book import book
from fettlebook.demo import practice_text
from fettlebook.demo.life import Habits, Life
from fettlebook.exchange import kept_file, kept_state
from fettlebook.exchange.kept_file import KeptFile
from fettlebook.exchange.kept_key import kept_key
from fettlebook.exchange.kept_state import KeptFold, place_of, state_of
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing import older, saved, streams
from fettlebook.standing.basis import Basis
from fettlebook.standing.older import Place
from fettlebook.standing.saved import as_plain, fresh_on, keep, state_on
from fettlebook.standing.shelf import NoStateError
from fettlebook.standing.standings import Standings
from fettlebook.standing.state import State, fold_entries
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
KEPT = 200  # entries of the book that was kept; what comes after is added
UNTIDY = Habits(forgets=0.05, cuts_short=0.05, comes_late=0.2, fails=0.1, high_count=0.1, mends=0.1)


@cache
def ground() -> Basis:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    return Basis.of(practice, rulebook, running_times(practice, rulebook))


@cache
def a_life(seed: int) -> tuple[Received, ...]:
    basis = ground()
    life = Life(basis.practice, basis.rulebook, running_times(basis.practice, basis.rulebook), seed=seed, habits=UNTIDY)
    return tuple(life.days(date(2026, 3, 27), 3))


@pytest.fixture(scope="module")
def lived() -> tuple[Received, ...]:
    return a_life(3)


@pytest.fixture(autouse=True)
def keep_early(monkeypatch: pytest.MonkeyPatch) -> None:
    """Small parts, so that a short book has streams in many of them and directories that are merged."""
    monkeypatch.setattr(kept_state, "KEEP_AFTER", 5)
    monkeypatch.setattr(kept_state, "KEEP_EVERY", 90)
    monkeypatch.setattr(older, "PART", 3)
    monkeypatch.setattr(streams, "PART", 3)
    monkeypatch.setattr(streams, "TAIL", 6)
    monkeypatch.setattr(saved, "NEWEST", 1)
    monkeypatch.setattr(kept_file, "_PART", 7)
    monkeypatch.setattr(kept_file, "_FILTER_FROM", 10)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, lived: tuple[Received, ...]) -> Path:
    path = tmp_path_factory.mktemp("kept") / "book.sqlite"
    with open_book(path) as made:
        made.append([one.entry for one in lived[:KEPT]], now=lived[0].received, via="tablet-1")
    return path


@pytest.fixture
def store(tmp_path: Path, written: Path) -> Iterator[SqliteStore]:
    path = tmp_path / "book.sqlite"
    path.write_bytes(written.read_bytes())
    with open_book(path) as made:
        yield made


class InMemory:
    """A shelf that hands back what was put."""

    def __init__(self) -> None:
        self.kept: dict[str, bytes] = {}
        self.blobs: list[bytes] = []
        self.head = b""

    def row(self, name: str) -> bytes | None:
        return self.kept.get(name)

    def rows(self) -> Iterator[tuple[str, bytes]]:
        yield from list(self.kept.items())

    def blob(self, place: Place) -> bytes:
        return self.blobs[place.offset]

    def put(self, blob: bytes) -> Place:
        self.blobs.append(blob)
        return Place(len(self.blobs) - 1, len(blob), 0)

    def commit(self, rows: Iterable[tuple[str, bytes]], head: bytes) -> None:
        self.kept.update(rows)
        self.head = head


@cache
def whole_of(seed: int) -> State:
    entries = a_life(seed)
    return fold_entries(entries, {one.entry.id: one for one in entries}.get)


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(cuts=st.sets(st.integers(1, 650), min_size=1, max_size=6), seed=st.integers(0, 2))
def test_kept_and_taken_down_at_any_moments_a_state_is_that_of_the_full_fold(cuts: set[int], seed: int) -> None:
    """Late, corrected and withdrawn entries among them: kept after any entries, by starts that take down only what they need."""
    entries = a_life(seed)
    originals = {one.entry.id: one for one in entries}
    shelf = InMemory()
    state = fresh_on(shelf, originals.get)
    for number, one in enumerate(entries, 1):
        state.add(one)
        if number in cuts:
            keep(state, shelf)
            state = state_on(shelf, originals.get, shelf.head)
    whole = whole_of(seed)
    assert as_plain(state) == as_plain(whole)
    keep(state, shelf)
    assert as_plain(state) == as_plain(whole)
    again = state_on(shelf, originals.get, shelf.head)
    assert types_in(again) == types_in(whole)


def types_in(state: State) -> list[str]:
    plain = as_plain(state)["streams"]
    return sorted(f"{key} {type(fact.says).__name__} {[type(part).__name__ for part in fact.says]}" for key in plain for fact in plain[key])


@settings(max_examples=5, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(data=st.data(), seed=st.integers(0, 2))
def test_any_verdict_of_any_moment_is_the_same_from_a_kept_state(data: st.DataObject, seed: int) -> None:
    entries = a_life(seed)
    originals = {one.entry.id: one for one in entries}
    shelf = InMemory()
    state = fresh_on(shelf, originals.get)
    for one in entries:
        state.add(one)
    basis = ground()
    keep(state, shelf)
    at = data.draw(st.integers(entries[0].received, entries[-1].received + 40 * 3_600_000))
    known = data.draw(st.integers(entries[0].received, entries[-1].received))
    kept = Standings(state_on(shelf, originals.get, shelf.head), basis).as_of(at, known)
    whole = Standings(whole_of(seed), basis).as_of(at, known)
    assert list(kept.all()) == list(whole.all())
    assert kept.look.state.seq == len(entries)


def test_the_next_start_reads_what_was_kept_and_adds_what_came_since(store: SqliteStore, lived: tuple[Received, ...]) -> None:
    state_of(store)
    path = place_of(store)
    assert path is not None
    for file in path.parent.glob(f"{path.name}*"):
        assert file.suffix == ".lock" or file.stat().st_mode & 0o077 == 0
    for begin in (KEPT, KEPT + 20, KEPT + 40):
        store.append([one.entry for one in lived[begin : begin + 20]], now=lived[begin].received, via="tablet-1")
        read, since = store.read, []

        def watched(after: int = 0, *, _since: list[int] = since, _read: Any = read, **how: Any) -> Any:
            _since.append(after)
            return _read(after, **how)

        store.read = watched  # type: ignore[method-assign]
        found = state_of(store)
        del store.read
        assert since == [begin]
        assert as_plain(found) == as_plain(state_of(store, kept=False))


def test_a_fold_that_goes_on_keeps_itself_and_holds_little(store: SqliteStore, lived: tuple[Received, ...]) -> None:
    fold = KeptFold(store)
    assert not fold.state.abouts
    store.append([one.entry for one in lived[KEPT : KEPT + 20]], now=lived[KEPT].received, via="tablet-1")
    for received in store.read(KEPT):
        fold.state.add(received)
    assert fold.state.abouts
    fold.keep_up()
    assert not fold.state.abouts
    assert as_plain(KeptFold(store).state) == as_plain(state_of(store, kept=False))


def files_of(store: SqliteStore) -> tuple[Path, Path]:
    root = place_of(store)
    assert root is not None
    (data,) = (path for path in root.parent.glob(f"{root.name}.*") if path.suffix != ".lock")
    return root, data


def spoil(store: SqliteStore, how: str) -> None:
    root, data = files_of(store)
    line, _, seal = root.read_bytes().partition(b"\n")
    said = json.loads(line)
    changes = {
        "another book": {"stamp": said["stamp"] | {"root": "00" * 32}},
        "another program": {"stamp": said["stamp"] | {"program": "00"}},
        "longer than the book": {"stamp": said["stamp"] | {"size": 10_000}},
        "without a directory": {"segments": said["segments"][:-1]},
    }
    if how in changes:
        root.write_bytes(json.dumps(said | changes[how]).encode() + b"\n" + seal)
    elif how == "deep":
        root.write_bytes(b"[" * 9_000)
    elif how == "empty":
        root.write_bytes(b"")
    elif how == "cut":
        data.write_bytes(data.read_bytes()[:-10])
    elif how == "gone":
        data.unlink()
    elif how == "other key":
        store.path.with_name(f"{store.path.name}.state-key").write_bytes(b"k" * 32)
    else:
        data.write_bytes(b"\xff" * data.stat().st_size)


HOW = (
    "another book", "another program", "longer than the book", "without a directory", "deep", "empty", "cut", "gone", "other key", "junk",
)  # fmt: skip


@pytest.mark.parametrize("how", HOW)
def test_a_damaged_or_foreign_file_is_made_anew_and_never_taken(store: SqliteStore, how: str) -> None:
    expected = as_plain(state_of(store))
    spoil(store, how)
    assert as_plain(state_of(store)) == expected
    assert as_plain(state_of(store)) == expected
    assert json.loads(files_of(store)[0].read_bytes().partition(b"\n")[0])["stamp"]["size"] == KEPT


@cache
def kept_whole(store: SqliteStore) -> tuple[dict[str, Any], dict[Path, bytes]]:
    expected = as_plain(state_of(store))
    return expected, {path: path.read_bytes() for path in files_of(store)}


@settings(max_examples=20, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture])
@given(share=st.floats(0, 1, exclude_max=True), bit=st.integers(0, 7))
def test_a_flipped_bit_anywhere_is_found_or_changes_nothing(store: SqliteStore, share: float, bit: int) -> None:
    expected, whole = kept_whole(store)
    for one in store.path.parent.glob("*.state*"):
        if one not in whole and not one.name.endswith("-key"):
            one.unlink()
    place = int(share * sum(map(len, whole.values())))
    for path, held in whole.items():
        here = bytearray(held)
        if 0 <= place < len(here):
            here[place] ^= 1 << bit
        place -= len(here)
        path.write_bytes(here)
    with suppress(NoStateError):
        assert as_plain(state_of(store)) == expected


def test_without_the_key_nothing_can_be_put_back_or_made_up(store: SqliteStore, lived: tuple[Received, ...]) -> None:
    """An older row in the place of a newer one, the whole older file under the newer root, a file sealed by another key."""
    state_of(store)
    root, data = files_of(store)
    before = data.read_bytes()
    store.append([one.entry for one in lived[KEPT : KEPT + 20]], now=lived[KEPT].received, via="tablet-1")
    expected = as_plain(state_of(store))
    now = data.read_bytes()
    assert now.startswith(before)
    data.write_bytes(before + before[: len(now) - len(before)])
    assert as_plain(state_of(store)) == expected
    forged = KeptFile(root, b"a key of somebody else, 32 bytes")
    forged.begin()
    forged.stamp = json.loads(root.read_bytes().partition(b"\n")[0])["stamp"]
    empty = fresh_on(forged, store.get)
    empty.seq, empty.received = KEPT + 20, lived[KEPT + 19].received
    keep(empty, forged)
    assert as_plain(state_of(store)) == expected


def test_where_a_part_is_found_changed_only_when_asked_for_the_question_fails_and_the_next_start_folds_anew(store: SqliteStore) -> None:
    expected = as_plain(state_of(store))
    fold = KeptFold(store)
    _, data = files_of(store)
    data.write_bytes(b"\xff" * data.stat().st_size)
    with pytest.raises(NoStateError, match="not as it was written"):
        as_plain(fold.state)
    fold.drop()
    assert as_plain(state_of(store)) == expected


def test_two_processes_that_keep_at_once_spoil_nothing(store: SqliteStore, lived: tuple[Received, ...]) -> None:
    one, two = KeptFold(store), KeptFold(store)
    store.append([each.entry for each in lived[KEPT : KEPT + 30]], now=lived[KEPT].received, via="tablet-1")
    for fold in (one, two):
        for received in store.read(KEPT):
            fold.state.add(received)
        fold.keep_up()
    expected = as_plain(state_of(store, kept=False))
    assert as_plain(one.state) == as_plain(two.state) == as_plain(state_of(store)) == expected


def test_the_key_that_signs_serves_where_it_is_at_hand(store: SqliteStore) -> None:
    state_of(store)
    own = kept_key(store.path)
    make_key(store.path.with_name(f"{store.path.name}.key"), "fettlebook/practice")
    assert kept_key(store.path) == kept_key(store.path) != own


def test_where_nothing_can_be_kept_the_book_is_folded_all_the_same(store: SqliteStore, monkeypatch: pytest.MonkeyPatch) -> None:
    def full(*_: object) -> None:
        raise OSError(28, "No space left on device")

    expected = as_plain(state_of(store, kept=False))
    monkeypatch.setattr(kept_file, "write_private", full)
    assert as_plain(state_of(store)) == expected
    assert not list(store.path.parent.glob("*.state"))


def read_all(state: State, name: str) -> None:
    state.mended_of(name[1:]) if name[0] == "\x01" else state.about(name)


def test_bytes_that_are_no_state_are_refused(lived: tuple[Received, ...]) -> None:
    shelf = InMemory()
    keep(state := fresh_on(shelf, lambda _: None), shelf)
    for one in lived:
        state.add(one)
    keep(state, shelf)
    for spoiled in (b"", b"\xc1", shelf.head[:-1], b"\x94\x01\x02\x03"):
        with pytest.raises(NoStateError):
            state_on(shelf, lambda _: None, spoiled)
    for name, row in list(shelf.kept.items())[::97]:
        for spoiled in (row[:-1], b"\x07"):
            shelf.kept[name] = spoiled
            with pytest.raises(NoStateError):
                read_all(state_on(shelf, lambda _: None, shelf.head), name)
        shelf.kept[name] = row


def test_book_fold_reads_all_afresh_and_keeps_that(store: SqliteStore) -> None:
    expected = as_plain(state_of(store))
    _, data = files_of(store)
    told = CliRunner().invoke(book, ["fold", str(store.path), "--json"])
    assert told.exit_code == 0, told.output
    assert json.loads(told.output)["entries"] == KEPT
    assert files_of(store)[1] != data
    assert as_plain(state_of(store)) == expected
