"""What can happen on a day: the choices that a page offers for each, and the event that a choice stands for, in words.

A form's fields come in as text and are taken only where they name what the day has; anything else is said, never guessed.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from datetime import time
from typing import Final, Literal

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.events import ChairOut, Emergency, Event, FailedCycle, MachineOut, Missing, Overrun, SetsHeld
from fettlebook.plan.follow import Course
from fettlebook.practice.model import Practice
from fettlebook.said import said, said_count

Kind = Literal["over", "failed", "missing", "machine", "held", "urgent", "chair"]
KINDS: Final[dict[str, tuple[str, str]]] = {
    "over": (said("A visit runs over"), said("It takes longer than booked.")),
    "failed": (said("A load failed"), said("Its sets count as used again.")),
    "missing": (said("Somebody is missing"), said("Gone, ill, or comes later.")),
    "machine": (said("A machine is out"), said("A washer or a sterilizer.")),
    "held": (said("Sets can't be used"), said("In quarantine, lost or broken.")),
    "urgent": (said("A visit that can't wait"), said("Put into the running day.")),
    "chair": (said("A chair is out"), said("No visit begins on it.")),
}
OVER_MIN: Final = (5, 10, 15, 20, 30, 45, 60)
URGENT_MIN: Final = (15, 20, 30, 45, 60)
AWAY_MIN: Final = (30, 60, 120, 180)
HELD_MOST: Final = 40
ANY: Final = "any"

Fields = Mapping[str, Sequence[str]]


@dataclass(frozen=True, slots=True)
class Choice:
    """One tile: what it stands for, what it says, and a smaller line below."""

    value: str
    text: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Question:
    """One question of a form; `many`: any number of tiles may be chosen, also none."""

    name: str
    text: str
    choices: tuple[Choice, ...]
    chosen: str = ""
    many: bool = False


def minute_of(basis: Basis, text: str) -> int:
    """Return the minute of the day that a time field names; raises `Mendable` where it names none."""
    try:
        at = time.fromisoformat(text)
    except ValueError:
        raise Mendable(said("{text!r} is no time", text=text), where="from when on", mend=said("Write it as 10:30.")) from None
    return basis.maps.clock.wall(at)


def inside(course: Course, minute: int) -> int:
    """Return the minute of the course that is nearest: from what was planned again last to the end of the day."""
    day = course.day
    return min(max(minute, day.day_start if day.now is None else day.now), day.day_end)


def questions(kind: Kind, basis: Basis, course: Course, practice: Practice, at: int) -> tuple[Question, ...]:
    """Return what a form asks for one kind of happening at a minute."""
    minute = basis.words.minute
    match kind:
        case "over":
            return (
                Question("visit", said("Which visit?"), _visits(course, at, minute)),
                Question("minutes", said("How much longer?"), tuple(Choice(str(m), said("{m} min", m=m)) for m in OVER_MIN), "15"),
            )
        case "failed":
            return (Question("machine", said("Which load?"), _loads(course, at, minute)),)
        case "missing":
            people = tuple(Choice(p.id, p.id, said("until {to}", to=minute(p.to))) for p in course.day.people if p.to > at)
            return (Question("person", "Who?", people), _until(at, minute, said("comes back")))
        case "machine":
            machines = tuple(Choice(m.id, m.id) for m in (*course.day.washers, *course.day.sterilizers))
            return (Question("machine", said("Which machine?"), machines), _until(at, minute, said("is back")))
        case "held":
            most = max(course.day.owned().values(), default=0)
            types = tuple(Choice(t, t, said("{n} owned", n=n)) for t, n in course.day.owned().items() if n)
            return (
                Question("set", said("Which sets?"), types),
                Question("count", said("How many?"), tuple(Choice(str(n), str(n)) for n in range(1, min(most, HELD_MOST) + 1)), "1"),
            )
        case "chair":
            chairs = tuple(Choice(c.id, c.id) for c in course.day.chairs if c.id not in course.shut)
            onto = Question("onto", said("Its visits may go to (leave all out: they wait, or are not served)"), chairs, many=True)
            return (Question("chair", said("Which chair?"), chairs), _until(at, minute, said("is back")), onto)
        case "urgent":
            anywhere = Choice(ANY, said("where it costs least"))
            chairs = tuple(Choice(c.id, c.id) for c in course.day.chairs if c.id not in course.shut)
            kinds = tuple(
                Choice(k.id, k.name, ", ".join(f"{n} {t}" for t, n in k.uses.items()) or said("no sets")) for k in practice.visit_kinds
            )
            return (
                Question("kind", said("With the sets of"), kinds, practice.calendar.default_visit_kind or ""),
                Question("minutes", said("How long?"), tuple(Choice(str(m), said("{m} min", m=m)) for m in URGENT_MIN), "30"),
                Question("chair", "Where?", (anywhere, *chairs), ANY),
            )


def _until(at: int, minute: Callable[[int], str], word: str) -> Question:
    back = tuple(Choice(str(at + m), said("{word} at {m}", word=word, m=minute(at + m)), said("in {m} min", m=m)) for m in AWAY_MIN)
    return Question("until", said("Until when?"), (Choice("", said("not today any more")), *back), "")


def _visits(course: Course, at: int, minute: Callable[[int], str]) -> tuple[Choice, ...]:
    """Offer the visits that run at a minute first, then the others that have not ended, in order."""
    starts = {v.id: v.start for v in course.plan.visits}
    there = [(v, starts[v.id]) for v in course.day.visits if v.id in starts and starts[v.id] + v.minutes > at]
    ordered = sorted(there, key=lambda x: (x[1] >= at, x[1], x[0].chair))
    return tuple(
        Choice(
            v.id,
            v.id,
            said("runs until {minutes}", minutes=minute(start + v.minutes)) if start < at else said("begins {start}", start=minute(start)),
        )
        for v, start in ordered
    )


def _loads(course: Course, at: int, minute: Callable[[int], str]) -> tuple[Choice, ...]:
    """Offer the newest load of each machine, where it has one."""
    lengths = {m.id: m for m in (*course.day.washers, *course.day.sterilizers)}
    out = []
    for name, machine in lengths.items():
        last = max((b for b in course.plan.batches if b.machine == name and b.load_start < at), key=lambda b: b.load_start, default=None)
        if last is not None:
            ends = last.start + machine.cycle_minutes(last.cycle)
            sets = said_count("{n} set", "{n} sets", n=len(last.units))
            out.append(
                Choice(
                    name,
                    name,
                    said(
                        "{sets}, loaded {load_start}, {ends} {ends2}",
                        sets=sets,
                        load_start=minute(last.load_start),
                        ends=said("runs until") if ends > at else said("ended"),
                        ends2=minute(ends),
                    ),
                )
            )
    return tuple(out)


def event_of(kind: Kind, fields: Fields, asked: Sequence[Question], practice: Practice, minute: Callable[[int], str]) -> tuple[Event, str]:
    """Return the event that a sent form stands for, and its words.

    Raises
    ------
    Mendable
        A question was left open, or an answer is none of those offered.
    """
    answers = {question.name: _answer(question, fields) for question in asked}
    until = int(answers["until"][0]) if answers.get("until", ("",))[0] else None
    back = said("for the rest of the day") if until is None else said("until {until}", until=minute(until))
    match kind:
        case "over":
            visit, minutes = answers["visit"][0], int(answers["minutes"][0])
            return Overrun(visit, minutes), said("the visit {visit} takes {minutes} min longer", visit=visit, minutes=minutes)
        case "failed":
            machine = answers["machine"][0]
            return FailedCycle(machine), said("the load in {machine} failed", machine=machine)
        case "missing":
            person = answers["person"][0]
            return Missing(person, until), said("{person} is missing {back}", person=person, back=back)
        case "machine":
            machine = answers["machine"][0]
            return MachineOut(machine, until), said("{machine} is out {back}", machine=machine, back=back)
        case "held":
            held, count = answers["set"][0], int(answers["count"][0])
            return SetsHeld(held, count), said("{count} of {held} can't be used", count=count, held=held)
        case "chair":
            chair, onto = answers["chair"][0], tuple(c for c in answers["onto"] if c != answers["chair"][0])
            return ChairOut(chair, until, onto), said("{chair} is out {back}", chair=chair, back=back)
        case "urgent":
            uses = next(k.uses for k in practice.visit_kinds if k.id == answers["kind"][0])
            minutes, chair = int(answers["minutes"][0]), answers["chair"][0]
            needs = tuple(t for t, n in uses.items() for _ in range(n))
            where = said("where it costs least") if chair == ANY else said("on {chair}", chair=chair)
            return Emergency(minutes, None if chair == ANY else chair, needs), said(
                "a visit of {minutes} min that can't wait, {where}", minutes=minutes, where=where
            )


def _answer(question: Question, fields: Fields) -> tuple[str, ...]:
    given = tuple(fields.get(question.name, ()))
    offered = {c.value for c in question.choices}
    if not question.choices and not question.many:
        raise Mendable(
            said("there is nothing to choose from"), where=question.text, mend=said("Go back: this can't have happened at this minute.")
        )
    if not question.many and len(given) != 1:
        raise Mendable(said("not answered"), where=question.text, mend=said("Choose one."))
    for value in given:
        if value not in offered:
            raise Mendable(
                said("{it!r} is none of the choices", it=value[:80]), where=question.text, mend=said("Open the page again and choose.")
            )
    return given
