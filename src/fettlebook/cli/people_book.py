"""What the commands of people and certificates note in the book."""

from pathlib import Path

import click

from fettlebook.book.door import Door
from fettlebook.book.entries import PROGRAM, Moment
from fettlebook.book.kinds import Data
from fettlebook.cli.book_open import now_ms, opened


def note_in(data: Path, practice: str, *said: Data, by: str = PROGRAM) -> None:
    """Write entries into a book, where there is one; without a book nothing is noted, and it is said."""
    if not said:
        return
    if not data.exists():
        click.echo("There is no book yet, so this is noted nowhere.", err=True)
        return
    with opened(str(data), practice, write=True) as store:
        door = Door(store)
        for one in said:
            now = now_ms()
            door.note(one, moment=Moment(now, "UTC"), by=by, now=now)
