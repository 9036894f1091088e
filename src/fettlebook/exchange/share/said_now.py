"""Entries as they hold now: each with its corrections in it, and marked where it was corrected or withdrawn."""

from collections import defaultdict
from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from fettlebook.book.received import Received
from fettlebook.standing.amend import amends, versions

Holds = Literal["as entered", "corrected", "withdrawn"]


@dataclass(frozen=True, slots=True)
class SaidNow:
    """One entry: what it says by all that is in the book, and what became of it."""

    entry: Received  # with its corrections; as entered where it was withdrawn
    holds: Holds


def said_now(entries: Iterable[Received]) -> Iterator[SaidNow]:
    """Yield all entries but corrections and withdrawals, in the order of receipt, as they hold by all that was received."""
    kept, amendments = [], defaultdict(list)
    for received in entries:
        if amends(received):
            amendments[received.entry.refers_to or ""].append(received)
        else:
            kept.append(received)
    for received in kept:
        if received.entry.id not in amendments:
            yield SaidNow(received, "as entered")
            continue
        *_, (_, _, last) = versions(received, lambda entry_id: amendments.get(entry_id, ()))
        if last is None:
            yield SaidNow(received, "withdrawn")
        else:
            yield SaidNow(last, "as entered" if last.entry == received.entry else "corrected")
