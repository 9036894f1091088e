"""Finds what was changed, left out, put in or moved in a book, and says where. Pure: rows in, faults out.

Three things are held against each other: the sealed bytes, the hashes that the store kept when it sealed them, and what left the
machine (printed roots, a tablet's checkpoint, a receipt). Whoever owns the machine can make the first two agree again; only the third
shows that, so a book without one is whole in itself, no more.
"""

import hashlib
import json
import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Final, Literal, NamedTuple

from fettlebook.book.kinds import BookPruned, EntryClash
from fettlebook.book.order import RUNS_MOST, Run, gaps_in, longest_order, overlap_of
from fettlebook.book.sweep import files_in, run_hash
from fettlebook.book.tree import TILE, Peaks, leaf_hash, peaks_of

Beside = tuple[str, int, str] | tuple[str, int, str, str]
FaultKind = Literal["changed", "missing", "inserted", "reordered", "rewritten", "index", "file"]
_TILE_LEAVES: Final = 1 << TILE
HOLES_MOST: Final = 100_000
_sha256: Final = hashlib.sha256
# The end of a record as this program spells it, from the maker's device on; no string in it holds an escape. The groups are device, id,
# kind, n, subjects, the time of receipt and the number.
_TEXT: Final = r'[^"\\]*'
_END: Final = re.compile(
    rf',"device":"({_TEXT})","id":"({_TEXT})","kind":"({_TEXT})"(?:,"mono":\{{"ms":\d+,"session":"{_TEXT}"\}})?,"n":(\d+)'
    rf'(?:,"refers_to":"{_TEXT}")?(?:,"role_as_shown":"{_TEXT}")?,"subjects":\[((?:"{_TEXT}"(?:,"{_TEXT}")*)?)\],"v":1,"zone":"{_TEXT}"\}}'
    rf',"offset":-?\d+,"received":(\d+),"seq":(\d+),"via":"{_TEXT}"\}}',
    re.ASCII,
)


class Row(NamedTuple):
    """One row of a store: the sealed bytes, and the columns that were made from them for finding it."""

    seq: int
    id: str
    kind: str
    device: str
    n: int
    hash: bytes
    leaf: bytes


@dataclass(frozen=True, slots=True)
class Anchor:
    """A root that left the machine: printed on a day sheet, kept by a tablet, in a backup. `whence` says which."""

    size: int
    root: bytes
    whence: str


@dataclass(frozen=True, slots=True)
class Fault:
    """What is wrong with the entries `first` to `last` (seq, both included).

    `changed`: other bytes than were sealed, in one or more of them. `missing`, `inserted`, `reordered`: as it says.
    `rewritten`: the book agrees with itself, but not with a root that left the machine. `index`: the sealed bytes are right, a
    column or hash beside them is not; it can be made again. `file`: a kept file that they name was changed or is gone.
    """

    kind: FaultKind
    first: int
    last: int
    what: str

    def __str__(self) -> str:
        return f"entry {self.first}" + (f" to {self.last}" if self.last > self.first else "") + f": {self.kind}, {self.what}"


@dataclass(frozen=True, slots=True)
class Verification:
    """What was found. `root` is that of the entries as they are now; None where their order alone is broken."""

    size: int
    root: bytes | None
    faults: tuple[Fault, ...]
    not_received: dict[str, tuple[int, ...]]  # by device: numbers that it has used and that never came, or not yet
    pruned: int = 0  # entries whose bodies were dropped after their term; their hashes stand for them

    @property
    def whole(self) -> bool:
        """Whether nothing was found."""
        return not self.faults


@dataclass(slots=True)
class _Tile:
    """One run of 256 sealed records, as found; `hashes` is let go of once it is complete and nothing else asks for it."""

    hashes: dict[int, bytes] = field(default_factory=dict)  # by the seq that was sealed
    suspects: dict[int, str] = field(default_factory=dict)  # columns that don't agree with the leaf, or a leaf that can't be read
    found: bytes | None = None  # the hash over the run; None while one is missing


