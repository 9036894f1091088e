"""Who is signed in where: sessions over devices that were let in. The one place where a PIN or a badge opens something.

While nobody has a PIN yet, and the pages answer on this machine alone, a name is chosen instead. The first PIN ends that at once.
"""

import hashlib
import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass
from typing import Final, Literal

from starlette.requests import Request

from fettlebook.book.kinds import Data
from fettlebook.book.kinds.people import SignRefused
from fettlebook.book.kinds.upkeep import SignIn, SignOut
from fettlebook.practice.model import Practice, Role
from fettlebook.web.people import cookies
from fettlebook.web.people.people_file import PeopleFile
from fettlebook.web.people.pins import FREE_TRIES, badge_digest, pin_is_right, wait_s
from fettlebook.web.people.visit import Visit
from fettlebook.web.people.who import SignedIn

IDLE_S: Final = 300.0
LONGEST_S: Final = 12 * 3600  # one working day; then one signs in anew
CLOCK_SLIP_S: Final = 60
TOUCH_S: Final = 10.0  # how exactly it is remembered when somebody was last active
BADGE_TRY: Final = "?badge"  # no person's id begins so
NOBODY_TRY: Final = "?nobody"
CODE_TRY: Final = "?code"
OPEN: Final = "open-"  # how devices are called that nobody had to let in
Why = Literal["signed out", "inactive", "ended by another", "end of day"]
How = Literal["name", "PIN", "badge"]


def digest(secret: str) -> bytes:
    """Return what is kept of a long random secret."""
    return hashlib.sha256(secret.encode()).digest()


@dataclass(frozen=True, slots=True)
class Let:
    """Somebody was let in: what the browser keeps as cookies."""

    person: str
    session: str
    device: str = ""  # only where it is a new one


@dataclass(frozen=True, slots=True)
class Refused:
    """Nobody was let in; `wait_s` before the next try counts."""

    wait_s: int = 0


