"""From the two files to what the pages show, and into the book what was read and planned: the real makers of the desk.

The calendar's bytes stay in memory only as long as one day is read from them. The book gets the practice file's
version, the day's visits by opaque reference, and the plan's one line; each only when it differs from the last.
"""

import json
from collections.abc import Callable, Hashable, Sequence
from dataclasses import asdict
from datetime import date, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Final
from zoneinfo import ZoneInfo

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import BookImported, Data, DayPlanned, PracticeFileVersion, digest_of, to_ms
from fettlebook.book.signing import begin_key
from fettlebook.book.stores import Store, open_book
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.calendar import booked_days, read_book
from fettlebook.exchange.key import beside, load_or_make_key
from fettlebook.exchange.owing import owing_by_book, owing_by_store
from fettlebook.plan.day import DayPlan
from fettlebook.plan.events import Event
from fettlebook.plan.follow import Course
from fettlebook.plan.instance import Instance
from fettlebook.plan.owed import Owing
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.practice.visit import Visit
from fettlebook.rules.load import load_rulebook
from fettlebook.standing.rules_now import rulebook_version
from fettlebook.times.findings import stray_measurements
from fettlebook.times.running import running_times
from fettlebook.web.desk import Reading
from fettlebook.web.kept_days import Kept, entries_of, entry_of, read_kept
from fettlebook.web.people.visit import writer
from fettlebook.web.source import newest_book, read_whole

if TYPE_CHECKING:
    from fettlebook.plan.solve import Progress

DAYS_BEFORE: Final = 30
DAYS_SHOWN: Final = 120
PLAN_LIMIT_S: Final = 10.0
SEED: Final = 1
LINE_MOST: Final = 500  # what an entry takes


