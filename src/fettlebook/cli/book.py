"""`fettlebook book`: the record itself: make it, add to it, look into it, prove it, keep it safe."""

from __future__ import annotations

import sys
from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime

_BOOK = click.argument("book_at", metavar="BOOK")
_PRACTICE = click.option("--practice", metavar="ID", help="Whose book, where BOOK holds several.")


@click.group(invoke_without_command=False)
def book() -> None:
    """Keep the record: entries are added, never changed; anyone can check that.

    BOOK is the file of a book (book.sqlite) or the address of a group's database (postgresql+psycopg://role@host/database).

    Exit status: 0 done and in order; 1 done, and something is not in order (verify found a fault, an entry was refused);
    2 nothing could be done, the message says why.
    """


@book.command(short_help="Make a practice's book and its signing key.")
@_BOOK
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.option("--key", "key_at", metavar="FILE", help="Where the signing key goes; BOOK.key if left out.")
@JSON
def init(*, book_at: str, practice_file: str, key_at: str | None, as_json: bool) -> None:
    """Make a practice's book and the key that signs its checkpoints.

    The first entry is the practice file. Put a copy of the key away, apart from the book. The line that is printed is the
    public half: it belongs on the first day sheet, and an inspector checks signatures with it.
    """
    _run("book_write", "begin", book_at=book_at, practice_file=practice_file, key_at=key_at, as_json=as_json)


@book.command(short_help="Take in the practice file and rules that hold from now on.")
@_BOOK
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@JSON
def renew(*, book_at: str, practice_file: str, as_json: bool) -> None:
    """Write into the book which practice file and which rules hold from now on; nothing where it holds them already.

    Verdicts about a past day stand on the file and the rules of that day. The page does this by itself whenever the file changes.
    """
    _run("book_write", "renew", book_at=book_at, practice_file=practice_file, as_json=as_json)


@book.command(short_help="Add entries from standard input.")
@_BOOK
@_PRACTICE
@click.option("--via", default="desk", show_default=True, metavar="DEVICE", help="The device that sends them.")
@click.option("--offset-ms", default=0, metavar="MS", help="This machine's clock less the device's.")
@JSON
def append(*, book_at: str, practice: str | None, via: str, offset_ms: int, as_json: bool) -> None:
    """Add entries from standard input, one JSON object per line.

    Each id is printed as soon as its entry is durable, not before; an entry that is in the book already gets its id again.
    Refused lines are named on standard error with what to do; the others go in.
    """
    _run("book_write", "append", book_at=book_at, practice=practice, via=via, offset_ms=offset_ms, as_json=as_json)


@book.command(short_help="Print entries in the order in which they came.")
@_BOOK
@_PRACTICE
@click.option("--since", default=0, metavar="NUMBER", help="Only entries after this number.")
@click.option("--kind", "kinds", multiple=True, help="Only this kind; can be given several times.")
@click.option("--subject", "subjects", multiple=True, metavar="SUBJECT", help="Only about this: 'chair:chair 1'. Several times: any.")
@JSON
def dump(*, book_at: str, practice: str | None, since: int, kinds: tuple[str, ...], subjects: tuple[str, ...], as_json: bool) -> None:
    """Print entries in the order in which they came; with --json the very bytes that are sealed, one record per line."""
    _run("book_look", "dump", book_at=book_at, practice=practice, since=since, kinds=kinds, subjects=subjects, as_json=as_json)


@book.command(short_help="Find whatever was changed, left out, put in or moved.")
@_BOOK
@_PRACTICE
@click.option("--checkpoint", "checkpoints", multiple=True, metavar="FILE", help="An earlier checkpoint (signed, or its three lines).")
@click.option("--vkey", "vkeys", multiple=True, metavar="LINE|FILE", help="The public key as printed; BOOK.key's own if left out.")
@click.option("--receipts", metavar="FILE", help="JSON lines as `append --json` prints them.")
@click.option("--stamp", "stamps", multiple=True, metavar="ANSWER.tsr", help="A time-stamp of a --checkpoint, in the same order.")
@click.option("--authority", "authorities", multiple=True, metavar="CERT.pem", help="Root certificate of a time-stamp authority.")
@click.option("--sealed", "sealed_only", is_flag=True, help="Only what was sealed, not what finds it: twice as quick.")
@JSON
def verify(
    *,
    book_at: str,
    practice: str | None,
    checkpoints: tuple[str, ...],
    vkeys: tuple[str, ...],
    receipts: str | None,
    stamps: tuple[str, ...],
    authorities: tuple[str, ...],
    sealed_only: bool,
    as_json: bool,
) -> None:
    """Find and locate whatever was changed, left out, put in or moved; on a copy or on the book in use.

    With --sealed: each entry's sealed bytes, their order and number, the hashes kept over them, kept files and checkpoints. Without it
    also the columns and tables that find entries, and numbers that a device used and that never came.

    Whoever owns the machine could rewrite the whole book. Only what left the machine shows that: give an earlier checkpoint
    (from a day sheet, a tablet, a backup) with --checkpoint.
    """
    given: dict[str, Any] = {"checkpoints": checkpoints, "vkeys": vkeys, "receipts": receipts, "sealed_only": sealed_only}
    given |= {"stamps": stamps, "authorities": authorities}
    _run("book_look", "verify", book_at=book_at, practice=practice, as_json=as_json, **given)


