"""`fettlebook book ask-stamp` and `stamp`: an outside authority's time on a checkpoint, by files; and what `verify` makes of it."""

import json
from collections.abc import Iterator, Sequence
from pathlib import Path
from typing import Final

import click
from cryptography.x509 import Certificate

from fettlebook.book.checkpoint import parse_checkpoint, text_of
from fettlebook.book.kinds import CheckpointStamped
from fettlebook.book.stamp import ANSWER_MEDIA, Stamp, ask_for_stamp, authorities_in, read_stamp, stamped
from fettlebook.book.stores import Store
from fettlebook.book.verify import Anchor
from fettlebook.cli.book_open import moment_now, opened
from fettlebook.cli.whole_file import write_whole
from fettlebook.errors import Mendable

_MOST: Final = 1_000_000


def ask(*, note_at: str, to: str, as_json: bool) -> int:
    """Write the request for a time-stamp of a checkpoint."""
    request = ask_for_stamp(_note(note_at))
    write_whole(Path(to), request)
    if as_json:
        click.echo(json.dumps({"request": to, "length_bytes": len(request)}))
    else:
        click.echo(f"{to}: send it to a time-stamp authority that you trust, as application/timestamp-query; keep its answer")
    return 0


def take(*, book_at: str, practice: str | None, note_at: str, answer_at: str, authorities: Sequence[str], as_json: bool) -> int:
    """Check a time-stamp, and that its checkpoint is one of this book; keep both."""
    note, answer = _note(note_at), _bytes(answer_at)
    found = read_stamp(answer, note, _roots(authorities), where=answer_at)
    held = parse_checkpoint(text_of(note))
    with opened(book_at, practice, write=True) as store:
        size = store.head().size
        if held.size > size or held.size == 0 or store.root_at(held.size) != held.root:
            mend = "Give a checkpoint that was signed for this book; if it was, verify the book with --checkpoint."
            raise Mendable(f"a checkpoint at entry {held.size} that this book does not have", where=note_at, mend=mend)
        kept_note = store.keep_file(note.encode(), media="text/plain", name="checkpoint.txt")
        kept_answer = store.keep_file(answer, media=ANSWER_MEDIA, name="answer.tsr")
        receipt = store.note(stamped(note, found, kept_note=kept_note, kept_answer=kept_answer), moment=moment_now())
    if as_json:
        said = {"size": held.size, "root": held.root.hex(), "stamped_at": found.at.isoformat(), "authority": found.authority}
        click.echo(json.dumps(said | {"seq": receipt.seq}))
    else:
        click.echo(f"{_words(held.size, found)}; kept as entry {receipt.seq}. Keep {answer_at} apart from the book as well.")
    return 0


def stamped_anchors(
    store: Store, checkpoints: Sequence[str], stamps: Sequence[str], authorities: Sequence[str]
) -> tuple[list[Anchor], list[str]]:
    """Return the anchors that time-stamps give, and which stamps kept in the book do not hold.

    Raises `Mendable` where a stamp that was given does not hold: that is what was asked.
    """
    if not authorities:
        if stamps:
            mend = "Give the authority's root certificate: --authority."
            raise Mendable("a time-stamp without its authority", where="--stamp", mend=mend)
        return [], []
    roots = _roots(authorities)
    if len(stamps) > len(checkpoints):
        mend = "Give each --stamp with the --checkpoint that it is of, in the same order."
        raise Mendable(f"{len(stamps)} time-stamps for {len(checkpoints)} checkpoints", where="--stamp", mend=mend)
    anchors: list[Anchor] = []
    doubts: list[str] = []
    for note_at, answer_at in zip(checkpoints, stamps, strict=False):
        anchors.append(_anchor(_note(note_at), read_stamp(_bytes(answer_at), _note(note_at), roots, where=answer_at)))
    for note, answer, where in _kept(store, doubts):
        try:
            anchors.append(_anchor(note, read_stamp(answer, note, roots, where=where)))
        except Mendable as error:
            doubts.append(f"{error.where}: {error.what}")
    return anchors, doubts


def _kept(store: Store, doubts: list[str]) -> Iterator[tuple[str, bytes, str]]:
    for received in store.read(kinds=[CheckpointStamped.KIND]):
        data, where = received.entry.data, f"the time-stamp in entry {received.seq}"
        if isinstance(data, CheckpointStamped):
            try:
                note, answer = (store.file(one.digest) for one in data.files)
                yield note.decode(), answer, where
            except (Mendable, UnicodeDecodeError) as error:
                doubts.append(f"{where}: {error.what if isinstance(error, Mendable) else 'its checkpoint is no text'}")


def _anchor(note: str, found: Stamp) -> Anchor:
    held = parse_checkpoint(text_of(note))
    return held.anchor(_words(held.size, found))


def _words(size: int, found: Stamp) -> str:
    return f"the checkpoint at entry {size}, time-stamped {found.at:%Y-%m-%d %H:%M:%SZ} by {found.authority}"


def _roots(authorities: Sequence[str]) -> list[Certificate]:
    return [one for name in authorities for one in authorities_in(_bytes(name), name)]


def _note(name: str) -> str:
    try:
        return _bytes(name).decode()
    except UnicodeDecodeError:
        raise Mendable("not a text", where=name, mend="Give the checkpoint as `book checkpoint` printed it, whole.") from None


def _bytes(name: str) -> bytes:
    try:
        with Path(name).open("rb") as file:
            return file.read(_MOST)
    except OSError as error:
        raise Mendable(f"can't be read ({error.strerror})", where=name, mend="Look at the name and the rights of this file.") from None
