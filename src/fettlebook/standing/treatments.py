"""Each treatment of a chair's lines, held against what was planned: fill, contact and rinse by two clocks, strips, product, disturbances.

A treatment is the steps of one duty that fills a disinfectant in, leaves it to act and rinses it out. It is judged by the practice file,
the rulebook and the running times of its own day. The verdict of a step is that of `standing.steps`; this adds the numbers, the age of the
product, the strip at the feed and what came in between. Nothing is shortened, and what the book doesn't hold stays unproven.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from enum import StrEnum
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Duty, Origin, Step, Subject
from fettlebook.said import said
from fettlebook.standing.attempts import Attempt, attempts
from fettlebook.standing.basis import BOOK, DAY_MS, MOVES_WATER
from fettlebook.standing.evidence import CONTINUOUS
from fettlebook.standing.lengths import clocks_of, length_of
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict, worst
from fettlebook.standing.steps import AtChair, DutySays, StepSays, duty_says
from fettlebook.standing.treatment_parts import INTENSIVE, Part, ProductUsed, StripRead, disturbances, product_used, strips_read
from fettlebook.times.model import RunningTime
from fettlebook.times.words import clock

TIMED: Final = (Computed.FILL, Computed.CONTACT, Computed.RINSE)
APART_MS: Final = DAY_MS  # a contact over night is rinsed within a day: what comes later is another treatment
LONG_BY: Final = 1.25  # our own choice: a quarter more than planned, and a minute, is worth showing; it spoils nothing by itself
LONG_BY_S: Final = 60


class Held(StrEnum):
    """How the length of a step came out."""

    AS_PLANNED = "as planned"
    SHORT = "short"
    LONG = "long"
    INTERRUPTED = "interrupted"
    NOT_PROVEN = "not proven"
    MISSING = "not in the book"


@dataclass(frozen=True, slots=True)
class TimedStep:
    """One of fill, contact and rinse [s]. `achieved_s` is by the shorter clock; None: the book doesn't say.

    `wall_s` and `forward_s` are what the two clocks say, where there is one. Several groups of outlets are added up.
    """

    step: Step
    planned_s: int | None
    achieved_s: int | None
    wall_s: int | None
    forward_s: int | None
    tries: int
    held: Held
    verdict: Verdict
    why: str
    origin: Origin
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Treatment:
    """One treatment. Moments are ms since 1970 UTC."""

    chair: str
    duty: Duty
    began_ms: int
    ended_ms: int
    steps: tuple[TimedStep, ...]
    strips: tuple[StripRead, ...]
    product: ProductUsed
    disturbed: tuple[Part, ...]

    @property
    def parts(self) -> tuple[Part, ...]:
        """All that the verdict is made of."""
        timed = (Part(one.step.name, one.verdict, one.why, one.origin, one.evidence) for one in self.steps)
        return (self.product.part, *timed, *(strip.part for strip in self.strips), *self.disturbed)

    @property
    def verdict(self) -> Verdict:
        """The worst of its parts."""
        return worst(part.verdict for part in self.parts)

    @property
    def reasons(self) -> tuple[Part, ...]:
        """The parts that aren't fit."""
        return tuple(part for part in self.parts if part.verdict is not Verdict.FIT)


def treatments(look: Look, chair: Chair, since: int = 0) -> tuple[Treatment, ...]:
    """Return a chair's treatments that were begun from `since` [ms] on, oldest first; empty where the book has none.

    Parameters
    ----------
    look
        The moments asked about; each treatment is judged by what held on its own day.
    chair
        The chair, as the practice file of today has it.
    """
    duties = [duty for duty in look.basis.rulebook.duties if duty.subject is Subject.CHAIR and _treats(duty)]
    found = (one for duty in duties for one in treatments_of(look, chair, duty, since))
    return tuple(sorted(found, key=lambda one: (one.began_ms, one.duty.id)))


def treatments_of(look: Look, chair: Chair, duty: Duty, since: int = 0) -> tuple[Treatment, ...]:
    """Return a chair's treatments by one duty that were begun from `since` [ms] on, oldest first."""
    return tuple(sorted(_of_duty(look, chair, duty, since), key=lambda one: one.began_ms))


def _treats(duty: Duty) -> bool:
    return {Computed.FILL, Computed.CONTACT} <= {step.computes for step in duty.steps}


def _of_duty(look: Look, chair: Chair, duty: Duty, since: int) -> Iterator[Treatment]:
    steps = [step for step in duty.steps_on(chair) if _belongs(step)]
    tries = [(step, one) for step in steps for one in attempts(look, f"chair:{chair.id}", step.id, since)]
    for group in _groups(sorted(tries, key=lambda pair: (_begin(pair[1]), pair[1].newest.seq))):
        yield _judge(look, chair, duty, group)


def _belongs(step: Step) -> bool:
    return step.computes in TIMED or step.product == INTENSIVE or ("strip reading" in step.evidence and step.product != CONTINUOUS)


Tried = tuple[Step, Attempt]


def _groups(tries: Sequence[Tried]) -> Iterator[list[Tried]]:
    """Yield the tries of each treatment: a new one begins when product is filled in again after a contact was over, or a day later."""
    group: list[Tried] = []
    ended, contact_over = 0, False
    for step, one in tries:
        anew = contact_over and (step.product == INTENSIVE or step.computes is Computed.FILL)
        if group and (anew or _begin(one) - ended > APART_MS):
            yield group
            group, ended, contact_over = [], 0, False
        group.append((step, one))
        ended = max(ended, one.newest.happened)
        contact_over = contact_over or (step.computes is Computed.CONTACT and one.done is not None and not one.broken_off)
    if any(step.computes in TIMED for step, _ in group):
        yield group


