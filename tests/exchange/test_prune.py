"""Pruning asks first whether a verdict of today rests on what would go; afterwards the book answers as before."""

import json
from collections.abc import Iterator
from datetime import date
from functools import cache
from pathlib import Path

import pytest
from click.testing import CliRunner

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import FaultReported, PracticeFileVersion
from fettlebook.book.received import Received
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.book.tree import leaf_hash, peaks_of
from fettlebook.cli.book import book
from fettlebook.demo import practice_text
from fettlebook.demo.life import Life
from fettlebook.errors import Mendable
from fettlebook.exchange.evidence.sealed import choose
from fettlebook.exchange.evidence.span import Span
from fettlebook.exchange.kept_state import KeptFold, state_of
from fettlebook.exchange.prune import ask, prune
from fettlebook.practice.load import read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import DAY_MS, Basis
from fettlebook.standing.saved import as_plain
from fettlebook.standing.standings import Standings
from fettlebook.times.running import running_times

pytestmark = pytest.mark.invented


@cache
def ground() -> Basis:
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    rulebook = load_rulebook(practice)
    return Basis.of(practice, rulebook, running_times(practice, rulebook))


@cache
def lived() -> tuple[Received, ...]:
    basis = ground()
    life = Life(basis.practice, basis.rulebook, running_times(basis.practice, basis.rulebook))
    return tuple(life.days(date(2026, 3, 2), 12))


@pytest.fixture
def store(tmp_path: Path) -> Iterator[SqliteStore]:
    with open_book(tmp_path / "book.sqlite") as made:
        root = peaks_of([leaf_hash(one.leaf) for one in lived()]).root()
        made.take_sealed((one.leaf for one in lived()), size=len(lived()), root=root)
        yield made


def moment() -> Moment:
    return Moment(lived()[-1].received + 60_000, "Europe/London")


def verdicts(store: SqliteStore) -> dict[str, str]:
    at = lived()[-1].received
    return {s.subject: s.verdict.value for s in Standings(state_of(store), ground()).as_of(at, at + DAY_MS).all()}


def test_where_subjects_would_be_judged_otherwise_they_are_named_and_nothing_goes(store: SqliteStore) -> None:
    """Almost all of it: how the last days began is among that, and no verdict names it as evidence."""
    before = lived()[-1].received
    asked = ask(store, ground(), before=before, now=moment().at)
    assert "chair:chair 1" in asked.rests_on
    with pytest.raises(Mendable, match="verdicts of today rest on"):
        prune(store, ground(), before=before, rule="a day", moment=moment(), by="ana")
    assert store.head().size == len(lived())


def test_a_stop_that_nobody_ended_stays(store: SqliteStore) -> None:
    """Without that entry the chair would be in service again."""
    begun = lived()[0].received
    stop = FaultReported(fault="f1", chair="chair 2", what="leaks", stops_use=True)
    with open_book(store.path.with_name("other.sqlite")) as other:
        kept = other.note(stop, moment=Moment(begun - 5, "Europe/London"), by="ana")
        for one in lived():
            other.append([one.entry], now=one.received, via=one.via, offset=one.offset)
        assert prune(other, ground(), before=begun + DAY_MS, rule="a day", moment=moment(), by="ana") is not None
        assert other.get(kept.id) is not None
        assert other.get(lived()[100].entry.id) is None
        assert verdicts(other)["chair:chair 2"] == "unfit"


def test_afterwards_the_book_answers_as_before(store: SqliteStore) -> None:
    told = verdicts(store)
    state_of(store)  # kept, with what goes in it
    before = lived()[0].received + 4 * DAY_MS
    goes = ask(store, ground(), before=before, now=moment().at).prunable.goes
    assert goes > 1000
    assert prune(store, ground(), before=before, rule="invented", moment=moment(), by="ana") is not None
    assert verdicts(store) == told
    found = store.verify()
    assert found.whole, found.faults
    assert found.pruned == goes
    assert as_plain(KeptFold(store).state) == as_plain(state_of(store, kept=False))
    span = Span(date(2026, 3, 1), date(2026, 3, 20), 0, moment().at)
    chosen = choose(store, span, (), store.head().size)  # what an evidence file takes: hashes stand for what went
    assert peaks_of([chosen.leaf(seq) for seq in range(1, chosen.size + 1)]).root() == store.head().root
    assert not chosen.unread
    assert len(chosen.seqs) <= store.head().size - goes


def test_the_command_tells_first_and_prunes_only_when_told(store: SqliteStore) -> None:
    text = practice_text().decode()
    store.note(PracticeFileVersion.of(text), moment=Moment(lived()[-1].received + 10, "Europe/London"))
    store.close()
    path = str(store.path)
    early = CliRunner().invoke(book, ["prune", path, "--before", "2020-01-01", "--by", "ana", "--json"])
    assert early.exit_code == 0, early.output
    assert json.loads(early.output)["goes"] == 0
    told = CliRunner().invoke(book, ["prune", path, "--before", "2026-03-05", "--by", "ana"])
    assert told.exit_code == 0, told.output
    assert "nothing was done (give --yes)" in told.output
    with open_book(store.path) as still:
        assert still.verify().pruned == 0
    done = CliRunner().invoke(book, ["prune", path, "--before", "2026-03-05", "--by", "ana", "--yes", "--json"])
    assert done.exit_code == 0, done.output
    with open_book(store.path) as after:
        assert after.verify().whole
        assert after.verify().pruned == json.loads(done.output)["goes"] > 1000
