"""A calendar file, opened: entries grouped by UID, older revisions dropped, each group asked for its instances.

Calendars of the same name in one file are one calendar. Under one UID there may be a series, changes of single
instances, and older revisions (a lower SEQUENCE). Some books also give one UID to entries that have nothing to do
with each other; the library would keep one of them, here each is kept, and told.
"""

import hmac
from collections import defaultdict
from collections.abc import Iterator
from datetime import date, datetime, time, timedelta

from fettlebook.errors import Finding
from fettlebook.exchange.calendar_entries import Entry, listed_dates, read_entry, set_clock, surely_elsewhere, texts
from fettlebook.exchange.calendar_fhir import looks_like_fhir, read_fhir
from fettlebook.exchange.calendar_lines import RawBook, RawEntry, read_lines
from fettlebook.exchange.calendar_map import CalendarRules
from fettlebook.exchange.calendar_repeat import Budget, Instance, instances
from fettlebook.exchange.calendar_zones import Zones, practice_zone
from fettlebook.exchange.key import check_key
from fettlebook.practice.model import Practice


class OpenedBook:
    """A file that was scanned: entries in groups, zones, rules, and what was found on the way."""

    def __init__(self, data: bytes, file: str, practice: Practice, key: bytes) -> None:
        self.file, self.practice, self.key = file, practice, check_key(key)
        self.zone = practice_zone(practice.practice.time_zone)
        self.rules = CalendarRules(practice)
        self.raw: RawBook = (read_fhir if looks_like_fhir(data) else read_lines)(data, file, self.key)
        self.zones = Zones(file, self.zone)
        self.findings: list[Finding] = []
        self.unreadable: list[Finding] = []
        self.older: list[int] = []
        self.not_read = 0  # entries for which no work was left
        self.masters: dict[int, RawEntry] = {}  # line of a change -> its series

    def between(self, first: date, last: date) -> Iterator[Instance]:
        """Yield the instances that touch the days from `first` to `last`."""
        start = datetime.combine(first, time(), self.zone)
        end = datetime.combine(last + timedelta(days=1), time(), self.zone)
        budget = Budget()
        for group in self._groups():
            if len(group) == 1 and surely_elsewhere(group[0], first, last):
                continue
            repeats = any("RRULE" in entry.properties or "RDATE" in entry.properties for entry in group)
            if not budget.allows([entry.line for entry in group], repeats=repeats, dates=sum(map(listed_dates, group))):
                continue
            for entries in self._readable(group):
                found = instances(entries, start, end, budget, self.file)
                if isinstance(found, Finding):
                    self.unreadable.append(found)
                else:
                    yield from found
        if self.older:
            what = f"{len(self.older):,} older versions or copies of entries were passed over (a newer one of the same UID is in the file)"
            mend = "Nothing to do, if each of these visits stands in the plan once."
            self.findings.append(Finding(what, f"{self.file} line {self.older[0]}", mend, "warning"))
        if budget.unread:
            self.not_read = len(budget.unread)
            what = f"{len(budget.unread):,} entries were not read: the file holds or repeats more than one book should"
            self.findings.append(Finding(what, f"{self.file} line {budget.unread[0]}", "Export a shorter stretch, without old series."))

    def _groups(self) -> Iterator[list[RawEntry]]:
        groups: dict[tuple[str, ...], list[RawEntry]] = defaultdict(list)
        nameless = [entry for entry in self.raw.entries if not entry.uid]
        for entry in nameless:
            words = repr(sorted((name, [line.value for line in lines]) for name, lines in entry.properties.items()))
            entry.uid = hmac.digest(self.key, b"nameless|" + words.encode("utf-8", "replace"), "sha256").hex()
        if nameless:
            self.findings.append(
                Finding(
                    f"{len(nameless):,} entries have no UID; the reference of such a visit changes when its time or room changes",
                    f"{self.file} line {nameless[0].line}",
                    "Nothing to do for today's plan. A book that writes UIDs is better for looking back.",
                    "warning",
                )
            )
        for entry in self.raw.entries:
            groups[(*sorted(entry.calendar.names), entry.uid)].append(entry)
        yield from groups.values()

    def _readable(self, group: list[RawEntry]) -> list[list[Entry]]:
        """Return the entries of one UID as series: the newest revision of each, with the changes of its instances."""
        entries: list[Entry] = []
        for raw in group:
            entry = read_entry(raw, self.zones)
            if isinstance(entry, Finding):
                self.unreadable.append(entry)
            else:
                entries.append(entry)
        masters = self._newest([entry for entry in entries if entry.moved is None])
        changes = [entry for entry in entries if entry.moved is not None]
        if masters:
            for change in changes:
                set_clock(change, masters[0])
        changes = self._newest(changes)
        for change in changes:
            if masters:
                self.masters[change.line] = masters[0].raw
        if not masters:
            return [changes] if changes else []
        for entry in masters[1:]:
            entry.own_start = True
        if len(masters) > 1:
            masters[0].own_start = True
            self.findings.append(
                Finding(
                    f"{len(masters)} different entries share one UID; each is read as a visit of its own",
                    f"{self.file} line {masters[1].line}",
                    "Compare this day with the book: if one of them is an old version, delete it there.",
                    "warning",
                )
            )
        return [[masters[0], *changes], *([entry] for entry in masters[1:])]

    def _newest(self, entries: list[Entry]) -> list[Entry]:
        """Pass over older revisions and copies, and note them.

        Without a newer mark nothing is passed over but a copy: the same time in the same room.
        """
        kept: dict[tuple[object, ...], Entry] = {}
        newest = max((entry.revision[0] for entry in entries if entry.moved is None), default=0)
        for entry in entries:
            if entry.moved is None and entry.revision[0] < newest:
                self.older.append(entry.line)
                continue
            slot: tuple[object, ...] = (
                (_moment(entry.moved), entry.onward) if entry.moved is not None else (entry.start, entry.length, *_room(entry))
            )
            other = kept.get(slot)
            if other is None or entry.revision >= other.revision:
                kept[slot] = entry
                self.older += [other.line] if other else []
            else:
                self.older.append(entry.line)
        return list(kept.values())


def _room(entry: Entry) -> tuple[tuple[str, ...], ...]:
    return texts(entry.raw, "LOCATION"), texts(entry.raw, "RESOURCES")


def _moment(value: date | datetime) -> float | date:
    return value.timestamp() if isinstance(value, datetime) else value
