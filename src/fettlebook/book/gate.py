"""What is held against an entry before it may enter the book: does it speak of things that the practice has, at a time that can be?

A refused entry stays with its sender, whole. What was true of the practice when a tablet made an entry may be years old: every practice
file that the book has ever held counts.
"""

from collections.abc import Iterable, Iterator
from typing import Final

from fettlebook.book.entries import Entry
from fettlebook.book.kinds import PracticeFileVersion, TrainingHeld
from fettlebook.book.received import Received
from fettlebook.errors import Finding
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice

EARLIEST_MS: Final = 946_684_800_000  # 2000-01-01 UTC: before any entry of this program
AHEAD_MS: Final = 366 * 24 * 3600 * 1000
_NAMED: Final = ("chair", "machine", "outlet", "suction", "unit")


class Gate:
    """Knows what the practice has, and since when nothing can have been."""

    def __init__(self, practices: Iterable[Practice]) -> None:
        self._known: dict[str, set[str]] = {name: set() for name in _NAMED}
        self.people: set[str] = set()  # everyone who ever worked here
        self.open = True  # no practice file yet: nothing can be said to be unknown
        for practice in practices:
            self.open = False
            self.people |= {person.id for person in practice.people}
            self._known["machine"] |= {m.id for m in practice.machines}
            self._known["unit"] |= {s.id for s in practice.sets}
            for chair in practice.chairs:
                self._known["chair"].add(chair.id)
                self._known["outlet"] |= {f"{chair.id}/{outlet.id}" for outlet in chair.outlets}
                self._known["suction"] |= {f"{chair.id}/{line.id}" for line in chair.suction}

    def refusals(self, entry: Entry, *, now: int, offset: int = 0) -> tuple[Finding, ...]:
        """Return what keeps an entry out, nothing where it may enter.

        `now` is the receiver's clock and `offset` that clock less the sender's [ms]: a sender whose clock is known to be wrong is
        judged by the right time. A time some days off is no reason to refuse: it is shown beside the time of receipt.
        """
        return (*self._unknown(entry), *_out_of_time(entry, now, offset))

    def _unknown(self, entry: Entry) -> Iterator[Finding]:
        if self.open:
            return
        for subject in entry.subjects:
            name, _, which = subject.partition(":")
            which = which.partition("#")[0] if name == "unit" else which
            if name in self._known and which not in self._known[name]:
                word = {"suction": "suction line", "unit": "set"}.get(name, name)
                known = ", ".join(sorted(self._known[name])) or "none"
                mend = f"Look at the spelling (known: {known:.300}), or put it into the practice file first."
                yield Finding(f"no {word} {which!r}", "entry.subjects", mend)
        if isinstance(entry.data, TrainingHeld) and entry.data.person not in self.people:
            known = ", ".join(sorted(self.people)) or "none"
            mend = f"Give the id of one of the staff (known: {known:.300}); nobody else's training is kept."
            yield Finding(f"nobody of the staff is {entry.data.person!r}", "entry.data.person", mend)


def gate_of(versions: Iterable[Received]) -> Gate:
    """Return the gate for a book, from its entries of the kind `practice_file.version`; unreadable ones are passed over."""
    practices = []
    for received in versions:
        data = received.entry.data
        if isinstance(data, PracticeFileVersion):
            loaded = read_practice(data.text.encode("utf-8", "surrogatepass"), data.name or "practice.toml")
            practices += [loaded.practice] if loaded.practice is not None else []
    return Gate(practices)


def _out_of_time(entry: Entry, now: int, offset: int) -> Iterator[Finding]:
    at = entry.at + offset
    if at < EARLIEST_MS:
        mend = "Set the device's clock; the entry stays on it until then."
        yield Finding("a time before the year 2000", "entry.at", mend)
    elif at > now + AHEAD_MS:
        mend = "Set the device's clock, and this server's; the entry stays on the device until then."
        yield Finding("a time more than a year ahead", "entry.at", mend)
