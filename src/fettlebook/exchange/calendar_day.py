"""One day of the book: each instance becomes a visit or a finding, and is counted either way."""

import hmac
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from datetime import UTC, date, datetime, time, timedelta
from typing import Final

from fettlebook.errors import Finding
from fettlebook.exchange.calendar_entries import written_day
from fettlebook.exchange.calendar_map import Mapped
from fettlebook.exchange.calendar_open import OpenedBook
from fettlebook.exchange.calendar_repeat import Instance
from fettlebook.practice.visit import Visit

MAX_A_DAY: Final = 2_000
MAX_LISTED: Final = 200  # findings of one kind that are listed one by one
LONGEST_VISIT: Final = timedelta(hours=12)
_DAYS: Final = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


@dataclass(slots=True)
class Counts:
    """What became of the entries. On one day: visits + not_planned + ignored + cancelled + all_day + not_mapped = on_day."""

    entries: int = 0  # in the file
    unreadable: int = 0  # in the file; their day is not known
    on_day: int = 0
    visits: int = 0
    not_planned: int = 0  # mapped, but the chair is taken or out of service
    ignored: int = 0  # by a rule of the practice file
    cancelled: int = 0
    all_day: int = 0
    not_mapped: int = 0


@dataclass(frozen=True, slots=True)
class Book:
    """One day of the appointment book."""

    day: date
    visits: tuple[Visit, ...]  # by start, then chair
    not_planned: tuple[Visit, ...]  # booked on a chair that is taken or out of service; each has a finding
    findings: tuple[Finding, ...]
    counts: Counts


@dataclass(slots=True)
class _Taken:
    """A visit with the line it came from."""

    line: int
    visit: Visit


