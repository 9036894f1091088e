"""The tree over the sealed records: one hash that stands for all of them, and short proofs about one of them or about growth.

Sources
-------
[T] RFC 9162, Certificate Transparency 2.0, section 2.1.1 (hashes; the same in RFC 6962 section 2.1), 2.1.3 (inclusion),
    2.1.4 (consistency). memory of the text; the values of its reference tests are read

A leaf is hashed with 0x00 before it, a node with 0x01, so that no record can pass for a node. A tree of n leaves splits at the
largest power of two below n; what is left of a split never changes again. So a book of n entries is held by the hashes of its
whole subtrees, one for each binary digit of n (`Peaks`), and grows by one entry with as many hashes as the number has trailing ones.
"""

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final

HASH_BYTES: Final = 32
TILE: Final = 8  # a store keeps nodes at every eighth level: 1/255 of all hashes, and a proof reads a few tiles of 256
EMPTY_ROOT: Final = hashlib.sha256(b"").digest()  # [T]

HashAt = Callable[[int, int], bytes]
"""Gives the hash of the whole subtree number k of 2^level leaves, counted from 0: leaves k * 2^level up to (k + 1) * 2^level."""


def leaf_hash(leaf: bytes) -> bytes:
    """Return the hash of a record's sealed bytes [T]."""
    return hashlib.sha256(b"\x00" + leaf).digest()


def node_hash(left: bytes, right: bytes) -> bytes:
    """Return the hash of a node over two subtrees [T]."""
    return hashlib.sha256(b"\x01" + left + right).digest()


@dataclass(frozen=True, slots=True)
class Peaks:
    """A tree of `size` leaves by the hashes of its whole subtrees, the largest and leftmost first."""

    size: int = 0
    hashes: tuple[bytes, ...] = ()

    def __post_init__(self) -> None:
        if self.size < 0 or len(self.hashes) != self.size.bit_count() or any(len(h) != HASH_BYTES for h in self.hashes):
            raise ValueError(f"{len(self.hashes)} peaks do not make a tree of {self.size} leaves")

    def grown(self, subtree: bytes, level: int = 0) -> "tuple[Peaks, list[tuple[int, int, bytes]]]":
        """Return the tree with one whole subtree of 2^level leaves more, and every node that this completed.

        Nodes are (level, number, hash), the added one first. The present size must be a multiple of 2^level.
        """
        if self.size & ((1 << level) - 1):
            raise ValueError(f"a subtree of level {level} does not fit after {self.size} leaves")
        hashes, number = list(self.hashes), self.size >> level
        made = [(level, number, subtree)]
        while number & 1:
            subtree = node_hash(hashes.pop(), subtree)
            level, number = level + 1, number >> 1
            made.append((level, number, subtree))
        return Peaks(self.size + (1 << made[0][0]), (*hashes, subtree)), made

    def root(self) -> bytes:
        """Return the hash that stands for all leaves."""
        if not self.hashes:
            return EMPTY_ROOT
        *left, root = self.hashes
        for peak in reversed(left):
            root = node_hash(peak, root)
        return root


class Growing:
    """A tree that grows leaf by leaf in place: what `Peaks.grown` gives, for many leaves at once."""

    def __init__(self, peaks: Peaks) -> None:
        self.size, self._hashes = peaks.size, list(peaks.hashes)

    def add(self, leaf: bytes) -> list[tuple[int, int, bytes]]:
        """Add one leaf's hash; return the nodes above it that this completed, as (level, number, hash)."""
        number, level, at, made = self.size, 0, leaf, []
        hashes = self._hashes
        while number & 1:
            at = node_hash(hashes.pop(), at)
            number, level = number >> 1, level + 1
            made.append((level, number, at))
        hashes.append(at)
        self.size += 1
        return made

    def peaks(self) -> Peaks:
        """Return the tree as it is now."""
        return Peaks(self.size, tuple(self._hashes))


def peaks_of(leaf_hashes: Sequence[bytes]) -> Peaks:
    """Return the tree over these leaves."""
    peaks = Peaks()
    for one in leaf_hashes:
        peaks, _ = peaks.grown(one)
    return peaks


