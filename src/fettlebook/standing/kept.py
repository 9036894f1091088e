"""Verdicts kept from one question to the next, until something that they rest on may be another.

Whoever makes a value through a noting look (`Noted`) rests on three things: the streams that were asked, the values that were made on the
way, and the moments that had not come yet ("good until", "day over", "so many hours"). A kept value is dropped when the fold puts a fact
into one of its streams, when a value that it rests on is dropped, when one of its moments has come, and at midnight: what is of a day
needs no noting. Only what is asked of all that is known, at no earlier moment than the newest entry, is kept; any other question is
answered anew. Nothing else is remembered, so what is kept can only be what would be made again (`tests/standing/test_kept_verdicts.py`).
"""

from collections.abc import Callable, Hashable
from dataclasses import dataclass
from typing import Any, Final, NamedTuple

from fettlebook.book.kinds import PRACTICE
from fettlebook.standing.facts import Key
from fettlebook.standing.gaps import Missing
from fettlebook.standing.look import MISSING, Look, Made
from fettlebook.standing.state import State
from fettlebook.standing.upkeep import BY_SUBJECT, missing_by_subject
from fettlebook.standing.versions import Held, Versions

MOST: Final = 20_000  # values; a practice of twelve chairs has some hundred, a page of old loads asks for more
Source = Key | tuple[Hashable]  # a stream, or (alone) the name of another value


class Notes:
    """What a value that is being made rests on: where it looked, and the first moment at which it may be another."""

    __slots__ = ("read", "until")

    def __init__(self, until: int) -> None:
        self.read: set[Source] = set()
        self.until = until


class _Value(NamedTuple):
    value: Any
    since: int  # it holds from this moment until before the next
    until: int
    read: set[Source]


class Kept:
    """The values of one state, all made under one basis."""

    def __init__(self, state: State, under: Held) -> None:
        self._state = state
        self._values: dict[Hashable, _Value] = {}
        self._resting: dict[Source, set[Hashable]] = {}  # the names of the values that rest on a source
        self._under = under  # what all of them were judged by
        self._missing: dict[str, tuple[Missing, ...]] = {}
        self._holed = -1
        self.taking = [Notes(0)]  # of the values that are being made, the innermost last; the first are of what is asked beside them
        state.listen(self)

    def look(self, held: Held, at: int, known_at: int, versions: Versions) -> Look:
        """Return the look for a question: one that takes notes where its answers may be kept."""
        state = self._state
        if at < state.received or known_at < state.received:
            return Look(state, held.basis, at, known_at, versions)
        midnight = held.basis.days_after(at, 1)
        if self._under.basis is not held.basis or self._under.doubts != held.doubts or len(self._values) > MOST:
            self._values.clear()
            self._resting.clear()
            self._under, self._holed = held, -1
        look = Noted(state, held.basis, at, known_at, versions, kept=self, under=self._under, seq=state.seq, midnight=midnight)
        self.taking[0] = Notes(midnight)
        if self._holed != state.holed:
            self._holed = state.holed
            self._hear_missing(missing_by_subject(look))
        look.memo[BY_SUBJECT] = self._missing
        return look

    def serves(self, look: "Noted") -> bool:
        """Tell whether a look is of the book as it is now: one from before the newest entry is not."""
        return look.seq == self._state.seq and look.under is self._under

    def value(self, name: Hashable, look: "Noted", make: Callable[[], Made]) -> Made:
        """Return the value of this name, kept or made."""
        held = self._values.get(name)
        if held is None or not held.since <= look.moment < held.until:
            self._drop(name)
            notes = Notes(look.midnight)
            self.taking.append(notes)
            try:
                value = make()
            finally:
                self.taking.pop()
            held = self._values[name] = _Value(value, look.moment, notes.until, notes.read)
            for source in notes.read:
                self._resting.setdefault(source, set()).add(name)
        outer = self.taking[-1]
        outer.read.add((name,))
        outer.until = min(outer.until, held.until)
        found: Made = held.value
        return found

    def hear(self, key: Source) -> None:
        """Drop what rests on a source."""
        for name in tuple(self._resting.get(key, ())):
            self._drop(name)

    def _drop(self, name: Hashable) -> None:
        held = self._values.pop(name, None)
        if held is None:
            return
        for source in held.read:
            resting = self._resting[source]
            resting.discard(name)
            if not resting:
                del self._resting[source]
        self.hear((name,))

    def _hear_missing(self, now: dict[str, tuple[Missing, ...]]) -> None:
        before, self._missing = self._missing, now
        for subject in {*before, *now, PRACTICE}:
            if before.get(subject) != now.get(subject):
                self.hear((subject, MISSING))


@dataclass(frozen=True, slots=True, kw_only=True)
class Noted(Look):
    """A look that takes notes of what is asked through it, for values that are kept."""

    kept: Kept
    under: Held
    seq: int  # of the newest entry when it was made
    midnight: int

    @property
    def at(self) -> int:
        """The moment itself: what rests on it holds for no other."""
        self._not_after(self.moment + 1)
        return self.moment

    def over(self, end: int) -> bool:
        """Tell whether a moment has come [ms]; while it has not, what rests on that holds no longer than until then."""
        if end <= self.moment:
            return True
        self._not_after(end)
        return False

    def elapsed(self, since: int, unit_ms: int) -> int:
        """Return how many whole units have passed since a moment: so many until the next one is whole."""
        units = (self.moment - since) // unit_ms
        self._not_after(since + (units + 1) * unit_ms)
        return units

    def once(self, name: Hashable, make: Callable[[], Made]) -> Made:
        """Return what several ask for: kept from an earlier question where nothing that it rests on is another."""
        if self.kept.serves(self):
            return self.kept.value(name, self, make)
        if name not in self.memo:  # entries came while somebody held this look: it answers by what it was made of
            self.memo[name] = make()
        made: Made = self.memo[name]
        return made

    def rests_on(self, subject: str, sort: str) -> None:
        """Take note of a stream."""
        self.kept.taking[-1].read.add((subject, sort))

    def _not_after(self, end: int) -> None:
        notes = self.kept.taking[-1]
        notes.until = min(notes.until, end)
