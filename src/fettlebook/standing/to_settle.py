"""What tablets made of the same work that does not agree, and by which rule it counts meanwhile.

In: entries as received, of some days. Out: pairs that a person should look at, and entries whose times need explaining. Pure.
It never drops or changes an entry: both stay in the book, and a person's settling is an entry too.
"""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby
from typing import Final

from fettlebook.book.kinds import EntrySettled, EntryWithdrawn, StepDone, StepStarted
from fettlebook.book.received import Received
from fettlebook.standing.facts import happened_ms

SAME_WITHIN_MS: Final = 30 * 60_000  # our own choice: two ends of a step without a visit or run so near are one piece of work
CLOCK_OFF_MS: Final = 60_000
LATE_MS: Final = 10 * 60_000
_Key = tuple[object, ...]


@dataclass(frozen=True, slots=True)
class Twice:
    """One step that two people or two devices ended. `counts` is the earlier end; the others stay beside it."""

    counts: Received
    beside: tuple[Received, ...]

    @property
    def settled_by(self) -> str:
        """The entry that a settling refers to."""
        return self.counts.entry.id


@dataclass(frozen=True, slots=True)
class Timed:
    """An entry whose claimed time is not simply the time at which it came [ms]."""

    received: Received
    happened_ms: int  # claimed, put right by the device's clock
    off_ms: int  # by how much that clock was ahead (negative: behind); 0: within a minute
    late_ms: int  # how long after it happened it came; 0: within ten minutes


def ended_twice(entries: Iterable[Received]) -> tuple[Twice, ...]:
    """Return the steps that were ended more than once by different people or devices, newest first; settled ones are left out.

    Two ends are of one piece of work where duty, step, place, outlets, visit and run are the same, no start lies between them, and,
    where neither names a visit or a run, they are at most 30 minutes apart.

    Parameters
    ----------
    entries
        In any order; the withdrawals and settlings among them count too.
    """
    held = list(entries)
    gone = {one.entry.refers_to for one in held if isinstance(one.entry.data, EntryWithdrawn)}
    settled = [{one.entry.refers_to, *one.entry.data.beside} for one in held if isinstance(one.entry.data, EntrySettled)]
    steps = [one for one in held if isinstance(one.entry.data, StepStarted | StepDone) and one.entry.id not in gone]
    found: list[Twice] = []
    for _, same in groupby(sorted(steps, key=lambda one: (repr(_key(one)), happened_ms(one), one.seq)), key=_key):
        for ends in _pieces(list(same)):
            who = {(one.entry.data.done_by or one.entry.by, one.entry.device) for one in ends if isinstance(one.entry.data, StepDone)}
            ids = {one.entry.id for one in ends}
            if len(ends) > 1 and len(who) > 1 and not any(ids <= group for group in settled):
                found.append(Twice(ends[0], tuple(ends[1:])))
    return tuple(sorted(found, key=lambda one: -one.counts.seq))


def _key(received: Received) -> _Key:
    data = received.entry.data
    assert isinstance(data, StepStarted | StepDone)
    return (data.duty, data.step, data.chair, data.machine, data.outlets, data.suction, data.visit, data.run)


def _pieces(same: Sequence[Received]) -> Iterator[list[Received]]:
    """Yield the ends of one piece of work each, in the order in which they happened."""
    ends: list[Received] = []
    for one in same:
        data = one.entry.data
        begins = isinstance(data, StepStarted)
        named = not begins and isinstance(data, StepDone) and (data.visit is not None or data.run is not None)
        if ends and (begins or (not named and happened_ms(one) - happened_ms(ends[-1]) > SAME_WITHIN_MS)):
            yield ends
            ends = []
        if isinstance(data, StepDone) and data.outcome == "done":
            ends.append(one)
    if ends:
        yield ends


def oddly_timed(entries: Iterable[Received]) -> Iterator[Timed]:
    """Yield the entries of devices whose clock was off by more than a minute, or that came more than ten minutes after."""
    for one in entries:
        happened = happened_ms(one)
        off = -one.offset if abs(one.offset) > CLOCK_OFF_MS else 0
        late = one.received - happened if one.received - happened > LATE_MS else 0
        if one.via != "server" and (off or late):
            yield Timed(one, happened, off, late)
