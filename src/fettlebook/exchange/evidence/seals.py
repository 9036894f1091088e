"""What seals the evidence: the checkpoint, its keys, the earlier ones, time-stamps, and what a verification of the book found."""

from collections.abc import Sequence
from dataclasses import dataclass

from fettlebook.book.checkpoint import Checkpoint, parse_checkpoint, read_checkpoint, text_of
from fettlebook.book.kinds import CheckpointStamped, KeyChanged
from fettlebook.book.notes import VerifierKey, open_note, read_verifier_key
from fettlebook.book.received import Received
from fettlebook.book.signing import keys_after
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.said import said


@dataclass(frozen=True, slots=True)
class Seals:
    """How far the book can be trusted, by itself. `note` is the checkpoint as signed; empty where nothing could be signed."""

    checkpoint: Checkpoint
    note: str
    keys: tuple[VerifierKey, ...]
    earlier: tuple[tuple[Checkpoint, str], ...]  # with their notes, smallest first; only those that a known key signed
    doubted: tuple[str, ...]  # checkpoints that were left out, and why
    stamps: tuple[Received, ...]
    faults: tuple[str, ...]
    alarms: tuple[str, ...]  # what the first page must say before anything else
    not_received: dict[str, tuple[int, ...]]

    @property
    def whole(self) -> bool:
        """Whether the verification found nothing."""
        return not self.faults

    @property
    def signed(self) -> bool:
        """Whether the checkpoint is signed."""
        return bool(self.note)

    @property
    def held_against(self) -> int:
        """How many earlier checkpoints the book was held against."""
        return len(self.earlier)


def seals_of(
    store: Store, checkpoint: Checkpoint, note: str, trusted: Sequence[VerifierKey], *, why_not_signed: str = "", unread: Sequence[int] = ()
) -> Seals:
    """Return what seals a book at a checkpoint.

    Parameters
    ----------
    trusted
        The keys of the book's owner; those that they named as successors are added.
    why_not_signed
        In words, where `note` is empty.
    unread
        Numbers of entries whose bytes are not those of a record.
    """
    changes = _readable(store, KeyChanged.KIND, unread)
    keys = _with_those_before(changes, keys_after(changes, trusted))
    earlier, doubted = list[tuple[Checkpoint, str]](), list[str]()
    for old in store.checkpoints():
        try:
            held = read_checkpoint(old, keys)
            if 0 < held.size < checkpoint.size:
                earlier.append((held, old))
        except Mendable as error:
            doubted.append(f"{_size_of(old)}: {error.what}")
    found = store.verify(anchors=[held.anchor(f"the checkpoint at entry {held.size}") for held, _ in earlier])
    faults = tuple(map(str, found.faults))
    alarms = list[str]()
    if faults:
        told = faults[0] if len(faults) == 1 else said("{fault}, and {n} more", fault=faults[0], n=len(faults) - 1)
        alarms.append(said("The book is NOT WHOLE: {faults}. See the chapter of seals.", faults=told))
    if not note:
        alarms.append(said("Nothing here is signed: {why}", why=why_not_signed))
    stamps = tuple(_readable(store, CheckpointStamped.KIND, unread))
    return Seals(checkpoint, note, keys, tuple(earlier), tuple(doubted), stamps, faults, tuple(alarms), dict(found.not_received))


def _with_those_before(changes: Sequence[Received], keys: Sequence[VerifierKey]) -> tuple[VerifierKey, ...]:
    """Return the keys and those that they followed: both keys sign a change, so the new one vouches for the old one."""
    found = list(keys)
    for received in reversed(changes):
        data = received.entry.data
        try:
            if isinstance(data, KeyChanged) and (new := read_verifier_key(data.new)) in found:
                open_note(data.note, [new])
                found.append(read_verifier_key(data.old))
        except Mendable:  # not signed by the new key: its word is not taken
            continue
    return tuple(dict.fromkeys(found))


def _readable(store: Store, kind: str, unread: Sequence[int]) -> list[Received]:
    try:
        return list(store.read(kinds=[kind]))
    except Mendable:  # one of them was changed; the verification says which
        if not unread:
            raise
        return []


def _size_of(note: str) -> str:
    try:
        return f"a checkpoint at entry {parse_checkpoint(text_of(note)).size}"
    except Mendable:
        return "a checkpoint"
