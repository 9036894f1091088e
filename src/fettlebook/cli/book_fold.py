"""`fettlebook book fold`: what verdicts are asked from, made afresh."""

import json

import click

from fettlebook.cli.book_open import opened
from fettlebook.errors import Mendable
from fettlebook.exchange.kept_state import KeptFold, place_of


def fold(*, book_at: str, practice: str | None, as_json: bool) -> int:
    """Fold a book from its first entry, and keep that."""
    with opened(book_at, practice, write=False) as store:
        place = place_of(store)
        if place is None:
            mend = "Nothing is to be done: each start reads a group's database from its first entry."
            raise Mendable("nothing is kept beside a database", where="BOOK", mend=mend)
        made = KeptFold(store, afresh=True)
        kept = sum(path.stat().st_size for path in place.parent.glob(f"{place.name}*"))
        if as_json:
            click.echo(json.dumps({"entries": made.state.seq, "kept_bytes": kept}))
        else:
            what = f"{kept / 1e6:.1f} MB kept beside the book" if kept else "nothing kept: so short a book is read anew at each start"
            click.echo(f"{made.state.seq:,} entries read from the first one; {what}.")
    return 0
