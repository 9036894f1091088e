"""The moment that a page asks about: at which moment, by what was known when; read from its address, written into its links."""

from dataclasses import dataclass
from datetime import datetime
from urllib.parse import quote, urlencode
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import from_ms, to_ms
from fettlebook.said import Said, said, said_moment
from fettlebook.standing.asking import read_moment


@dataclass(frozen=True, slots=True)
class Asked:
    """A question's two moments as they were typed; empty: now, and all there is."""

    at: str
    known: str  # "then" or empty: what had been received by `at`; "now": all there is; else a moment
    at_ms: int | None
    known_ms: int | None
    words: str

    @property
    def past(self) -> bool:
        """Whether another moment than now is asked about."""
        return self.at_ms is not None

    @property
    def query(self) -> str:
        """What follows the address of a page that asks about the same moment."""
        fields = {name: value for name, value in (("at", self.at), ("known", self.known)) if value}
        return f"?{urlencode(fields)}" if fields else ""

    def link(self, path: str, subject: str = "") -> str:
        """Return the address of a page about a subject at the same moment."""
        return f"{path}{'/' + quote(subject) if subject else ''}{self.query}"


def asked(at: str, known: str, zone: ZoneInfo, now: datetime) -> Asked:
    """Return what an address asks; raises `Mendable` where a moment can't be read."""
    at, known = at.strip(), known.strip()
    moment = read_moment(at, zone, "at", now) if at else None
    if moment is None or known == "now":
        known_ms, told = None, said(", by all that is known now") if moment is not None else ""
    elif known in ("", "then"):
        known_ms, told = to_ms(moment), said(", by what had been received by then")
    else:
        by = read_moment(known, zone, "known", now)
        known_ms, told = to_ms(by), said(", by what had been received by {moment}", moment=long(to_ms(by), zone))
    at_ms = to_ms(moment) if moment is not None else None
    return Asked(at, known, at_ms, known_ms, (long(at_ms, zone) if at_ms is not None else said("now")) + told)


def long(ms: int, zone: ZoneInfo) -> Said:
    """Return a moment as people write it: Mon 9 Mar 2026 08:05."""
    moment = from_ms(ms, str(zone))
    return said_moment(moment, "moment", f"{moment:%a} {moment.day} {moment:%b %Y %H:%M}")


def short(ms: int, zone: ZoneInfo, at: int) -> Said:
    """Return a moment near another one: the time alone on the same day, else with the day, else with the year."""
    moment, of = from_ms(ms, str(zone)), from_ms(at, str(zone))
    if moment.date() == of.date():
        return said_moment(moment, "clock", f"{moment:%H:%M}")
    if moment.year == of.year:
        return said_moment(moment, "short moment", f"{moment:%a} {moment.day} {moment:%b} {moment:%H:%M}")
    return long(ms, zone)
