"""Signing the checkpoints of a book with the key in a file, and remembering beside the key what it has signed last."""

from collections.abc import Iterable, Sequence
from pathlib import Path
from typing import Final, Protocol
from urllib.parse import quote

from fettlebook.book.checkpoint import read_checkpoint
from fettlebook.book.entries import Moment
from fettlebook.book.files import write_private
from fettlebook.book.keyfile import make_key, read_key
from fettlebook.book.kinds import Data, KeyChanged
from fettlebook.book.notes import Signer, VerifierKey, open_note, read_verifier_key, sign_note
from fettlebook.book.received import Receipt, Received
from fettlebook.errors import Mendable

_CHANGE: Final = "key changed"


class _Noting(Protocol):
    def note(self, data: Data, *, moment: Moment, by: str) -> Receipt:
        """Write an entry."""


class _Book(Protocol):
    practice: str

    def checkpoint(self, signer: Signer, *, already: str | None = None, keep: bool = True) -> str:
        """Sign where the book stands."""


def book_name(practice: str) -> str:
    """Return the name under which a practice's checkpoints are signed: its id, without spaces."""
    return quote(practice, safe="")


def begin_key(book: Path, practice: str) -> Path:
    """Return the file of the key that signs a book's checkpoints, made now where nothing is there: a book begins with one.

    A folder that can't be written is said (`Mendable`). A key that is there is never touched.
    """
    path = Path(f"{book}.key")
    if not path.exists():
        make_key(path, book_name(practice))
    return path


def last_signed(key_file: Path) -> str | None:
    """Return the last note that this key has signed, as it was kept beside the key; None: none, or not kept."""
    try:
        return _beside(key_file).read_text("utf-8")
    except FileNotFoundError:
        return None
    except (OSError, UnicodeDecodeError):
        mend = "Look at the rights of this file; if it is damaged, verify the book against a printed checkpoint, then remove the file."
        raise Mendable("what this key signed last can't be read", where=str(_beside(key_file)), mend=mend) from None


def sign_book(store: _Book, key_file: Path, *, keep: bool = True) -> str:
    """Sign where the book stands, and return the note.

    The last note is kept in the book and beside the key: a book that was put back or rewritten is never signed as if nothing had
    happened, even where it has lost its own notes. With `keep` False (another program holds the book) it is kept beside the key only.

    Raises
    ------
    Mendable
        The key is lost or unfit, or the book does not begin with what it has signed before.
    """
    signer = read_key(key_file)
    already = last_signed(key_file)
    if already is not None:
        read_checkpoint(already, [signer.verifier])
    note = store.checkpoint(signer, already=already, keep=keep)
    write_private(_beside(key_file), note.encode("utf-8"))
    return note


def change_key(store: _Noting, old: Signer, new: Signer, *, moment: Moment, by: str) -> Receipt:
    """Write that `new` signs from now on. Both sign this change: who trusts the old key can so come to trust the new one."""
    text = f"{_CHANGE}\n{old.verifier}\n{new.verifier}\n"
    said = KeyChanged(old=str(old.verifier), new=str(new.verifier), note=sign_note(text, old, new))
    return store.note(said, moment=moment, by=by)


def keys_after(changes: Iterable[Received], trusted: Sequence[VerifierKey]) -> list[VerifierKey]:
    """Return the trusted keys and those that they have named as their successors, from a book's entries of the kind `key.changed`.

    A change that a trusted key has not signed is passed over.
    """
    keys = list(trusted)
    for received in changes:
        data = received.entry.data
        if not isinstance(data, KeyChanged):
            continue
        try:
            old, new = read_verifier_key(data.old), read_verifier_key(data.new)
            if old in keys and new not in keys and open_note(data.note, [old]) == f"{_CHANGE}\n{old}\n{new}\n":
                keys.append(new)
        except Mendable:
            continue
    return keys


def _beside(key_file: Path) -> Path:
    return key_file.with_name(key_file.name + ".signed")
