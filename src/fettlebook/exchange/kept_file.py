"""A shelf in two files: rows and blobs that are fetched one by one, each proven by a key, however long the book is.

The data file only grows. Whatever stands in it is known by a keyed tag that stands in what points to it: blobs in rows, rows in
directories, directories in the root, and the root in a small file of its own, which is replaced whole and sealed with HMAC. So a start
reads the root and the fences of the directories, a question a few thousand bytes more, and what was changed, moved, removed or put back
without the key is found when it is asked for. A directory is a sorted list of one commit's rows; small ones are merged: there are few.

Sources
-------
[B] RFC 7693: BLAKE2b with a key. secondary
[H] RFC 2104, HMAC. secondary
"""

import hashlib
import hmac
import json
import os
import secrets
import threading
import zlib
from array import array
from bisect import bisect_left, bisect_right
from collections.abc import Iterable, Iterator
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, BinaryIO, Final, NamedTuple

import numpy as np

from fettlebook.book.files import write_private
from fettlebook.exchange.kept_lock import locked
from fettlebook.standing.older import Place
from fettlebook.standing.shelf import NoStateError

_PART: Final = 256  # rows that share a piece of a directory
_PIECES_AT_HAND: Final = 1024
_GATHER_BYTES: Final = 4_000_000  # written at once
_SQUEEZE_FROM: Final = 200  # bytes: shorter ones hardly get shorter
_ROOT_MOST: Final = 1_000_000
_FILTER_BITS: Final = 28
_FILTER_FROM: Final = 20_000  # rows of a first commit: so long a fold asks millions of times for what was never kept


class KeptElsewhereError(Exception):
    """Another process has kept its state meanwhile: this one has nothing to add."""


class _Directory(NamedTuple):
    """Sorted hashes of names, and where what they stand for is; of the pieces of a directory, or of rows in one piece."""

    names: "array[int]"
    offsets: "array[int]"
    lengths: "array[int]"
    tags: "array[int]"

    def place(self, number: int) -> Place:
        return Place(self.offsets[number], self.lengths[number], self.tags[number])

    def spelled(self) -> bytes:
        return b"".join(column.tobytes() for column in self)


class _Segment(NamedTuple):
    size: int
    place: Place
    pieces: _Directory


