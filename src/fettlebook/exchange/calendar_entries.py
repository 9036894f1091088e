"""From raw entries to typed ones: times aware, zones resolved, repeats that end where their author meant.

icalendar does not raise on a bad date: the entry stays, without it. So every entry's errors are looked at, and an
entry with one is told with the line of the property and left to the reader.
"""

import re
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, tzinfo
from typing import Any, Final

import icalendar
from icalendar.parser import split_on_unescaped_comma
from icalendar.prop import vDDDLists, vDDDTypes

from fettlebook.errors import Finding
from fettlebook.exchange.calendar_lines import Line, RawEntry
from fettlebook.exchange.calendar_zones import Zones

MARK: Final = "X-FETTLEBOOK-LINE"  # carries the line through the library's copies
MAX_DATES: Final = 5_000  # RDATE and EXDATE values of one entry
MAX_RULE: Final = 500  # characters of a repeat rule; the longest in RFC 5545 has under 100
_ONE_TIME: Final = ("DTSTART", "DTEND", "RECURRENCE-ID")
_DATES: Final = ("RDATE", "EXDATE")
_DAY = re.compile(r"^(\d{4})(\d\d)(\d\d)(T\d{6}Z?)?$")
_SHORT = re.compile(r"^\+?PT(\d{1,2}H)?(\d{1,3}M)?(\d{1,5}S)?$")
_UNTIL = re.compile(r"UNTIL=(\d{8})")
_LEAP = re.compile(r"^(\d{8}T\d{4})60(Z?)$")
_NO_MATTER = re.compile(r"^(X-.*|RSCALE=GREGORIAN|SKIP=OMIT)$", re.IGNORECASE)  # the last two are RFC 7529's defaults


@dataclass(slots=True)
class Entry:
    """An entry that can be read: its component for the library, and what the library would lose."""

    line: int
    raw: RawEntry
    component: Any
    start: date | datetime
    length: timedelta  # exact; negative where the end stands before the start
    moved: date | datetime | None  # RECURRENCE-ID
    onward: bool  # this and all later ones (RANGE=THISANDFUTURE)
    revision: tuple[int, str, str]
    utc: bool  # start written in UTC
    cancelled: bool
    free: bool
    own_start: bool = False  # a UID used for several entries: the start tells them apart

    @property
    def repeats(self) -> bool:
        """Whether the entry has a rule or a list of dates."""
        return "RRULE" in self.raw.properties or "RDATE" in self.raw.properties


def written_day(value: str) -> date | None:
    """Return the day of a plain DTSTART value, None where it is not plain."""
    found = _DAY.match(value)
    try:
        return date(int(found[1]), int(found[2]), int(found[3])) if found else None
    except ValueError:
        return None


def surely_elsewhere(raw: RawEntry, first: date, last: date) -> bool:
    """Whether an entry that stands alone can be passed over unread: it begins after or ended before the days asked.

    Two days of slack cover every zone. In doubt the answer is no, and the entry is read.
    """
    start = written_day(raw.first("DTSTART"))
    if raw.broken or start is None or "RDATE" in raw.properties or "RECURRENCE-ID" in raw.properties:
        return False
    if start > last + timedelta(days=2):
        return True
    if rule := raw.first("RRULE"):
        until = _UNTIL.search(rule.upper())
        over = written_day(until[1]) if until else None
        return over is not None and start < first and over < first - timedelta(days=9) and _short(raw)
    if "DTEND" in raw.properties:
        end = written_day(raw.first("DTEND"))
        return end is not None and end < first - timedelta(days=2) and start < first - timedelta(days=2)
    return start < first - timedelta(days=9) and _short(raw)


def _short(raw: RawEntry) -> bool:
    if "DTEND" in raw.properties:
        start, end = written_day(raw.first("DTSTART")), written_day(raw.first("DTEND"))
        return start is not None and end is not None and timedelta(0) <= end - start <= timedelta(days=7)
    length = raw.first("DURATION")
    return not length or _SHORT.match(length) is not None


def listed_dates(raw: RawEntry) -> int:
    """Return how many dates an entry lists, to be booked or left out."""
    return sum(line.value.count(",") + 1 for name in _DATES for line in raw.properties.get(name, ()))


def texts(raw: RawEntry, name: str) -> tuple[str, ...]:
    """Return the values of a text property: a list for categories and resources, one for the location."""
    values: list[str] = []
    for line in raw.properties.get(name, ()):
        parts = split_on_unescaped_comma(line.value)
        values += parts if name in ("CATEGORIES", "RESOURCES") else [",".join(parts)]
    return tuple(values)


