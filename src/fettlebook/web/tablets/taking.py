"""Entries from a tablet into the book: by which clock, through the door, and what is answered."""

import json
from collections.abc import Iterator
from itertools import groupby
from typing import Final

from fettlebook.book.door import Door
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.signing import book_name
from fettlebook.book.stores import Store
from fettlebook.book.tree import leaf_hash
from fettlebook.web.tablets.forms import Batch, Result, Results, Sent, Told

SET_BETWEEN_MS: Final = 60_000
AHEAD_MOST: Final = 10_000  # entries that one tablet can hold: weeks without network


class Taking:
    """Takes batches for one book."""

    def __init__(self, store: Store) -> None:
        self._store, self._door = store, Door(store)

    def take(self, batch: Batch, *, now: int, via: str) -> Results:
        """Put a batch into the book and return what became of each entry, once the good ones are durable.

        Raises
        ------
        Mendable
            Nothing was stored: the disk is full, say. The tablet keeps everything.
        """
        size, results, held = self._store.head().size, list[Result](), self._holds(batch)
        for offset, group in groupby(batch.entries, key=lambda sent: offset_of(sent, now - batch.now)):
            raw = [json.dumps(sent.entry).encode() for sent in group]
            answers = self._door.append(raw, now=now, via=via, offset=offset, from_tablet=True)
            results += [_result(one, size) for one in answers]
        missing = self._heed_counter(batch, now, via)
        stored = [result.seq for result in results if result.seq]
        book, now_size = book_name(self._store.practice), max([size, *stored])
        return Results(now=now, book=book, size=now_size, receipt_held=held, missing=missing, results=results)

    def _holds(self, batch: Batch) -> bool:
        """Tell whether the book still has the record that a tablet holds a receipt for."""
        receipt = batch.receipt
        if receipt is None or receipt.book != book_name(self._store.practice):
            return True
        record = next(self._store.read(receipt.seq - 1, until=receipt.seq), None)
        return record is not None and leaf_hash(record.leaf).hex() == receipt.leaf_hash

    def _heed_counter(self, batch: Batch, now: int, via: str) -> int:
        sent = (sent.entry.get("n") for sent in batch.entries if sent.entry.get("device") == batch.device)
        if batch.highest_n <= max((n for n in sent if isinstance(n, int)), default=0):
            return 0  # an entry's own number says as much
        known = self._store.highest_n(batch.device)
        if (batch.device != via and not known) or batch.highest_n > known + AHEAD_MOST:
            return 0  # a device that nobody knows, or a number that no tablet reaches, makes nothing unproven
        missing = self._store.heard_from(batch.device, highest_n=batch.highest_n, now=now)
        return sum(last - first + 1 for first, last in missing.ranges) if missing else 0


def offset_of(sent: Sent, at_sending: int) -> int:
    """Return by how much an entry's clock is put right [ms].

    The clock as it stands at sending is the better measure. Where the tablet's clock was set between making and sending (it found the
    network, and with it the time), what the tablet knew when it made the entry counts: the two then differ by more than a minute.
    """
    if sent.offset is not None and abs(sent.offset - at_sending) > SET_BETWEEN_MS:
        return sent.offset
    return at_sending


def _result(one: Receipt | Refused, size: int) -> Result:
    if isinstance(one, Refused):
        return Result(id=one.id, outcome="refused", findings=list(_told(one)))
    return Result(
        id=one.id, outcome="kept" if one.seq > size else "known", seq=one.seq, received=one.received, leaf_hash=one.leaf_hash.hex()
    )


def _told(refused: Refused) -> Iterator[Told]:
    for finding in refused.findings[:20]:
        yield Told(what=finding.what, where=finding.where, mend=finding.mend)
