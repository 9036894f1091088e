"""Facts in two times: when they happened, and from when until when the book said so. Asking is a search, never a scan.

A stream holds the facts of one sort about one subject in the order in which they happened. A fact that a later entry corrects or
withdraws stays where it is, with the moment of receipt from which it holds no longer; so the stream answers for any past state of
the book, and an entry costs the same on the first day and after ten years.
"""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Callable, Iterator
from typing import Final, NamedTuple

from fettlebook.standing.older import EVER, PART, Fact, Older, edge

__all__ = ["EVER", "NOTHING", "Before", "Fact", "Stream"]
TAIL: Final = 2 * PART  # the newest facts, where almost every late entry belongs, are at hand
NEWEST: Final = 16  # of a stream that was kept: so many answer most questions, the rest of its newest facts is read when one goes on


class Before(NamedTuple):
    """Facts of a stream that was kept, right before those at hand: as bytes until a question reaches them."""

    number: int
    first: int  # when the first of them happened
    raw: bytes
    read: Callable[[bytes], list[Fact]]


class Stream:
    """Facts of one sort about one subject, in the order in which they happened: the newest as they are, the older in parts."""

    __slots__ = ("before", "facts", "older")

    def __init__(self) -> None:
        self.facts: list[Fact] = []  # empty only where there are none at all
        self.before: Before | None = None  # what comes before them and after the older ones
        self.older: Older | None = None

    def __iter__(self) -> Iterator[Fact]:
        if self.older is not None:
            yield from self.older
        yield from self.all_newest()

    def all_newest(self) -> list[Fact]:
        """Return the facts after the older ones, all at hand from now on."""
        if self.before is not None:
            self.facts = self.before.read(self.before.raw) + self.facts
            self.before = None
        return self.facts

    def add(self, fact: Fact) -> None:
        """Put a fact in its place; at the end where it is the newest, which costs nothing."""
        facts = self.facts
        if not facts or fact > facts[-1]:
            facts.append(fact)
            if len(facts) + (0 if self.before is None else self.before.number) > TAIL:
                if self.older is None:
                    self.older = Older()
                facts = self.all_newest()
                self.older.append(facts[:PART])
                self.facts = facts[PART:]
            return
        facts = self.all_newest()
        if self.older and fact < facts[0]:
            self.older.add(fact)
        else:
            insort(facts, fact)

    def take_out(self, fact: Fact) -> None:
        """Take out the fact of the same entry that happened then and held from the same receipt on; nothing where there is none."""
        facts = self.all_newest()
        place = bisect_left(facts, fact)
        if place < len(facts) and facts[place][:3] == fact[:3]:
            del facts[place]
            while not self.facts and self.older:
                self.facts = self.older.pop()
        elif self.older:
            self.older.take_out(fact)

    def back(self, at: int, known_at: int, *, since: int = 0) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `at`, newest first."""
        facts, before = self.facts, self.before
        place = bisect_right(facts, edge(at, EVER))
        while True:
            while place:
                place -= 1
                fact = facts[place]
                if fact.happened < since:
                    return
                if fact.since <= known_at < fact.until:
                    yield fact
            if before is None or before.first > at:
                break
            facts = self.all_newest()  # by then another question may have read them
            place, before = min(before.number, bisect_right(facts, edge(at, EVER))), None
        if self.older is not None:
            yield from self.older.back(at, known_at, since)

    def forward(self, since: int, known_at: int, *, until: int = EVER) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `until`, oldest first."""
        if self.older is not None:
            yield from self.older.forward(since, known_at, until)
        if self.before is not None and self.before.first > until:
            return
        facts = self.facts if self.before is None or self.facts[0].happened < since else self.all_newest()
        for place in range(bisect_left(facts, edge(since, -1)), len(facts)):
            fact = facts[place]
            if fact.happened > until:
                return
            if fact.since <= known_at < fact.until:
                yield fact

    def latest(self, at: int, known_at: int, *, since: int = 0) -> Fact | None:
        """Return the newest known fact that happened from `since` to `at`."""
        return next(self.back(at, known_at, since=since), None)

    def first(self, since: int, known_at: int, *, until: int = EVER) -> Fact | None:
        """Return the oldest known fact that happened from `since` to `until`."""
        return next(self.forward(since, known_at, until=until), None)


class _Nothing(Stream):
    """The stream where nothing was ever said."""

    def add(self, fact: Fact) -> None:
        raise TypeError("nothing is added where nothing was ever said")


NOTHING: Final[Stream] = _Nothing()
