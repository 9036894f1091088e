"""Takes records that were sealed elsewhere into an empty book, as they were sealed: same bytes, same places, same times of receipt."""

from collections.abc import Iterable
from typing import Any, Final

from sqlalchemy import Connection, Table, func, insert, select, text

from fettlebook.book.canonical import encode
from fettlebook.book.checkpoint import parse_checkpoint, text_of
from fettlebook.book.kinds import EntryClash
from fettlebook.book.notes import first_signer
from fettlebook.book.received import seal, unseal
from fettlebook.book.stores import tables
from fettlebook.book.stores.pruning import row_in
from fettlebook.book.tree import HASH_BYTES, TILE, Peaks, leaf_hash
from fettlebook.errors import Mendable

_PAGE: Final = 1000


def take_sealed(
    connection: Connection,
    practice: str,
    leaves: Iterable[bytes],
    *,
    size: int,
    root: bytes,
    files: Iterable[tuple[str, bytes]],
    notes: Iterable[str],
) -> None:
    """Fill an empty book inside a transaction that alone may append to it.

    Raises
    ------
    Mendable
        There are entries already; a record is none, or out of its order; or together they do not give `root`.
    """
    e = tables.entry
    if connection.execute(select(func.count()).select_from(e).where(e.c.practice == practice)).scalar_one():
        mend = "Import into a new file, or under another practice."
        raise Mendable("this book has entries already", where=f"the book of {practice}", mend=mend)
    tree, received = Peaks(), 0
    waiting: dict[Table, list[dict[str, Any]]] = {table: [] for table in (e, tables.entry_subject, tables.clash, tables.node)}
    for leaf in leaves:
        if (stays := row_in(leaf)) is not None:
            if stays.seq != tree.size + 1 or len(stays.hash) != HASH_BYTES:
                mend = "Take another copy of the export; this one is not as it was sealed."
                raise Mendable(f"no record with the number {tree.size + 1}", where=f"entry {tree.size + 1}", mend=mend)
            waiting[e].append(stays._asdict() | {"practice": practice})
            tree, grown = tree.grown(stays.hash)
            waiting[tables.node] += _nodes(practice, grown)
            continue
        record = unseal(leaf)
        made = record.entry
        raw = encode(made.model_dump(exclude_none=True), where="entry")
        again = seal(raw, seq=record.seq, received=record.received, offset=record.offset, via=record.via)
        if record.seq != tree.size + 1 or record.received <= received or again != leaf:
            mend = "Take another copy of the export; this one is not as it was sealed."
            raise Mendable(f"no record with the number {tree.size + 1}, or in another spelling", where=f"entry {tree.size + 1}", mend=mend)
        received = record.received
        hashed = leaf_hash(leaf)
        columns = {"practice": practice, "seq": record.seq, "id": made.id, "kind": made.kind, "device": made.device, "n": made.n}
        waiting[e].append(columns | {"hash": hashed, "leaf": leaf})
        waiting[tables.entry_subject] += [{"practice": practice, "subject": s, "seq": record.seq} for s in dict.fromkeys(made.subjects)]
        if isinstance(made.data, EntryClash):
            row = {"practice": practice, "id": made.refers_to, "digest": bytes.fromhex(made.data.digest), "seq": record.seq}
            waiting[tables.clash].append(row)
        tree, grown = tree.grown(hashed)
        waiting[tables.node] += _nodes(practice, grown)
        if tree.size % _PAGE == 0:
            _write(connection, waiting)
    _write(connection, waiting)
    if tree.size != size or tree.root() != root:
        mend = "Take another copy of the export; this one is not as it was sealed."
        raise Mendable(f"{tree.size} entries that do not give the root named for {size}", where="entries.jsonl", mend=mend)
    line = text(
        "INSERT INTO head (practice, size, received, peaks, subjects_to) VALUES (:practice, :size, :received, :peaks, :size)"
        " ON CONFLICT (practice) DO UPDATE SET size = :size, received = :received, peaks = :peaks, subjects_to = :size"
    )
    said = {"practice": practice, "size": size, "received": received, "peaks": b"".join(tree.hashes)}
    connection.execute(line, said)
    for sha256, content in files:
        kept = text("INSERT INTO file (practice, digest, content) VALUES (:practice, :digest, :content) ON CONFLICT DO NOTHING")
        connection.execute(kept, {"practice": practice, "digest": sha256, "content": content})
    for note in notes:
        kept = text("INSERT INTO checkpoint (practice, size, key, note) VALUES (:practice, :size, :key, :note) ON CONFLICT DO NOTHING")
        held = parse_checkpoint(text_of(note))
        connection.execute(kept, {"practice": practice, "size": held.size, "key": first_signer(note), "note": note})


def _nodes(practice: str, grown: Iterable[tuple[int, int, bytes]]) -> list[dict[str, Any]]:
    return [{"practice": practice, "level": level, "number": n, "hash": value} for level, n, value in grown if level and level % TILE == 0]


def _write(connection: Connection, waiting: dict[Table, list[dict[str, Any]]]) -> None:
    for table, rows in waiting.items():
        if rows:
            connection.execute(insert(table), rows)
            rows.clear()
