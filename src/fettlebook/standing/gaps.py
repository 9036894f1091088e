"""What a device made and never sent: its counter has no gaps, so a missing entry shows.

A tablet that wrote entries 41 and 43 holds an entry 42, or lost it. What it touched about then can't be vouched for.
"""

from bisect import bisect_left, bisect_right, insort
from collections.abc import Iterator
from typing import NamedTuple

from fettlebook.book.received import Received
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.streams import EVER


class Made(NamedTuple):
    """An entry by its device's counter."""

    n: int
    happened: int
    received: int
    subjects: tuple[str, ...]


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
        which = f"entry {self.first}" if self.first == self.last else f"entries {self.first} to {self.last}"
        return f"{which} of device {self.device} did not arrive"


class Counter:
    """The entries of one device by their number, and the holes among them."""

    __slots__ = ("holes", "made")

    def __init__(self) -> None:
        self.made: list[Made] = []
        self.holes: list[Hole] = []  # few: each is a stretch that was missing at some time

    def add(self, received: Received) -> None:
        """Take note of an entry, in the order of receipt."""
        n, now = received.entry.n, received.received
        made = Made(n, happened_ms(received), now, received.entry.subjects)
        highest = self.made[-1].n if self.made else 0
        if n > highest:
            if n > highest + 1:
                self.holes.append(Hole(highest + 1, n - 1, now, EVER))
            self.made.append(made)
            return
        insort(self.made, made)
        for place in range(len(self.holes) - 1, -1, -1):
            hole = self.holes[place]
            if hole.until == EVER and hole.first <= n <= hole.last:
                self.holes[place] = hole._replace(first=n, last=n, until=now)
                rest = [hole._replace(last=n - 1), hole._replace(first=n + 1)]
                self.holes.extend(part for part in rest if part.first <= part.last)
                return

    def missing(self, device: str, known_at: int) -> Iterator[Missing]:
        """Yield what was missing at `known_at`."""
        open_then = sorted((hole.first, hole.last, hole.since) for hole in self.holes if hole.since <= known_at < hole.until)
        together: list[tuple[int, int, int]] = []
        for first, last, since in open_then:
            if together and together[-1][1] == first - 1:  # parts of one hole, which was closed piece by piece later
                together[-1] = (together[-1][0], last, since)
            else:
                together.append((first, last, since))
        for first, last, since in together:
            low, high = self._known(first, -1, known_at), self._known(last + 1, 1, known_at)
            after, before = (low.happened if low else 0), (high.happened if high else since)
            yield Missing(device, first, last, min(after, before), max(after, before))

    def touched(self, since: int, until: int, missing: Missing, known_at: int) -> Iterator[str]:
        """Yield the subjects of the entries beside a hole that happened in a stretch: what the device was working on."""
        place = bisect_left(self.made, (missing.first,))
        for step, begin in ((-1, place - 1), (1, place)):
            at = begin
            while 0 <= at < len(self.made) and since <= self.made[at].happened <= until:
                if self.made[at].received <= known_at:
                    yield from self.made[at].subjects
                at += step

    def _known(self, n: int, step: int, known_at: int) -> Made | None:
        at = bisect_left(self.made, (n,)) if step > 0 else bisect_right(self.made, (n,)) - 1
        while 0 <= at < len(self.made):
            if self.made[at].received <= known_at:
                return self.made[at]
            at += step
        return None
