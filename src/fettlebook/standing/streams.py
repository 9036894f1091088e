"""Facts in two times: when they happened, and from when until when the book said so. Asking is a search, never a scan.

A stream holds the facts of one sort about one subject in the order in which they happened. A fact that a later entry corrects or
withdraws stays where it is, with the moment of receipt from which it holds no longer; so the stream answers for any past state of
the book, and an entry costs the same on the first day and after ten years.
"""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator
from typing import Any, Final, NamedTuple

EVER: Final = 1 << 62  # later than any receipt


class Fact(NamedTuple):
    """What one entry says, as the book had it from `since` until before `until` (receipt, ms since 1970 UTC).

    Facts compare by when they happened, then by their place in the book: at one moment, the one received later is later. No two
    facts of a stream are equal in the first three, so `says` is never compared.
    """

    happened: int
    seq: int
    since: int
    until: int
    entry: str
    says: Any = None


class Stream:
    """Facts of one sort about one subject, in the order in which they happened."""

    __slots__ = ("facts", "rewritten")

    def __init__(self) -> None:
        self.facts: list[Fact] = []
        self.rewritten = 1  # grows with each change that is not one more fact at the end

    def add(self, fact: Fact) -> None:
        """Put a fact in its place; at the end where it is the newest, which costs nothing."""
        if not self.facts or fact > self.facts[-1]:
            self.facts.append(fact)
        else:
            insort(self.facts, fact)
            self.rewritten += 1

    def take_out(self, fact: Fact) -> None:
        """Take out the fact of the same entry that happened then and held from the same receipt on; nothing where there is none."""
        place = bisect_left(self.facts, fact)
        if place < len(self.facts) and self.facts[place][:3] == fact[:3]:
            del self.facts[place]
            self.rewritten += 1

    def back(self, at: int, known_at: int, *, since: int = 0) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `at`, newest first."""
        place = bisect_right(self.facts, _edge(at, EVER))
        while place:
            place -= 1
            fact = self.facts[place]
            if fact.happened < since:
                return
            if fact.since <= known_at < fact.until:
                yield fact

    def forward(self, since: int, known_at: int, *, until: int = EVER) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `until`, oldest first."""
        for place in range(bisect_left(self.facts, _edge(since, -1)), len(self.facts)):
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


def _edge(happened: int, seq: int) -> Fact:
    return Fact(happened, seq, 0, 0, "")


NOTHING: Final = Stream()  # asked where nothing was ever said
NOTHING.rewritten = 0  # so that the first fact of a sort shows as a change
