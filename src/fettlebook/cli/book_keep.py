"""`fettlebook book backup`, `restore`, `export`, `import`, `erase` and `prune`."""

import json
import tempfile
from datetime import UTC, datetime, timedelta
from functools import partial
from pathlib import Path
from zoneinfo import ZoneInfo

import click

from fettlebook.book.backup import back_up, back_up_group_book, read_backup, restore_group_book, restored, try_restore
from fettlebook.book.backup import restore as put_back
from fettlebook.book.backup import rotate as drop_old
from fettlebook.book.bundle import export_book, import_book, practice_in
from fettlebook.book.kinds import PracticeFileVersion, from_ms, to_ms
from fettlebook.book.signing import book_name
from fettlebook.book.stores import Store, open_book
from fettlebook.book.words import erase_words, words_before
from fettlebook.cli.book_open import existing_file, group_address, is_address, moment_now, now_ms, opened
from fettlebook.errors import Mendable
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import lay_rulebook


def backup(*, book_at: str, folder: str, practice: str | None, drill: bool, rotate: bool, as_json: bool) -> int:
    """Copy a book, verify the copy; try it out and drop old ones where asked."""
    into = Path(folder)
    if is_address(book_at):
        with opened(book_at, practice, write=False) as store:
            into = into / book_name(store.practice)  # each practice of a group in a folder of its own: rotation counts within it
            made = back_up_group_book(store, into, now=now_ms())
    else:
        made = back_up(existing_file(book_at), into, now=now_ms())
    tried = None
    if drill:
        with tempfile.TemporaryDirectory(dir=into) as scratch:
            tried = try_restore(made, Path(scratch))
    dropped = drop_old(into, lambda path, error: click.echo(f"{path}: {error.what}", err=True)) if rotate else []
    if as_json:
        books = {p: {"size": size, "root": root.hex()} for p, (size, root) in made.books.items()}
        said = {"folder": str(made.folder), "sha256": made.digest, "length_bytes": made.length_bytes, "books": books}
        click.echo(json.dumps(said | {"restored_and_verified": tried is not None, "dropped": [str(p) for p in dropped]}))
    else:
        click.echo(f"{made.folder}: {made.length_bytes:,} bytes, verified")
        for one, (size, _) in made.books.items():
            click.echo(f"  {one}: {size} entries" + ("; restored to another place and whole there" if tried else ""))
        for path in dropped:
            click.echo(f"  dropped {path.name}")
    return 0


def restore(*, folder: str, to: str, practice: str | None, as_json: bool) -> int:
    """Put a backup's book back, verify it, and note in it that it was restored."""
    held = read_backup(Path(folder))
    books = held.books
    if is_address(to):
        name = practice if practice is not None else next(iter(books)) if len(books) == 1 else None
        with opened(to, name, write=True) as store:
            restore_group_book(held, store.practice, store)
            store.note(restored(held, store.practice), moment=moment_now())
            books = {store.practice: books[store.practice]}
    else:
        put_back(held, Path(to))
        with open_book(Path(to)) as first:
            for one in books:
                first.of(one).note(restored(held, one), moment=moment_now())
    if as_json:
        click.echo(json.dumps({"file": to, "books": {p: {"size": size} for p, (size, _) in books.items()}}))
    else:
        click.echo(f"{to}: restored from the backup of {from_ms(held.made_ms):%Y-%m-%d %H:%M:%SZ}, verified")
        for one, (size, _) in books.items():
            click.echo(f"  {one}: {size} entries; what came after number {size} is sent again by the tablets")
        click.echo("Checkpoints signed later than this backup no longer fit: sign with a new key (book checkpoint --new-key).")
    return 0


def export(*, book_at: str, to: str, practice: str | None, as_json: bool) -> int:
    """Write a book to one zip file."""
    with opened(book_at, practice, write=False) as store:
        said = export_book(store, Path(to))
    if as_json:
        shown = {"file": to, "practice": said.practice, "size": said.size, "root": said.root.hex(), "files": said.files}
        click.echo(json.dumps(shown))
    else:
        click.echo(f"{to}: the book of {said.practice}, {said.size} entries, {said.files} files\nroot {said.root.hex()}")
    return 0


def take(*, book_at: str, source: str, practice: str | None, as_json: bool) -> int:
    """Take an exported book into an empty one."""
    name = practice if practice is not None else practice_in(Path(source))
    store: Store = opened(book_at, name, write=True) if is_address(book_at) else open_book(Path(book_at), name)
    with store:
        said = import_book(Path(source), store)
    if as_json:
        click.echo(json.dumps({"book": book_at, "practice": name, "size": said.size, "root": said.root.hex()}))
    else:
        click.echo(f"{book_at}: the book of {name}, {said.size} entries\nroot {said.root.hex()}")
    return 0


