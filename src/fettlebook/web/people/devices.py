"""Devices: let in by a code that the lead shows once, listed, renamed, withdrawn. And who has which PIN or badge."""

import hmac
import re
import secrets
import unicodedata
from dataclasses import dataclass
from typing import Final

from fettlebook.book.kinds.people import DeviceEnrolled, DeviceRenamed, DeviceWithdrawn, PinChanged
from fettlebook.errors import Mendable
from fettlebook.practice.model import Role
from fettlebook.web.people.people import CODE_TRY, OPEN, People
from fettlebook.web.people.pins import BADGE, badge_digest, hash_pin, weak

SIGNS: Final = "23456789ABCDEFGHJKMNPQRSTVWXYZ"  # no two that look alike
CODE_LENGTH: Final = 8
CODE_S: Final = 600  # as long as it takes to walk over to the tablet
NAME_MOST: Final = 40


@dataclass(frozen=True, slots=True)
class Device:
    """A device that was let in."""

    id: str
    name: str
    enrolled: int  # s since 1970 UTC
    by: str
    seen: int
    withdrawn: int | None
    person: str | None  # who is signed in there now
    locked: bool


class Devices:
    """What the lead does with devices, PINs and badges."""

    def __init__(self, people: People) -> None:
        self._people, self._file = people, people.file

    def all(self) -> list[Device]:
        """Return every device, those that are let in first."""
        rows = self._file.rows(
            "SELECT d.id, d.name, d.enrolled, d.by, d.seen, d.withdrawn, s.person, coalesce(s.locked, 0) FROM device d "
            "LEFT JOIN session s ON s.device = d.id ORDER BY d.withdrawn IS NOT NULL, d.name, d.id"
        )
        return [
            Device(id, name, enrolled, by, seen, withdrawn, person, bool(locked))
            for id, name, enrolled, by, seen, withdrawn, person, locked in rows
            if not id.startswith(OPEN)
        ]

    def code(self, name: str, by: str) -> str:
        """Return a new code that lets one device in, within ten minutes and once."""
        called, now = device_name(name), int(self._people.clock())
        code = "".join(secrets.choice(SIGNS) for _ in range(CODE_LENGTH))
        with self._file.change() as db:
            db.execute("DELETE FROM code WHERE until < ?", (now - 86_400,))
            db.execute("INSERT INTO code VALUES (?, ?, ?, ?, NULL)", (self._digest(code), called, by, now + CODE_S))
        return code

    def enrol(self, typed: str, address: str) -> tuple[str, str]:
        """Let a device in by its code; return its id and what its browser keeps.

        Raises
        ------
        Mendable
            The code is wrong, too old or was used already, or one has to wait after wrong ones.
        """
        where = f"from {address}"[:60]
        if wait := self._people.reserve(CODE_TRY, where):
            raise Mendable("too many wrong codes", where="the code", mend=f"Wait {wait} s, then type it again with care.")
        code, now = re.sub(r"[^0-9A-Z]", "", typed.upper()[:60]), int(self._people.clock())
        with self._file.change() as db:
            # Marked as used in the very transaction that finds it: of two who send it at once, one is let in.
            marked = "UPDATE code SET used = ? WHERE digest = ? AND used IS NULL AND until >= ? RETURNING name, by"
            taken = db.execute(marked, (now, self._digest(code), now)).fetchall()
            known = db.execute("SELECT used FROM code WHERE digest = ?", (self._digest(code),)).fetchone()
        if not taken:
            self._people.missed(CODE_TRY, "")
            what = "this code was used already" if known and known[0] else "this code is too old" if known else "no such code"
            raise Mendable(what, where="the code", mend="Let the lead show a new one: each is good for ten minutes, and once.")
        self._people.cleared(CODE_TRY, where)
        name, by = taken[0]
        return self.let_in(name, by)

    def let_in(self, name: str, by: str) -> tuple[str, str]:
        """Let a device in; return its id and what its browser keeps."""
        device = f"tablet-{''.join(secrets.choice(SIGNS) for _ in range(6)).lower()}"
        made = self._people.new_device(device, name, by)
        self._people.note(DeviceEnrolled(device=device, name=name), by)
        return made

    def rename(self, device: str, name: str, by: str) -> None:
        """Give a device another name."""
        called = device_name(name)
        with self._file.change() as db:
            if not db.execute("UPDATE device SET name = ? WHERE id = ? AND name <> ? RETURNING id", (called, device, called)).fetchall():
                return
        self._people.note(DeviceRenamed(device=device, name=called), by)

    def withdraw(self, device: str, by: str) -> None:
        """Let a device in no more: what it shows next is that it is not let in."""
        now = int(self._people.clock())
        with self._file.change() as db:
            gone = db.execute("UPDATE device SET withdrawn = ? WHERE id = ? AND withdrawn IS NULL RETURNING name", (now, device)).fetchall()
        if gone:
            self._people.end_sessions(device=device)
            self._people.note(DeviceWithdrawn(device=device, name=gone[0][0]), by)

    def give_pin(self, person: str, pin: str, again: str, by: str, session: str = "") -> None:
        """Give a person a PIN, or another one; the sessions of that person end, but `session`.

        Raises
        ------
        Mendable
            It can't be a PIN, or was typed otherwise the second time; or the first of all is not that of somebody who leads.
        """
        found = self._people.person(person)
        if found is None:
            raise Mendable(f"nobody is called {person[:60]!r}", where="person", mend="Choose somebody of the practice file.")
        if fault := weak(pin):
            raise Mendable.of([fault])
        if pin != again:
            raise Mendable("the second is not the first", where="PIN", mend="Type the same PIN twice.")
        if found.role is not Role.LEAD and not self._people.with_pin():
            mend = "Give one to somebody who leads first: only a lead can let others in."
            raise Mendable("the first PIN is the lead's", where="PIN", mend=mend)
        kept, now = hash_pin(self._people.pepper, person, pin), int(self._people.clock())
        with self._file.change() as db:
            known = db.execute("SELECT 1 FROM pin WHERE person = ?", (person,)).fetchone()
            db.execute("INSERT OR REPLACE INTO pin VALUES (?, ?, ?)", (person, kept, now))
            db.execute("DELETE FROM wrong WHERE what = ?", (person,))
        self._people.end_sessions(person=person, but=session)
        self._people.note(PinChanged(person=person, what="PIN", how="changed" if known else "given"), by)

    def take_pin(self, person: str, by: str) -> None:
        """Take a PIN away; raises `Mendable` where nobody who leads would have one."""
        left = self._people.with_pin() - {person}
        if not any(one.id in left and one.acts_as is Role.LEAD for one in self._people.practice().people):
            mend = "Give another lead a PIN first."
            raise Mendable("nobody who leads would have a PIN any more", where="PIN", mend=mend)
        with self._file.change() as db:
            gone = db.execute("DELETE FROM pin WHERE person = ? RETURNING person", (person,)).fetchall()
        if gone:
            self._people.end_sessions(person=person)
            self._people.note(PinChanged(person=person, what="PIN", how="taken away"), by)

    def give_badge(self, person: str, code: str, by: str) -> None:
        """Give a person a badge by scanning it; one badge is one person's."""
        if self._people.person(person) is None or not BADGE.fullmatch(code):
            mend = "Scan it again. A badge of one's own making needs 8 signs at least, and nobody may guess them."
            raise Mendable("this can't be a badge's code", where="badge", mend=mend)
        digest, now = badge_digest(self._people.pepper, code), int(self._people.clock())
        with self._file.change() as db:
            holder = db.execute("SELECT person FROM badge WHERE digest = ?", (digest,)).fetchone()
            if holder and holder[0] != person:
                raise Mendable("this badge is somebody else's", where="badge", mend="Take it away from its holder first, or scan another.")
            known = db.execute("DELETE FROM badge WHERE person = ? RETURNING person", (person,)).fetchall()
            db.execute("INSERT INTO badge VALUES (?, ?, ?)", (digest, person, now))
        self._people.note(PinChanged(person=person, what="badge", how="changed" if known else "given"), by)

    def take_badge(self, person: str, by: str) -> None:
        """Take a badge away."""
        with self._file.change() as db:
            gone = db.execute("DELETE FROM badge WHERE person = ? RETURNING person", (person,)).fetchall()
        if gone:
            self._people.end_sessions(person=person)
            self._people.note(PinChanged(person=person, what="badge", how="taken away"), by)

    def with_badge(self) -> set[str]:
        """Return who has a badge."""
        return {person for (person,) in self._file.rows("SELECT person FROM badge")}

    def waits(self) -> dict[tuple[str, str], int]:
        """Return how many wrong tries there were in a row, by person and device."""
        return {(what, device): tries for what, device, tries in self._file.rows("SELECT what, device, tries FROM wrong")}

    def let_try_again(self, person: str) -> None:
        """Forget a person's wrong tries at every device."""
        with self._file.change() as db:
            db.execute("DELETE FROM wrong WHERE what = ?", (person,))

    def _digest(self, code: str) -> bytes:
        return hmac.digest(self._people.pepper, b"code|" + code.encode(), "sha256")


def device_name(text: str) -> str:
    """Return a device's name as it is kept: printable, without signs that turn the direction of writing; raises `Mendable`."""
    plain = "".join(sign for sign in unicodedata.normalize("NFC", text) if sign.isprintable() and unicodedata.category(sign) != "Cf")
    name = " ".join(plain.split())
    if not name or len(name) > NAME_MOST:
        mend = "Call it by where it stands: tablet of room 2."
        raise Mendable("no name" if not name else f"a name of {len(name)} signs", where="name of the device", mend=mend)
    return name


__all__ = ["CODE_S", "Device", "Devices", "device_name"]
