"""Corrections and withdrawals: what an entry said at each moment of receipt.

An amendment may come before the entry that it is about (another tablet sent it first), may be corrected or withdrawn itself, and never
changes what was known before it was received.
"""

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace
from typing import Any, Final

from fettlebook.book.entries import entry_of
from fettlebook.book.kinds import EntryCorrected, EntryWithdrawn
from fettlebook.book.received import Received
from fettlebook.errors import Mendable
from fettlebook.standing.streams import EVER

DEEPEST: Final = 100  # an amendment of an amendment of ...: beyond that they are passed over
# What a correction may set in an entry; all else names a field of its data, with or without "data." before it.
_OF_ENTRY: Final = ("at", "zone", "by", "mono")


def amends(received: Received) -> bool:
    """Tell whether an entry corrects or withdraws another one."""
    return isinstance(received.entry.data, EntryCorrected | EntryWithdrawn)


def versions(original: Received, amendments: Callable[[str], Sequence[Received]]) -> Iterator[tuple[int, int, Received | None]]:
    """Yield (since, until, what it said) for each stretch of receipt; None where it was withdrawn.

    Parameters
    ----------
    original
        The entry as its maker wrote it.
    amendments
        Gives the entries that refer to an id, in the order of receipt.
    """
    edges = sorted({original.received, *(r for r in _edges(original.entry.id, amendments) if r > original.received)})
    for since, until in zip(edges, [*edges[1:], EVER], strict=True):
        yield since, until, _as_of(original, since, amendments)


def _edges(entry_id: str, amendments: Callable[[str], Sequence[Received]], depth: int = 0) -> Iterator[int]:
    for amendment in amendments(entry_id) if depth < DEEPEST else ():
        yield amendment.received
        yield from _edges(amendment.entry.id, amendments, depth + 1)


def _as_of(entry: Received, known_at: int, amendments: Callable[[str], Sequence[Received]], depth: int = 0) -> Received | None:
    """Return what `entry` said at `known_at`; None where it was withdrawn by then."""
    said = entry
    for one in amendments(entry.entry.id) if depth < DEEPEST else ():
        amendment = _as_of(one, known_at, amendments, depth + 1) if one.received <= known_at else None
        if amendment is None:
            continue
        if isinstance(amendment.entry.data, EntryWithdrawn):
            return None
        if isinstance(amendment.entry.data, EntryCorrected):
            said = corrected(said, amendment.entry.data)
    return said


def corrected(received: Received, correction: EntryCorrected) -> Received:
    """Return the record with one field of its entry set anew; as it was where the result could be no entry."""
    fields: dict[str, Any] = received.entry.model_dump(exclude_none=True)
    name = correction.field.removeprefix("data.")
    here = fields if correction.field in _OF_ENTRY else fields["data"]
    if correction.now is None:
        here.pop(name, None)
    else:
        here[name] = correction.now
    try:
        return replace(received, entry=entry_of(fields))
    except Mendable:
        return received
