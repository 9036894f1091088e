"""`fettlebook share`: the book as tables, as FHIR resources, and duties as a calendar."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import DATA

if TYPE_CHECKING:
    from collections.abc import Mapping
    from datetime import datetime
    from pathlib import Path

    from fettlebook.book.stores import SqliteStore
    from fettlebook.practice.model import Practice

_practice = click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))


@click.group()
def share() -> None:
    """Hand on what the book holds in open forms. Nothing of a patient is in it; sealed words stay sealed.

    Exit status: 0 written; 2 nothing could be done, and nothing was written.
    """


@share.command("tables")
@_practice
@DATA
@click.option("-o", "--out", "out", required=True, metavar="DIR", help="A folder that is not there yet, or empty.")
@click.option("--as", "form", type=click.Choice(["csv", "parquet"]), default="csv", show_default=True, help="CSV for a spreadsheet.")
@click.option("--from", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="From this day on, by when it happened.")
@click.option("--to", "last", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Up to this day.")
@click.option("--kind", "kinds", multiple=True, metavar="KIND", help="Only this kind of entry, such as sample.result; may be repeated.")
def tables(
    *, practice_file: str, data: str | None, out: str, form: str, first: datetime | None, last: datetime | None, kinds: tuple[str, ...]
) -> None:
    """One table for each kind of entry, with corrections in it; withdrawn entries stay, and are marked."""
    from zoneinfo import ZoneInfo  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.book.kinds import KINDS  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.share.tables import tables as tables_of  # noqa: PLC0415
    from fettlebook.exchange.share.tables import written  # noqa: PLC0415
    from fettlebook.practice.wording import nearest  # noqa: PLC0415

    for kind in kinds:
        if kind not in KINDS:
            close = nearest(kind, KINDS)
            mend = f"Did you mean {close}?" if close else f"One of: {', '.join(sorted(KINDS))}."
            raise Mendable(f"{kind!r:.80} is no kind of entry", where="--kind", mend=mend)
    if first and last and last < first:
        raise Mendable("it ends before it begins", where="--from, --to", mend="Turn them round.")
    practice, book = _files(practice_file, data)
    with _opened(book, practice) as store:
        found = tables_of(
            store.read(), ZoneInfo(practice.practice.time_zone), first=first.date() if first else None, last=last.date() if last else None,
            kinds=kinds or None,
        )  # fmt: skip
    files = {f"{kind}.{form}": written(rows, "csv" if form == "csv" else "parquet") for kind, rows in found.items()}
    _into_folder(out, files)
    click.echo(f"{len(files)} tables, {sum(map(len, found.values())):,} rows, in {out}")


@share.command("fhir")
@_practice
@DATA
@click.option("-o", "--out", "out", required=True, metavar="FILE.json", help="The file to write.")
def fhir(*, practice_file: str, data: str | None, out: str) -> None:
    """A FHIR R4 Bundle: chairs, machines, loads, cycles, water results, and who entered what when."""
    import json  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.share.fhir import bundle_of, checked  # noqa: PLC0415

    practice, book = _files(practice_file, data)
    with _opened(book, practice) as store:
        bundle = checked(bundle_of(store.read(), practice))
    write_whole(Path(out), json.dumps(bundle, ensure_ascii=False, indent=1) + "\n")
    click.echo(f"{len(bundle['entry']):,} resources in {out}")


@share.command("diary")
@_practice
@click.argument("book_file", metavar="BOOK.ics", type=click.Path(path_type=str))
@DATA
@click.option("--person", metavar="ID", help="A person of the practice file; all of them if left out.")
@click.option("--days", type=click.IntRange(1, 14), default=5, show_default=True, help="How many booked days to plan.")
@click.option("-o", "--out", "out", required=True, metavar="FILE.ics", help="The file to write.")
def diary(*, practice_file: str, book_file: str, data: str | None, person: str | None, days: int, out: str) -> None:
    """Duties as a calendar (RFC 5545): each person's work as planned, and what falls due."""
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.share_diary import diary_of  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415

    practice, book = _files(practice_file, data)
    made, count = diary_of(practice, Path(practice_file), Path(book_file), book if book.exists() else None, person=person, days=days)
    write_whole(Path(out), made)
    click.echo(f"{count} entries in {out}")


@share.command("secret")
@_practice
@DATA
@click.argument("receiver", metavar="ID")
def secret(*, practice_file: str, data: str | None, receiver: str) -> None:
    """The secret with which RECEIVER of the practice file checks that word of a changed verdict comes from here. Keep it there only."""
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.key import beside, load_or_make_key  # noqa: PLC0415
    from fettlebook.exchange.share.word import secret_of, secret_words  # noqa: PLC0415

    practice, book = _files(practice_file, data)
    if receiver not in {one.id for one in practice.word_to}:
        have = ", ".join(one.id for one in practice.word_to) or "none"
        raise Mendable(f"{receiver!r:.60} gets no word", where="ID", mend=f"Receivers of the practice file: {have}.")
    click.echo(secret_words(secret_of(load_or_make_key(beside(book)), receiver)))


def _files(practice_file: str, data: str | None) -> tuple[Practice, Path]:
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.practice.load import load_practice  # noqa: PLC0415

    path = Path(practice_file)
    return load_practice(path), Path(data) if data else path.with_name("book.sqlite")


def _opened(book: Path, practice: Practice) -> SqliteStore:
    from fettlebook.book.stores import open_book  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415

    if not book.exists():
        raise Mendable("there is no such book", where=str(book), mend="Name it with --data.")
    return open_book(book, practice.practice.id, write=False)


def _into_folder(out: str, files: Mapping[str, bytes]) -> None:
    """Write all files into a new folder, or none: they are written beside it first."""
    import os  # noqa: PLC0415
    import shutil  # noqa: PLC0415
    import tempfile  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415

    folder, draft = Path(out), ""
    try:
        if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
            raise Mendable("something is there already", where=out, mend="Name a folder that is not there yet, or an empty one.")
        folder.parent.mkdir(parents=True, exist_ok=True)
        draft = tempfile.mkdtemp(dir=folder.parent, prefix=f".{folder.name}.")
        for name, content in files.items():
            (Path(draft) / name).write_bytes(content)
        umask = os.umask(0)
        os.umask(umask)
        os.chmod(draft, 0o777 & ~umask)  # a draft is private; the folder gets the rights that any new folder gets
        os.replace(draft, folder)
    except OSError as error:
        raise Mendable(f"can't be written: {error.strerror}", where=out, mend="Name a folder in a place that you may write to.") from None
    finally:
        if draft:
            shutil.rmtree(draft, ignore_errors=True)
