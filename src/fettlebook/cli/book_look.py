"""`fettlebook book dump` and `verify`."""

import json
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfoNotFoundError

import click

from fettlebook.book.checkpoint import parse_checkpoint, read_checkpoint, text_of
from fettlebook.book.entries import Entry
from fettlebook.book.keyfile import read_key
from fettlebook.book.kinds import KeyChanged, from_ms
from fettlebook.book.notes import VerifierKey, read_verifier_key
from fettlebook.book.received import Received
from fettlebook.book.signing import keys_after, last_signed
from fettlebook.book.verify import Anchor, Verification
from fettlebook.cli.book_open import is_address, opened
from fettlebook.errors import Mendable

_APART_MS = 600_000  # a claimed time this far from the time of receipt is shown beside it
_TEXT_MOST = 40
_FILE_MOST = 50_000_000


def dump(*, book_at: str, practice: str | None, since: int, kinds: Sequence[str], subjects: Sequence[str], as_json: bool) -> int:
    """Print entries in the order of receipt."""
    with opened(book_at, practice, write=False) as store:
        out = sys.stdout.buffer
        count = 0
        for received in store.read(since, kinds=kinds or None, subjects=subjects or None):
            out.write(received.leaf + b"\n" if as_json else (_line(received) + "\n").encode("utf-8", "replace"))
            count += 1
        out.flush()
        if not as_json:
            click.echo(f"{count} of {store.head().size} entries", err=True)
    return 0


def verify(
    *,
    book_at: str,
    practice: str | None,
    checkpoints: Sequence[str],
    vkeys: Sequence[str],
    receipts: str | None,
    stamps: Sequence[str],
    authorities: Sequence[str],
    sealed_only: bool,
    as_json: bool,
) -> int:
    """Find and locate what is wrong with a book."""
    given, own = [_key(one) for one in vkeys], _own_key(book_at)
    held = _receipts(Path(receipts)) if receipts else {}
    doubts: list[str] = []
    with opened(book_at, practice, write=False) as store:
        changes = list(store.read(kinds=[KeyChanged.KIND]))
        given, own = keys_after(changes, given), keys_after(changes, own)
        anchors = [_anchor(Path(name), given or own) for name in checkpoints]
        from fettlebook.cli.book_stamp import stamped_anchors  # noqa: PLC0415 - certificates are read only here

        stamped, unheld = stamped_anchors(store, checkpoints, stamps, authorities)
        anchors += stamped
        doubts += unheld
        notes = [(note, "kept in the book") for note in store.checkpoints()]
        if not is_address(book_at) and (last := last_signed(Path(f"{book_at}.key"))) is not None:
            notes.append((last, "kept beside the key"))
        for note, where in notes:
            try:
                found = read_checkpoint(note, given + own) if given + own else parse_checkpoint(text_of(note))
            except Mendable as error:
                doubts.append(f"a checkpoint {where}: {error.what}")
                continue
            anchors += [found.anchor(f"the checkpoint at entry {found.size} {where}")] if found.size else []
        result = store.verify(anchors=anchors, receipts=held, sealed_only=sealed_only)
    _say_json(result, anchors, doubts) if as_json else _say(result, anchors, doubts)
    return 0 if result.whole else 1


def _say(result: Verification, anchors: Sequence[Anchor], doubts: Sequence[str]) -> None:
    for fault in result.faults:
        click.echo(str(fault))
    for doubt in doubts:
        click.echo(f"Not counted: {doubt}")
    for device, numbers in result.not_received.items():
        click.echo(f"Not received from {device}: {_ranges(numbers)}")
    root = result.root.hex() if result.root is not None else "none, the order is broken"
    held = f", held against {len(anchors)} checkpoint{'s' * (len(anchors) != 1)}" if anchors else ""
    verdict = "whole" if result.whole else f"NOT WHOLE, {len(result.faults)} fault{'s' * (len(result.faults) != 1)}"
    click.echo(f"{verdict}: {result.size} entries{held}\nroot {root}")
    if not anchors:
        click.echo("No checkpoint that left the machine was given: a book rewritten as a whole would look the same.")


