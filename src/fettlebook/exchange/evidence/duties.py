"""Chapters of duties: compliance with its denominators, every occasion that was not in time, and the gaps."""

from collections import Counter
from collections.abc import Callable, Mapping
from itertools import groupby
from typing import Final

from fettlebook.book.kinds import EntryCorrected, EntryWithdrawn
from fettlebook.book.received import Received
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short
from fettlebook.exchange.evidence.figures import DutyRow, Figures
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.rules.words import origin_in_words
from fettlebook.said import said, term
from fettlebook.standing.asking import name_of
from fettlebook.standing.compliance import Came
from fettlebook.standing.model import Verdict

ORDER: Final = (Came.IN_TIME, Came.LATE, Came.MISSED, Came.NOT_PROVABLE)
COLUMNS: Final = {said("Owed"): 0.8, said("In time"): 1.1, said("Late"): 0.8, said("Missed"): 1.0, said("Not provable"): 1.0}
SHOWN_MOST: Final = 60
NONE: Final = said("None.")
_CAME: Final[Mapping[Came, Callable[[int], str]]] = {
    Came.MISSED: lambda n: said("Missed: {n}", n=n),
    Came.NOT_PROVABLE: lambda n: said("Not provable: {n}", n=n),
    Came.LATE: lambda n: said("Late: {n}", n=n),
}
A_MOMENT_MS: Final = 10**11  # less is a length of time


def compliance(figures: Figures) -> Chapter:
    """Return the chapter of compliance by duty."""
    chapter = Chapter(
        said("Duties"),
        said(
            "How often each duty was owed, and what came of it. In time: proven done by the moment by which it was owed. Late: proven "
            "done after it. Missed: nothing in the book, left out knowingly, or done otherwise than asked. Not provable: something in the "
            "book that does not prove it, or entries of a device are missing."
        ),
    )
    chapter.heading(said("By duty"))
    rows = []
    for _, group in groupby(figures.rows, key=lambda row: (row.when, row.duty)):
        some = tuple(group)
        sums = [sum(row.count(came) for row in some) for came in ORDER]
        rows.append((term(some[0].name), term(some[0].when), sum(sums), *sums, origin_in_words(some[0].origin)))
    chapter.table(
        {said("Duty"): 2.4, said("When"): 1.4, **COLUMNS, said("Who asks"): 2.8}, rows, empty=said("No duty was owed in these days.")
    )
    chapter.heading(said("By chair and machine"))
    each = [
        (name_of(row.subject), term(row.name), len(row.occasions), *(row.count(came) for came in ORDER)) for row in _by_subject(figures)
    ]
    chapter.table({said("Of what"): 1.4, said("Duty"): 3.2, **COLUMNS}, each, empty=said("No duty was owed in these days."))
    return chapter


def _by_subject(figures: Figures) -> list[DutyRow]:
    return sorted(figures.rows, key=lambda row: (row.subject, row.when, row.duty))


def not_in_time(figures: Figures, clock: Clock) -> Chapter:
    """Return the chapter of each occasion that was not proven done in time."""
    chapter = Chapter(
        said("Duties not done in time"),
        said(
            "Every occasion that was late, missed or not provable, with what the book says. A missed duty may have been done and not "
            "entered: the book can't tell, so it is not taken as done."
        ),
    )
    for came in (Came.MISSED, Came.NOT_PROVABLE, Came.LATE):
        some = sorted((o for row in figures.rows for o in row.occasions if o.came is came), key=lambda o: (o.owed_ms, o.subject, o.duty))
        chapter.heading(_CAME[came](len(some)))
        rows = [(clock.at(o.owed_ms), name_of(o.subject), term(o.name), o.why, short(o.because)) for o in some]
        head = {
            said("Owed by"): 1.2,
            said("Of what"): 1.1,
            said("Duty"): 2.0,
            said("What the book says"): 4.0,
            said("Owed because of"): 1.3,
        }
        chapter.table(head, rows, empty=NONE)
    return chapter


def gaps(found: Gathered, amended: tuple[Received, ...], late: int, clock: Clock) -> Chapter:
    """Return the chapter that says what is missing, and what was changed later."""
    chapter = Chapter(said("Gaps"), said("What the book does not show, written as it is. Unproven is neither good nor bad."))
    chapter.heading(said("Entries that did not arrive"))
    rows = [
        (
            m.device,
            said("{first} to {last}", first=m.first, last=m.last),
            m.last - m.first + 1,
            clock.at(m.after or None),
            clock.at(m.before),
        )
        for m in found.missing
    ]
    chapter.table(
        {said("Device"): 2, said("Its numbers"): 2, said("How many"): 1, said("Made after"): 2, said("Made before"): 2}, rows,
        empty=said("None: the numbers of every device run on without a gap."),
    )  # fmt: skip
    chapter.heading(said("Cycles not proven good"))
    reasons = Counter((r.machine, r.reason) for r in found.runs if r.verdict is Verdict.UNPROVEN)
    head = {said("Machine"): 1.5, said("How many"): 0.8, said("Why"): 6}
    chapter.table(
        head, [(m, n, why) for (m, why), n in sorted(reasons.items())][:SHOWN_MOST],
        empty=said("None: each cycle was proven good or bad."),
    )  # fmt: skip
    chapter.heading(said("Loads that nobody decided on"))
    loads = [(load, machine, clock.at(ms), short(entry)) for load, machine, ms, entry in found.undecided]
    chapter.table({said("Load"): 2, said("Machine"): 2, said("Ran"): 2, said("Entry"): 2}, loads, empty=NONE)
    chapter.heading(said("Corrected and withdrawn"))
    chapter.text(
        said(
            "{amended} entries of these days were corrected or withdrawn by a later entry; both stay in the book. "
            "{late} entries came more than a day after the moment that they claim.",
            amended=len(amended),
            late=late,
        )
    )
    head = {said("Received"): 1.3, said("By"): 0.7, said("Entry"): 1.3, said("What"): 3.2, said("Why"): 2.5}
    chapter.table(head, [_amended(one, clock) for one in amended], empty=NONE)
    for doubt in found.doubts:
        chapter.text(said("Not told: {doubt}.", doubt=doubt))
    return chapter


def _amended(one: Received, clock: Clock) -> tuple[str, ...]:
    data = one.entry.data
    told: str = said("withdrawn")
    if isinstance(data, EntryCorrected):
        was, now = _value(data.field, data.was, clock), _value(data.field, data.now, clock)
        told = said("{field}: was {was}, is {now}", field=data.field, was=was, now=now)
    why = data.why if isinstance(data, EntryCorrected | EntryWithdrawn) else ""
    return clock.at(one.received), one.entry.by, short(one.entry.refers_to or ""), told, why


def _value(field: str, value: object, clock: Clock) -> str:
    moment = isinstance(value, int) and (field == "at" or field.endswith("_ms")) and value > A_MOMENT_MS
    return clock.at(value) if moment and isinstance(value, int) else said("nothing") if value is None else f"{value!s:.60}"