class People:
    """Devices, sessions, PINs and badges of a practice."""

    def __init__(
        self,
        practice: Callable[[], Practice],
        file: PeopleFile | None = None,
        pepper: bytes | None = None,
        *,
        loopback: bool = True,
        note: Callable[[Data, str], None] = lambda _data, _by: None,
        clock: Callable[[], float] = time.time,
        idle_s: float = IDLE_S,
    ) -> None:
        """Begin.

        Parameters
        ----------
        practice
            Gives the practice as its file stands.
        file, pepper
            Where hashes are kept, and under what; None: in memory only.
        loopback
            Whether the pages answer on this machine alone.
        note
            Writes an entry by a person.
        clock
            Seconds; the machine's own time, also where the pages' clock was set by hand.
        idle_s
            After so long without a touch a session locks [s].
        """
        self.practice, self.file, self.note, self.clock, self.idle_s = practice, file or PeopleFile(None), note, clock, idle_s
        self.pepper = pepper or secrets.token_bytes(32)
        self.loopback = loopback
        with self.file.change() as db:
            db.execute("INSERT OR IGNORE INTO known VALUES ('token', ?)", (secrets.token_bytes(32),))
            ((self._secret,),) = db.execute("SELECT value FROM known WHERE name = 'token'")

    @property
    def free(self) -> bool:
        """Whether nobody has a PIN yet, and nobody else's machine can reach the pages."""
        return self.loopback and not self.file.rows("SELECT 1 FROM pin LIMIT 1")

    def person(self, person: str, device: str = "") -> SignedIn | None:
        """Return one of the practice's people as signed in at a device."""
        known = next((one for one in self.practice().people if one.id == person), None)
        return SignedIn(known.id, known.name, known.acts_as, device) if known else None

    def with_pin(self) -> set[str]:
        """Return who has a PIN."""
        return {person for (person,) in self.file.rows("SELECT person FROM pin")}

    def lead_has_pin(self) -> bool:
        """Tell whether somebody who leads has a PIN."""
        having = self.with_pin()
        return any(one.id in having and one.acts_as is Role.LEAD for one in self.practice().people)

    def visit(self, request: Request) -> Visit:
        """Return who asks, and lock the session where it was left alone too long."""
        free = self.free
        device = self.device_of(cookies.read(request, cookies.DEVICE), free=free)
        if not device:
            return Visit(free=free)
        token = self._token(device)
        held = self.file.rows(
            "SELECT digest, person, began, seen, locked FROM session WHERE digest = ? AND device = ?",
            digest(cookies.read(request, cookies.SESSION)), device,
        )  # fmt: skip
        who = self.person(held[0][1], device) if held else None
        if not held or who is None:
            return Visit(None, device, token, free)
        key, person, began, seen, locked = held[0]
        now = self.clock()
        over = now - began > LONGEST_S or now < began - CLOCK_SLIP_S
        if not locked and (over or (not free and now - seen > self.idle_s)):
            self.lock(device, person, "end of day" if over else "inactive")
            locked = 1
        if locked:
            return Visit(None, device, token, free, locked=person)
        if now - seen > TOUCH_S and _is_touch(request):
            with self.file.change() as db:
                db.execute("UPDATE session SET seen = ? WHERE digest = ?", (int(now), key))
        confirms = None if free else lambda person, pin: isinstance(self.check_pin(device, person, pin), SignedIn)
        return Visit(who, device, token, free, confirms=confirms)

    def token_is_right(self, visit: Visit, given: str) -> bool:
        """Compare a token in constant time."""
        return hmac.compare_digest(self._token(visit.device).encode(), given.encode())

    def device_of(self, cookie: str, *, free: bool) -> str:
        """Return the device whose cookie this is; empty where it was never let in, or is not any more."""
        device, _, secret = cookie.partition(".")
        if not secret or device.startswith(OPEN) is not free:
            return ""
        kept = self.file.rows("SELECT digest FROM device WHERE id = ? AND withdrawn IS NULL", device)
        return device if kept and hmac.compare_digest(kept[0][0], digest(secret)) else ""

    def choose(self, person: str, device: str) -> Let | Refused:
        """Sign somebody in by name alone: only while nobody has a PIN."""
        if not self.free or self.person(person) is None:
            return Refused()
        cookie = ""
        if not device:
            device, cookie = self.new_device(f"{OPEN}{secrets.token_hex(4)}", "a browser of this machine", person)
        return Let(person, self._begin(device, person, "name"), cookie)

    def by_pin(self, device: str, person: str, pin: str) -> Let | Refused:
        """Sign somebody in by PIN at a device that was let in."""
        found = self.check_pin(device, person, pin)
        return found if isinstance(found, Refused) else Let(person, self._begin(device, person, "PIN"))

    def by_badge(self, device: str, code: str) -> Let | Refused:
        """Sign somebody in by badge at a device that was let in."""
        wait = self.reserve(BADGE_TRY, device)
        if wait:
            return Refused(wait)
        kept = self.file.rows("SELECT person FROM badge WHERE digest = ?", badge_digest(self.pepper, code))
        if not kept or self.person(kept[0][0]) is None:
            return self.missed(BADGE_TRY, device)
        self.cleared(BADGE_TRY, device)
        return Let(kept[0][0], self._begin(device, kept[0][0], "badge"))

    def check_pin(self, device: str, person: str, pin: str) -> SignedIn | Refused:
        """Tell whether a PIN is a person's. A wrong one counts, before it is looked at: many at once gain nothing."""
        known = self.person(person, device)
        what = person if known else NOBODY_TRY
        if wait := self.reserve(what, device):
            return Refused(wait)
        kept = self.file.rows("SELECT hash FROM pin WHERE person = ?", person)
        if not pin_is_right(self.pepper, person, pin, kept[0][0] if kept else None) or known is None:
            return self.missed(what, device)
        self.cleared(what, device)
        return known

    def reserve(self, what: str, device: str) -> int:
        """Count a try as wrong until it is known to be right; return how long to wait instead [s], 0 where it may go on."""
        now = self.clock()
        with self.file.change() as db:
            tries, last = db.execute("SELECT tries, last FROM wrong WHERE what = ? AND device = ?", (what, device)).fetchone() or (0, 0)
            left = wait_s(tries) - (now - last)
            if left > 0 and last <= now:
                return max(1, int(left + 0.999))
            db.execute(
                "INSERT INTO wrong VALUES (?, ?, 1, ?) ON CONFLICT DO UPDATE SET tries = tries + 1, last = excluded.last",
                (what, device, int(now)),
            )
        return 0

    def missed(self, what: str, device: str) -> Refused:
        """Say how long one waits after a wrong try, and note it once it is more than a slip."""
        ((tries,),) = self.file.rows("SELECT coalesce(max(tries), 1) FROM wrong WHERE what = ? AND device = ?", what, device)
        wait = wait_s(tries)
        if tries >= FREE_TRIES:
            person = what if self.person(what) else None
            self.note(SignRefused(person=person, at_device=device or None, tries=tries, wait_s=wait), person or "program")
        return Refused(wait)

    def cleared(self, what: str, device: str) -> None:
        """Forget wrong tries after a right one."""
        with self.file.change() as db:
            db.execute("DELETE FROM wrong WHERE what = ? AND device = ?", (what, device))

    def lock(self, device: str, person: str = "", why: Why = "inactive") -> None:
        """Lock the sessions of a device, or of one person there: they keep their place until their person unlocks them."""
        with self.file.change() as db:
            held = db.execute("SELECT digest, person FROM session WHERE device = ? AND locked = 0", (device,)).fetchall()
            locked = [(key, who) for key, who in held if not person or who == person]
            db.executemany("UPDATE session SET locked = 1 WHERE digest = ?", [(key,) for key, _ in locked])
        for _, who in locked:
            self._note_out(who, device, why)

    def leave(self, session: str) -> None:
        """End a session because its person signed out."""
        for key, person in self.file.rows("SELECT digest, person FROM session WHERE digest = ?", digest(session)):
            self._end(key, person, "signed out")

    def end_sessions(self, *, person: str = "", device: str = "", but: str = "") -> None:
        """End every session of a person, or at a device, but one."""
        for key, who in self.file.rows("SELECT digest, person FROM session WHERE person = ? OR device = ?", person, device):
            if key != digest(but):
                self._end(key, who, "ended by another")

    def new_device(self, device: str, name: str, by: str) -> tuple[str, str]:
        """Let a device in; return its id and what its browser keeps."""
        secret, now = secrets.token_urlsafe(32), int(self.clock())
        with self.file.change() as db:
            db.execute("INSERT INTO device VALUES (?, ?, ?, ?, ?, ?, NULL)", (device, name, digest(secret), now, by, now))
        return device, f"{device}.{secret}"

    def begin_at(self, device: str, person: str) -> str:
        """Begin a session without asking: for whoever just gave the first PIN."""
        return self._begin(device, person, "PIN")

    def _begin(self, device: str, person: str, how: How) -> str:
        session, now = secrets.token_urlsafe(32), int(self.clock())
        with self.file.change() as db:
            # One session at a device: whoever signs in next ends what the one before left open there.
            before = db.execute("SELECT person, locked FROM session WHERE device = ?", (device,)).fetchall()
            db.execute("DELETE FROM session WHERE device = ? OR began < ?", (device, now - LONGEST_S))
            db.execute("INSERT INTO session VALUES (?, ?, ?, ?, ?, 0)", (digest(session), device, person, now, now))
            db.execute("UPDATE device SET seen = ? WHERE id = ?", (now, device))
        for who, locked in before:
            if not locked and who != person:
                self._note_out(who, device, "ended by another")
        known = self.person(person)
        self.note(SignIn(person=person, role=str(known.role) if known else None, at_device=device, how=how), person)
        return session

    def _end(self, key: bytes, person: str, why: Why) -> None:
        with self.file.change() as db:
            gone = db.execute("DELETE FROM session WHERE digest = ? RETURNING device, locked", (key,)).fetchall()
        for device, locked in gone:
            if not locked:
                self._note_out(person, device, why)

    def _note_out(self, person: str, device: str, why: Why) -> None:
        self.note(SignOut(person=person, why=why, at_device=device), person)

    def _token(self, device: str) -> str:
        return hmac.digest(self._secret, device.encode(), "sha256").hex()


def _is_touch(request: Request) -> bool:
    """Tell whether a person did something: opened a page or sent a form. What a page fetches by itself keeps no session alive."""
    return request.method not in ("GET", "HEAD") or request.headers.get("sec-fetch-mode", "navigate") == "navigate"