@book.command(short_help="Sign where the book stands, for the day sheet.")
@_BOOK
@_PRACTICE
@click.option("--key", "key_at", metavar="FILE", help="The signing key; BOOK.key if left out.")
@click.option("--new-key", metavar="NAME", help="Make the key under this name first: after a restore, or when the old one is lost.")
@click.option("--qr", "qr_to", metavar="FILE.svg", help="Also write it as a QR code, for a day sheet.")
@JSON
def checkpoint(*, book_at: str, practice: str | None, key_at: str | None, new_key: str | None, qr_to: str | None, as_json: bool) -> None:
    """Sign where the book stands and print it: number of entries and root.

    Keep it where the book is not: on paper, on a tablet, with an inspector. It is never signed for a book that does not
    begin with what was signed before.
    """
    _run("book_write", "sign", book_at=book_at, practice=practice, key_at=key_at, new_key=new_key, qr_to=qr_to, as_json=as_json)


@book.command(name="ask-stamp", short_help="Make the request for an outside time-stamp of a checkpoint.")
@click.argument("note_at", metavar="CHECKPOINT")
@click.argument("to", metavar="REQUEST.tsq")
@JSON
def ask_stamp(*, note_at: str, to: str, as_json: bool) -> None:
    """Make the request for a time-stamp (RFC 3161) of a signed checkpoint, as `checkpoint` printed it.

    Nothing is sent from here. Send REQUEST.tsq to an authority that you trust (content type application/timestamp-query) and keep its
    answer. Only a hash leaves the practice.
    """
    _run("book_stamp", "ask", note_at=note_at, to=to, as_json=as_json)


@book.command(short_help="Check an authority's time-stamp and keep it with the book.")
@_BOOK
@click.argument("note_at", metavar="CHECKPOINT")
@click.argument("answer_at", metavar="ANSWER.tsr")
@click.option("--authority", "authorities", multiple=True, required=True, metavar="CERT.pem", help="The authority's root certificate.")
@_PRACTICE
@JSON
def stamp(*, book_at: str, note_at: str, answer_at: str, authorities: tuple[str, ...], practice: str | None, as_json: bool) -> None:
    """Check that an authority stamped the time on this checkpoint of this book, and keep checkpoint and answer in the book.

    The root certificate comes from the authority itself, not from the answer. `verify --authority` holds the book against every
    checkpoint that was stamped. Keep ANSWER.tsr apart from the book as well: whoever could rewrite the book could leave it out.
    """
    given: dict[str, Any] = {"note_at": note_at, "answer_at": answer_at, "authorities": authorities}
    _run("book_stamp", "take", book_at=book_at, practice=practice, as_json=as_json, **given)


@book.command(short_help="Copy the book while it is in use; verify the copy.")
@_BOOK
@click.argument("folder", metavar="FOLDER")
@click.option("--drill", is_flag=True, help="Restore it to another place at once, verify it there, and remove it again.")
@click.option("--rotate", is_flag=True, help="Then drop older ones: 7 days, 5 weeks and 12 months are kept (common practice).")
@_PRACTICE
@JSON
def backup(*, book_at: str, folder: str, drill: bool, rotate: bool, practice: str | None, as_json: bool) -> None:
    """Copy the book into a new folder under FOLDER, also while it is in use, and verify the copy.

    The keys of people's own words are left out, so that what was erased stays erased. Keep FOLDER on another machine or disk.
    From a group's database one practice's book is copied, into a file of its own, in a folder of its own under FOLDER.
    """
    _run("book_keep", "backup", book_at=book_at, folder=folder, practice=practice, drill=drill, rotate=rotate, as_json=as_json)