def read_entry(raw: RawEntry, zones: Zones) -> Entry | Finding:
    """Return the entry with aware times, or the finding that says why it can't be read."""
    where = f"{zones.file} line {raw.line}"
    if raw.broken:
        return Finding(f"this entry can't be read: {raw.broken}", where, "Look it up in the book; export again.")
    if raw.calendar.not_gregorian:
        return Finding("this entry counts its dates in another calendar than the Gregorian", where, "Export with Gregorian dates.")
    if (dates := listed_dates(raw)) > MAX_DATES:
        return Finding(f"this entry lists {dates:,} dates; the limit is {MAX_DATES:,}", where, "Split it, or end the old series.")
    if any(len(line.value) > MAX_RULE for line in raw.properties.get("RRULE", ())):
        return Finding(f"the repeat rule is longer than {MAX_RULE} characters", where, "Book the visits one by one.")
    if "EXRULE" in raw.properties:
        return Finding(
            "this entry leaves out days by a rule (EXRULE), which is no longer standard", where, "List the days left out one by one."
        )
    try:
        component, zone_names = _parse(raw, zones)
        broken = [name for name, _ in component.errors]
        doubled = [name for name in (*_ONE_TIME, "DURATION", "RRULE") if isinstance(component.get(name), list)]
        if broken or doubled:
            return _unread(raw, zones.file, (broken or doubled)[0], "can't be read" if broken else "stands here twice")
        if odd := [name for name in (*_ONE_TIME, *_DATES, "DURATION") if not _is_of_its_kind(component, name)]:
            return _unread(raw, zones.file, odd[0], "can't be read")
        if "DTSTART" not in component:
            return Finding("this entry has no start (DTSTART)", where, "Give it a date and a time, and export again.")
        return _typed(raw, component, zone_names, zones)
    except Exception:
        return Finding("this entry can't be read", where, "Look it up in the book, save it again there, and export again.")


def _parse(raw: RawEntry, zones: Zones) -> tuple[Any, dict[str, list[str]]]:
    """Let the library read the entry without its zone names; they come back as a list per property."""
    lines = ["BEGIN:VEVENT", f"UID:{raw.uid}", f"{MARK}:{raw.line}"]
    names: dict[str, list[str]] = {}
    for name in (*_ONE_TIME, *_DATES, "DURATION", "RRULE"):
        for line in raw.properties.get(name, ()):
            params, zone = zones.take_out(line.params)
            if value := _lenient(name, line.value.strip()):
                names.setdefault(name, []).append(zone)
                lines.append(f"{name}{params}:{value}")
    sequence = raw.first("SEQUENCE")
    if sequence.isdecimal() and len(sequence) < 10:
        lines.append(f"SEQUENCE:{sequence}")
    lines.append("END:VEVENT")
    return icalendar.Event.from_ical("\r\n".join(lines)), names


def _is_of_its_kind(component: Any, name: str) -> bool:
    """Whether a value is of the kind that its property needs; the library reads a length where a date belongs."""
    if name not in component:
        return True
    if name == "DURATION":
        return isinstance(component[name].dt, timedelta)
    if name in _ONE_TIME:
        return isinstance(component[name].dt, date)
    lists = component[name] if isinstance(component[name], list) else [component[name]]
    kinds = (date, tuple) if name == "RDATE" else (date,)
    return all(isinstance(item.dt, kinds) for part in lists for item in part.dts)


def _lenient(name: str, value: str) -> str:
    """Return a value without what exports add and no reader needs."""
    if name in _DATES:
        return ",".join(part for part in value.replace(" ", "").split(",") if part)
    if name == "RRULE":
        parts = [part for part in value.replace(" ", "").split(";") if part]
        return ";".join(part for part in parts if not _NO_MATTER.match(part)) or "-"
    return _LEAP.sub(r"\g<1>59\2", value)  # RFC 5545 section 3.3.5: without leap seconds 60 is read as 59


def _unread(raw: RawEntry, file: str, name: str | None, what: str) -> Finding:
    found = raw.properties.get(name or "", [Line(raw.line, "", "")])
    return Finding(
        f"{name or 'a property'} of the entry that begins in line {raw.line} {what}",
        f"{file} line {found[-1].number}",
        "Look the entry up in the book, save it again there, and export again. It is in no plan until then.",
    )


