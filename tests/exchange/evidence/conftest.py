"""A few invented weeks with kept logs, signed, and their evidence: made once."""

import shutil
from collections.abc import Callable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest

from fettlebook.book.entries import Moment
from fettlebook.book.keyfile import make_key
from fettlebook.book.kinds import to_ms
from fettlebook.book.signing import book_name, sign_book
from fettlebook.book.stores import SqliteStore, open_book
from fettlebook.demo import practice_text
from fettlebook.demo.heat.kept import KeptLogs
from fettlebook.demo.life import Habits
from fettlebook.demo.lived import live_into
from fettlebook.exchange.evidence.make import Made, make_evidence
from fettlebook.exchange.evidence.span import span_of
from fettlebook.practice.load import load_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.times.running import running_times
from fettlebook.web.languages.tongue import Tongue

FIRST, LAST = date(2026, 11, 2), date(2026, 11, 6)
UNTIL = datetime(2026, 11, 6, 19, 0, tzinfo=ZoneInfo("Europe/London"))
STRAY = Habits(forgets=0.004, cuts_short=0.003, comes_late=0.01, fails=0.05, mends=0.004, overruns=0.25, grows=True)


@dataclass(frozen=True)
class Ground:
    """An invented practice's folder: practice file, book, key."""

    folder: Path
    practice: Practice
    basis: Basis

    @property
    def book(self) -> Path:
        return self.folder / "book.sqlite"

    @property
    def key(self) -> Path:
        return self.folder / "book.sqlite.key"

    def store(self, write: bool = False) -> SqliteStore:
        return open_book(self.book, self.practice.practice.id, write=write)

    def make(self, to: Path, first: date = FIRST, last: date = LAST, chairs: tuple[str, ...] = (), voice: Tongue | None = None) -> Made:
        with self.store() as store:
            span = span_of(self.practice, first, last, date(2026, 12, 1), chairs)
            return make_evidence(store, self.basis, span, to, key_file=self.key, voice=voice)


@pytest.fixture(scope="session")
def ground(tmp_path_factory: pytest.TempPathFactory) -> Ground:
    folder = tmp_path_factory.mktemp("practice")
    (folder / "practice.toml").write_bytes(practice_text())
    practice = load_practice(folder / "practice.toml")
    rulebook = load_rulebook(practice, on=LAST)
    with open_book(folder / "book.sqlite", practice.practice.id) as store:
        make_key(folder / "book.sqlite.key", book_name(practice.practice.id))
        live_into(store, practice_text(), date(2026, 10, 27), to_ms(UNTIL), seed=3, habits=STRAY, logs=KeptLogs())
        sign_book(store, folder / "book.sqlite.key")
        said = next(iter(store.read(until=1))).entry.data
        store.note(said, moment=Moment(to_ms(UNTIL) + 60_000, "Europe/London"))  # so that the checkpoint is an earlier one
    return Ground(folder, practice, Basis.of(practice, rulebook, running_times(practice, rulebook)))


@pytest.fixture(scope="session")
def made(ground: Ground, tmp_path_factory: pytest.TempPathFactory) -> Made:
    return ground.make(tmp_path_factory.mktemp("evidence") / "out")


@pytest.fixture
def copy(made: Made, tmp_path: Path) -> Callable[[], Path]:
    """Give a copy of the bundle to spoil."""

    def give() -> Path:
        to = tmp_path / f"copy {len(list(tmp_path.iterdir()))}"
        shutil.copytree(made.folder, to)
        return to

    return give
