"""Checkpoints: how large the book was and which root it had, signed. Tamper evidence begins where one of them leaves the machine.

Sources
-------
[C] C2SP, tlog-checkpoint.md: three lines (origin, size, root) in a signed note; a log never signs a checkpoint that is inconsistent
    with one that it signed before. read
"""

import base64
import binascii
import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.book.notes import Signer, VerifierKey, open_note, sign_note
from fettlebook.book.tree import EMPTY_ROOT, HASH_BYTES, verify_consistency
from fettlebook.book.verify import Anchor
from fettlebook.errors import Mendable

_SIZE: Final = re.compile(r"0|[1-9][0-9]{0,15}")
_GROUP: Final = 4


@dataclass(frozen=True, slots=True)
class Checkpoint:
    """The book `origin` held `size` entries, and this root stood for them."""

    origin: str
    size: int
    root: bytes

    def text(self) -> str:
        """Return the three lines that are signed [C]."""
        return f"{self.origin}\n{self.size}\n{base64.b64encode(self.root).decode()}\n"

    def anchor(self, whence: str) -> Anchor:
        """Return it as something that a book is verified against."""
        return Anchor(self.size, self.root, whence)

    def short(self) -> str:
        """Return a short form for comparing by eye: the size, and the root's first 80 bits in groups of four."""
        shown = base64.b32encode(self.root[:10]).decode()
        return f"{self.size} " + "-".join(shown[i : i + _GROUP] for i in range(0, len(shown), _GROUP))


def read_checkpoint(note: str, keys: Sequence[VerifierKey]) -> Checkpoint:
    """Return the checkpoint that one of `keys` has signed; raises `Mendable` where there is none to be trusted."""
    return parse_checkpoint(open_note(note, keys))


def parse_checkpoint(text: str) -> Checkpoint:
    """Return the checkpoint in a note's text; whether it was signed is not asked here."""
    lines = text.split("\n")
    try:
        root = base64.b64decode(lines[2], validate=True) if len(lines) >= 4 else b""
    except (binascii.Error, ValueError):
        root = b""
    if len(root) != HASH_BYTES or not lines[0] or not _SIZE.fullmatch(lines[1]) or "" in lines[:-1] or lines[-1]:
        mend = "Give the whole checkpoint: name of the book, number of entries, root."
        raise Mendable("no checkpoint of a book", where="checkpoint", mend=mend)
    if base64.b64encode(root).decode() != lines[2]:  # one root, one spelling
        raise Mendable("the root is written otherwise than it must be", where="checkpoint", mend="Copy the checkpoint again.")
    return Checkpoint(lines[0], int(lines[1]), root)


def text_of(note: str) -> str:
    """Return the text above the signatures of a note, unchecked: for a note whose key is lost, or that only locates a fault."""
    return note.rpartition("\n\n")[0] + "\n"


def refuse_fork(held: Checkpoint, new: Checkpoint, proof: Sequence[bytes]) -> None:
    """Return only where `proof` shows that the book of `new` begins with the book of `held`.

    This is what a tablet does before it takes a newer checkpoint, and what the signer does before it signs one [C].

    Raises
    ------
    Mendable
        Another book; a smaller one; or one whose past was rewritten.
    """
    if new.origin != held.origin:
        raise Mendable(
            f"a checkpoint of {new.origin!r:.80}, held is one of {held.origin!r:.80}",
            where="checkpoint",
            mend="See that this device is enrolled with the right practice.",
        )
    if new.size < held.size:
        mend = "Keep the checkpoint held. Was the book put back from a backup? Then send again what came after it."
        raise Mendable(f"the book has {new.size} entries, it had {held.size}", where="checkpoint", mend=mend)
    if held.size == 0:
        same = held.root == EMPTY_ROOT
    elif new.size == held.size:
        same = new.root == held.root and not proof
    else:
        same = verify_consistency(held.size, new.size, held.root, new.root, proof)
    if not same:
        mend = "Keep the checkpoint held and verify the book against it: its past is not what it was."
        raise Mendable(f"the book of {new.size} entries does not begin with the {held.size} held", where="checkpoint", mend=mend)


def take_checkpoint(held: str | None, note: str, proof: Sequence[bytes], keys: Sequence[VerifierKey]) -> Checkpoint:
    """Return the checkpoint of `note`, which a tablet may now keep in place of `held` (None: its first).

    Raises
    ------
    Mendable
        It is not signed by one of `keys`, or its book does not begin with the book of the one held.
    """
    new = read_checkpoint(note, keys)
    if held is not None:
        refuse_fork(read_checkpoint(held, keys), new, proof)
    return new


def sign_checkpoint(
    new: Checkpoint, signer: Signer, *, earlier: Sequence[str], prove: Callable[[int, int], Sequence[bytes]], also: Sequence[Signer] = ()
) -> str:
    """Return the signed note of `new`.

    Parameters
    ----------
    new
        Where the book stands.
    signer
        Its key; the name is the origin.
    earlier
        Notes that were signed before, oldest first. The last one by each key is held against the book.
    prove
        Gives the proof that the book of the second size begins with that of the first.
    also
        Further signers, such as the new key in the month of a change.

    Raises
    ------
    Mendable
        The book does not begin with what was signed before: nothing is signed.
    """
    if signer.name != new.origin:
        raise Mendable(f"the key of {signer.name!r}", where=f"book {new.origin}", mend="Use the key that bears the book's name.")
    for note in earlier[-1:]:
        before = read_checkpoint(note, [signer.verifier])
        proof = prove(before.size, new.size) if 0 < before.size < new.size else ()
        refuse_fork(before, new, proof)
    return sign_note(new.text(), signer, *also)


def qr_payload(note: str) -> str:
    """Return what stands in the QR code on a day sheet: the signed note as it is, so that any reader shows it and any program checks it."""
    return note