class Chain:
    """The files, the key and the book of one practice."""

    def __init__(
        self,
        practice_file: Path,
        book_file: Path,
        data: Path,
        *,
        clock: Callable[[], datetime],
        around: date | None = None,
        group: Callable[[str], Store] | None = None,
    ) -> None:
        """Open the key and the book.

        Parameters
        ----------
        practice_file, book_file
            The practice file, and the appointment book or the folder in which its newest export lies.
        data
            The book of entries; made where there is none. The key stands beside it. With `group`: the name after which the key is called,
            and no book stands there.
        clock
            The present moment as the pages show it, aware; its day decides which rules are in force.
        around
            Booked days are looked for around this day; None: around today.
        group
            Opens a group's book by the practice's id; None: the book is the file.

        Raises
        ------
        Mendable
            One of the files can't be used. A book is made only when the other two could be read.
        """
        self._practice_file = practice_file
        self._book_file = book_file
        self._clock = clock
        self._around = around
        practice, _ = self._practice()
        read_whole(newest_book(book_file))
        self._data = None if group is not None else data
        if group is not None:  # first: a database that isn't there leaves nothing behind
            self._store: Store = group(practice.practice.id)
        self._key = load_or_make_key(beside(data))
        if group is None:
            new = not data.exists()
            self._store = open_book(data, practice.practice.id)
            if new:
                begin_key(data, practice.practice.id)
        self._door = Door(self._store)

    @property
    def store(self) -> Store:
        """The book, for reading; what is written goes through the door."""
        return self._store

    def mark(self) -> Hashable:
        """Return what changes when a file or the day changes; a missing file changes it too."""
        return (_stamp(self._practice_file), _stamp(self._appointments(ask=False)), self._clock().date())

    def read(self) -> Reading:
        """Read both files; raises Mendable with all that is wrong."""
        mark = self.mark()  # before reading: a file that changes meanwhile is then read again
        practice, warnings = self._practice()
        now = self._clock().astimezone(ZoneInfo(practice.practice.time_zone))
        rulebook = load_rulebook(practice, on=now.date())
        first = (self._around or now.date()) - timedelta(days=DAYS_BEFORE)
        appointments = self._appointments()
        booked = booked_days(read_whole(appointments), appointments.name, practice, first, self._key, days=DAYS_SHOWN)
        findings = (*warnings, *stray_measurements(practice, rulebook))
        subject = f"practice:{practice.practice.id}"
        self._note(PracticeFileVersion.of(self._text, self._practice_file.name), subject, practice)
        self._note(rulebook_version(practice), subject, practice)
        return Reading(practice, rulebook, running_times(practice, rulebook), booked, findings, mark, now)

    def plan(self, reading: Reading, day: date, tell: Callable[[str], None], stop: Callable[[], bool] | None = None) -> DayPlan:
        """Plan one day, and note in the book what was imported and what came out."""

        def told(progress: "Progress") -> None:
            left_out = (
                "some visits without a place" if progress.weight_left_out else f"{progress.weighted_minutes_late} weighted minutes late"
            )
            tell(f"working out the day, {left_out} so far")

        from fettlebook.plan.whole_day import plan_day  # noqa: PLC0415 - the solver loads while the first page already waits

        appointments = self._appointments()
        calendar = read_whole(appointments)
        book = read_book(calendar, appointments.name, reading.practice, day, self._key)
        asked = (reading.practice, reading.rulebook, reading.times, day)
        owing = owing_by_store(*asked, self._store) if self._data is None else owing_by_book(*asked, self._data)
        plan = plan_day(
            reading.practice,
            reading.times,
            book.visits,
            day,
            limit_s=PLAN_LIMIT_S,
            seed=SEED,
            findings=(*book.findings, *reading.findings),
            not_planned=book.not_planned,
            told=told,
            stop=stop,
            owing=owing,
        )
        imported = BookImported.of(
            day=day.isoformat(), calendar=calendar, visits=(*book.visits, *book.not_planned), counts=asdict(book.counts)
        )
        planned = DayPlanned(
            day=day.isoformat(),
            instance_digest=_asked(reading, book.visits, day, owing),
            verdict=plan.verdict.value,
            line=plan.line[:LINE_MOST],
            method=plan.method[:LINE_MOST] or None,
        )
        self._note(imported, f"day:{day}", reading.practice)
        self._note(planned, f"day:{day}", reading.practice)
        return plan

    def instance(self, reading: Reading, day: date) -> Instance:
        """Return a day as booked, without planning it."""
        from fettlebook.plan.tasks import day_instance  # noqa: PLC0415 - with the planner

        appointments = self._appointments()
        book = read_book(read_whole(appointments), appointments.name, reading.practice, day, self._key)
        return day_instance(reading.practice, reading.times, book.visits, day)[0]

    def kept(self, day: date, first: DayPlan) -> Kept | None:
        """Return what a person kept of a day on which something happened, as the book has it."""
        return read_kept(self._store, day, first)

    def keep(self, reading: Reading, day: date, first: DayPlan, course: Course | None, events: Sequence[Event]) -> None:
        """Note what happened, then the new plan: in this order, so that a plan never stands without its reason."""
        zone = reading.practice.practice.time_zone
        said = entries_of(events, reading.practice, first.basis.words.minute) if first.basis else []
        for data in (*said, entry_of(day, first, course)):
            self._door.note(data, moment=Moment(to_ms(self._clock()), zone), by=writer(), subjects=(f"day:{day}",))

    def close(self) -> None:
        """Let go of the book."""
        self._store.close()

    def _appointments(self, *, ask: bool = True) -> Path:
        """Return the appointment book of now; where `ask` is false, the folder itself when nothing lies in it."""
        try:
            return newest_book(self._book_file)
        except (Mendable, OSError):
            if ask:
                raise
            return self._book_file

    def _practice(self) -> tuple[Practice, tuple[Finding, ...]]:
        raw = read_whole(self._practice_file)
        loaded = read_practice(raw, self._practice_file.name)
        if loaded.practice is None:
            raise Mendable.of(loaded.errors)
        self._text = raw.decode("utf-8")
        return loaded.practice, loaded.warnings

    def _note(self, data: Data, subject: str, practice: Practice) -> None:
        """Write an entry unless the last of its kind and subject says the same."""
        last = None
        for received in self._store.read(kinds=[data.KIND], subjects=[subject]):
            last = received.entry.data
        if last != data:
            moment = Moment(to_ms(self._clock()), practice.practice.time_zone)
            self._door.note(data, moment=moment, subjects=(subject,))


def _stamp(path: Path) -> Hashable:
    try:
        stat = path.stat()
    except OSError:
        return None
    return (stat.st_mtime_ns, stat.st_size, stat.st_ino)


def _asked(reading: Reading, visits: tuple[Visit, ...], day: date, owing: Owing) -> str:
    """Return the digest of all that the plan was made from."""
    asked = {
        "day": day.isoformat(),
        "practice": reading.practice.model_dump_json(by_alias=True),
        "times": [(t.chair, t.step_id, t.seconds) for t in reading.times],
        "visits": [(v.ref, v.chair, v.visit_kind, v.start.isoformat(), v.end.isoformat()) for v in visits],
        "due": [(o.subject, o.duty_id, o.attended_s, o.unattended_s) for o in owing.due],
        "limit_s": PLAN_LIMIT_S,
        "seed": SEED,
    }
    return digest_of(json.dumps(asked, sort_keys=True).encode())