@dataclass(slots=True)
class DayReader:
    """Sorts the instances of one day into visits and findings."""

    opened: OpenedBook
    day: date
    counts: Counts = field(default_factory=Counts)
    visits: list[_Taken] = field(default_factory=list)
    not_planned: list[_Taken] = field(default_factory=list)
    before: list[_Taken] = field(default_factory=list)  # visits of the day before that reach into this one
    findings: list[Finding] = field(default_factory=list)

    def day_of(self, instance: Instance) -> date:
        """Return the day on which the instance begins, in the practice's zone."""
        return self._local(instance.start).date() if isinstance(instance.start, datetime) else instance.start

    def take(self, instance: Instance) -> None:
        """Take one instance: count it, and make it a visit or a finding."""
        begins, ends = self.day_of(instance), self._last_day(instance)
        if begins > self.day or ends < self.day:
            return  # the three hours of slack
        entry = instance.entry
        mapped = self.opened.rules.map(entry.raw, self.opened.masters.get(entry.line))
        all_day = self._is_all_day(instance)
        carried = begins < self.day and not all_day and self._elapsed(instance) <= LONGEST_VISIT
        if carried:  # a visit of yesterday: it only holds the chair
            if not entry.cancelled and not mapped.ignore and len(mapped.chairs) == 1 and mapped.kinds:
                self.before.append(_Taken(entry.line, self._visit(instance, mapped)))
            return
        self.counts.on_day += 1
        if entry.cancelled:
            self.counts.cancelled += 1
        elif mapped.ignore:
            self.counts.ignored += 1
        elif self.counts.on_day > MAX_A_DAY:
            self.counts.not_mapped += 1
        elif all_day:
            self._all_day(instance, mapped)
        else:
            self._timed(instance, mapped)

    def _all_day(self, instance: Instance, mapped: Mapped) -> None:
        self.counts.all_day += 1
        chair = mapped.chairs[0] if mapped.chairs else ""
        if chair:
            what = f"an all-day entry on {chair} has no time of day and is not planned"
            self._find(what, instance, "If it is a visit, give it a time. If the chair is closed, add an `ignore` rule for such entries.")
        else:
            what = "an all-day entry is no visit and is not planned"
            mend = "If the practice is closed, write the day under [[holidays]]; if it is a note, add an `ignore` rule."
            self._find(what, instance, mend, warn=True)

    def _timed(self, instance: Instance, mapped: Mapped) -> None:
        length, clock = self._elapsed(instance), self._clock(instance)
        problem = None
        if length < timedelta(0):
            problem = (f"the entry at {clock} ends before it begins", "Correct its times in the book.")
        elif not length:
            problem = (f"the entry at {clock} has no length", "Give it an end in the book, or add an `ignore` rule if it is a note.")
        elif length > LONGEST_VISIT:
            hours = f"{length.total_seconds() / 3600:g} hours"
            problem = (f"the entry at {clock} lasts {hours}; a visit lasts at most 12", "Correct its end, or add an `ignore` rule.")
        elif not mapped.chairs:
            seen = ", ".join(mapped.named) or "nothing to go by: no location, resource, category or calendar name"
            problem = (f"the entry {clock} belongs to no chair (it has: {seen})", "Add a rule under [calendar], or correct it in the book.")
        elif len(mapped.chairs) > 1:
            chairs = " and ".join(mapped.chairs)
            problem = (f"the entry {clock} belongs to {chairs} at once", "Correct the room in the book, or the rules under [calendar].")
        elif not mapped.kinds:
            problem = (
                f"the entry {clock} on {mapped.chairs[0]} has no visit kind",
                "Add a rule, or a default_visit_kind, under [calendar].",
            )
        if problem:
            self.counts.not_mapped += 1
            marked_free = instance.entry.free and not mapped.chairs
            self._find(f"{problem[0]}; it is not planned", instance, problem[1], warn=marked_free)
            return
        visit = self._visit(instance, mapped)
        self._doubts(instance, mapped, visit)
        if visit.chair in self.opened.rules.out_of_service:
            self.not_planned.append(_Taken(instance.entry.line, visit))
            what = f"the visit {clock} is booked on {visit.chair}, which is out of service; it is not planned"
            self._find(what, instance, "Move the visit to another chair, or put the chair back into service in the practice file.")
        else:
            self.visits.append(_Taken(instance.entry.line, visit))

    def _visit(self, instance: Instance, mapped: Mapped) -> Visit:
        assert isinstance(instance.start, datetime)
        assert isinstance(instance.end, datetime)
        ref = self._ref(f"visit|{instance.entry.raw.uid}|{instance.original}")
        return Visit(ref, mapped.chairs[0], mapped.kinds[0], self._local(instance.start), self._local(instance.end))

    def _ref(self, text: str) -> str:
        return "v_" + hmac.digest(self.opened.key, text.encode(), "sha256").hex()[:20]

    def _doubts(self, instance: Instance, mapped: Mapped, visit: Visit) -> None:
        """Tell what is kept, but may not be meant."""
        entry, clock, start = instance.entry, self._clock(instance), instance.start
        assert isinstance(start, datetime)
        if len(mapped.kinds) > 1:
            what = f"the visit {clock} fits {len(mapped.kinds)} visit kinds; taken as {mapped.kinds[0]}, the first rule's"
            self._find(what, instance, "Leave one category, or put the rule that shall win first.", warn=True)
        if entry.free:
            self._find(
                f"the visit {clock} is marked as free time; it is planned", instance, "Cancel it if it does not take place.", warn=True
            )
        face = start.replace(tzinfo=None, fold=0)
        if start.replace(fold=0).utcoffset() != start.replace(fold=1).utcoffset():
            if start.astimezone(UTC).astimezone(start.tzinfo).replace(tzinfo=None) != face:
                what = f"{face:%H:%M} does not exist on this day (clocks go forward); the visit is taken at {visit.start:%H:%M}"
            else:
                what = f"{face:%H:%M} comes twice on this day (clocks go back); the visit is taken at the first"
            self._find(what, instance, "Correct the time in the book if another was meant.", warn=True)
        if entry.repeats and entry.utc and isinstance(entry.start, datetime):
            first = entry.start.astimezone(self.opened.zone)
            if first.utcoffset() != visit.start.utcoffset():
                what = f"the visit {clock} repeats in UTC: since the clocks changed it stands at another hour than {first:%H:%M}"
                self._find(what, instance, "Compare with the book; export with a time zone.", warn=True)
        self._opening(instance, visit)

    def _opening(self, instance: Instance, visit: Visit) -> None:
        stretches = self._stretches()
        if stretches and not any(start <= visit.start and visit.end <= end for start, end in stretches):
            hours = ", ".join(f"{start:%H:%M} to {end:%H:%M}" for start, end in stretches)
            what = f"the visit {self._clock(instance)} is outside the opening hours ({hours})"
            self._find(
                what, instance, "It is planned all the same. Correct the time, or the opening hours in the practice file.", warn=True
            )

    def _stretches(self) -> list[tuple[datetime, datetime]]:
        zone, stretches = self.opened.zone, []
        for opening in self.opened.practice.opening:
            if _DAYS[self.day.weekday()] in opening.days:
                after = timedelta(days=1) if opening.to <= opening.from_ else timedelta(0)
                stretches.append((datetime.combine(self.day, opening.from_, zone), datetime.combine(self.day + after, opening.to, zone)))
        return stretches

    def _copies(self) -> None:
        """Read an appointment that stands in two calendars of the file once; on two chairs, plan both.

        A turnover too many costs minutes, one too few a clean chair.
        """
        first: dict[str, _Taken] = {}
        copies: list[_Taken] = []
        kept = []
        for taken in sorted(self.visits, key=_order):
            visit, other = taken.visit, first.setdefault(taken.visit.ref, taken)
            if other is not taken and other.visit == visit:
                copies.append(taken)
                continue
            kept.append(taken)
            if other is not taken:
                taken.visit = replace(visit, ref=self._ref(f"twin|{visit.ref}|{visit.chair}|{visit.start.timestamp():.0f}"))
                what = (
                    f"one appointment stands twice: at {other.visit.start:%H:%M} on {other.visit.chair} (line {other.line}) and at "
                    f"{visit.start:%H:%M} on {visit.chair} (line {taken.line}); both are planned"
                )
                mend = "If it is on one chair only, correct the room in the book, or the rules."
                self.findings.append(Finding(what, f"{self.opened.file} line {taken.line}", mend, "warning"))
        self.visits = kept
        if copies:
            self.counts.on_day -= len(copies)
            what = f"{len(copies):,} entries stand in two calendars of the file; each was read once"
            where = f"{self.opened.file} line {min(taken.line for taken in copies)}"
            self.findings.append(Finding(what, where, "Nothing to do.", "warning"))

    def _overlaps(self) -> None:
        """Leave out, and tell, what is booked on a chair that is taken. Who came first stays."""
        until: dict[str, _Taken] = {}
        for taken in sorted(self.before, key=_order):
            until[taken.visit.chair] = taken
        kept = []
        for taken in sorted(self.visits, key=_order):
            visit, held = taken.visit, until.get(taken.visit.chair)
            if held is not None and visit.start < held.visit.end:
                self.not_planned.append(taken)
                what = (
                    f"two visits overlap on {visit.chair}: {held.visit.start:%H:%M} to {held.visit.end:%H:%M} (line {held.line}) and "
                    f"{visit.start:%H:%M} to {visit.end:%H:%M} (line {taken.line}); the later one is not planned"
                )
                mend = "Move one of them in the book, or to another chair, and export again."
                self.findings.append(Finding(what, f"{self.opened.file} line {taken.line}", mend))
            else:
                kept.append(taken)
                until[visit.chair] = taken
        self.visits = kept

    def done(self) -> Book:
        """Return the day: overlaps settled, everything counted, the findings in the order of weight."""
        self._copies()
        self._overlaps()
        opened, counts = self.opened, self.counts
        counts.entries, counts.unreadable = len(opened.raw.entries), len(opened.unreadable) + opened.not_read
        counts.visits, counts.not_planned = len(self.visits), len(self.not_planned)
        findings = [
            *opened.raw.findings,
            *_shortened(opened.unreadable, opened.file, "entries that can't be read"),
            *opened.zones.findings[:MAX_LISTED],
            *_shortened(opened.findings, opened.file, "notes"),
            *_shortened(self.findings, opened.file, "entries of this day"),
            *self._notes(),
        ]
        findings.sort(key=lambda finding: finding.weight)
        visits, not_planned = sorted(self.visits, key=_order), sorted(self.not_planned, key=_order)
        return Book(self.day, tuple(t.visit for t in visits), tuple(t.visit for t in not_planned), tuple(findings), counts)

    def _notes(self) -> Iterator[Finding]:
        opened, day = self.opened, f"{self.day:%A} {self.day.day} {self.day:%B %Y}"
        booked = len(self.visits) + len(self.not_planned)
        if self.counts.on_day > MAX_A_DAY:
            what = f"{self.counts.on_day:,} entries stand on this day; the limit is {MAX_A_DAY:,}, the rest is not planned"
            yield Finding(what, opened.file, "Export the book of this practice alone.")
        if opened.zones.floating and booked:
            what = f"{opened.zones.floating:,} entries name no time zone; their times were taken as local time of {opened.zone.key}"
            mend = "Nothing to do if the times are right."
            yield Finding(what, f"{opened.file} line {opened.zones.floating_line}", mend, "warning")
        holiday = next((holiday.name for holiday in opened.practice.holidays if holiday.date == self.day), "")
        closed = f"a holiday ({holiday})" if holiday else "" if self._stretches() else "a day without opening hours"
        if booked and closed:
            what = f"{booked} visits are booked on {day}, {closed} in the practice file"
            yield Finding(what, opened.file, "They are planned all the same. Correct the book, or the practice file.", "warning")
        if not booked:
            what = f"no visit is booked on {day}" + (f", {closed} in the practice file" if closed else "")
            yield Finding(what, opened.file, f"{'' if closed else self._reach()}Nothing to do if that is right.", "warning")

    def _reach(self) -> str:
        """Say from when to when the file reaches: an old export is the usual reason for an empty day."""
        entries = self.opened.raw.entries
        days = [day for entry in entries if (day := written_day(entry.first("DTSTART")))]
        if not days or any("RRULE" in entry.properties for entry in entries) or min(days) <= self.day <= max(days):
            return ""
        return f"The file's entries begin between {min(days)} and {max(days)}: export again if it is old. "

    def _find(self, what: str, instance: Instance, mend: str, *, warn: bool = False) -> None:
        where = f"{self.opened.file} line {instance.entry.line}"
        self.findings.append(Finding(what, where, mend, "warning" if warn else "error"))

    def _local(self, moment: datetime) -> datetime:
        return moment.astimezone(UTC).astimezone(self.opened.zone)

    def _elapsed(self, instance: Instance) -> timedelta:
        if isinstance(instance.start, datetime) and isinstance(instance.end, datetime):
            return timedelta(seconds=instance.end.timestamp() - instance.start.timestamp())
        return timedelta(days=instance.end.toordinal() - instance.start.toordinal())

    def _last_day(self, instance: Instance) -> date:
        if isinstance(instance.end, datetime):
            return max(self.day_of(instance), (self._local(instance.end) - timedelta(seconds=1)).date())
        return max(self.day_of(instance), instance.end - timedelta(days=1))

    def _is_all_day(self, instance: Instance) -> bool:
        """Tell all-day entries, also those that an export writes from midnight to midnight."""
        if not isinstance(instance.start, datetime) or not isinstance(instance.end, datetime):
            return True
        start, end = self._local(instance.start), self._local(instance.end)
        return start.time() == end.time() == time() and end.date() > start.date()

    def _clock(self, instance: Instance) -> str:
        if not isinstance(instance.start, datetime) or not isinstance(instance.end, datetime):
            return "of the whole day"
        start, end = self._local(instance.start), self._local(instance.end)
        return f"{start:%H:%M} to {end:%H:%M}" if start.date() == end.date() else f"{start:%a %H:%M} to {end:%a %H:%M}"


def _order(taken: _Taken) -> tuple[datetime, str, int]:
    return taken.visit.start, taken.visit.chair, taken.line


def _shortened(findings: list[Finding], file: str, what: str) -> list[Finding]:
    """List the first ones and say how many more there are."""
    if len(findings) <= MAX_LISTED:
        return findings
    mend = "Mend the ones listed first; they often have one cause."
    return [*findings[:MAX_LISTED], Finding(f"{len(findings) - MAX_LISTED:,} more {what}", file, mend)]