def _typed(raw: RawEntry, component: Any, names: dict[str, list[str]], zones: Zones) -> Entry | Finding:
    def zone(name: str, at: int = 0) -> tzinfo:
        written = names[name][at]
        return zones.find(written, raw.calendar, raw.properties[name][0].number) if written else zones.home

    def aware(value: Any, tz: tzinfo) -> Any:
        if isinstance(value, tuple):
            return tuple(aware(part, tz) for part in value)
        return value.replace(tzinfo=tz) if isinstance(value, datetime) and value.tzinfo is None else value

    start = component["DTSTART"].dt
    utc = isinstance(start, datetime) and start.tzinfo is not None
    if isinstance(start, datetime) and start.tzinfo is None and not names["DTSTART"][0]:
        zones.floating += 1
        zones.floating_line = zones.floating_line or raw.line
    for name in _ONE_TIME:
        if name in component:
            params = component[name].params
            component[name] = vDDDTypes(aware(component[name].dt, zone(name)))
            if "RANGE" in params:
                component[name].params["RANGE"] = str(params["RANGE"]).upper()
    for name in _DATES:
        if name in component:
            lists = component[name] if isinstance(component[name], list) else [component[name]]
            values = [aware(item.dt, zone(name, at)) for at, part in enumerate(lists) for item in part.dts]
            component[name] = vDDDLists(values)
    start = component["DTSTART"].dt
    if "RRULE" in component:
        _mend_until(component["RRULE"], start)
    length = _length(component, start)
    if length is None:
        return _unread(raw, zones.file, "DTEND", "has a time where the start has none, or the other way round")
    if length < timedelta(0):
        # The library would turn start and end round without a word. Without an end it stands at its start, and is told.
        component.pop("DTEND", None)
        component.pop("DURATION", None)
    moved = component["RECURRENCE-ID"].dt if "RECURRENCE-ID" in component else None
    status, transparent = raw.first("STATUS").upper(), raw.first("TRANSP").upper()
    return Entry(
        line=raw.line,
        raw=raw,
        component=component,
        start=start,
        length=length,
        moved=moved,
        onward=moved is not None and component["RECURRENCE-ID"].params.get("RANGE") == "THISANDFUTURE",
        revision=(int(component.get("SEQUENCE", 0)), raw.first("LAST-MODIFIED"), raw.first("DTSTAMP")),
        utc=utc,
        cancelled=status == "CANCELLED" or raw.calendar.cancels,
        free=transparent == "TRANSPARENT",
    )


def set_clock(change: Entry, master: Entry) -> None:
    """Give a change that names only the day of its instance the time of day of its series.

    Read to the letter the instance would not be found, and would stand in the book twice.
    """
    if isinstance(master.start, datetime) and change.moved is not None and not isinstance(change.moved, datetime):
        params = change.component["RECURRENCE-ID"].params
        change.moved = datetime.combine(change.moved, master.start.timetz())
        change.component["RECURRENCE-ID"] = vDDDTypes(change.moved)
        if "RANGE" in params:
            change.component["RECURRENCE-ID"].params["RANGE"] = params["RANGE"]


def _length(component: Any, start: date | datetime) -> timedelta | None:
    """Return the exact length; None where start and end are of different kinds.

    RFC 5545 section 3.8.5.3: an end given as DTEND fixes the exact length of every instance, so it is measured in
    elapsed time, not on the clock's face, which jumps on two nights a year.
    """
    if "DTEND" in component:
        end = component["DTEND"].dt
        if isinstance(start, datetime) != isinstance(end, datetime):
            return None
        if isinstance(start, datetime):
            return timedelta(seconds=end.timestamp() - start.timestamp())
        difference: timedelta = end - start
        return difference
    if "DURATION" in component:
        length: timedelta = component["DURATION"].dt
        return length
    return timedelta(0) if isinstance(start, datetime) else timedelta(days=1)


def _mend_until(rule: Any, start: date | datetime) -> None:
    """Make UNTIL what RFC 5545 section 3.3.10 asks for, so that the last instance is not lost.

    Many exports write the last day alone, or local time without Z; read to the letter both end the series before
    the visit of the last day.
    """
    if "UNTIL" not in rule:
        return
    until = rule["UNTIL"][0]
    if not isinstance(start, datetime):
        rule["UNTIL"] = [date(until.year, until.month, until.day)]
        return
    if not isinstance(until, datetime):
        until = datetime.combine(until, time(23, 59, 59))
    if until.tzinfo is None:
        until = until.replace(tzinfo=start.tzinfo)
    rule["UNTIL"] = [until.astimezone(UTC)]
