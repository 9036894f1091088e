"""The printable day sheet: an A4 PDF with the chairs first and then a list for each person, made by typst.

Tagged as PDF/UA-1. The data go in as JSON, never as source text, and only the font of this package is used, so the same
plan and moment give the same bytes on every machine.
"""

import io
from collections.abc import Callable, Mapping
from datetime import datetime, timedelta
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import segno

from fettlebook import __version__
from fettlebook.book.checkpoint import Checkpoint
from fettlebook.exchange.paper.cards import CAUTION, PAGE, PAGES, made_parts
from fettlebook.exchange.paper.typeset import Voice, typeset
from fettlebook.plan.day import DayPlan, Task
from fettlebook.practice.model import Practice
from fettlebook.said import joined, said, said_number, term
from fettlebook.web.board import WORD, Block, Lane, lay_out
from fettlebook.web.wording import VERDICT_SHAPE, VERDICT_WORD, clock, length, long_day, unit

HERE: Final = Path(__file__).parent
CHAIR_KINDS: Final = ("opening", "turnover", "closing")
WORDS: Final = {
    "invented": said("invented data"),
    "invented_long": said("No such practice exists; do not work by this sheet."),
    "invented_head": said("Invented data."),
    "changed": said("What changed since is on the page, not on this paper."),
    "page": said("Page {page} of {pages}", page=PAGE, pages=PAGES),
    "attention": said("What does not go as booked"),
    "mend": said("Mend:"),
    "chairs": said("The chairs"),
    "strip": said("Tall and white: a visit. Low and grey: work on the chair."),
    "nothing": said("Nothing booked."),
    "booked": said("Booked"),
    "starts": said("Starts"),
    "ends": said("Ends"),
    "visit": said("Visit"),
    "reference": said("Reference"),
    "tick": said("Tick what is done; the book is the record, this paper is not."),
    "from": said("From"),
    "to": said("To"),
    "where": said("Where"),
    "what": said("What, and how long it takes hands"),
    "done": said("Done"),
    "steps": said("The steps"),
    "as_planned": said(
        "As planned for this day: what runs alone is held up to a minute longer than its running time. "
        "The instructions for use and the label come first."
    ),
    "step": said("Step"),
    "length": said("Length"),
    "needs": said("Needs"),
    "book": said("The book when this was made"),
    "code": said("Code with the three lines beside it"),
    "keep": said("Keep this paper: the book can be held against these three lines later."),
    "by_eye": said("To compare by eye:"),
    "type": said("Type or scan the lines into a file, then:"),
}


def day_sheet(plan: DayPlan, practice: Practice, made_at: datetime, book: Checkpoint | None = None, *, voice: Voice | None = None) -> bytes:
    """Return the day sheet as PDF.

    Parameters
    ----------
    plan
        The day's plan.
    practice
        Names of chairs, people and visit kinds.
    made_at
        The moment that the sheet bears, aware.
    book
        Where the book stands, for whoever will want to see that nothing in it was changed since; None: no book, or an empty one.
    voice
        The language that it is printed in; None: English.

    Raises
    ------
    RuntimeError
        The typesetter warned (a missing font, say): a sheet that came out wrong is not handed out.
    """
    content = {**_content(plan, practice, made_at), "book": _book(book) if book and book.size else None}
    return typeset(HERE / "sheet.typ", content, voice)


def _content(plan: DayPlan, practice: Practice, made_at: datetime) -> dict[str, Any]:
    zone = ZoneInfo(practice.practice.time_zone)
    made = made_at.astimezone(zone)

    def say(moment: datetime) -> str:
        return clock(moment, zone)

    board = lay_out(plan, practice, "chair")
    span = _span(plan, say)
    people = [
        {
            "name": lane.name,
            "minutes": said("{length} of work.", length=length(60 * plan.attended_minutes.get(lane.id, 0))),
            "runs": [
                {
                    "start": say(b.start),
                    "end": say(b.end),
                    "where": b.where if len({t.place for t in b.tasks}) == 1 else said("several"),
                    "what": _jobs(b),
                }
                for b in lane.blocks
            ],
        }
        for lane in lay_out(plan, practice, "person").lanes
        if lane.blocks
    ]
    return {
        "title": said("Day sheet, {day}", day=long_day(plan.day)),
        "words": WORDS,
        "practice": practice.practice.name,
        "invented": practice.practice.invented,
        "verdict": VERDICT_WORD[plan.verdict],
        "shape": VERDICT_SHAPE[plan.verdict],
        "line": plan.line,
        "how": said("Planned by {method}.", method=term(plan.method)),
        "caution": CAUTION,
        "made": made_parts(made),
        "made_by": said(
            "Made {day} {clock} with fettlebook {version}.", day=long_day(made.date()), clock=say(made), version=__version__
        ),
        "attention": _attention(plan, say),
        "span": span,
        "chairs": [_chair(lane, plan, practice, say) for lane in board.lanes],
        "people": people,
        "duties": _duties(plan, practice),
    }  # fmt: skip


def _book(book: Checkpoint) -> dict[str, str]:
    """Return where the book stands: as lines to type, in short to compare by eye, as a code to scan."""
    code = io.BytesIO()
    segno.make(book.text(), error="m", micro=False).save(code, kind="svg", border=4, xmldecl=False)
    return {
        "lines": book.text().strip(),
        "entries": said("{size} entries.", size=said_number(book.size, ",")),
        "short": book.short(),
        "code": code.getvalue().decode(),
    }


