"""The people of a book's server: the people file and the pepper beside it, and entries into the book."""

import logging
from pathlib import Path

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, to_ms
from fettlebook.errors import Mendable
from fettlebook.exchange.key import load_or_make_key
from fettlebook.practice.model import Practice
from fettlebook.web.desk import Desk
from fettlebook.web.people.people import People
from fettlebook.web.people.people_file import PeopleFile, people_file_beside, pepper_beside
from fettlebook.web.record import Record

LOG = logging.getLogger(__name__)


def open_people(data: Path, desk: Desk, record: Record, *, loopback: bool, idle_s: float) -> People:
    """Return who may sign in at the pages of the book `data`; raises `Mendable` where the people file can't be used."""
    door = Door(record.store)

    def note(said: Data, by: str) -> None:
        now = to_ms(desk.now())
        try:
            door.note(said, moment=Moment(now, str(desk.reading.zone)), by=by, now=now)
        except Mendable as error:  # a full disk must not keep people from the pages
            LOG.warning("not noted in the book: %s: %s", said.KIND, error.findings[0].what)

    pepper = load_or_make_key(pepper_beside(data))
    return People(lambda: desk.reading.practice, PeopleFile(people_file_beside(data)), pepper, loopback=loopback, note=note, idle_s=idle_s)


def refuse_without_lead(data: Path, practice: Practice) -> None:
    """Raise `Mendable` where nobody who leads has a PIN: the pages may then not be reached from other machines."""
    path = people_file_beside(data)
    if path.exists():
        file = PeopleFile(path)
        try:
            if People(lambda: practice, file, b"-" * 32).lead_has_pin():
                return
        finally:
            file.close()
    mend = "Open the page on this machine first (leave --host out), sign in as the lead, and give yourself a PIN under People."
    raise Mendable("nobody who leads has a PIN yet, so everybody in the network could come in", where="--host", mend=mend)
