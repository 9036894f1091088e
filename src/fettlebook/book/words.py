"""A person's own words in an entry: sealed as ciphertext, so that they can be erased for good while every proof still holds.

Sources
-------
[A] RFC 8439: ChaCha20-Poly1305. One key for one text, so its nonce never comes twice under a key. secondary

The key of each text stands in a file of its own (or in the group's database), never in a backup of the book: who erases the key has erased
the words, also in every backup. How far a disk really forgets is a matter of the disk; the file is overwritten, not only unlinked.
"""

import base64
import os
import secrets
import sqlite3
from collections.abc import Iterator
from contextlib import AbstractContextManager, contextmanager, suppress
from pathlib import Path
from typing import Any, Final, Protocol
from urllib.parse import quote

from cryptography.exceptions import InvalidTag
from cryptography.hazmat.primitives.ciphers.aead import ChaCha20Poly1305
from sqlalchemy import Connection, text

from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, SealedText, TextErased
from fettlebook.book.received import Receipt, Received
from fettlebook.errors import Mendable

WORDS_MOST: Final = 500
_NONCE_BYTES: Final = 12  # [A]
_TABLE: Final = (
    "CREATE TABLE IF NOT EXISTS text_key (practice TEXT, key TEXT, secret BLOB NOT NULL, PRIMARY KEY (practice, key)) STRICT, WITHOUT ROWID"
)
_PAD: Final = 64  # lengths are hidden up to this


class TextKeys(Protocol):
    """Where the keys of people's words stand."""

    def put(self, key: str, secret: bytes) -> None:
        """Keep a key, durably."""

    def get(self, key: str) -> bytes | None:
        """Return a key; None where it was erased."""

    def erase(self, key: str) -> bool:
        """Erase a key for good; tell whether it was there."""


class _Noting(Protocol):
    def note(self, data: Data, *, moment: Moment, by: str = ..., subjects: tuple[str, ...] = (), refers_to: str | None = None) -> Receipt:
        """Write an entry."""

    def read(self, since: int = 0, *, kinds: Any = None, subjects: Any = None, until: int | None = None) -> Iterator[Received]:
        """Yield entries."""


class KeyFile:
    """The keys of one practice's words in a SQLite file of their own."""

    def __init__(self, path: Path, practice: str) -> None:
        self._path, self._practice = path, practice

    @contextmanager
    def _connected(self) -> Iterator[sqlite3.Connection]:
        try:
            connection = sqlite3.connect(f"file:{quote(str(self._path.absolute()))}?mode=rw", uri=True, isolation_level=None, timeout=5)
        except sqlite3.Error as error:
            raise self._in_words(error) from error
        try:
            # No write-ahead log: an erased key would stand in it. FULL: a key is durable before its words are sealed.
            for pragma in ("journal_mode=DELETE", "synchronous=EXTRA", "secure_delete=ON", "trusted_schema=OFF"):
                connection.execute(f"PRAGMA {pragma}")
            yield connection
        except sqlite3.Error as error:
            raise self._in_words(error) from error
        finally:
            connection.close()

    def _in_words(self, error: sqlite3.Error) -> Mendable:
        mend = "Look at the file and its disk. Without the keys people's own words can't be read; all else in the book can."
        return Mendable(f"the keys of people's words can't be used ({error})", where=str(self._path), mend=mend)

    def put(self, key: str, secret: bytes) -> None:
        """Keep a key, durably."""
        try:
            os.close(os.open(self._path, os.O_CREAT | os.O_WRONLY, 0o600))  # with its first key, and for its owner only
        except OSError as error:
            raise Mendable(
                f"can't be written ({error.strerror})", where=str(self._path), mend="Name a file in a folder of your own."
            ) from None
        with self._connected() as connection:
            connection.execute(_TABLE)
            connection.execute("INSERT INTO text_key VALUES (?, ?, ?)", (self._practice, key, secret))

    def get(self, key: str) -> bytes | None:
        """Return a key; None where it was erased."""
        with self._connected() as connection:
            row = connection.execute("SELECT secret FROM text_key WHERE practice = ? AND key = ?", (self._practice, key)).fetchone()
        return bytes(row[0]) if row else None

    def erase(self, key: str) -> bool:
        """Erase a key for good; tell whether it was there."""
        with self._connected() as connection:
            found = connection.execute("DELETE FROM text_key WHERE practice = ? AND key = ?", (self._practice, key)).rowcount > 0
        if found:
            with suppress(OSError), self._path.open("rb") as file:
                os.fsync(file.fileno())
        return found


