"""A kept fold answers as a fresh one does, and is never taken where it isn't that of the book at hand."""

import json
from collections.abc import Iterator
from datetime import date
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book.received import Received
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.demo import practice_text
from fettlebook.demo.life import Habits, Life
from fettlebook.exchange import kept_state
from fettlebook.exchange.kept_state import place_of, state_of
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.saved import NoStateError, state_from_lines, state_to_lines
from fettlebook.standing.state import State, fold_entries
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented
UNTIDY = Habits(forgets=0.05, cuts_short=0.05, comes_late=0.2, fails=0.1, high_count=0.1, mends=0.1)


@pytest.fixture(scope="module")
def lived() -> tuple[Received, ...]:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    return tuple(Life(practice, rulebook, running_times(practice, rulebook), seed=3, habits=UNTIDY).days(date(2026, 3, 27), 5))


@pytest.fixture(autouse=True)
def keep_early(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(kept_state, "KEEP_AFTER", 5)


@pytest.fixture(scope="module")
def written(tmp_path_factory: pytest.TempPathFactory, lived: tuple[Received, ...]) -> Path:
    path = tmp_path_factory.mktemp("kept") / "book.sqlite"
    with open_book(path) as made:
        made.append([one.entry for one in lived[:400]], now=lived[0].received, via="tablet-1")
    return path


@pytest.fixture
def store(tmp_path: Path, written: Path) -> Iterator[SqliteStore]:
    path = tmp_path / "book.sqlite"
    path.write_bytes(written.read_bytes())
    with open_book(path) as made:
        yield made


def all_of(state: State) -> dict[str, Any]:
    return {
        "seq": (state.seq, state.received),
        "streams": {key: (stream.facts, stream.rewritten) for key, stream in state.streams.items()},
        "subjects": list(state.subjects),
        "same": state._same,
        "placed": state._placed,
        "amendments": state._amendments,
        "devices": {d: [getattr(c, name) for name in c.__slots__] for d, c in state.devices.items()},
    }


@settings(max_examples=5, deadline=None)
@given(cut=st.integers(1, 1000))
def test_a_state_read_back_is_the_same_and_goes_on_in_the_same_way(lived: tuple[Received, ...], cut: int) -> None:
    cut = min(cut, len(lived))
    originals = {one.entry.id: one for one in lived}
    whole = fold_entries(lived, originals.get)
    part = fold_entries(lived[:cut], originals.get)
    again = state_from_lines(iter(list(state_to_lines(part))), originals.get)
    assert all_of(again) == all_of(part)
    assert all(type(a.says) is type(b.says) for k, s in part.streams.items() for a, b in zip(s.facts, again.streams[k].facts, strict=True))
    for one in lived[cut:]:
        again.add(one)
    assert all_of(again) == all_of(whole)


def test_the_next_start_reads_what_was_kept_and_adds_what_came_since(store: SqliteStore, lived: tuple[Received, ...]) -> None:
    state_of(store)
    path = place_of(store)
    assert path is not None
    assert path.stat().st_mode & 0o077 == 0
    store.append([one.entry for one in lived[400:420]], now=lived[400].received, via="tablet-1")
    told: list[int] = []
    read, since = store.read, []

    def watched(after: int = 0, **how: Any) -> Any:
        since.append(after)
        return read(after, **how)

    store.read = watched  # type: ignore[method-assign]
    found = state_of(store, tell=told.append)
    assert since == [400]
    assert all_of(found) == all_of(state_of(store, kept=False))


def spoil(path: Path, how: str) -> None:
    head, _, body = path.read_bytes().partition(b"\n")
    said = json.loads(head)
    if how == "flipped":
        path.write_bytes(head + b"\n" + body[:200] + bytes([body[200] ^ 1]) + body[201:])
    elif how == "cut":
        path.write_bytes(head + b"\n" + body[:-10])
    elif how == "junk":
        path.write_bytes(b"\xff" * 50)
    elif how == "deep":
        path.write_bytes(b"[" * 9_000)
    elif how == "another book":
        path.write_bytes(json.dumps(said | {"root": "00" * 32}).encode() + b"\n" + body)
    elif how == "another program":
        path.write_bytes(json.dumps(said | {"program": "00"}).encode() + b"\n" + body)
    elif how == "longer than the book":
        path.write_bytes(json.dumps(said | {"size": 10_000}).encode() + b"\n" + body)
    else:
        path.write_bytes(b"")


@pytest.mark.parametrize("how", ["flipped", "cut", "junk", "deep", "another book", "another program", "longer than the book", "empty"])
def test_a_damaged_or_foreign_file_is_made_anew_and_never_taken(store: SqliteStore, how: str) -> None:
    expected = all_of(state_of(store))
    path = place_of(store)
    assert path is not None
    good = path.read_bytes()
    spoil(path, how)
    assert all_of(state_of(store)) == expected
    assert path.read_bytes() == good


def test_lines_that_are_no_state_are_refused(lived: tuple[Received, ...]) -> None:
    lines = list(state_to_lines(fold_entries(lived, lambda _: None)))
    for n in range(len(lines)):
        for spoiled in ([*lines[:n], *lines[n + 1 :]], [*lines[:n], b"7\n", *lines[n + 1 :]], lines[:n]):
            with pytest.raises(NoStateError):
                state_from_lines(iter(spoiled), lambda _: None)