def _jobs(block: Block) -> str:
    """Return what is done in one run, with the length of hands; places only where the run has several."""
    jobs: dict[tuple[str, str], tuple[float, list[str]]] = {}
    for task in block.tasks:
        job = term(WORD[task.kind]) if task.kind in (*CHAIR_KINDS, "pack") else task.what
        seconds, units = jobs.get((task.place, job), (0.0, []))
        packed = [*units, *map(unit, task.units)] if task.kind == "pack" else []
        jobs[task.place, job] = (seconds + (task.end - task.start).total_seconds(), packed)
    several = len({place for place, _ in jobs}) > 1
    return joined(
        "; ",
        [
            joined(
                "",
                (f"{place}: " if several and not packed else "", job, f" {', '.join(packed)}" if packed else "", f" ({length(seconds)})"),
            )
            for (place, job), (seconds, packed) in jobs.items()
        ],
    )


def _duties(plan: DayPlan, practice: Practice) -> list[dict[str, Any]]:
    """Return the steps of each kind of chair work once, with the chairs on which it goes so."""
    found: dict[tuple[str, tuple[str, ...]], dict[str, tuple[Task, ...]]] = {}
    for lane in lay_out(plan, practice, "chair").lanes:
        for kind in CHAIR_KINDS:
            once: dict[str, Task] = {}
            for task in (task for block in lane.blocks for task in block.tasks if task.kind == kind):
                if task.what in once:
                    break  # the next visit's round of the same steps
                once[task.what] = task
            if once:
                found.setdefault((kind, tuple(once)), {})[lane.name] = tuple(once.values())
    return [
        {
            "name": joined(", ", (term(WORD[kind]), *chairs)),
            "steps": [
                {"what": what, "length": _lengths({chair: tasks[n] for chair, tasks in chairs.items()}), "needs": _needs(chairs, n)}
                for n, what in enumerate(steps)
            ],
        }
        for (kind, steps), chairs in sorted(found.items(), key=lambda item: CHAIR_KINDS.index(item[0][0]))
    ]


def _lengths(tasks: Mapping[str, Task]) -> str:
    spelled = {chair: length((task.end - task.start).total_seconds()) for chair, task in tasks.items()}
    return (
        next(iter(spelled.values())) if len(set(spelled.values())) == 1 else "; ".join(f"{chair} {text}" for chair, text in spelled.items())
    )


def _needs(chairs: Mapping[str, tuple[Task, ...]], n: int) -> str:
    return said("hands") if next(iter(chairs.values()))[n].attended else said("runs alone")


def _attention(plan: DayPlan, say: Callable[[datetime], str]) -> list[dict[str, str]]:
    items = []
    for visit in sorted(plan.visits, key=lambda v: v.booked.timestamp()):
        place, booked = visit.chair, say(visit.booked)
        if visit.start is None:
            what = said("{chair}, {booked}: no place in this plan.", chair=place, booked=booked)
            items.append({"what": what, "where": visit.why, "mend": ""})
        elif visit.minutes_late:
            late = said(
                "{chair}, {booked}: starts {start}, {n} min late.", chair=place, booked=booked, start=say(visit.start), n=visit.minutes_late
            )
            items.append({"what": late, "where": "", "mend": ""})
    return items + [
        {"what": s.what + ".", "where": joined(", ", [part for part in (s.where, s.when) if part]) + ".", "mend": s.mend}
        for s in plan.shortages
    ]


def _span(plan: DayPlan, say: Callable[[datetime], str]) -> dict[str, Any]:
    if not plan.tasks:
        return {"start": 0.0, "minutes": 1, "ticks": []}
    first = min(task.start.timestamp() for task in plan.tasks) // 3600 * 3600
    last = -(-max(task.end.timestamp() for task in plan.tasks) // 3600) * 3600
    zone_start = plan.tasks[0].start + timedelta(seconds=first - plan.tasks[0].start.timestamp())
    hours = range(int((last - first) // 3600))
    ticks = [{"at": 60 * h, "text": say(datetime.fromtimestamp(first + 3600 * h, tz=zone_start.tzinfo))} for h in hours]
    return {"start": first, "minutes": 60 * len(hours), "ticks": ticks}


def _chair(lane: Lane, plan: DayPlan, practice: Practice, say: Callable[[datetime], str]) -> dict[str, Any]:
    first = _span(plan, say)["start"]
    kinds = {kind.id: kind.name for kind in practice.visit_kinds}
    ends = {task.visit: task.end for task in plan.tasks if task.kind == "visit"}
    return {
        "name": lane.name,
        "blocks": [{"at": (b.start.timestamp() - first) / 60, "length": b.minutes, "visit": b.family == "visit"} for b in lane.blocks],
        "visits": [
            {
                "booked": say(visit.booked),
                "start": say(visit.start) if visit.start else said("no place"),
                "end": say(ends[visit.ref]) if visit.ref in ends else "",
                "late": visit.minutes_late,
                "kind": kinds.get(visit.visit_kind, visit.visit_kind),
                "ref": visit.ref[:8],
            }
            for visit in sorted(plan.visits, key=lambda v: v.booked.timestamp())
            if visit.chair == lane.id
        ],
    }