def erase(*, book_at: str, practice: str | None, before: datetime | None, by: str, why: str, yes: bool, as_json: bool) -> int:
    """Erase people's own words where their term is over."""
    with opened(book_at, practice, write=yes) as store:
        limit, term = (to_ms(before.replace(tzinfo=UTC)), f"before {before:%Y-%m-%d}") if before else _term(store)
        keys = store.text_keys()
        found = list(words_before(store, keys, limit))
        for received in found if yes else []:
            erase_words(store, keys, received, why=why, moment=moment_now(), by=by)
    if as_json:
        click.echo(json.dumps({"term": term, "erased": yes, "entries": [r.entry.id for r in found]}))
    else:
        for received in found:
            click.echo(f"{received.seq:>7}  {from_ms(received.received):%Y-%m-%d}  {received.entry.kind}  by {received.entry.by}")
        done = "erased for good" if yes else "can be erased; nothing was done (give --yes)"
        click.echo(f"{len(found)} entries with words, {term}: {done}")
    return 0


def prune(*, book_at: str, practice: str | None, before: datetime | None, by: str, owner: str | None, yes: bool, as_json: bool) -> int:
    """Drop the bodies of entries whose term is over."""
    from fettlebook.exchange.prune import ask  # noqa: PLC0415
    from fettlebook.exchange.prune import prune as drop  # noqa: PLC0415
    from fettlebook.standing.basis import Basis  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415

    owned_by = _owner(book_at, owner, yes=yes)
    with opened(book_at, practice, write=yes) as store:
        as_owner = None if owned_by is None else partial(_drop_as, owned_by, store.practice)
        limit, term = (to_ms(before.replace(tzinfo=UTC)), f"before {before:%Y-%m-%d}") if before else _term(store)
        file = _practice(store)
        rulebook = lay_rulebook(file, datetime.now(ZoneInfo(file.practice.time_zone)).date()).rulebook
        if rulebook is None:
            raise Mendable(
                "the rules of its practice file can't be read", where="BOOK", mend="Mend the file; then `fettlebook book renew`."
            )
        basis = Basis.of(file, rulebook, running_times(file, rulebook))
        moment = moment_now(file.practice.time_zone)
        asked = ask(store, basis, before=limit, now=moment.at)
        receipt = drop(store, basis, before=limit, rule=term, moment=moment, by=by, drop=as_owner) if yes else None
    found, rests = asked.prunable, asked.rests_on
    if as_json:
        said = {"term": term, "last_seq": found.last, "goes": found.goes, "stays": found.stays, "rests_on": list(rests)}
        click.echo(json.dumps(said | {"pruned": receipt is not None}))
    else:
        done = "dropped for good; every proof still holds" if receipt else "can be dropped; nothing was done (give --yes)"
        click.echo(f"{found.goes} entries, {term}: {done if found.goes else 'nothing is so old'}")
        if found.goes and found.stays:
            click.echo(f"{found.stays} of that time stay: what verdicts of today rest on, practice files, rules, the book's own notes")
        for subject in rests:
            click.echo(f"  {subject}: its verdict of today rests on them")
    return 1 if rests and found.goes else 0


def _owner(book_at: str, owner: str | None, *, yes: bool) -> str | None:
    """Return the address of a group's database as its owner; refuse what would note the pruning and then not do it."""
    if owner is not None and not is_address(book_at):
        raise Mendable(
            "given for a book in a file", where="--owner", mend="Leave it out; a book in a file has no owner beside its program."
        )
    address = group_address(owner)
    if owner is not None and address is None:
        raise Mendable("no address of a database", where="--owner", mend="Write postgresql://owner@host/database.")
    if yes and is_address(book_at) and address is None:
        mend = "Give --owner postgresql://owner@host/database: the program's own role can't change what was entered."
        raise Mendable("left out for a group's book", where="--owner", mend=mend)
    return address


def _drop_as(owner: str, practice: str, keep: frozenset[str]) -> None:
    from fettlebook.book.stores import prune_group_book  # noqa: PLC0415

    prune_group_book(owner, practice, keep=keep)


def _practice(store: Store) -> Practice:
    last = store.latest(PracticeFileVersion.KIND)
    data = last.entry.data if last is not None else None
    practice = read_practice(data.text.encode(), data.name or "practice.toml").practice if isinstance(data, PracticeFileVersion) else None
    if practice is None:
        raise Mendable("no practice file in this book", where="BOOK", mend="Take one in with `fettlebook book renew`.")
    return practice


def _term(store: Store) -> tuple[int, str]:
    """Return before when words and bodies may go by the rulebook: the longest time that a rule in force says to keep records."""
    practice = _practice(store)
    now = datetime.now(ZoneInfo(practice.practice.time_zone))
    rulebook = lay_rulebook(practice, now.date()).rulebook
    kept = [limit for limit in rulebook.limits if limit.unit == "years"] if rulebook is not None else []
    if not kept:
        mend = "Give a day (--before); ask whoever is responsible how long records are kept here."
        raise Mendable("no rule in force says how long records are kept", where="--before", mend=mend)
    longest = max(kept, key=lambda limit: max(limit.value))
    years = max(longest.value)
    return to_ms(now - timedelta(days=366 * years)), f"older than {years:g} years ({longest.name}, {longest.origin.source})"
