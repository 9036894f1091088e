"""The older facts of a stream, in parts: each is fetched when a question reaches it, from wherever the state was kept.

What is known of a part without fetching it - its first and last moment, its earliest receipt - tells most questions to pass it over.
"""

from array import array
from bisect import bisect_left, bisect_right, insort
from collections.abc import Callable, Iterator
from typing import Any, Final, NamedTuple

EVER: Final = 1 << 62  # later than any receipt
PART: Final = 128  # facts


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


class Place(NamedTuple):
    """Where bytes stand that were kept, and the mark by which they are known."""

    offset: int
    length: int
    tag: int


Fetch = Callable[[Place], list[Fact]]
_COLUMNS: Final = ("first", "seq", "receipt", "last", "since", "offset", "length", "tag")


class Older:
    """Parts in order; all facts of one come before all facts of the next.

    Parameters
    ----------
    columns
        As `columns` gave them, where the parts were kept.
    fetch
        Gives the facts of a part that was kept.
    """

    __slots__ = (*_COLUMNS, "changed", "fetch")
    first: "array[int]"  # of each part: when its first fact happened
    seq: "array[int]"  # and that one's place in the book
    receipt: "array[int]"
    last: "array[int]"  # when its last fact happened, or later
    since: "array[int]"  # the earliest receipt in it
    offset: "array[int]"  # where it is kept
    length: "array[int]"
    tag: "array[int]"

    def __init__(self, columns: tuple[bytes, ...] | None = None, fetch: Fetch | None = None) -> None:
        for number, name in enumerate(_COLUMNS):
            column = array("Q" if name == "tag" else "q")
            if columns is not None:
                column.frombytes(columns[number])
            setattr(self, name, column)
        self.changed: dict[int, list[Fact]] = {}  # parts that are not kept as they are now
        self.fetch = fetch

    def __len__(self) -> int:
        return len(self.first)

    def __iter__(self) -> Iterator[Fact]:
        for number in range(len(self.first)):
            yield from self._part(number)

    def append(self, facts: list[Fact]) -> None:
        """Add a part after all others."""
        self.changed[len(self.first)] = facts
        self._describe(facts, Place(0, 0, 0))

    def pop(self) -> list[Fact]:
        """Take out the last part and return its facts."""
        number = len(self.first) - 1
        facts = list(self._part(number))
        self.changed.pop(number, None)
        for name in _COLUMNS:
            getattr(self, name).pop()
        return facts

    def add(self, fact: Fact) -> None:
        """Put a fact in its place."""
        number = self._number_of(fact)
        facts = self._changing(number)
        insort(facts, fact)
        if facts[0] is fact:
            self.first[number], self.seq[number], self.receipt[number] = fact[:3]
        self.last[number] = max(self.last[number], fact.happened)
        self.since[number] = min(self.since[number], fact.since)

    def take_out(self, fact: Fact) -> None:
        """Take out the fact that is equal in its first three parts; nothing where there is none."""
        number = self._number_of(fact)
        facts = self._part(number)
        place = bisect_left(facts, fact)
        if place < len(facts) and facts[place][:3] == fact[:3]:
            del self._changing(number)[place]

    def back(self, at: int, known_at: int, since: int) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `at`, newest first."""
        number = bisect_right(self.first, at)
        while number:
            number -= 1
            if self.last[number] < since:
                return
            if self.since[number] > known_at:
                continue
            facts = self._part(number)
            for place in range(bisect_right(facts, edge(at, EVER)) - 1, -1, -1):
                fact = facts[place]
                if fact.happened < since:
                    return
                if fact.since <= known_at < fact.until:
                    yield fact

    def forward(self, since: int, known_at: int, until: int) -> Iterator[Fact]:
        """Yield the known facts that happened from `since` to `until`, oldest first."""
        for number in range(bisect_left(self.last, since), len(self.first)):
            if self.first[number] > until:
                return
            if self.since[number] > known_at:
                continue
            facts = self._part(number)
            for place in range(bisect_left(facts, edge(since, -1)), len(facts)):
                fact = facts[place]
                if fact.happened > until:
                    return
                if fact.since <= known_at < fact.until:
                    yield fact

    def columns(self, put: Callable[[list[Fact]], Place], fetch: Fetch) -> tuple[bytes, ...]:
        """Keep every part that is not kept as it is now, and return what is known of all of them, for the next `Older`."""
        if self.changed:
            old = [(Place(*place), self._part(n) if n in self.changed else None) for n, place in enumerate(self._places())]
            known = list(zip(self.first, self.seq, self.receipt, self.last, self.since, strict=True))
            for name in _COLUMNS:
                del getattr(self, name)[:]
            for (place, facts), row in zip(old, known, strict=True):
                if facts is None:
                    for name, value in zip(_COLUMNS, (*row, *place), strict=True):
                        getattr(self, name).append(value)
                    continue
                for begin in range(0, len(facts), 2 * PART):  # whoever enters years at once makes a part long
                    some = facts[begin : begin + 2 * PART]
                    self._describe(some, put(some))
            self.changed.clear()
        self.fetch = fetch
        return tuple(getattr(self, name).tobytes() for name in _COLUMNS)

    def _places(self) -> Iterator[tuple[int, int, int]]:
        return zip(self.offset, self.length, self.tag, strict=True)

    def _describe(self, facts: list[Fact], place: Place) -> None:
        row = (*facts[0][:3], facts[-1].happened, min(fact.since for fact in facts), *place)
        for name, value in zip(_COLUMNS, row, strict=True):
            getattr(self, name).append(value)

    def _part(self, number: int) -> list[Fact]:
        facts = self.changed.get(number)
        if facts is None:
            assert self.fetch is not None  # only kept parts are not in `changed`
            facts = self.fetch(Place(self.offset[number], self.length[number], self.tag[number]))
        return facts

    def _changing(self, number: int) -> list[Fact]:
        if number not in self.changed:
            self.changed[number] = list(self._part(number))
        return self.changed[number]

    def _number_of(self, fact: Fact) -> int:
        number = bisect_right(self.first, fact.happened)
        while number and (self.first[number - 1], self.seq[number - 1], self.receipt[number - 1]) > fact[:3]:
            number -= 1
        return max(0, number - 1)


def edge(happened: int, seq: int) -> Any:
    """Return what stands before (seq -1) or after (seq EVER) all facts of a moment: a pair, which compares with facts as tuples do."""
    return happened, seq