@book.command(short_help="Put a backup's book to a new file.")
@click.argument("folder", metavar="BACKUP")
@click.argument("to", metavar="FILE|ADDRESS")
@_PRACTICE
@JSON
def restore(*, folder: str, to: str, practice: str | None, as_json: bool) -> None:
    """Put the book of one BACKUP folder to a new FILE, verify it whole, and write into it that it was restored.

    An existing file is never overwritten. Given the address of a group's database, the book of one practice goes there, where it has no
    entries yet. Tablets send again what came after the backup.
    """
    _run("book_keep", "restore", folder=folder, to=to, practice=practice, as_json=as_json)


@book.command(short_help="Write the whole book to one open zip file.")
@_BOOK
@click.argument("to", metavar="FILE.zip")
@_PRACTICE
@JSON
def export(*, book_at: str, to: str, practice: str | None, as_json: bool) -> None:
    """Write the whole book to one zip file that any program can read: sealed records line by line, files, checkpoints."""
    _run("book_keep", "export", book_at=book_at, to=to, practice=practice, as_json=as_json)


@book.command(name="import", short_help="Take an exported book into an empty one.")
@_BOOK
@click.argument("source", metavar="FILE.zip")
@_PRACTICE
@JSON
def import_(*, book_at: str, source: str, practice: str | None, as_json: bool) -> None:
    """Take an exported book into an empty one, as it was sealed; all of it or nothing.

    The practice is the one that was exported, unless --practice names another.
    """
    _run("book_keep", "take", book_at=book_at, source=source, practice=practice, as_json=as_json)


@book.command(short_help="Erase people's own words whose term is over.")
@_BOOK
@_PRACTICE
@click.option("--before", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Words received before this day.")
@click.option("--by", required=True, metavar="PERSON", help="Who decides it.")
@click.option("--why", required=True, metavar="TEXT", help="Why: the term is over, somebody asked for it.")
@click.option("--yes", is_flag=True, help="Do it; without it, it is only listed.")
@JSON
def erase(*, book_at: str, practice: str | None, before: datetime | None, by: str, why: str, yes: bool, as_json: bool) -> None:
    """Erase people's own words for good, where their term is over; everything else stays, and every proof still holds.

    Without --before the term is the longest time that a rule in force says to keep records. Not for anything that an
    inspection, a dispute or a look-back still needs.
    """
    _run("book_keep", "erase", book_at=book_at, practice=practice, before=before, by=by, why=why, yes=yes, as_json=as_json)


@book.command(short_help="Drop the bodies of entries whose term is over.")
@_BOOK
@_PRACTICE
@click.option("--before", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Entries received before this day.")
@click.option("--by", required=True, metavar="PERSON", help="Who decides it.")
@click.option("--owner", metavar="DATABASE", help="Of a group's book: postgresql://owner@host/database, who alone can drop them.")
@click.option("--yes", is_flag=True, help="Do it; without it, it is only told what would go.")
@JSON
def prune(*, book_at: str, practice: str | None, before: datetime | None, by: str, owner: str | None, yes: bool, as_json: bool) -> None:
    """Drop what entries say, for good, where their term is over; their hashes stay, so every proof still holds.

    Without --before the term is the longest time that a rule in force says to keep records. What verdicts of today rest on stays, and so
    do practice files, rules and the book's own notes. Where a subject would still be judged otherwise nothing goes, and it is named (exit
    status 1). Backups made before still hold what went. Not for what an inspection, a dispute or a look-back still needs.
    """
    _run("book_keep", "prune", book_at=book_at, practice=practice, before=before, by=by, owner=owner, yes=yes, as_json=as_json)


@book.command(short_help="Read the book afresh and keep what verdicts are asked from.")
@_BOOK
@_PRACTICE
@JSON
def fold(*, book_at: str, practice: str | None, as_json: bool) -> None:
    """Fold the book afresh from its first entry, whatever was kept of it beside it, and keep that for the next starts.

    What is kept is proven by a key each time it is used, so this is for who wants to be sure without it, and makes the files small again.
    """
    _run("book_fold", "fold", book_at=book_at, practice=practice, as_json=as_json)


def _run(module: str, name: str, **given: Any) -> None:
    from importlib import import_module  # noqa: PLC0415 - heavy imports wait until a command runs

    status = getattr(import_module(f"fettlebook.cli.{module}"), name)(**given)
    if status:
        sys.exit(status)
