"""The one way into a book for what people, devices and pages say: every entry passes the gate before the store sees it.

Commands, pages and whoever receives from tablets write through a door; a store alone takes anything that has an entry's form.
"""

from collections.abc import Sequence

from fettlebook.book.canonical import respell
from fettlebook.book.entries import MOST_BYTES, PROGRAM, Moment, new_entry, read_entry
from fettlebook.book.gate import Gate, gate_of
from fettlebook.book.kinds import Data, PracticeFileVersion
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.stores.base import Store
from fettlebook.book.tablet import tablet_refusals
from fettlebook.errors import Mendable


class Door:
    """The door of one practice's book."""

    def __init__(self, store: Store) -> None:
        self._store = store
        self._gate: Gate | None = None
        self._seen = 0  # entries that the gate has been asked about

    def append(
        self, entries: Sequence[bytes], *, now: int, via: str, offset: int = 0, from_tablet: bool = False
    ) -> list[Receipt | Refused]:
        """Add entries, given as JSON in any spelling; return when the good ones are durable.

        Parameters
        ----------
        entries
            At most 500 at a time.
        now, via, offset
            As `Store.append` takes them.
        from_tablet
            Also hold against them what a tablet may say.

        Returns
        -------
        list
            One result per entry, in order. A refused one is in the book in no way: its sender keeps it.

        Raises
        ------
        Mendable
            Nothing was stored: see `Store.append`.
        """
        gate = self._at_gate()
        read = [_readable(gate, raw, now, offset, from_tablet) for raw in entries]
        good = [raw for raw in read if isinstance(raw, bytes)]
        results = iter(self._store.append(good, now=now, via=via, offset=offset) if good else [])
        return [one if isinstance(one, Refused) else next(results) for one in read]

    def note(
        self,
        data: Data,
        *,
        moment: Moment,
        by: str = PROGRAM,
        subjects: tuple[str, ...] = (),
        refers_to: str | None = None,
        now: int | None = None,
    ) -> Receipt:
        """Write one entry that this machine makes, as `Store.note` does; raises `Mendable` where the gate or the store refuses it."""
        self.refuse(data, moment=moment, by=by, subjects=subjects, refers_to=refers_to, now=now)
        return self._store.note(data, moment=moment, by=by, subjects=subjects, refers_to=refers_to, now=now)

    def note_all(self, said: Sequence[Data], *, moment: Moment, by: str = PROGRAM) -> list[Receipt]:
        """Write several entries that belong together: all of them, or none where the gate or the store refuses one (`Mendable`)."""
        for data in said:
            self.refuse(data, moment=moment, by=by)
        return self._store.note_all(said, moment=moment, by=by)

    def refuse(
        self,
        data: Data,
        *,
        moment: Moment,
        by: str = PROGRAM,
        subjects: tuple[str, ...] = (),
        refers_to: str | None = None,
        now: int | None = None,
    ) -> None:
        """Raise `Mendable` with all that keeps such an entry out; nothing is written either way."""
        trial = new_entry(data, moment=moment, device="server", n=1, by=by, subjects=subjects, refers_to=refers_to)
        if found := self._at_gate().refusals(trial, now=moment.at if now is None else now):
            raise Mendable.of(found)

    def _at_gate(self) -> Gate:
        """Return the gate, with every practice file that the book holds by now."""
        # Only what came since is looked at: to read the newest file for each entry would cost more than the entry.
        kinds, size = [PracticeFileVersion.KIND], self._store.head().size
        if self._gate is None or next(self._store.read(self._seen, kinds=kinds, until=size), None) is not None:
            self._gate = gate_of(self._store.read(kinds=kinds, until=size))
        self._seen = size
        return self._gate


def _readable(gate: Gate, raw: bytes, now: int, offset: int, from_tablet: bool) -> bytes | Refused:
    try:
        spelled = respell(raw, where="entry", most_bytes=MOST_BYTES)
        made = read_entry(spelled)
    except Mendable as error:
        return Refused(None, error.findings)
    found = gate.refusals(made, now=now, offset=offset)
    if from_tablet:
        found = (*found, *tablet_refusals(made, gate.people))
    return Refused(made.id, found) if found else spelled
