"""The file as lines: which entries stand where, and nothing of a person in what is kept.

Works on bytes, before any parser: a list of allowed property names decides what goes on. Whatever is not on it
(summary, description, attendee, organizer, contact, comment, attachment, address, alarm, anything unknown) is
dropped here unread, so that no later error, log or page can carry it. The UID, which in many books is or holds a
record number, leaves as a keyed digest.

Folds are undone on bytes as well: RFC 5545 section 3.1 lets a fold cut a UTF-8 character in two.
"""

import hmac
import re
from dataclasses import dataclass, field
from typing import Final

from fettlebook.errors import Finding, Mendable

MAX_BYTES: Final = 20_000_000
MAX_ENTRIES: Final = 100_000
MAX_PROPERTY_BYTES: Final = 100_000  # longer than any honest list of dates
MAX_ZONE_LINES: Final = 400
MAX_NESTING: Final = 20

ENTRY_PROPERTIES: Final = frozenset(
    b"UID DTSTART DTEND DURATION RRULE RDATE EXDATE EXRULE RECURRENCE-ID SEQUENCE STATUS TRANSP"
    b" LOCATION RESOURCES CATEGORIES LAST-MODIFIED DTSTAMP".split()
)
CALENDAR_PROPERTIES: Final = frozenset(b"X-WR-CALNAME NAME METHOD VERSION CALSCALE".split())
ZONE_PROPERTIES: Final = frozenset(b"TZID DTSTART RRULE RDATE TZOFFSETFROM TZOFFSETTO".split())
_STRUCTURE: Final = frozenset((b"BEGIN", b"END"))
_KEPT: Final = ENTRY_PROPERTIES | CALENDAR_PROPERTIES | ZONE_PROPERTIES | _STRUCTURE

_NAME = re.compile(rb"([A-Za-z0-9-]{1,60})[ \t]*([;:])")
_KNOWN_OTHERS: Final = (
    (b"PK\x03\x04", "a ZIP archive or office document"),
    (b"%PDF", "a PDF"),
    (b"\x1f\x8b", "a gzip archive"),
    (b"\xd0\xcf\x11\xe0", "an old office document"),
    (b"<", "a web page or XML"),
    (b"{", "JSON"),
    (b"[", "JSON"),
)


@dataclass(slots=True)
class RawCalendar:
    """One VCALENDAR: only what the map and the reading need."""

    line: int
    names: list[str] = field(default_factory=list)
    cancels: bool = False  # METHOD:CANCEL: every entry takes an earlier one back
    not_gregorian: bool = False
    zones: dict[bytes, list[str]] = field(default_factory=dict)  # TZID as written -> its VTIMEZONE, clean lines


@dataclass(frozen=True, slots=True)
class Line:
    """One allowed property: its line in the file, parameters and value."""

    number: int
    params: str
    value: str


@dataclass(slots=True)
class RawEntry:
    """One VEVENT: where it begins and its allowed properties. `broken` says why it can't be read, if so."""

    line: int
    calendar: RawCalendar
    uid: str = ""  # keyed digest
    properties: dict[str, list[Line]] = field(default_factory=dict)
    broken: str = ""

    def first(self, name: str) -> str:
        """Return the value of the first property `name`, trimmed; empty if there is none."""
        lines = self.properties.get(name)
        return lines[0].value.strip() if lines else ""


@dataclass(slots=True)
class RawBook:
    """All entries of a file, and what was wrong with the file as a file."""

    entries: list[RawEntry] = field(default_factory=list)
    findings: list[Finding] = field(default_factory=list)
    others: int = 0  # tasks, notes, free-busy lines


def read_lines(data: bytes, file: str, key: bytes) -> RawBook:
    """Return the entries of a calendar file with their line numbers, without anything personal.

    Parameters
    ----------
    data
        The file as it came, at most `MAX_BYTES`.
    file
        Its name, for messages.
    key
        The practice's secret key, for the digest of the UID.

    Raises
    ------
    Mendable
        Too large, too many entries, empty, or no calendar at all.
    """
    if len(data) > MAX_BYTES:
        raise Mendable(
            f"the file has {len(data) / 1e6:,.0f} MB; the limit is {MAX_BYTES / 1e6:,.0f} MB",
            where=file,
            mend="Export a shorter stretch of time, for example the next three months.",
        )
    scan = _Scan(file, key)
    data = scan.as_utf8(data)
    if not data.strip(b" \t\r\n\0"):
        raise Mendable("the file is empty", where=file, mend="Export the appointment book again.")
    lines = data.split(b"\n")
    if len(lines) < 3 and b"\r" in data:  # line ends of carriage return alone
        lines = data.split(b"\r")
    for number, line in enumerate(lines, 1):
        scan.take(number, line.rstrip(b"\r"))
    return scan.done(len(lines), data[:200])


