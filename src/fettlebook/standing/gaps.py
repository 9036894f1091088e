"""What a device made and never sent: its counter has no gaps, so a missing entry shows.

A tablet that wrote entries 41 and 43 holds an entry 42, or lost it. What it touched about then can't be vouched for.
"""

from collections.abc import Iterator, Sequence
from typing import NamedTuple

from fettlebook.book.received import Received
from fettlebook.said import said
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.streams import EVER, Fact, Stream


class Hole(NamedTuple):
    """Numbers `first` to `last` of a device that were missing from receipt `since` until `until`."""

    first: int
    last: int
    since: int
    until: int


class Missing(NamedTuple):
    """Entries of a device that are missing: how many, and between which moments they were made."""

    device: str
    first: int
    last: int
    after: int  # when its last entry before them happened; 0: they are its first
    before: int

    @property
    def words(self) -> str:
        """Which entries, as a person says it."""
        if self.first == self.last:
            return said("entry {n} of device {device} did not arrive", n=self.first, device=self.device)
        return said("entries {first} to {last} of device {device} did not arrive", first=self.first, last=self.last, device=self.device)


class Counter:
    """The entries of one device by their number, and the holes among them."""

    __slots__ = ("closed", "highest", "numbers", "open")

    def __init__(self) -> None:
        self.highest = 0
        self.numbers = Stream()  # a fact for each entry, that "happened" at its number; it says when in truth, and about what
        self.open: list[Hole] = []  # few
        self.closed = Stream()  # a fact for each that was filled, that "happened" at its `until`

    def add(self, received: Received, subjects: tuple[str, ...]) -> None:
        """Take note of an entry and what it touches, in the order of receipt."""
        n, now, highest = received.entry.n, received.received, self.highest
        self.numbers.add(Fact(n, received.seq, now, EVER, "", (happened_ms(received), subjects)))
        if n > highest + 1:
            self.open.append(Hole(highest + 1, n - 1, now, EVER))
        elif n <= highest:
            self._fill(n, now)
        self.highest = max(n, highest)

    def begin_after(self, stretches: Sequence[tuple[int, int]]) -> None:
        """Begin after entries that were pruned: their numbers had come, and say nothing any more."""
        for first, last in stretches:
            if first > self.highest + 1:
                self.open.append(Hole(self.highest + 1, first - 1, 0, EVER))
            self.highest = max(self.highest, last)

    def _fill(self, n: int, now: int) -> None:
        for place, hole in enumerate(self.open):
            if hole.first <= n <= hole.last:
                rest = [hole._replace(last=n - 1), hole._replace(first=n + 1)]
                self.open[place : place + 1] = [part for part in rest if part.first <= part.last]
                self.closed.add(Fact(now, n, hole.since, EVER, "", (n, n)))
                return

    def _holes(self, known_at: int) -> Iterator[Hole]:
        """Yield the holes as they were known at a moment."""
        yield from (hole for hole in self.open if hole.since <= known_at)
        for fact in self.closed.forward(known_at + 1, known_at):
            first, last = fact.says
            yield Hole(first, last, fact.since, fact.happened)

    def missing(self, device: str, known_at: int) -> Iterator[Missing]:
        """Yield what was missing at `known_at`."""
        open_then = sorted((hole.first, hole.last, hole.since) for hole in self._holes(known_at))
        together: list[tuple[int, int, int]] = []
        for first, last, since in open_then:
            if together and together[-1][1] == first - 1:  # parts of one hole, which was closed piece by piece later
                together[-1] = (together[-1][0], last, since)
            else:
                together.append((first, last, since))
        for first, last, since in together:
            low, high = self.numbers.latest(first, known_at), self.numbers.first(last + 1, known_at)
            after, before = (low.says[0] if low is not None else 0), (high.says[0] if high is not None else since)
            yield Missing(device, first, last, min(after, before), max(after, before))

    def touched(self, since: int, until: int, missing: Missing, known_at: int) -> Iterator[str]:
        """Yield the subjects of the entries beside a hole that happened in a stretch: what the device was working on."""
        # What had not come by then can't tell where the stretch ends: the stream passes it over.
        for beside in (self.numbers.back(missing.first - 1, known_at), self.numbers.forward(missing.first, known_at)):
            for fact in beside:
                happened, subjects = fact.says
                if not since <= happened <= until:
                    break
                yield from subjects
