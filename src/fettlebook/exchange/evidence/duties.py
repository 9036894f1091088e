"""Chapters of duties: compliance with its denominators, every occasion that was not in time, and the gaps."""

from collections import Counter
from itertools import groupby
from typing import Final

from fettlebook.book.kinds import EntryCorrected, EntryWithdrawn
from fettlebook.book.received import Received
from fettlebook.exchange.evidence.blocks import Chapter, Clock, short
from fettlebook.exchange.evidence.figures import DutyRow, Figures
from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.rules.words import origin_in_words
from fettlebook.standing.asking import name_of
from fettlebook.standing.compliance import Came
from fettlebook.standing.model import Verdict

ORDER: Final = (Came.IN_TIME, Came.LATE, Came.MISSED, Came.NOT_PROVABLE)
COLUMNS: Final = {"Owed": 0.8, "In time": 0.8, "Late": 0.7, "Missed": 0.8, "Not provable": 0.9}
SHOWN_MOST: Final = 60
A_MOMENT_MS: Final = 10**11  # less is a length of time


def compliance(figures: Figures) -> Chapter:
    """Return the chapter of compliance by duty."""
    chapter = Chapter(
        "Duties",
        "How often each duty was owed, and what came of it. In time: proven done by the moment by which it was owed. Late: proven done "
        "after it. Missed: nothing in the book, left out knowingly, or done otherwise than asked. Not provable: something in the book that "
        "does not prove it, or entries of a device are missing.",
    )
    chapter.heading("By duty")
    rows = []
    for _, group in groupby(figures.rows, key=lambda row: (row.when, row.duty)):
        some = tuple(group)
        sums = [sum(row.count(came) for row in some) for came in ORDER]
        rows.append((some[0].name, some[0].when, sum(sums), *sums, origin_in_words(some[0].origin)))
    chapter.table({"Duty": 2.4, "When": 1.4, **COLUMNS, "Who asks": 3.0}, rows, empty="No duty was owed in these days.")
    chapter.heading("By chair and machine")
    each = [(name_of(row.subject), row.name, len(row.occasions), *(row.count(came) for came in ORDER)) for row in _by_subject(figures)]
    chapter.table({"Of what": 1.4, "Duty": 3.2, **COLUMNS}, each, empty="No duty was owed in these days.")
    return chapter


def _by_subject(figures: Figures) -> list[DutyRow]:
    return sorted(figures.rows, key=lambda row: (row.subject, row.when, row.duty))


def not_in_time(figures: Figures, clock: Clock) -> Chapter:
    """Return the chapter of each occasion that was not proven done in time."""
    chapter = Chapter(
        "Duties not done in time",
        "Every occasion that was late, missed or not provable, with what the book says. A missed duty may have been done and not entered: "
        "the book can't tell, so it is not taken as done.",
    )
    for came in (Came.MISSED, Came.NOT_PROVABLE, Came.LATE):
        some = sorted((o for row in figures.rows for o in row.occasions if o.came is came), key=lambda o: (o.owed_ms, o.subject, o.duty))
        chapter.heading(f"{str(came).capitalize()}: {len(some)}")
        rows = [(clock.at(o.owed_ms), name_of(o.subject), o.name, o.why, short(o.because)) for o in some]
        head = {"Owed by": 1.2, "Of what": 1.1, "Duty": 2.0, "What the book says": 4.0, "Owed because of": 1.3}
        chapter.table(head, rows, empty="None.")
    return chapter


def gaps(found: Gathered, amended: tuple[Received, ...], late: int, clock: Clock) -> Chapter:
    """Return the chapter that says what is missing, and what was changed later."""
    chapter = Chapter("Gaps", "What the book does not show, written as it is. Unproven is neither good nor bad.")
    chapter.heading("Entries that did not arrive")
    rows = [
        (m.device, f"{m.first} to {m.last}", m.last - m.first + 1, clock.at(m.after or None), clock.at(m.before)) for m in found.missing
    ]
    chapter.table(
        {"Device": 2, "Its numbers": 2, "How many": 1, "Made after": 2, "Made before": 2}, rows,
        empty="None: the numbers of every device run on without a gap.",
    )  # fmt: skip
    chapter.heading("Cycles not proven good")
    reasons = Counter((r.machine, r.why.partition(": ")[2] or r.why) for r in found.runs if r.verdict is Verdict.UNPROVEN)
    chapter.table(
        {"Machine": 1.5, "How many": 0.8, "Why": 6}, [(m, n, why) for (m, why), n in sorted(reasons.items())][:SHOWN_MOST],
        empty="None: each cycle was proven good or bad.",
    )  # fmt: skip
    chapter.heading("Loads that nobody decided on")
    loads = [(load, machine, clock.at(ms), short(entry)) for load, machine, ms, entry in found.undecided]
    chapter.table({"Load": 2, "Machine": 2, "Ran": 2, "Entry": 2}, loads, empty="None.")
    chapter.heading("Corrected and withdrawn")
    chapter.text(
        f"{len(amended)} entries of these days were corrected or withdrawn by a later entry; both stay in the book. "
        f"{late} entries came more than a day after the moment that they claim."
    )
    head = {"Received": 1.3, "By": 0.7, "Entry": 1.3, "What": 3.2, "Why": 2.5}
    chapter.table(head, [_amended(one, clock) for one in amended], empty="None.")
    for doubt in found.doubts:
        chapter.text(f"Not told: {doubt}.")
    return chapter


def _amended(one: Received, clock: Clock) -> tuple[str, ...]:
    data = one.entry.data
    told = "withdrawn"
    if isinstance(data, EntryCorrected):
        told = f"{data.field}: was {_value(data.field, data.was, clock)}, is {_value(data.field, data.now, clock)}"
    why = data.why if isinstance(data, EntryCorrected | EntryWithdrawn) else ""
    return clock.at(one.received), one.entry.by, short(one.entry.refers_to or ""), told, why


def _value(field: str, value: object, clock: Clock) -> str:
    moment = isinstance(value, int) and (field == "at" or field.endswith("_ms")) and value > A_MOMENT_MS
    return clock.at(value) if moment and isinstance(value, int) else "nothing" if value is None else f"{value!s:.60}"