class _Scan:
    """Walks once over the lines. No recursion: hostile nesting costs a counter, not a stack."""

    def __init__(self, file: str, key: bytes) -> None:
        self.file, self.key = file, key
        self.book = RawBook()
        self.calendar = RawCalendar(0)
        self.seen_calendar = False
        self.in_calendar = False
        self.entry: RawEntry | None = None
        self.zone: list[str] | None = None
        self.zone_id = b""
        self.other = b""  # name of a component that is stepped over
        self.depth = 0  # inside the entry, zone or other component
        self.name, self.number, self.parts, self.size = b"", 0, [b""], 0
        self.junk: list[int] = []
        self.junk_count = 0
        self.old_letters = 0  # first line that is not UTF-8
        self.nul_line, self.nul_count = 0, 0
        self.told: set[str] = set()

    def as_utf8(self, data: bytes) -> bytes:
        """Return the bytes with a byte order mark or UTF-16 undone, so that lines can be split."""
        if data.startswith(b"\xef\xbb\xbf"):
            return data[3:]
        head = data[:64]
        code = ""
        if head[:2] in (b"\xff\xfe", b"\xfe\xff"):
            code = "utf-16"
        elif head[1::2].count(0) > len(head) // 3:
            code = "utf-16-le"
        elif head[0::2].count(0) > len(head) // 3:
            code = "utf-16-be"
        if not code or not head.strip(b"\0"):
            return data
        self.say("the file is in UTF-16; read as such", 1, "Nothing to do if chairs and times are right; UTF-8 is safer.", warn=True)
        return data.decode(code, "replace").encode("utf-8", "replace")

    def say(self, what: str, line: int, mend: str, *, warn: bool = False) -> None:
        """Add a finding about the file; the same words are said once."""
        if what not in self.told:
            self.told.add(what)
            where = f"{self.file} line {line}" if line else self.file
            self.book.findings.append(Finding(what, where, mend, "warning" if warn else "error"))

    def take(self, number: int, line: bytes) -> None:
        """Take one physical line."""
        if line[:1] in (b" ", b"\t"):
            if self.name and self.size <= MAX_PROPERTY_BYTES:
                self.parts.append(line[1:])
                self.size += len(line)
            return
        self.flush()
        found = _NAME.match(line)
        if found is None:
            if line.strip(b" \t\0"):
                self.junk_count += 1
                self.junk = self.junk or [number]
        elif (name := found[1].upper()) in _KEPT:
            self.name, self.number = name, number
            self.parts, self.size = [line[found.end(1) : MAX_PROPERTY_BYTES + 100]], len(line)

    def flush(self) -> None:
        """Handle the property whose last physical line has passed."""
        name, self.name = self.name, b""
        if not name:
            return
        rest = b"".join(self.parts)
        if 0 in rest:
            self.nul_line = self.nul_line or self.number
            self.nul_count += rest.count(0)
            rest = rest.replace(b"\0", b"")
        if name == b"BEGIN":
            self.begin(rest[1:].strip().upper())
        elif name == b"END":
            self.end(rest[1:].strip().upper())
        elif self.depth == 0 or self.zone is not None:
            self.keep(name, rest)

    def begin(self, kind: bytes) -> None:
        if kind == b"VCALENDAR":
            self.close_all("the calendar ends without closing it")
            self.calendar = RawCalendar(self.number)
            self.seen_calendar = self.in_calendar = True
        elif kind == b"VEVENT" and not self.other:
            self.close_all("the next entry begins inside it")
            if len(self.book.entries) >= MAX_ENTRIES:
                raise Mendable(
                    f"the file has more than {MAX_ENTRIES:,} entries",
                    where=f"{self.file} line {self.number}",
                    mend="Export a shorter stretch of time, for example the next three months.",
                )
            self.entry = RawEntry(self.number, self.calendar)
            self.book.entries.append(self.entry)
        elif self.entry is None and self.zone is None and not self.other:
            if kind == b"VTIMEZONE":
                self.zone, self.zone_id, self.depth = ["BEGIN:VTIMEZONE"], b"", 0
            else:
                self.other, self.depth = kind, 0
                self.book.others += 1
        else:
            self.depth += 1
            if self.zone is not None and kind in (b"STANDARD", b"DAYLIGHT"):
                self.zone.append(f"BEGIN:{kind.decode()}")
            if self.depth == MAX_NESTING:
                self.say(f"parts are nested {MAX_NESTING} deep here: the file is damaged", self.number, "Export the book again.")

    def end(self, kind: bytes) -> None:
        if kind == b"VCALENDAR":
            self.close_all("the calendar ends without closing it")
            self.calendar, self.in_calendar = RawCalendar(self.number), False
        elif self.entry is not None and kind == b"VEVENT":
            self.entry, self.depth = None, 0
        elif self.zone is not None and kind == b"VTIMEZONE":
            if self.zone_id and len(self.zone) <= MAX_ZONE_LINES:
                self.calendar.zones.setdefault(self.zone_id, [*self.zone, "END:VTIMEZONE"])
            self.zone, self.depth = None, 0
        elif self.other and kind == self.other and self.depth == 0:
            self.other = b""
        elif self.depth:
            self.depth -= 1
            if self.zone is not None and kind in (b"STANDARD", b"DAYLIGHT"):
                self.zone.append(f"END:{kind.decode()}")

    def close_all(self, why: str) -> None:
        """Close what is still open: an entry without its END is told, never half read."""
        if self.entry is not None:
            self.entry.broken = f"END:VEVENT is missing: {why}"
        elif self.zone is not None or self.other:
            self.say("a part of the calendar is not closed", self.number, "Export the book again; the file is damaged.", warn=True)
        self.entry, self.zone, self.other, self.depth = None, None, b"", 0

    def keep(self, name: bytes, rest: bytes) -> None:
        """Keep an allowed property where it is allowed."""
        params, value = _split(rest)
        if self.zone is not None:
            if name == b"TZID":
                self.zone_id = value.strip().replace(b"\\", b"")  # text here, and plain where it is used
                self.zone.append("TZID:own")  # the name in the file is nobody's business further on
            elif name in ZONE_PROPERTIES and len(self.zone) <= MAX_ZONE_LINES:
                self.zone.append(f"{name.decode()}:{value.decode('ascii', 'replace').strip()}")
        elif self.entry is not None:
            if name == b"UID":
                digest = hmac.digest(self.key, b"uid|" + value.strip(), "sha256")
                self.entry.uid = self.entry.uid or (digest.hex() if value.strip() else "")
            elif self.size > MAX_PROPERTY_BYTES:
                self.entry.broken = self.entry.broken or f"{name.decode()} has more than {MAX_PROPERTY_BYTES:,} bytes"
            elif name in ENTRY_PROPERTIES:
                line = Line(self.number, self.text(params), self.text(value))
                self.entry.properties.setdefault(name.decode(), []).append(line)
        elif not self.other and name in CALENDAR_PROPERTIES:
            self.keep_calendar(name, value.strip())

    def keep_calendar(self, name: bytes, value: bytes) -> None:
        if name in (b"X-WR-CALNAME", b"NAME"):
            self.calendar.names.append(self.text(value)[:1000])
        elif name == b"METHOD":
            self.calendar.cancels = value.upper() == b"CANCEL"
        elif name == b"CALSCALE":
            self.calendar.not_gregorian = value.upper() != b"GREGORIAN"
        elif value == b"1.0":
            self.say(
                "this is the old vCalendar form (VERSION:1.0); its repeats are written in another way",
                self.number,
                "Export as iCalendar (VERSION:2.0), usually a file ending in .ics.",
            )

    def text(self, value: bytes) -> str:
        """Decode an allowed value: UTF-8, or else Windows-1252, which is then said once."""
        try:
            return value.decode("utf-8")
        except UnicodeDecodeError:
            self.old_letters = self.old_letters or self.number
            return value.decode("cp1252", "replace")

    def done(self, line_count: int, head: bytes) -> RawBook:
        """Return the book with the findings about the file as a whole."""
        self.flush()
        self.number = line_count
        self.close_all("the file ends inside it")
        if not self.seen_calendar and not self.book.entries:
            seen = next((words for mark, words in _KNOWN_OTHERS if head.lstrip().startswith(mark)), "another kind of file")
            raise Mendable(
                f"this is not a calendar: no BEGIN:VCALENDAR in it; it looks like {seen}",
                where=self.file,
                mend="Export the appointment book as iCalendar, usually a file ending in .ics.",
            )
        if self.in_calendar:
            self.say("END:VCALENDAR is missing: the file stops in the middle", line_count, "Export again; entries may be missing.")
        if self.nul_count:
            what = f"{self.nul_count:,} bytes of the file are empty (NUL)"
            self.say(what, self.nul_line, "The file is damaged; export it again. The rest was read.")
        if self.junk_count:
            what = f"{self.junk_count:,} lines are no calendar lines and were passed over"
            self.say(what, self.junk[0], "Often a note with a line break in it; look whether entries are missing.", warn=True)
        if self.old_letters:
            what = "letters here are not UTF-8; read as Windows-1252"
            self.say(what, self.old_letters, "If a room or kind with an accent is not found, export as UTF-8.", warn=True)
        if self.book.others:
            what = f"{self.book.others:,} tasks, notes or free-busy blocks are no appointments and were passed over"
            self.say(what, 0, "Nothing to do, unless visits are kept as tasks: make them appointments.", warn=True)
        return self.book


def _split(rest: bytes) -> tuple[bytes, bytes]:
    """Split what follows a property's name into parameters and value; a colon in quotes is no separator."""
    if rest[:1] == b":" or b":" not in rest:
        return b"", rest[1:]
    if b'"' not in rest:
        params, _, value = rest.partition(b":")
        return params, value
    quoted = False
    for at, byte in enumerate(rest):
        if byte == 0x22:
            quoted = not quoted
        elif byte == 0x3A and not quoted:
            return rest[:at], rest[at + 1 :]
    return b"", b""