class GroupKeys:
    """The keys of one practice's words in the group's database; leave the table `text_key` out of its backups."""

    def __init__(self, writing: Any, practice: str) -> None:
        self._writing: Any = writing  # gives a transaction that has named the practice
        self._practice = practice

    def _begin(self) -> AbstractContextManager[Connection]:
        begun: AbstractContextManager[Connection] = self._writing()
        return begun

    def put(self, key: str, secret: bytes) -> None:
        """Keep a key, durably."""
        with self._begin() as connection:
            line = text("INSERT INTO text_key (practice, key, secret) VALUES (:practice, :key, :secret)")
            connection.execute(line, {"practice": self._practice, "key": key, "secret": secret})

    def get(self, key: str) -> bytes | None:
        """Return a key; None where it was erased."""
        with self._begin() as connection:
            line = text("SELECT secret FROM text_key WHERE practice = :practice AND key = :key")
            found = connection.execute(line, {"practice": self._practice, "key": key}).scalar()
        return bytes(found) if found is not None else None

    def erase(self, key: str) -> bool:
        """Erase a key for good; tell whether it was there."""
        with self._begin() as connection:
            line = text("DELETE FROM text_key WHERE practice = :practice AND key = :key")
            return connection.execute(line, {"practice": self._practice, "key": key}).rowcount > 0


def seal_words(words: str, keys: TextKeys) -> SealedText:
    """Return a few words as an entry holds them; their key is durable on return.

    Raises
    ------
    Mendable
        No words, or more than 500 characters.
    """
    words = words.replace("\x00", "").strip()
    if not 1 <= len(words) <= WORDS_MOST:
        mend = f"Write 1 to {WORDS_MOST} characters, and no patient's name."
        raise Mendable(f"{len(words)} characters", where="remark", mend=mend)
    plain = words.encode("utf-8", "replace")
    plain += b"\x00" * (-len(plain) % _PAD)
    key = base64.b32encode(secrets.token_bytes(17)).decode().lower()[:26]
    secret = ChaCha20Poly1305.generate_key()
    nonce = secrets.token_bytes(_NONCE_BYTES)
    sealed = nonce + ChaCha20Poly1305(secret).encrypt(nonce, plain, key.encode())
    keys.put(key, secret)
    return SealedText(key=key, words=base64.b64encode(sealed).decode())


def open_words(sealed: SealedText, keys: TextKeys) -> str | None:
    """Return the words; None where their key was erased. Raises `Mendable` where the key is not that of these words."""
    secret = keys.get(sealed.key)
    if secret is None:
        return None
    held = base64.b64decode(sealed.words)
    try:
        plain = ChaCha20Poly1305(secret).decrypt(held[:_NONCE_BYTES], held[_NONCE_BYTES:], sealed.key.encode())
    except (InvalidTag, ValueError):
        raise Mendable(
            "the key is not that of these words", where=f"text {sealed.key}", mend="Verify the book, and the keys' file."
        ) from None
    return plain.rstrip(b"\x00").decode()


def words_before(store: _Noting, keys: TextKeys, before_ms: int) -> Iterator[Received]:
    """Yield the entries received before a moment whose words can still be read: those that a retention rule would erase."""
    for received in store.read():
        if received.received >= before_ms:
            return
        remark = getattr(received.entry.data, "remark", None)
        if isinstance(remark, SealedText) and keys.get(remark.key) is not None:
            yield received


def erase_words(store: _Noting, keys: TextKeys, received: Received, *, why: str, moment: Moment, by: str) -> Receipt:
    """Erase the words of one entry for good, and write that it was done. Nothing else of the entry is touched.

    Raises
    ------
    Mendable
        The entry holds no words.
    """
    remark = getattr(received.entry.data, "remark", None)
    if not isinstance(remark, SealedText):
        raise Mendable("no words in it", where=f"entry {received.entry.id}", mend="Name an entry with a remark.")
    keys.erase(remark.key)  # first: after a crash here it is done again, and said then
    return store.note(TextErased(why=why), moment=moment, by=by, subjects=received.entry.subjects, refers_to=received.entry.id)
