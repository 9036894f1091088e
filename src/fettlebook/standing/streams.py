"""Facts in two times: when they happened, and from when until when the book said so. Asking is a search, never a scan.

A stream holds the facts of one sort about one subject in the order in which they happened. A fact that a later entry corrects or
withdraws stays where it is, with the moment of receipt from which it holds no longer; so the stream answers for any past state of
the book, and an entry costs the same on the first day and after ten years.
"""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator
from typing import Final

from fettlebook.standing.older import EVER, PART, Fact, Older, edge

__all__ = ["EVER", "NOTHING", "Fact", "Stream"]
TAIL: Final = 2 * PART  # the newest facts, where almost every late entry belongs, are at hand


class Stream:
    """Facts of one sort about one subject, in the order in which they happened: the newest as they are, the older in parts."""

    __slots__ = ("facts", "older")

    def __init__(self) -> None:
        self.facts: list[Fact] = []  # empty only where there are none at all
        self.older: Older | None = None

    def __iter__(self) -> Iterator[Fact]:
        if self.older is not None:
            yield from self.older
        yield from self.facts

    def add(self, fact: Fact) -> None:
        """Put a fact in its place; at the end where it is the newest, which costs nothing."""
        facts = self.facts
        if not facts or fact > facts[-1]:
            facts.append(fact)
            if len(facts) > TAIL:
                if self.older is None:
                    self.older = Older()
                self.older.append(facts[:PART])
                self.facts = facts[PART:]
            return
        if self.older and fact < facts[0]:
            self.older.add(fact)
        else:
            insort(facts, fact)

    def take_out(self, fact: Fact) -> None:
        """Take out the fact of the same entry that happened then and held from the same receipt on; nothing where there is none."""
        place = bisect_left(self.facts, fact)
        if place < len(self.facts) and self.facts[place][:3] == fact[:3]:
            del self.facts[place]
            while not self.facts and self.older:
                self.facts = self.older.pop()
        elif self.older:
            self.older.take_out(fact)

    def back(self, at: int, known_at: int, *, since: int = 0) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `at`, newest first."""
        place = bisect_right(self.facts, edge(at, EVER))
        while place:
            place -= 1
            fact = self.facts[place]
            if fact.happened < since:
                return
            if fact.since <= known_at < fact.until:
                yield fact
        if self.older is not None:
            yield from self.older.back(at, known_at, since)

    def forward(self, since: int, known_at: int, *, until: int = EVER) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `until`, oldest first."""
        if self.older is not None:
            yield from self.older.forward(since, known_at, until)
        for place in range(bisect_left(self.facts, edge(since, -1)), len(self.facts)):
            fact = self.facts[place]
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
