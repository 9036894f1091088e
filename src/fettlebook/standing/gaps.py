"""What a device made and never sent: its counter has no gaps, so a missing entry shows.

A tablet that wrote entries 41 and 43 holds an entry 42, or lost it. What it touched about then can't be vouched for.
"""

from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterator
from typing import Final, NamedTuple

from fettlebook.book.received import Received
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.streams import EVER

BLOCK: Final = 256


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

    __slots__ = ("closed", "earliest", "happened", "n", "open", "received", "subjects")

    def __init__(self) -> None:
        # Side by side, in the order of n: a book of ten years has millions of them.
        self.n = array("q")
        self.happened = array("q")
        self.received = array("q")
        self.subjects: list[tuple[str, ...]] = []
        self.open: list[Hole] = []  # few
        self.closed: list[Hole] = []  # by `until`, as they were closed
        self.earliest: list[int] = []  # of each block of closed holes, the earliest `since`: a past question skips the rest

    def add(self, received: Received, subjects: tuple[str, ...]) -> None:
        """Take note of an entry and what it touches, in the order of receipt."""
        n, now = received.entry.n, received.received
        highest = self.n[-1] if self.n else 0
        place = len(self.n) if n > highest else bisect_right(self.n, n)
        self.n.insert(place, n)
        self.happened.insert(place, happened_ms(received))
        self.received.insert(place, now)
        self.subjects.insert(place, subjects)
        if n > highest + 1:
            self.open.append(Hole(highest + 1, n - 1, now, EVER))
        elif n <= highest:
            self._fill(n, now)

    def _fill(self, n: int, now: int) -> None:
        for place, hole in enumerate(self.open):
            if hole.first <= n <= hole.last:
                rest = [hole._replace(last=n - 1), hole._replace(first=n + 1)]
                self.open[place : place + 1] = [part for part in rest if part.first <= part.last]
                self._close(Hole(n, n, hole.since, now))
                return

    def _close(self, hole: Hole) -> None:
        if len(self.closed) % BLOCK == 0:
            self.earliest.append(hole.since)
        self.earliest[-1] = min(self.earliest[-1], hole.since)
        self.closed.append(hole)

    def _holes(self, known_at: int) -> Iterator[Hole]:
        """Yield the holes as they were known at a moment."""
        yield from (hole for hole in self.open if hole.since <= known_at)
        first = bisect_right(self.closed, known_at, key=lambda hole: hole.until)
        for block in range(first // BLOCK, len(self.earliest)):
            if self.earliest[block] <= known_at:
                for hole in self.closed[max(first, block * BLOCK) : (block + 1) * BLOCK]:
                    if hole.since <= known_at:
                        yield hole

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
            low, high = self._known(first, -1, known_at), self._known(last + 1, 1, known_at)
            after, before = (self.happened[low] if low is not None else 0), (self.happened[high] if high is not None else since)
            yield Missing(device, first, last, min(after, before), max(after, before))

    def touched(self, since: int, until: int, missing: Missing, known_at: int) -> Iterator[str]:
        """Yield the subjects of the entries beside a hole that happened in a stretch: what the device was working on."""
        place = bisect_left(self.n, missing.first)
        for step, begin in ((-1, place - 1), (1, place)):
            at = begin
            while 0 <= at < len(self.n):
                if self.received[at] <= known_at:  # what had not come by then can't tell where the stretch ends
                    if not since <= self.happened[at] <= until:
                        break
                    yield from self.subjects[at]
                at += step

    def _known(self, n: int, step: int, known_at: int) -> int | None:
        """Return the place of the nearest entry from `n` on, up or down, that had arrived."""
        at = bisect_left(self.n, n) if step > 0 else bisect_right(self.n, n) - 1
        while 0 <= at < len(self.n):
            if self.received[at] <= known_at:
                return at
            at += step
        return None
