"""The record as received: an entry with its place in the book and the time at which it came. These bytes are what is sealed."""

import re
from dataclasses import dataclass
from typing import Final

import msgspec

from fettlebook.book import canonical
from fettlebook.book.entries import Entry, entry_of, is_device
from fettlebook.errors import Finding, Mendable

_READ: Final = msgspec.json.Decoder().decode
_HEAD: Final = b'{"entry":'
_TAIL: Final = re.compile(rb',"offset":-?\d+,"received":(\d+),"seq":')
_MEND: Final = "Verify the book to see which; then restore the last backup beside it."


@dataclass(frozen=True, slots=True)
class Received:
    """One entry in the book.

    `seq` counts from 1 without gaps; `received` [ms since 1970 UTC] rises with it; `offset` [ms] is the receiver's clock
    less the sender's when it came; `via` is the device that sent it. `leaf` holds the sealed bytes, whence all the rest.
    """

    seq: int
    received: int
    offset: int
    via: str
    entry: Entry
    leaf: bytes


@dataclass(frozen=True, slots=True)
class Receipt:
    """The entry is in the book for good: the sender may delete its copy. Sent again, the entry gets the same receipt."""

    id: str
    seq: int
    received: int
    leaf_hash: bytes


@dataclass(frozen=True, slots=True)
class Refused:
    """The entry is not in the book, and why. `id` is None where it could not be read."""

    id: str | None
    findings: tuple[Finding, ...]


def seal(entry: bytes, *, seq: int, received: int, offset: int, via: str) -> bytes:
    """Return the leaf: canonical bytes of the entry (given canonical) with what the receiver adds."""
    # The keys sort as entry < offset < received < seq < via, so the entry's own canonical bytes go in as they are.
    if not is_device(via):  # a device's id needs no escapes; anything else is spelled with care
        tail = canonical.encode({"offset": offset, "received": received, "seq": seq, "via": via}, where="leaf")
        return b'{"entry":' + entry + b"," + tail[1:]
    return b'{"entry":%b,"offset":%d,"received":%d,"seq":%d,"via":"%b"}' % (entry, offset, received, seq, via.encode())


def own_bytes(leaf: bytes) -> tuple[bytes, int]:
    """Return the maker's own bytes of a sealed record, and when it was received, without reading it as JSON.

    Raises
    ------
    Mendable
        The bytes are not those of a record.
    """
    cut = leaf.rfind(b',"offset":')
    said = _TAIL.match(leaf, cut) if cut >= 0 else None
    if said is None:
        raise Mendable("not a record of the book", where="leaf", mend=_MEND)
    return leaf[len(_HEAD) : cut], int(said[1])


def unseal(leaf: bytes) -> Received:
    """Return the record whose sealed bytes are `leaf`.

    Whether they are the bytes that were sealed is not asked here: `verify` does, for the whole book.

    Raises
    ------
    Mendable
        The bytes are not those of a record: changed, or written by another program.
    """
    try:
        value = _READ(leaf)
        seq, received, offset, via, fields = (value[key] for key in ("seq", "received", "offset", "via", "entry"))
    except (msgspec.MsgspecError, ValueError, KeyError, TypeError, RecursionError):
        raise Mendable("not a record of the book", where="leaf", mend=_MEND) from None
    if not isinstance(fields, dict) or not isinstance(via, str) or not all(isinstance(one, int) for one in (seq, received, offset)):
        raise Mendable("not a record of the book", where="leaf", mend=_MEND)
    return Received(seq, received, offset, via, entry_of(fields), leaf)
