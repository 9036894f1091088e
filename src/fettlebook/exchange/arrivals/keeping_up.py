"""The standing of a book that is being written to while it is asked."""

from datetime import date

from fettlebook.book.kinds import from_ms
from fettlebook.book.stores import Store
from fettlebook.exchange.kept_state import state_of
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.basis import Basis
from fettlebook.standing.look import Look
from fettlebook.standing.standings import Standings
from fettlebook.times.running import running_times


class KeepingUp:
    """Folds what is added, so that each look sees all that is in the book."""

    def __init__(self, store: Store, practice: Practice) -> None:
        """Read the book once."""
        self._store, self._practice = store, practice
        self._state = state_of(store)
        self._of: tuple[date, Standings] | None = None

    def look(self, now_ms: int) -> Look:
        """Return the book as it is known now."""
        for received in self._store.read(self._state.seq):
            self._state.add(received)
        day = from_ms(now_ms, self._practice.practice.time_zone).date()
        if self._of is None or self._of[0] != day:
            rulebook = load_rulebook(self._practice, on=day)
            basis = Basis.of(self._practice, rulebook, running_times(self._practice, rulebook))
            self._of = day, Standings(self._state, basis)
        return self._of[1].as_of(now_ms, max(self._state.received, 0)).look