def verify_book(
    rows: Iterable[Row],
    *,
    size: int,
    peaks: Sequence[bytes],
    nodes: Mapping[tuple[int, int], bytes],
    received: int | None = None,
    beside: Iterable[Beside] | None = None,
    files: Iterable[tuple[str, bool]] | None = None,
    anchors: Sequence[Anchor] = (),
    receipts: Mapping[int, bytes] | None = None,
) -> Verification:
    """Verify a book.

    Parameters
    ----------
    rows
        All rows in the order of their seq; read once, and of each only a hash is kept while its run of 256 is open.
    size, peaks
        The head: how many entries there are, and the hashes of the tree's whole subtrees, largest first.
    nodes
        The hashes that the store kept at every eighth level, by (level, number).
    received
        When the last entry was received, as the head has it; None: not asked.
    beside
        What stands in the tables beside the entries: ("subject", seq, subject) and ("clash", seq, id, digest); None: not asked.
    files
        Digest of each kept file, and whether its bytes are still those; None: not asked.
    anchors
        Roots that left the machine.
    receipts
        Leaf hashes from receipts that devices hold, by seq.

    Returns
    -------
    Verification
        All faults, in the order of the entries. An empty book with an empty head is whole.
    """
    ordered = tuple(sorted(anchors, key=lambda a: a.size))
    verifier = _Verifier(size, tuple(peaks), nodes, ordered, receipts or {})
    verifier.take_all(rows)
    if received is not None and received != max(verifier.received, 0):
        verifier.add("index", max(size, 1), max(size, 1), "the head has another time of receipt for the last entry")
    if beside is not None and sum(map(hash, beside)) != verifier.beside:
        verifier.add("index", 1, max(size, 1), "the tables of subjects and clashes are not those of the entries")
    if files is not None:
        verifier.judge_files(dict(files))
    return verifier.judge()


