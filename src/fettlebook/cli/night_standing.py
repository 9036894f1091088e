"""One practice's standing in short, worked out while nobody works: what the group sees of it in the morning."""

from __future__ import annotations

from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import to_ms
from fettlebook.cli.book_open import group_address, opened, opener
from fettlebook.cli.night_group import Job, Outcome, as_data
from fettlebook.errors import Mendable
from fettlebook.exchange.group.summary import Summary, summary_of
from fettlebook.exchange.kept_state import state_of
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.standings import Standings
from fettlebook.times.running import running_times

LATEST = time(23, 59)


def look_at(job: Job) -> Outcome:
    """Return the standing of a job's practice; what can't be read is refused in words."""
    if job.book is None:
        finding = {"weight": "error", "where": job.name, "what": "the group file names no book", "mend": 'Write book = "..." in its entry.'}
        return Outcome(job.name, "refused", "the group file names no book of it", findings=(finding,))
    try:
        found = standing_in_short(Path(job.practice), job.book, date.fromisoformat(job.day) if job.day else None)
    except Mendable as error:
        first = error.findings[0]
        return Outcome(job.name, "refused", f"{first.where}: {first.what}", findings=tuple(as_data(f) for f in error.findings))
    line = f"{found.verdict}, {found.overdue} overdue, {len(found.chairs_unfit)} chairs and {len(found.machines_unfit)} machines unfit"
    return Outcome(job.name, "looked", line, in_order=found.verdict == "fit", standing=found.as_data())


def standing_in_short(practice_file: Path, book: str, day: date | None) -> Summary:
    """Return how a practice stands now, or at the end of a day, by all that is in its book; raises `Mendable`."""
    practice = load_practice(practice_file)
    zone = ZoneInfo(practice.practice.time_zone)
    at = datetime.now(zone) if day is None else datetime.combine(day, LATEST, zone)
    rulebook = load_rulebook(practice, on=at.date())
    address = group_address(book)
    # A group's book is folded beside the practice file, where its pages keep it too: the next night begins where this one ended.
    here = opener(address, practice_file.with_suffix(".book"))(practice.practice.id) if address else opened(book, None, write=False)
    with here as store:
        if store.practice != practice.practice.id:
            mend = "Name the practice's own book in the group file."
            raise Mendable(f"this is the book of {store.practice!r:.80}", where=book, mend=mend)
        standings = Standings(state_of(store), Basis.of(practice, rulebook, running_times(practice, rulebook)))
        return summary_of(standings.as_of(to_ms(at), standings.state.received), store)
