"""What `fettlebook share diary` writes: booked days planned, and what falls due by the book."""

import secrets
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import to_ms
from fettlebook.book.stores import open_book
from fettlebook.cli.day_from_files import plan_from_files
from fettlebook.errors import Mendable
from fettlebook.exchange.calendar import booked_days
from fettlebook.exchange.kept_state import state_of
from fettlebook.exchange.key import KEY_BYTES
from fettlebook.exchange.share.diary import duty_diary
from fettlebook.practice.model import Practice
from fettlebook.practice.wording import nearest
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.due import due_duties
from fettlebook.standing.model import Owed
from fettlebook.standing.standings import Standings
from fettlebook.times.running import running_times
from fettlebook.web.source import newest_book, read_whole

DAYS_AHEAD = 30
PLAN_S = 3.0  # for each day: what a calendar shows is planned again by the page anyhow


def diary_of(
    practice: Practice, practice_file: Path, book_file: Path, data: Path | None, *, person: str | None, days: int
) -> tuple[bytes, int]:
    """Return the calendar and the number of its entries.

    Raises
    ------
    Mendable
        A file can't be used, or nobody of that id is in the practice file.
    """
    people = [one.id for one in practice.people]
    if person is not None and person not in people:
        close = nearest(person, people)
        mend = f"Did you mean {close}?" if close else f"One of: {', '.join(people)}."
        raise Mendable(f"nobody is called {person!r:.80}", where="--person", mend=mend)
    now = datetime.now(ZoneInfo(practice.practice.time_zone))
    calendar = newest_book(book_file)
    first = now.date()
    booked = booked_days(read_whole(calendar), calendar.name, practice, first, secrets.token_bytes(KEY_BYTES), days=DAYS_AHEAD)[:days]
    plans = [
        plan_from_files(practice_file, calendar, day=day, key_file=None, data=str(data) if data else None, limit_s=PLAN_S, seed=1).plan
        for day in booked
    ]
    owed: tuple[Owed, ...] = ()
    if data is not None:
        rulebook = load_rulebook(practice, on=first)
        with open_book(data, practice.practice.id, write=False) as store:
            standings = Standings(state_of(store), Basis.of(practice, rulebook, running_times(practice, rulebook)))
            owed = due_duties(standings.as_of(to_ms(now), max(standings.state.received, 0)))
        # What is planned for today stands in the plan already; only what lies beyond it is told as owed.
        planned = {task.place for plan in plans if plan.day <= first + timedelta(days=1) for task in plan.tasks}
        owed = tuple(one for one in owed if one.overdue or one.subject.partition(":")[2] not in planned)
    made = duty_diary(practice, plans, owed, person=person, made_at=now)
    return made, made.count(b"BEGIN:VEVENT")
