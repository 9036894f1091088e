"""A book that the invented practice has lived into: years of it up to a moment, and on from there the next time.

Nothing is kept but the book itself: the same seed lives the same days, so going on means living them again without writing, up to
where the book stands.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.book.entries import PROGRAM
from fettlebook.book.kinds import PracticeFileVersion, from_ms
from fettlebook.book.received import Received
from fettlebook.book.stores import Store
from fettlebook.book.tree import Peaks, leaf_hash
from fettlebook.demo.diary import Diary, week_diary
from fettlebook.demo.heat.kept import KeptLogs
from fettlebook.demo.life import CycleLogs, Habits, Life
from fettlebook.demo.troubles import Troubles
from fettlebook.demo.upkeep import Upkeep
from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.rules_now import rulebook_version
from fettlebook.times.running import running_times

SERVER: Final = "server"
MEASURED_ANEW: Final = timedelta(weeks=4)  # after the first day: never by how long is lived, else going on would be another life
A_MINUTE_MS: Final = 60_000
MOST_AT_ONCE: Final = 400
WINDOW: Final = 2_000
USUAL: Final = Habits(
    forgets=0.003, cuts_short=0.002, comes_late=0.01, fails=0.006, mends=0.002, overruns=0.25, grows=True,
)  # fmt: skip
"""As people are: nearly everything by the book, and now and then not."""


@dataclass(frozen=True, slots=True)
class Lived:
    """What was written."""

    entries: int
    first: date
    until_ms: int


def closed(day: date) -> bool:
    """Tell whether the invented practice is closed for holidays: two weeks in August, and over the turn of the year."""
    return (day.month == 8 and 3 <= day.day <= 16) or (day.month, day.day) >= (12, 24) or (day.month, day.day) == (1, 1)


def live(
    text: bytes,
    first: date,
    until_ms: int,
    *,
    seed: int = 1,
    habits: Habits = USUAL,
    sealed: bool = True,
    logs: CycleLogs | None = None,
    diary: Diary | None = None,
    files: dict[str, bytes] | None = None,
) -> Iterator[Received]:
    """Yield the entries of the invented practice from a day on, as they are received up to a moment.

    Parameters
    ----------
    text
        The practice file as it holds after four weeks. Until then a version holds whose flows were measured a year earlier.
    first, until_ms
        The first day, and the moment up to which entries are received [ms].
    logs
        Where the logs of cycles come from; None: none is kept.
    diary
        What is booked; None: the invented week, whose visits are numbered.
    files
        Takes the log of the one cycle that fails in the fourth week; None: the log is not kept, and not named.
    """
    practice = _practice(text)
    rulebook = load_rulebook(practice)
    life = Life(
        practice, rulebook, running_times(practice, rulebook), seed=seed, habits=habits, sealed=sealed, diary=diary or week_diary(practice),
        happening=Troubles(Upkeep(seed=seed), first, files), closed=closed, logs=logs,
    )  # fmt: skip
    begins = life.clock(first, 4, 0)
    life.say(begins, PracticeFileVersion.of(earlier(text).decode(), "practice.toml"), PROGRAM, SERVER)
    life.say(begins + 5_000, rulebook_version(practice), PROGRAM, SERVER)
    life.say(life.clock(first + MEASURED_ANEW, 4, 0), PracticeFileVersion.of(text.decode(), "practice.toml"), PROGRAM, SERVER)
    for received in life.days(first, (until_ms - begins) // 86_400_000 + 2):
        if received.received >= until_ms:
            return
        yield received


def earlier(text: bytes) -> bytes:
    """Return the practice file as it was a year before: flows measured then, a little greater."""

    def older(found: re.Match[bytes]) -> bytes:
        flow = float(found[1]) * 1.04
        return b"flow_ml_min = %.1f, measured_on = %d" % (flow, int(found[2]) - 1)

    return re.sub(rb"flow_ml_min = ([0-9.]+), measured_on = (\d{4})", older, text)


def live_into(
    store: Store,
    text: bytes,
    first: date,
    until_ms: int,
    *,
    seed: int = 1,
    habits: Habits = USUAL,
    logs: KeptLogs | None = None,
    diary: Diary | None = None,
) -> Lived:
    """Fill an empty book with what the invented practice lived from a day up to a moment; all of it or none.

    With `logs` some cycles have their log, which is kept in the book. Such a life is another one, and can't be gone on with.

    Raises
    ------
    Mendable
        The book has entries already.
    """
    if store.head().size:
        raise Mendable("this book has entries already", where=store.practice, mend="Name a new file.")
    tree, leaves, last = Peaks(), list[bytes](), None
    files: dict[str, bytes] = {} if logs is None else logs.files
    for received in live(text, first, until_ms, seed=seed, habits=habits, logs=logs, diary=diary, files=files):
        leaves.append(received.leaf)
        tree, _ = tree.grown(leaf_hash(received.leaf))
        last = received
    if last is not None:
        store.take_sealed(leaves, size=tree.size, root=tree.root(), files=files.items())
    return Lived(len(leaves), first, until_ms)


def live_on(store: Store, text: bytes, until_ms: int, *, seed: int = 1, habits: Habits = USUAL, diary: Diary | None = None) -> Lived:
    """Go on with a book that was lived into: add what came since, each entry at its own time of receipt; entries of others stay.

    Raises
    ------
    Mendable
        The book did not begin as an invented life.
    """
    begun = next(iter(store.read(until=1)), None)
    if begun is None or not isinstance(begun.entry.data, PracticeFileVersion):
        raise Mendable("this book is not of the invented practice", where=store.practice, mend="Name another file.")
    practice = _practice(text)
    first = from_ms(begun.entry.at, practice.practice.time_zone).date()
    known = _newest_lived(store)
    added, met, batch = 0, False, list[Received]()
    for received in live(text, first, until_ms, seed=seed, habits=habits, sealed=False, diary=diary):
        if received.entry.id == known:
            met = True
        elif met and received.entry.device != SERVER:
            if batch and (len(batch) == MOST_AT_ONCE or received.received - batch[0].received > A_MINUTE_MS):
                added += _append(store, batch)
                batch = []
            batch.append(received)
    if not met:
        mend = "It was lived by another edition of this program, or up to a later moment. Name a new folder to begin anew."
        raise Mendable("this invented life can't be gone on with", where=store.practice, mend=mend)
    return Lived(added + (_append(store, batch) if batch else 0), first, until_ms)


def _newest_lived(store: Store) -> str:
    """Return the id of the newest entry that no server wrote."""
    end = store.head().size
    while end > 0:
        page = [one for one in store.read(max(0, end - WINDOW), until=end) if one.entry.device != SERVER]
        if page:
            return page[-1].entry.id
        end -= WINDOW
    return ""


def _append(store: Store, batch: list[Received]) -> int:
    store.append([one.entry for one in batch], now=batch[-1].received, via=batch[-1].via)
    return len(batch)


def _practice(text: bytes) -> Practice:
    loaded = read_practice(text, "practice.toml")
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    return loaded.practice