def _say_json(result: Verification, anchors: Sequence[Anchor], doubts: Sequence[str]) -> None:
    said = {
        "whole": result.whole,
        "size": result.size,
        "root": result.root.hex() if result.root is not None else None,
        "faults": [{"kind": f.kind, "first": f.first, "last": f.last, "what": f.what} for f in result.faults],
        "not_received": {device: list(numbers) for device, numbers in result.not_received.items()},
        "held_against": [{"size": a.size, "root": a.root.hex(), "whence": a.whence} for a in anchors],
        "not_counted": list(doubts),
    }
    click.echo(json.dumps(said, ensure_ascii=False))


def _key(given: str) -> VerifierKey:
    if "+" in given:
        return read_verifier_key(given)
    return read_verifier_key(_text_in(Path(given)))


def _own_key(book_at: str) -> list[VerifierKey]:
    path = Path(f"{book_at}.key")
    if is_address(book_at) or not path.exists():
        return []
    try:
        return [read_key(path).verifier]
    except Mendable as error:  # a verification goes on without it
        click.echo(f"{error.where}: {error.what}. {error.mend}", err=True)
        return []


def _anchor(path: Path, keys: Sequence[VerifierKey]) -> Anchor:
    text = _text_in(path)
    signed = "\n\n" in text
    found = read_checkpoint(text, keys) if signed and keys else parse_checkpoint(text_of(text) if signed else text)
    if found.size == 0:
        raise Mendable("a checkpoint of an empty book", where=str(path), mend="Give a later one; this one says nothing about entries.")
    return found.anchor(f"{path.name} (at entry {found.size}{'' if signed and keys else ', signature not checked'})")


def _receipts(path: Path) -> dict[int, bytes]:
    found = {}
    for number, line in enumerate(_text_in(path).splitlines(), start=1):
        try:
            said = json.loads(line)
            if "refused" not in said:
                found[int(said["seq"])] = bytes.fromhex(said["leaf_hash"])
        except (ValueError, KeyError, TypeError):
            raise Mendable("no receipt", where=f"{path} line {number}", mend="Give the lines that `append --json` printed.") from None
    return found


def _text_in(path: Path) -> str:
    try:
        with path.open("rb") as file:
            return file.read(_FILE_MOST).decode("utf-8")
    except (OSError, UnicodeDecodeError) as error:
        said = error.strerror if isinstance(error, OSError) else "not a text"
        raise Mendable(f"can't be read ({said})", where=str(path), mend="Look at the name and the rights of this file.") from None


def _line(received: Received) -> str:
    entry = received.entry
    when = _local(received.received, entry.zone)
    said = " ".join(f"{name}={_short(value)}" for name, value in _data(entry).items())
    mends = f" (of {entry.refers_to})" if entry.refers_to else ""
    apart = abs(received.received - received.offset - entry.at) > _APART_MS
    claimed = f", says {_local(entry.at, entry.zone)}" if apart else ""
    head = f"{received.seq:>7}  {when}  {entry.kind}  by {entry.by}{claimed}{mends}"
    return f"{head}\n         {said}" if said else head


def _local(ms: int, zone: str) -> str:
    try:
        return from_ms(ms, zone).strftime("%Y-%m-%d %H:%M:%S%z")
    except (ZoneInfoNotFoundError, ValueError, OverflowError):  # a zone of another system's, or a time at the end of days
        return from_ms(ms).strftime("%Y-%m-%d %H:%M:%SZ")


def _data(entry: Entry) -> Mapping[str, Any]:
    return {name: value for name, value in entry.data.model_dump(exclude_none=True).items() if name != "remark"}


def _short(value: Any) -> str:
    text = ",".join(map(_short, value)) if isinstance(value, list | tuple) else str(value)
    text = text.encode("unicode_escape").decode() if not text.isprintable() else text
    return text if len(text) <= _TEXT_MOST else text[: _TEXT_MOST - 3] + "..."


def _ranges(numbers: Sequence[int]) -> str:
    parts: list[list[int]] = []
    for n in numbers:
        if parts and n == parts[-1][1] + 1:
            parts[-1][1] = n
        else:
            parts.append([n, n])
    return ", ".join(str(a) if a == b else f"{a} to {b}" for a, b in parts)
