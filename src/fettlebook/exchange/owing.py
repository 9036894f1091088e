"""What a practice's book says is due as a day begins: the same for the day on the page and for `fettlebook day --book`.

Comes in: practice, rulebook, running times, a day, and where the book lies. Goes out: what is owed, under which rulebook.
The book is only read, over a connection of its own, so that it may be asked from any thread.
"""

from datetime import date, datetime, time
from pathlib import Path
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import to_ms
from fettlebook.book.stores import Store, open_book
from fettlebook.errors import Mendable
from fettlebook.exchange.kept_state import state_of
from fettlebook.plan.owed import Owing
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.due import due_duties
from fettlebook.standing.standings import Standings
from fettlebook.times.model import RunningTime


def owing_by_book(practice: Practice, rulebook: Rulebook, times: tuple[RunningTime, ...], day: date, data: Path) -> Owing:
    """Return what the book says is due as a day begins, by all that is in it now.

    Raises
    ------
    Mendable
        There is no such book, or it can't be read.
    """
    if not data.exists():
        raise Mendable("there is no such book", where=str(data), mend="Name the practice's book, or leave it out.")
    with open_book(data, practice.practice.id, write=False) as store:
        return owing_by_store(practice, rulebook, times, day, store)


def owing_by_store(practice: Practice, rulebook: Rulebook, times: tuple[RunningTime, ...], day: date, store: Store) -> Owing:
    """Return the same from a book that is open: a group's, which has no file."""
    morning = to_ms(datetime.combine(day, time(0), ZoneInfo(practice.practice.time_zone)))
    standings = Standings(state_of(store), Basis.of(practice, rulebook, times))
    return Owing(due_duties(standings.as_of(morning, standings.state.received)), rulebook)
