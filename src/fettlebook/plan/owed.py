"""What is owed on a day beside its visits: from the rulebook (suction at the end of a session) and from the standing (what is due).

Comes in: practice, running times, the visits of the day, and what the standing says is due. Goes out: duties with their
windows for the slack of the plan, what goes before a chair's first visit, and what is said instead. A length that nobody
knows holds a stand-in of time and says so.
"""

from collections.abc import Iterable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import groupby

from fettlebook.errors import Finding
from fettlebook.plan.dayclock import DayClock
from fettlebook.plan.detail import Duty, DutyStep, OwedTest
from fettlebook.plan.instance import Person
from fettlebook.plan.instance import Visit as DayVisit
from fettlebook.practice.model import Practice, Skill
from fettlebook.rules.model import Rulebook, When
from fettlebook.said import said
from fettlebook.standing.model import Owed
from fettlebook.times.model import RunningTime

OWED_STAND_IN_MIN = 5  # held for what is due and of unknown length
_WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")
_IN_THE_CHAIRS_DAY = (When.BEFORE_FIRST_VISIT, When.BETWEEN_VISITS, When.END_OF_DAY, When.END_OF_SESSION)
# Used sets ride the plan's own loads; a repair, or a word in the practice file, has no length.
_NO_WORK_OF_THE_PLAN = ("process", "return", "file")


@dataclass(frozen=True, slots=True)
class Owing:
    """What the standing says is due on the day, under which rulebook."""

    due: tuple[Owed, ...]
    rulebook: Rulebook

    def when(self, owed: Owed) -> When | None:
        """Return when the rulebook asks for a duty; None for a machine's own test, a sample, a release."""
        return next((d.when for d in self.rulebook.duties if d.id == owed.duty_id), None)

    def before_opening(self, chair: str) -> Owed | None:
        """Return what a chair owes after standing still: it goes before the opening, and no visit begins without it."""
        found = (o for o in self.due if o.subject == f"chair:{chair}" and self.when(o) is When.AFTER_STANDING_STILL)
        return next(found, None)

    def tests_before(self, machine: str) -> tuple[OwedTest, ...]:
        """Return what the rulebook asks of a machine before its first load."""
        found = [o for o in self.due if o.subject == f"machine:{machine}" and self.when(o) is When.BEFORE_FIRST_LOAD]
        return tuple(
            OwedTest(name=o.name[:200], attended_minutes=_minutes(o.attended_s), alone_minutes=_minutes(o.unattended_s))
            for o in found
            if o.attended_s or o.unattended_s
        )


@dataclass(frozen=True, slots=True)
class Day:
    """The frame in which duties are placed."""

    clock: DayClock
    start: int
    end: int
    people: tuple[Person, ...]
    places: frozenset[str] = frozenset()  # chairs and machines of the plan; a duty on another subject takes only its person
    tested: frozenset[str] = frozenset()  # machines whose tests before the first load are in the plan already

    def who(self, practice: Practice, *skills: Skill) -> tuple[str, ...]:
        """Return those who are in and have one of the skills; all who are in where nobody has."""
        able = {p.id for p in practice.people if set(skills) & set(p.skills)}
        return tuple(p.id for p in self.people if p.id in able) or tuple(p.id for p in self.people)


# --- from the rulebook -------------------------------------------------------------------------------------------------


def session_duties(practice: Practice, steps: dict[str, tuple[DutyStep, ...]], visits: Iterable[DayVisit], day: Day) -> list[Duty]:
    """Return what each chair owes at the end of each session: after its last visit, before the next session begins.

    Parameters
    ----------
    practice
        The practice file; its opening hours are the sessions.
    steps
        Chair -> the steps of its duties at the end of a session.
    visits
        The visits of the day.
    day
        The frame.
    """
    out = []
    begins = sessions(practice, day.clock)
    who = day.who(practice, Skill.CHAIRS)
    for chair, own_steps in steps.items():
        own = sorted((v for v in visits if v.chair == chair), key=lambda v: v.booked)
        for k, group in groupby(own, key=lambda v: sum(v.booked >= b for b in begins[1:])):
            last = list(group)[-1]
            until = begins[k + 1] if k + 1 < len(begins) else day.end
            out.append(
                Duty(
                    id=f"{chair}: end of session {k + 1}",
                    name=said("end of session"),
                    steps=own_steps,
                    earliest=last.booked + last.minutes,
                    latest=max(until, last.booked + last.minutes),
                    subject=chair,
                    who=who,
                    after=last.id,
                )
            )
    return out


def sessions(practice: Practice, clock: DayClock) -> list[int]:
    """Return when each session of the day begins, by the opening hours; one where they say nothing."""
    today = _WEEKDAYS[clock.day.weekday()]
    return sorted(clock.wall(o.from_) for o in practice.opening if today in o.days) or [0]


