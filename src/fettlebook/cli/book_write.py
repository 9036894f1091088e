"""`fettlebook book init`, `append` and `checkpoint`."""

import json
import os
import sys
from collections.abc import Iterator
from pathlib import Path

import click

from fettlebook.book.checkpoint import parse_checkpoint, qr_payload, text_of
from fettlebook.book.door import Door
from fettlebook.book.entries import MOST_BYTES, PROGRAM
from fettlebook.book.keyfile import make_key, read_key
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.received import Receipt, Refused
from fettlebook.book.signing import book_name, change_key, sign_book
from fettlebook.book.stores import BATCH_MOST, InUse, Store, open_book, open_group_book
from fettlebook.cli.book_open import existing_file, is_address, key_file, moment_now, now_ms, opened
from fettlebook.cli.whole_file import write_whole
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.load import read_practice_file
from fettlebook.standing.rules_now import rulebook_version

_CHUNK = 1 << 20


def begin(*, book_at: str, practice_file: str, key_at: str | None, as_json: bool) -> int:
    """Make a practice's book with its first entry and its key."""
    loaded = read_practice_file(Path(practice_file))
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    practice = loaded.practice.practice
    key_path = key_file(book_at, key_at)
    store: Store = open_group_book(book_at, practice.id) if is_address(book_at) else open_book(Path(book_at), practice.id)
    with store:
        if store.head().size:
            mend = "Use the book that is there. To begin another, name another file."
            raise Mendable(f"the book of {practice.id} has {store.head().size} entries already", where=book_at, mend=mend)
        signer = make_key(key_path, book_name(practice.id))  # before the first entry: a taken name is said with nothing written
        moment = moment_now(practice.time_zone)
        store.note(PracticeFileVersion.of(Path(practice_file).read_text("utf-8"), Path(practice_file).name), moment=moment)
        store.note(rulebook_version(loaded.practice), moment=moment)
        note = sign_book(store, key_path)
    public = str(signer.verifier)
    if as_json:
        click.echo(json.dumps({"book": book_at, "practice": practice.id, "key_file": str(key_path), "vkey": public, "checkpoint": note}))
    else:
        click.echo(f"The book of {practice.name} is begun: {book_at}")
        click.echo(f"Signing key: {key_path} (for its owner only; put a copy away, apart from the book)")
        click.echo(f"Public half, to print on the first day sheet:\n  {public}")
    return 0


def renew(*, book_at: str, practice_file: str, as_json: bool) -> int:
    """Write the practice file and the rules that hold from now on, where the book's newest are others."""
    loaded = read_practice_file(Path(practice_file))
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    practice = loaded.practice.practice
    file = PracticeFileVersion.of(Path(practice_file).read_text("utf-8"), Path(practice_file).name)
    written = {}
    with opened(book_at, practice.id, write=True) as store:
        door, moment = Door(store), moment_now(practice.time_zone)
        for data in (file, rulebook_version(loaded.practice)):
            last = store.latest(data.KIND)
            if last is None or last.entry.data != data:
                written[data.KIND] = door.note(data, moment=moment).id
    if as_json:
        click.echo(json.dumps({"written": written}))
    else:
        click.echo("\n".join(f"{kind}: {entry}" for kind, entry in written.items()) or "The book holds this practice file and these rules.")
    return 0


def append(*, book_at: str, practice: str | None, via: str, offset_ms: int, as_json: bool) -> int:
    """Add entries from standard input; say each id once it is durable."""
    stored = refused = 0
    with opened(book_at, practice, write=True) as store:
        store.heed_clock(moment_now())
        door = Door(store)
        for lines in _batches():
            results = door.append([raw for _, raw in lines], now=now_ms(), via=via, offset=offset_ms)
            for (number, _), result in zip(lines, results, strict=True):
                if isinstance(result, Receipt):
                    stored += 1
                    click.echo(json.dumps(_receipt(result)) if as_json else result.id)
                else:
                    refused += 1
                    _tell(number, result, as_json=as_json)
            sys.stdout.flush()
    if refused and not stored:
        return 2
    return 1 if refused else 0


def sign(*, book_at: str, practice: str | None, key_at: str | None, new_key: str | None, qr_to: str | None, as_json: bool) -> int:
    """Sign where the book stands, and print it."""
    key_path = key_file(book_at, key_at)
    if new_key is not None:
        if not is_address(book_at):
            existing_file(book_at)
        old_path = Path(f"{book_at}.key")
        old = read_key(old_path) if old_path != key_path and old_path.exists() else None
        made = make_key(key_path, book_name(new_key))
        with opened(book_at, practice, write=True) as store:
            if old is not None:  # the old key names the new one; where it is lost, only the printed line can
                change_key(store, old, made, moment=moment_now(), by=PROGRAM)
    public = str(read_key(key_path).verifier)  # a lost key is said before anything else
    try:
        with opened(book_at, practice, write=True) as store:
            note = sign_book(store, key_path)
    except InUse:
        click.echo("The book is in use: this checkpoint is kept beside the key only.", err=True)
        with opened(book_at, practice, write=False) as store:
            note = sign_book(store, key_path, keep=False)
    held = parse_checkpoint(text_of(note))
    if qr_to is not None:
        write_whole(Path(qr_to), qr_svg(note))
    if as_json:
        click.echo(json.dumps({"size": held.size, "root": held.root.hex(), "short": held.short(), "note": note, "vkey": public}))
    else:
        click.echo(note, nl=False)
        click.echo(f"\nTo compare by eye: {held.short()}", err=True)
    return 0


def qr_svg(note: str) -> str:
    """Return the QR code of a checkpoint as SVG."""
    import io  # noqa: PLC0415

    import segno  # noqa: PLC0415 - only where a code is wanted

    out = io.BytesIO()
    segno.make(qr_payload(note), error="m", micro=False).save(out, kind="svg", scale=4, border=4)
    return out.getvalue().decode("utf-8")


def _batches() -> Iterator[list[tuple[int, bytes]]]:
    """Yield the lines that have come, with their numbers, as soon as they have come; empty lines are passed over."""
    number, rest = 0, b""
    while chunk := os.read(sys.stdin.fileno(), _CHUNK):
        *whole, rest = (rest + chunk).split(b"\n")
        rest = rest[: 2 * MOST_BYTES]  # still refused by its length, and the memory stays bounded
        lines = [(number + i, line) for i, line in enumerate(whole, start=1) if line.strip()]
        number += len(whole)
        for begin_at in range(0, len(lines), BATCH_MOST):
            yield lines[begin_at : begin_at + BATCH_MOST]
    if rest.strip():
        yield [(number + 1, rest)]


def _receipt(receipt: Receipt) -> dict[str, object]:
    return {"id": receipt.id, "seq": receipt.seq, "received": receipt.received, "leaf_hash": receipt.leaf_hash.hex()}


def _tell(number: int, refused: Refused, *, as_json: bool) -> None:
    if as_json:
        click.echo(json.dumps({"line": number, "id": refused.id, "refused": [_finding(one) for one in refused.findings]}))
        return
    for one in refused.findings:
        click.echo(f"line {number}, {one.where}\n  what  {one.what}\n  mend  {one.mend}", err=True)


def _finding(one: Finding) -> dict[str, str]:
    return {"what": one.what, "where": one.where, "mend": one.mend}