def range_hash(begin: int, end: int, hash_at: HashAt) -> bytes:
    """Return the hash of the leaves `begin` up to `end` (not included) as one subtree of the tree; `begin` where such a one begins."""
    count = end - begin
    level = (count - 1).bit_length()
    if count == 1 << level:
        return hash_at(level, begin >> level)
    middle = begin + (1 << (level - 1))
    return node_hash(range_hash(begin, middle, hash_at), range_hash(middle, end, hash_at))


def inclusion_proof(index: int, size: int, hash_at: HashAt) -> tuple[bytes, ...]:
    """Return the proof that leaf `index` (from 0) is in the tree of the first `size` leaves: the hashes beside its way up [T 2.1.3.1]."""
    if not 0 <= index < size:
        raise ValueError(f"leaf {index} is not in a tree of {size}")
    proof: list[bytes] = []
    begin, end = 0, size
    while end - begin > 1:
        middle = begin + (1 << ((end - begin - 1).bit_length() - 1))
        if index < middle:
            proof.append(range_hash(middle, end, hash_at))
            end = middle
        else:
            proof.append(range_hash(begin, middle, hash_at))
            begin = middle
    return tuple(reversed(proof))


def consistency_proof(old_size: int, new_size: int, hash_at: HashAt) -> tuple[bytes, ...]:
    """Return the proof that the tree of `new_size` begins with the tree of `old_size`, both at least 1 [T 2.1.4.1]."""
    if not 1 <= old_size <= new_size:
        raise ValueError(f"a tree of {new_size} can't begin with one of {old_size}")
    proof: list[bytes] = []
    begin, end, known = 0, new_size, True  # known: whoever checks has this subtree's hash, it is the old root itself
    while old_size < end:
        middle = begin + (1 << ((end - begin - 1).bit_length() - 1))
        if old_size <= middle:
            proof.append(range_hash(middle, end, hash_at))
            end = middle
        else:
            proof.append(range_hash(begin, middle, hash_at))
            begin, known = middle, False
    if not known:
        proof.append(range_hash(begin, end, hash_at))
    return tuple(reversed(proof))


def verify_inclusion(leaf: bytes, index: int, size: int, proof: Sequence[bytes], root: bytes) -> bool:
    """Tell whether `proof` shows that the leaf with this hash stands at `index` (from 0) in the tree with this root [T 2.1.3.2]."""
    if not 0 <= index < size or not _are_hashes(leaf, root, *proof):
        return False
    number, last, at = index, size - 1, leaf
    for beside in proof:
        if last == 0:
            return False
        if number & 1 or number == last:
            at = node_hash(beside, at)
            while not number & 1 and number:  # no node of its own on these levels: it is the right edge
                number, last = number >> 1, last >> 1
        else:
            at = node_hash(at, beside)
        number, last = number >> 1, last >> 1
    return last == 0 and at == root


def verify_consistency(old_size: int, new_size: int, old_root: bytes, new_root: bytes, proof: Sequence[bytes]) -> bool:
    """Tell whether `proof` shows that the tree with `new_root` begins with the tree with `old_root` [T 2.1.4.2]."""
    if not 1 <= old_size <= new_size or not _are_hashes(old_root, new_root, *proof):
        return False
    if old_size == new_size:
        return not proof and old_root == new_root
    # Where the old tree is one whole subtree its root is the first hash, and is left out of the proof.
    hashes = (old_root, *proof) if old_size & (old_size - 1) == 0 else tuple(proof)
    if not hashes:
        return False
    number, last = old_size - 1, new_size - 1
    while number & 1:
        number, last = number >> 1, last >> 1
    old = new = hashes[0]
    for beside in hashes[1:]:
        if last == 0:
            return False
        if number & 1 or number == last:
            old, new = node_hash(beside, old), node_hash(beside, new)
            while not number & 1 and number:
                number, last = number >> 1, last >> 1
        else:
            new = node_hash(new, beside)
        number, last = number >> 1, last >> 1
    return last == 0 and old == old_root and new == new_root


def _are_hashes(*hashes: bytes) -> bool:
    """The algorithms alone take hashes of any length; published cases show that this must be refused."""
    return all(len(one) == HASH_BYTES for one in hashes)