class KeptFile:
    """A shelf (`standing.shelf.Shelf`) on disk.

    Parameters
    ----------
    path
        The root file; the data file stands beside it.
    key
        At least 16 secret bytes: what isn't proven by it is never taken.
    """

    def __init__(self, path: Path, key: bytes) -> None:
        self._path = path
        self._tag_key, self._name_key, self._root_key = (
            hashlib.blake2b(label, key=key[:64], digest_size=32).digest() for label in (b"tags", b"names", b"root")
        )
        self._data: BinaryIO | None = None
        self._name = ""
        self._lock = threading.RLock()
        self._segments: list[_Segment] = []
        self._seen: bytes | None = None  # the root file as this process read or wrote it last
        self._end = 0  # where the next bytes go, while rows are committed
        self._gathered: list[bytes] = []
        self._gathered_bytes = 0
        self._filter: bytearray | None = None  # which names were ever kept, where this process kept all of them
        self._piece = lru_cache(maxsize=_PIECES_AT_HAND)(self._directory)
        self.stamp: dict[str, Any] = {}  # what the state is of; sealed with the root
        self.head = b""

    def open(self) -> None:
        """Take what is there; raises `NoStateError` where nothing is, or nothing that can be taken."""
        try:
            with self._path.open("rb") as file:
                self._seen = file.read(_ROOT_MOST)
            line, _, seal = self._seen.partition(b"\n")
            if not hmac.compare_digest(self._sealed(line), seal.strip()):
                raise NoStateError("its seal is not of this key")
            said = json.loads(line)
            self._name = said["data"]
            self._data = self._data_path().open("r+b", buffering=0)
            self.stamp = said["stamp"]
            self.head = self.blob(Place(*said["head"]))
            for count, *place in said["segments"]:
                self._segments.append(_Segment(count, Place(*place), self._directory(Place(*place))))
        except (OSError, ValueError, KeyError, TypeError) as error:
            raise NoStateError(str(error)) from error

    def begin(self) -> None:
        """Begin with nothing kept; what another process kept stays until the first commit."""
        self.close()
        self._seen = self._root()
        self._name, self._segments, self.stamp, self.head = secrets.token_hex(8), [], {}, b""
        self._filter = None
        self._piece.cache_clear()

    def close(self) -> None:
        """Let go of the data file."""
        if self._data is not None:
            self._data.close()
            self._data = None

    def drop(self) -> None:
        """Remove what is kept: the next start folds the book afresh."""
        with suppress(OSError):
            self._path.unlink(missing_ok=True)
        self._sweep(but=None)

    def row(self, name: str) -> bytes | None:
        """Return the row of this name as it was kept last; None where there is none."""
        hashed = self._hash(name)
        if self._filter is not None and not all(self._filter[bit >> 3] & 1 << (bit & 7) for bit in _bits(hashed)):
            return None
        for segment in reversed(self._segments):
            number = bisect_right(segment.pieces.names, hashed) - 1
            if number < 0:
                continue
            piece = self._piece(segment.pieces.place(number))
            at = bisect_left(piece.names, hashed)
            if at < len(piece.names) and piece.names[at] == hashed:
                found, raw = _unnamed(self.blob(piece.place(at)))
                if found != name:
                    raise NoStateError("two names share a hash")
                return raw
        return None

    def rows(self) -> Iterator[tuple[str, bytes]]:
        """Yield every row."""
        seen: set[int] = set()
        for segment in reversed(self._segments):
            for number in range(len(segment.pieces.names)):
                piece = self._directory(segment.pieces.place(number))
                for at, hashed in enumerate(piece.names):
                    if hashed not in seen:
                        seen.add(hashed)
                        yield _unnamed(self.blob(piece.place(at)))

    def blob(self, place: Place) -> bytes:
        """Return what was put."""
        with self._lock:
            if self._data is None:
                raise NoStateError("its data are gone")
            try:
                self._data.seek(place.offset)
                held = self._data.read(place.length)
            except (OSError, ValueError, OverflowError) as error:
                raise NoStateError(str(error)) from error
        if held is None or self._tag(held, place.offset) != place.tag:
            raise NoStateError(f"{place.length} bytes at {place.offset} are others")
        return zlib.decompress(memoryview(held)[1:]) if held[:1] == b"z" else held[1:]

    def put(self, blob: bytes) -> Place:
        """Put bytes there and return where."""
        held = b"z" + zlib.compress(blob, 1) if len(blob) >= _SQUEEZE_FROM else b"r" + blob
        return self._put(held)

    def commit(self, rows: Iterable[tuple[str, bytes]], head: bytes) -> None:
        """Keep these rows, in place of earlier ones of the same names, and the head; all of them or none.

        Raises
        ------
        KeptElsewhereError
            Another process did so since; nothing was written.
        OSError, Mendable
            It can't be written. The root is as it was, but a state that was being kept can't be asked any more: fold it afresh.
        """
        with self._lock, locked(self._path.with_name(self._path.name + ".lock")) as alone:
            if not alone or self._root() != self._seen:
                raise KeptElsewhereError
            if self._data is None:
                self._data = os.fdopen(os.open(self._data_path(), os.O_RDWR | os.O_CREAT | os.O_EXCL, 0o600), "r+b", buffering=0)
            self._end = self._data.seek(0, os.SEEK_END)
            new = [(self._hash(name), *self.put(_named(name, raw))) for name, raw in rows]
            self._take_in(_sorted(np.array(new, dtype=np.uint64).reshape(-1, 4)))
            at = self.put(head)
            self._write_out()
            os.fsync(self._data.fileno())
            said = {
                "data": self._name,
                "stamp": self.stamp,
                "head": at,
                "segments": [(segment.size, *segment.place) for segment in self._segments],
            }
            line = json.dumps(said).encode()
            root = line + b"\n" + self._sealed(line) + b"\n"
            write_private(self._path, root)
            self._seen, self.head = root, head
            self._sweep(but=self._name)

    def _take_in(self, new: "np.ndarray[Any, np.dtype[np.uint64]]") -> None:
        if not self._segments and len(new) >= _FILTER_FROM:
            self._filter = bytearray(1 << (_FILTER_BITS - 3))
        if self._filter is not None:
            for hashed in new[:, 0].tolist():
                for bit in _bits(hashed):
                    self._filter[bit >> 3] |= 1 << (bit & 7)
        while self._segments and self._segments[-1].size <= 2 * len(new):
            old = self._segments.pop()
            pieces = [self._directory(old.pieces.place(number)) for number in range(len(old.pieces.names))]
            before = np.array([np.concatenate([np.asarray(column) for column in columns]) for columns in zip(*pieces, strict=True)]).T
            new = _sorted(np.concatenate([new, before]))
        if not len(new):
            return
        pieces_at = []
        for begin in range(0, len(new), _PART):
            part = new[begin : begin + _PART]
            pieces_at.append((int(part[0, 0]), *self._put(b"r" + part.T.tobytes())))
        fences = _columns(np.array(pieces_at, dtype=np.uint64).T.tobytes())
        self._segments.append(_Segment(len(new), self._put(b"r" + fences.spelled()), fences))

    def _directory(self, place: Place) -> _Directory:
        return _columns(self.blob(place))

    def _put(self, held: bytes) -> Place:
        place = Place(self._end, len(held), self._tag(held, self._end))
        self._gathered.append(held)
        self._gathered_bytes += len(held)
        self._end += len(held)
        if self._gathered_bytes > _GATHER_BYTES:
            self._write_out()
        return place

    def _write_out(self) -> None:
        assert self._data is not None
        self._data.seek(0, os.SEEK_END)
        left = memoryview(b"".join(self._gathered))
        while left:
            left = left[self._data.write(left) :]
        self._gathered, self._gathered_bytes = [], 0

    def _tag(self, held: bytes, offset: int) -> int:
        salt = offset.to_bytes(16, "little")  # so that nothing can stand for what was written elsewhere
        return int.from_bytes(hashlib.blake2b(held, key=self._tag_key, salt=salt, digest_size=8).digest(), "little")

    def _hash(self, name: str) -> int:
        return int.from_bytes(hashlib.blake2b(name.encode("utf-8", "surrogatepass"), key=self._name_key, digest_size=8).digest(), "little")

    def _sealed(self, line: bytes) -> bytes:
        return hmac.digest(self._root_key, line, "sha256").hex().encode()

    def _root(self) -> bytes | None:
        try:
            with self._path.open("rb") as file:
                return file.read(_ROOT_MOST)
        except OSError:
            return None

    def _data_path(self) -> Path:
        return self._path.with_name(f"{self._path.name}.{self._name}")

    def _sweep(self, *, but: str | None) -> None:
        """Remove data files that no root names: another process that has one open keeps what it reads."""
        for path in self._path.parent.glob(f"{self._path.name}.*"):
            ending = path.name.removeprefix(f"{self._path.name}.")
            if len(ending) == 16 and ending != but:
                with suppress(OSError):
                    path.unlink()


def _sorted(rows: "np.ndarray[Any, np.dtype[np.uint64]]") -> "np.ndarray[Any, np.dtype[np.uint64]]":
    """Return rows in the order of their names' hashes; of several with one hash the first, which is the newest."""
    _, first = np.unique(rows[:, 0], return_index=True)
    return rows[first]


def _columns(held: bytes) -> _Directory:
    if len(held) % 32:
        raise NoStateError("a directory is cut")
    length = len(held) // 4
    columns = [array("Q", held[begin : begin + length]) for begin in range(0, len(held), length)] if held else [array("Q")] * 4
    return _Directory(*columns)


def _bits(hashed: int) -> tuple[int, int]:
    mask = (1 << _FILTER_BITS) - 1
    return hashed & mask, hashed >> 36


def _named(name: str, raw: bytes) -> bytes:
    spelled = name.encode("utf-8", "surrogatepass")
    return len(spelled).to_bytes(2, "little") + spelled + raw


def _unnamed(held: bytes) -> tuple[str, bytes]:
    length = 2 + int.from_bytes(held[:2], "little")
    return held[2:length].decode("utf-8", "surrogatepass"), held[length:]