class _Verifier:
    def __init__(
        self,
        size: int,
        peaks: tuple[bytes, ...],
        nodes: Mapping[tuple[int, int], bytes],
        anchors: tuple[Anchor, ...],
        receipts: Mapping[int, bytes],
    ) -> None:
        self.size, self.peaks, self.nodes, self.anchors, self.receipts = size, peaks, nodes, anchors, receipts
        self.anchored = {(anchor.size - 1) // _TILE_LEAVES for anchor in anchors}
        self.faults: list[Fault] = []
        self.runs: list[Run] = []
        self.received = -1
        self.renumbered: list[int] = []
        self.tiles: dict[int, _Tile] = {}
        self.counters: dict[str, tuple[int, set[int]]] = {}
        self.leaves_hold = False
        self.named: dict[str, tuple[int, int]] = {}  # digest of a file -> first and last seq that name it
        self.emptied: list[tuple[int, int]] = []  # stretches of rows without a body
        self.pruned: list[tuple[int, int]] = []  # stretches that an entry says were pruned
        self.beside = 0  # sum of the hashes of what should stand beside the entries: in any order, in no memory, keyed by the process

    def take_all(self, rows: Iterable[Row]) -> None:
        """Look at all rows: where each was sealed, whether its columns agree; keep its hash.

        A row that follows the one before and agrees in everything is taken here, without reading the record as JSON: its end has one
        spelling, which a pattern knows. Any other, and rare kinds, are left to `_take_with_care`, which asks the same and says what is
        wrong. This loop is what a verification of millions spends its time in, so nothing in it is looked up twice.
        """
        end_of, rare, unread = _END.fullmatch, (EntryClash.KIND, BookPruned.KIND), '"length_bytes":'
        counters, gone = self.counters, (0, set[int]())
        beside = 0
        for row in rows:
            number, entry_id, kind, device, n, kept, leaf = row
            run = self.runs[-1] if self.runs else None
            try:
                text = leaf.decode()
            except UnicodeDecodeError:
                text = ""
            found = end_of(text, max(text.rfind(',"device":"'), 0))
            if found is None or run is None or run.start + run.length != number or kind in rare or unread in text:
                self._take_with_care(row)
                continue
            sealed_device, sealed_id, sealed_kind, sealed_n, subjects, sealed_received, sealed_seq = found.groups()
            received, hashed = int(sealed_received), _sha256(b"\x00" + leaf).digest()
            if (
                sealed_id != entry_id
                or sealed_kind != kind
                or sealed_device != device
                or sealed_n != str(n)
                or sealed_seq != str(number)
                or received <= self.received
                or hashed != kept
            ):
                self._take_with_care(row)
                continue
            run.length += 1
            self.received = received
            highest, holes = counters.get(device, gone)
            if n == highest + 1 and highest:
                counters[device] = (n, holes)
            else:
                self._count(device, n)
            if subjects:
                for subject in {*subjects[1:-1].split('","')}:
                    beside += hash(("subject", number, subject))
            self._keep(number, hashed, "")
        self.beside += beside

    def _take_pruned(self, row: Row) -> None:
        """Take a row of which only its hash stays: that must fit the tree, and an entry must say that the body went."""
        if self.runs and self.runs[-1].end + 1 == row.seq:
            self.runs[-1].length += 1
        else:
            self.runs.append(Run(row.seq, 1, row.seq))
        if self.emptied and self.emptied[-1][1] + 1 == row.seq:
            self.emptied[-1] = (self.emptied[-1][0], row.seq)
        else:
            self.emptied.append((row.seq, row.seq))
        self._count(row.device, row.n)
        self._keep(row.seq, row.hash, "")

    def _judge_pruned(self) -> None:
        for first, last in self.emptied:
            left = [(first, last)]
            for stretch in self.pruned:
                left = [part for whole in left for part in _without(whole, stretch)]
            for begin, end in left:
                self.add("changed", begin, end, "the body is gone, and no entry says that it was pruned")

    def _take_with_care(self, row: Row) -> None:
        if not row.leaf:
            self._take_pruned(row)
            return
        sealed, disagree = _look(row)
        last = self.runs[-1] if self.runs else None
        following = last.end + 1 if last else 1
        seq = following if sealed is None else sealed["seq"]
        if seq != row.seq:
            self.renumbered.append(row.seq)
        if last and seq == following:
            last.length += 1
            if sealed is not None and sealed["received"] <= self.received:
                disagree = disagree or "received no later than the entry before it"
                self._suspect(seq - 1, "received no earlier than the entry after it")  # either of them can be the changed one
        else:
            self.runs.append(Run(seq, 1, row.seq))
        if sealed is not None:
            self.received = sealed["received"]
            entry = sealed["entry"]
            self._count(entry["device"], entry["n"])
            for subject in set(map(str, entry.get("subjects", ()))):
                self.beside += hash(("subject", seq, subject))
            if b'"length_bytes":' in row.leaf:
                for digest in files_in(entry["data"]):
                    self.named[digest] = (self.named.get(digest, (seq, seq))[0], seq)
            if entry["kind"] == BookPruned.KIND:
                first, last = entry["data"].get("first_seq"), entry["data"].get("last_seq")
                if isinstance(first, int) and isinstance(last, int):
                    self.pruned.append((first, min(last, seq - 1)))
            if entry["kind"] == EntryClash.KIND:
                self.beside += hash(("clash", seq, str(entry.get("refers_to")), str(entry["data"].get("digest"))))
        self._keep(seq, leaf_hash(row.leaf), disagree)

    def _suspect(self, seq: int, why: str) -> None:
        if (tile := self.tiles.get((seq - 1) // _TILE_LEAVES)) is not None:
            tile.suspects.setdefault(seq, why)

    def _keep(self, seq: int, hashed: bytes, disagree: str) -> None:
        """Keep the hash of a record while its run of 256 is open."""
        if self.receipts and self.receipts.get(seq, hashed) != hashed:
            self.add("changed", seq, seq, "other than the receipt says that was given for it")
        number = (seq - 1) // _TILE_LEAVES
        if (tile := self.tiles.get(number)) is None:
            tile = self.tiles[number] = _Tile()
        if disagree:
            tile.suspects[seq] = disagree
        if tile.found is None:
            tile.hashes.setdefault(seq, hashed)  # a second record under one seq is said as inserted
            if len(tile.hashes) == _TILE_LEAVES:
                tile.found = run_hash([tile.hashes[s] for s in range(number * _TILE_LEAVES + 1, (number + 1) * _TILE_LEAVES + 1)])
                if number not in self.anchored:
                    tile.hashes = {}

    def judge(self) -> Verification:
        """Say what is wrong, from what was taken."""
        in_order = self._judge_order()
        self._judge_pruned()
        carried, as_found = self._judge_whole_tiles()
        tail = self._judge_rest(carried, in_order)
        root = None
        if in_order and as_found and tail is not None:
            root = Peaks(carried.size + tail.size, (*carried.hashes, *tail.hashes)).root()
        gone = sum(last - first + 1 for first, last in self.emptied)
        gaps = {device: tuple(sorted(holes)) for device, (_, holes) in sorted(self.counters.items()) if holes}
        return Verification(self.size, root, tuple(sorted(set(self.faults), key=lambda f: (f.first, f.last, f.what))), gaps, gone)

    def judge_files(self, kept: Mapping[str, bool]) -> None:
        """Hold the files that entries name against those that are kept."""
        for digest, (first, last) in self.named.items():
            if digest not in kept:
                self.add("file", first, last, f"the file {digest:.16}... that it names is not here")
        for digest, sound in kept.items():
            if not sound:
                first, last = self.named.get(digest, (1, max(self.size, 1)))
                self.add("file", first, last, f"the file {digest:.16}... has other bytes now")

    def add(self, kind: FaultKind, first: int, last: int, what: str) -> None:
        """Note a fault."""
        self.faults.append(Fault(kind, first, last, what))

    def _known_between(self, first: int, last: int) -> bool:
        return any(f.first <= last and f.last >= first for f in self.faults if f.kind != "index")

    def _count(self, device: str, n: int) -> None:
        highest, holes = self.counters.setdefault(device, (0, set()))
        if n > highest:
            holes.update(range(highest + 1, n) if n - highest <= HOLES_MOST else ())  # a forged counter must not fill the memory
            self.counters[device] = (n, holes)
        else:
            holes.discard(n)

    def _judge_order(self) -> bool:
        if len(self.runs) > RUNS_MOST:
            first, last = min(run.start for run in self.runs), max(run.end for run in self.runs)
            self.add("reordered", first, last, f"in disorder in {len(self.runs):,} places")
            return False
        chain, outside = longest_order(self.runs)
        holes = gaps_in([(start, end) for start, end in chain if start <= self.size], self.size)
        for run in outside:
            left = [shared] if (shared := overlap_of((run.start, run.end), (1, self.size))) else []
            for hole in list(holes):
                if (shared := overlap_of(hole, (run.start, run.end))) is not None:
                    place = run.row + shared[0] - run.start
                    first, last = min(shared[0], place), max(shared[1], place + shared[1] - shared[0])
                    self.add("reordered", first, last, f"sealed as {shared[0]}, it stands at {place}")
                    holes.remove(hole)
                    holes += _without(hole, shared)
                    left = [part for whole in left for part in _without(whole, shared)]
            for first, last in left:
                self.add("inserted", first, last, f"a second record sealed as {first} stands at {run.row + first - run.start}")
        for first, last in sorted(holes):
            counted = "the book's head counts them, and they are not here" if last == self.size else "sealed once, and not here"
            self.add("missing", first, last, counted)
        if (highest := max((run.end for run in self.runs), default=0)) > self.size:
            self.add("inserted", self.size + 1, highest, "they stand after the end of the book")
        in_order = not any(f.kind in {"missing", "inserted", "reordered"} for f in self.faults)
        if self.renumbered and in_order:
            self.add("index", self.renumbered[0], self.renumbered[-1], "numbered otherwise than sealed")
        return in_order

    def _judge_whole_tiles(self) -> tuple[Peaks, bool]:
        """Return the tree over the runs of 256, as sealed where a fault has been located, and whether it is as found throughout."""
        carried, as_found = Peaks(), True
        self.leaves_hold = self._leaves_fit_the_head()
        good, bad = 0, None
        for number in range(max(self.size, 0) // _TILE_LEAVES + 1):
            tile = self.tiles.get(number, _Tile())
            first, last = number * _TILE_LEAVES + 1, (number + 1) * _TILE_LEAVES
            if number in self.anchored and bad is None:
                good, bad = self._try_anchors(carried, tile, first, last, good)
            if last > self.size:
                break
            kept = self.nodes.get((TILE, number))
            self._judge(first, last, tile.found, kept, tile.suspects)
            carry = tile.found if self.leaves_hold or kept is None else kept
            as_found = as_found and tile.found is not None and tile.found == carry
            # Where a run can't be told at all, a hash that fits nothing stands for it: what is above is then said to be changed.
            carried, made = carried.grown(carry if carry is not None else bytes(32), TILE)
            for level, above, value in made[1:]:
                first, last = (above << level) + 1, (above + 1) << level
                if level % TILE == 0 and self.nodes.get((level, above)) != value:
                    self._judge(first, last, value, self.nodes.get((level, above)), {})
        self._judge_anchors(good, bad)
        return carried, as_found

    def _judge(self, first: int, last: int, found: bytes | None, kept: bytes | None, suspects: Mapping[int, str]) -> None:
        """Tell changed sealed bytes from changed columns, by whether the hash over the run still holds."""
        if kept is None:
            self.add("index", first, last, "the hash that was kept over these is gone")
        for seq, why in suspects.items():
            self.add("index" if self.leaves_hold or (found is not None and found == kept) else "changed", seq, seq, why)
        if found is not None and kept is not None and found != kept:
            if self.leaves_hold:
                self.add("index", first, last, "the hash that was kept over these was changed, they were not")
            elif not self._known_between(first, last):
                self.add("changed", first, last, "one or more of these: the hash that was kept over them is another")

    def _leaves_fit_the_head(self) -> bool:
        """Tell whether the runs of 256, as found, give the head's hashes: a kept hash that is another was then changed itself."""
        tree = Peaks()
        for number in range(max(self.size, 0) // _TILE_LEAVES):
            found = self.tiles[number].found if number in self.tiles else None
            if found is None:
                return False
            tree, _ = tree.grown(found, TILE)
        return tree.hashes == self.peaks[: len(tree.hashes)]

    def _judge_rest(self, carried: Peaks, in_order: bool) -> Peaks | None:
        """Judge what stands after the last whole run, and the head's hashes; return the tree over that rest, as found."""
        tile = self.tiles.get(carried.size // _TILE_LEAVES, _Tile())
        hashes = [tile.hashes.get(seq) for seq in range(carried.size + 1, self.size + 1)]
        present = [h for h in hashes if h is not None]
        rest = peaks_of(present) if len(present) == len(hashes) and in_order else None
        levels = [level for level in range(self.size.bit_length() - 1, -1, -1) if self.size >> level & 1]
        found = [*carried.hashes, *(rest.hashes if rest else [None] * (len(levels) - len(carried.hashes)))]
        kept: list[bytes | None] = list(self.peaks)
        if len(kept) != len(levels):
            self.add("index", 1, max(self.size, 1), "the head's hashes are not those of a book of this size")
            kept = list(found)
        begin = 1
        for level, one, head in zip(levels, found, kept, strict=True):
            end = begin + (1 << level) - 1
            suspects = {seq: why for seq, why in tile.suspects.items() if begin <= seq <= end}
            if level < TILE:
                if one is None or head is None:
                    for seq, why in suspects.items():
                        self.add("changed", seq, seq, why)
                else:
                    self.leaves_hold = False  # here it is the head itself that the leaves are held against
                    self._judge(begin, end, one, head, suspects)
            elif one != head and not self._known_between(begin, end):
                self.add("changed", begin, end, "one or more of these: the head's hash over them is another")
            begin = end + 1
        return rest

    def _try_anchors(self, carried: Peaks, tile: _Tile, first: int, last: int, good: int) -> tuple[int, Anchor | None]:
        for anchor in self.anchors:
            wanted = range(first, anchor.size + 1)
            if not first <= anchor.size <= min(last, self.size) or any(seq not in tile.hashes for seq in wanted):
                continue  # elsewhere, or what is missing is said as such
            peaks = carried
            for seq in wanted:
                peaks, _ = peaks.grown(tile.hashes[seq])
            if peaks.root() != anchor.root:
                return good, anchor
            good = anchor.size
        return good, None

    def _judge_anchors(self, good: int, bad: Anchor | None) -> None:
        if bad is not None and not self._known_between(good + 1, bad.size):
            self.add("rewritten", good + 1, bad.size, f"the root is not that of {bad.whence}")
        for anchor in self.anchors:
            if anchor.size > self.size:
                self.add("missing", self.size + 1, anchor.size, f"{anchor.whence} is of a book of {anchor.size} entries")
        for seq in sorted(s for s in self.receipts if s > self.size):
            self.add("missing", seq, seq, "a receipt was given for it")


def _look(row: Row) -> tuple[dict[str, Any] | None, str]:
    """Return what was sealed, and in words what doesn't agree with it ('' if all does)."""
    try:
        value = json.loads(row.leaf)
        entry = value["entry"]
        sealed = (entry["id"], entry["kind"], entry["device"], entry["n"], value["received"], value["seq"])
        if not isinstance(entry["data"], dict) or not isinstance(entry.get("subjects", []), list):
            raise ValueError
        if not all(isinstance(part, str if i < 3 else int) for i, part in enumerate(sealed)) or not 1 <= sealed[5] <= 2**53:
            raise ValueError
    except (ValueError, KeyError, TypeError, RecursionError):
        return None, "the sealed bytes can't be read"
    columns = (row.id, row.kind, row.device, row.n)
    names = ("id", "kind", "device", "n")
    wrong = [name for name, column, one in zip(names, columns, sealed, strict=False) if column != one]
    if row.hash != leaf_hash(row.leaf):
        wrong.append("hash")
    return value, f"{', '.join(wrong)} and the sealed bytes do not agree" if wrong else ""


def _without(whole: tuple[int, int], part: tuple[int, int]) -> list[tuple[int, int]]:
    """Return what is left of a range beside a part of it."""
    if overlap_of(whole, part) is None:
        return [whole] if whole[0] <= whole[1] else []
    return [(a, b) for a, b in ((whole[0], part[0] - 1), (part[1] + 1, whole[1])) if a <= b]