def _begin(one: Attempt) -> int:
    if one.begun is not None:
        return one.begun.happened
    assert one.done is not None
    length = length_of(None, one.done)
    return one.done.happened - (length.ms if length else 0)


def _judge(look: Look, chair: Chair, duty: Duty, tries: Sequence[Tried]) -> Treatment:
    facts = [fact for _, one in tries for fact in (one.begun, one.done) if fact is not None]
    first, began, ended = min(f.happened for f in facts), min(_begin(one) for _, one in tries), max(f.happened for f in facts)
    then = replace(look, moment=ended, basis=look.then(ended), memo={})
    chair = then.basis.chairs.get(chair.id, chair)
    duty = next((one for one in then.basis.rulebook.duties if one.id == duty.id), duty)
    says = duty_says(AtChair(then, chair, first, frozenset(outlet.id for outlet in chair.outlets)), duty)
    timed = tuple(_timed(then, chair, duty, one, _of(tries, one.step)) for one in says.steps if one.step.computes in TIMED)
    return Treatment(
        chair.id, duty, began, ended, timed, tuple(strips_read(then, duty, _tries_by_step(tries))),
        product_used(then, duty, chair, _tries_by_step(tries)), tuple(_disturbed(then, chair, says, tries)),
    )  # fmt: skip


def _of(tries: Sequence[Tried], step: Step) -> list[Attempt]:
    return [one for tried, one in tries if tried.id == step.id]


def _tries_by_step(tries: Sequence[Tried]) -> dict[str, list[Attempt]]:
    return {step.id: _of(tries, step) for step, _ in tries}


def _timed(look: Look, chair: Chair, duty: Duty, says: StepSays, tries: list[Attempt]) -> TimedStep:
    time = look.basis.times.get((chair.id, duty.id, says.step.id))
    planned = time.seconds if time is not None else None
    counted = _counted(says.step, tries)
    lengths = [length_of(one.begun, one.done) for one in counted if one.done is not None]
    clocks = [clocks_of(one.begun, one.done) for one in counted if one.done is not None]
    achieved = _sum_s([None if length is None else length.ms for length in lengths])
    wall, forward = _sum_s([pair[0] for pair in clocks]), _sum_s([pair[1] for pair in clocks])
    held = _held(says, tries, planned, achieved)
    why = says.why
    if held is Held.LONG and planned is not None and achieved is not None:
        why = said(
            "{why}; {planned} more than planned: see whether the instructions for use name a longest time",
            why=why,
            planned=clock(achieved - planned),
        )
    return TimedStep(
        says.step, planned, achieved, wall, forward, len(tries), held, says.verdict, why, _origin(time, says.step), says.evidence
    )  # fmt: skip


def _counted(step: Step, tries: Sequence[Attempt]) -> list[Attempt]:
    """Return the tries whose lengths count: the newest at each outlet where water is moved, else the newest."""
    if step.computes not in MOVES_WATER:
        return list(tries[-1:])
    seen: set[str] = set()
    counted: list[Attempt] = []
    for one in reversed(tries):
        ran = set(one.newest.says.outlets or ())
        if ran - seen or not counted:
            counted.append(one)
            seen |= ran
    return counted


def _held(says: StepSays, tries: Sequence[Attempt], planned: int | None, achieved: int | None) -> Held:
    if not tries:
        return Held.AS_PLANNED if says.verdict is Verdict.FIT else Held.MISSING
    if tries[-1].broken_off or (tries[-1].done is None and says.verdict is not Verdict.FIT):
        return Held.INTERRUPTED if tries[-1].broken_off else Held.NOT_PROVEN
    if planned is None or achieved is None:
        return Held.NOT_PROVEN
    if achieved < planned and says.verdict is not Verdict.FIT:
        return Held.SHORT
    if says.verdict is not Verdict.FIT:
        return Held.NOT_PROVEN
    return Held.LONG if achieved > max(planned * LONG_BY, planned + LONG_BY_S) else Held.AS_PLANNED


def _sum_s(lengths_ms: Sequence[int | None]) -> int | None:
    known = [ms for ms in lengths_ms if ms is not None]
    return None if not known or len(known) < len(lengths_ms) else sum(known) // 1000


def _origin(time: RunningTime | None, step: Step) -> Origin:
    """Return who set the planned length: the origin of the candidate that set it."""
    if time is not None:
        for candidate in time.candidates:
            if candidate.set_by == time.set_by and candidate.origin is not None:
                return candidate.origin
    return step.origin


def _disturbed(look: Look, chair: Chair, says: DutySays, tries: Sequence[Tried]) -> Iterator[Part]:
    """Yield what came between the start of the contact that counts and its end."""
    contact = next((one for step, one in reversed(tries) if step.computes is Computed.CONTACT), None)
    if contact is not None and contact.begun is not None and contact.done is not None:
        mine = {fact.entry for _, one in tries for fact in (one.begun, one.done) if fact is not None}
        contacts = next((one.step for one in says.steps if one.step.computes is Computed.CONTACT), None)
        origin = contacts.origin if contacts is not None else BOOK
        yield from disturbances(look, chair, (contact.begun.happened, contact.done.happened), mine, origin)
