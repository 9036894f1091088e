"""The record as received: an entry with its place in the book and the time at which it came. These bytes are what is sealed."""

from dataclasses import dataclass

from fettlebook.book import canonical
from fettlebook.book.entries import MOST_BYTES, Entry, read_entry
from fettlebook.errors import Finding, Mendable


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
    tail = canonical.encode({"offset": offset, "received": received, "seq": seq, "via": via}, where="leaf")
    return b'{"entry":' + entry + b"," + tail[1:]


def unseal(leaf: bytes) -> Received:
    """Return the record whose sealed bytes are `leaf`.

    Raises
    ------
    Mendable
        The bytes are not those of a record: changed, or written by another program.
    """
    value = canonical.read(leaf, where="leaf", most_bytes=MOST_BYTES + 1024)
    if not isinstance(value, dict) or set(value) != {"entry", "offset", "received", "seq", "via"}:
        raise Mendable("not a record of the book", where="leaf", mend="Verify the book; if this is a copy, take another one.")
    for field, kind in (("offset", int), ("received", int), ("seq", int), ("via", str)):
        if type(value[field]) is not kind:
            raise Mendable(f"{value[field]!r:.60}", where=f"leaf.{field}", mend="Verify the book; if this is a copy, take another one.")
    entry = read_entry(canonical.encode(value["entry"], where="leaf.entry"))
    return Received(value["seq"], value["received"], value["offset"], value["via"], entry, leaf)
