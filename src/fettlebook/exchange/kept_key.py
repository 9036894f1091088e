"""The key that proves what was kept of a book: of the key that signs its checkpoints, where that is beside it; else one of its own."""

import hashlib
import secrets
from contextlib import suppress
from pathlib import Path
from typing import Final

from fettlebook.book.files import write_private
from fettlebook.book.keyfile import read_key
from fettlebook.errors import Mendable

_BYTES: Final = 32
_LABEL: Final = b"fettlebook: what was kept of a book"


def kept_key(book: Path) -> bytes:
    """Return the key for what is kept of the book in this file; raises `Mendable` where none can be read or made.

    The key that signs (`book.sqlite.key`) serves where it is at hand: nobody without it can make anything that is taken. Where it was put
    away, as it says itself, a secret of this machine does (`book.sqlite.state-key`, for its owner's eyes only): that holds off whoever may
    write in the folder and not read that file. Another key than before means: fold the book afresh.
    """
    signing = book.with_name(f"{book.name}.key")
    if signing.exists():
        with suppress(Mendable):  # lost, or others may read it: who signs is told so, here the other one serves
            return hashlib.blake2b(_LABEL, key=read_key(signing).secret.private_bytes_raw(), digest_size=_BYTES).digest()
    own = book.with_name(f"{book.name}.state-key")
    with suppress(OSError):
        held = own.read_bytes()
        if len(held) == _BYTES:
            return held
    made = secrets.token_bytes(_BYTES)
    write_private(own, made)
    return made