# --- from the standing ---------------------------------------------------------------------------------------------------


def due_duties_of(practice: Practice, owing: Owing, times: tuple[RunningTime, ...], day: Day) -> tuple[list[Duty], list[Finding]]:
    """Return what is due as duties, and what is said instead.

    Parameters
    ----------
    practice, owing, times
        The practice file, what is due, the running times.
    day
        The frame.
    """
    duties: list[Duty] = []
    findings: list[Finding] = []
    daily = {(m.id, t.id) for m in practice.machines for t in m.tests if t.every == "day"}
    for o in owing.due:
        kind, _, name = o.subject.partition(":")
        when = owing.when(o)
        if o.duty_id == "return":
            findings.append(
                Finding(
                    said("{name} is out of service in the book", name=name),
                    "day plan",
                    said("Plan without it, or return it to service by name."),
                    "warning",
                )
            )
        own_test = kind == "machine" and name in day.tested and ((name, o.duty_id) in daily or when is When.BEFORE_FIRST_LOAD)
        at_opening = kind == "chair" and when is When.AFTER_STANDING_STILL  # a chair without visits owes it another day
        still = owing.before_opening(name) if kind == "chair" and name in day.places else None
        sampled = o.duty_id == "sample" and still is not None and any(step.endswith(".sample") for step in still.steps)
        if sampled or o.duty_id in _NO_WORK_OF_THE_PLAN or own_test or at_opening or (kind == "chair" and when in _IN_THE_CHAIRS_DAY):
            continue
        who = day.who(practice, *_SKILLS.get("release" if o.duty_id == "release" else kind, (Skill.LEAD,)))
        earliest, latest = day.start, _due_minute(o, day)
        for part, steps in _parts(o, owing, times):
            duties.append(
                Duty(
                    id=f"{o.subject} {part}",
                    name=o.name[:300],
                    steps=steps,
                    earliest=earliest,
                    latest=latest,
                    subject=name if name in day.places else None,
                    who=who,
                )
            )
    return duties, findings


_SKILLS = {"chair": (Skill.CHAIRS,), "machine": (Skill.INSTRUMENTS,), "release": (Skill.RELEASE,), "load": (Skill.RELEASE,)}


def _parts(owed: Owed, owing: Owing, times: tuple[RunningTime, ...]) -> Iterator[tuple[str, tuple[DutyStep, ...]]]:
    """Cut a weekly duty into its steps, which need not follow each other; anything else is done in one go, hands first."""
    duty = next((d for d in owing.rulebook.duties if d.id == owed.duty_id), None)
    if duty is not None and duty.when is When.WEEKLY and owed.steps:
        chair = owed.subject.removeprefix("chair:") if owed.subject.startswith("chair:") else None
        own = {t.step_id: t.seconds for t in times if t.chair == chair and t.duty_id == owed.duty_id}
        for step in (s for s in duty.steps if s.id in owed.steps):
            seconds = own.get(step.id) if chair else round(step.seconds or 0)
            part = step.id if len(owed.steps) > 1 else owed.duty_id
            yield part, (_step(step.name, seconds or 0, attended=step.attended),)
        return
    steps = []
    if owed.attended_s or not owed.unattended_s:
        steps.append(_step(owed.name, owed.attended_s, attended=True))
    if owed.unattended_s:
        steps.append(_step(f"{owed.name}: runs alone", owed.unattended_s, attended=False))
    yield owed.duty_id, tuple(steps)


def _step(name: str, seconds: int, *, attended: bool) -> DutyStep:
    unknown = "" if seconds else said(" (length unknown: time held)")
    return DutyStep(name=name[:170] + unknown, minutes=_minutes(seconds) or OWED_STAND_IN_MIN, attended=attended)


def _minutes(seconds: int) -> int:
    return -(-seconds // 60)


def _due_minute(owed: Owed, day: Day) -> int:
    """Return by when it should be done: when it is due, if that lies in the working day; else by the end of the day."""
    if owed.due_ms is None:
        return day.end
    at = day.clock.minute_up(datetime.fromtimestamp(owed.due_ms / 1000, UTC))
    return at if day.start < at < day.end else day.end


def outages(practice: Practice, chair: str, clock: DayClock) -> tuple[tuple[int, int], ...]:
    """Return the stretches of a day in which the practice file says that a chair can't be used."""
    own = next(c.out for c in practice.chairs if c.id == chair)
    spans = ((clock.wall(o.from_), clock.wall(o.to)) for o in own if o.on == clock.day)
    return tuple((a, b) for a, b in spans if a < b)
