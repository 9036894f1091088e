"""Suction: how well each hose draws, as a control chart, and each end-of-session care held against rulebook and label.

The chart is a picture for people: no rulebook so far names a figure, so a hose that draws less is shown and nothing is judged by it.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Duty, Step, Subject
from fettlebook.said import joined, said
from fettlebook.science.charts import Chart, chart_says
from fettlebook.standing.attempts import Attempt, attempts
from fettlebook.standing.basis import HOUR_MS
from fettlebook.standing.lengths import length_of
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict, worst
from fettlebook.standing.steps import AtChair, duty_says
from fettlebook.standing.treatment_parts import Part

CLEANER: Final = "suction"  # as the rulebook names the product of a step
APART_MS: Final = 12 * HOUR_MS


@dataclass(frozen=True, slots=True)
class HoseDraws:
    """Readings of one hose by one way of measuring (`s/L` or `Pa`), oldest first, and what the chart says of them."""

    chair: str
    hose: str
    unit: str
    taken_ms: tuple[int, ...]
    readings: tuple[float, ...]
    chart: Chart | None
    says: str  # steady, beyond its limits, drifting, or why nothing can be said

    @property
    def steady(self) -> bool | None:
        """Whether it draws as it did; None: it can't be told."""
        return None if self.chart is None else self.says == "steady"


def hoses_draw(look: Look, chair: Chair, since: int = 0) -> tuple[HoseDraws, ...]:
    """Return the readings of a chair's suction hoses; two ways of measuring are never put into one chart."""
    facts = list(look.forward(f"chair:{chair.id}", "drew", since=since))
    found: list[HoseDraws] = []
    for hose in chair.suction:
        mine = [fact for fact in facts if fact.says.hose == hose.id]
        litres = [(f.happened, f.says.s_per_l) for f in mine if f.says.s_per_l is not None]
        gauged = [(f.happened, float(f.says.gauge_pa)) for f in mine if f.says.gauge_pa is not None]
        series = [("s/L", litres), ("Pa", gauged)]
        found.extend(_hose(chair.id, hose.id, unit, rows) for unit, rows in series if rows or (unit == "s/L" and not mine))
    return tuple(found)


def _hose(chair: str, hose: str, unit: str, rows: Sequence[tuple[int, float]]) -> HoseDraws:
    readings = tuple(value for _, value in rows)
    drawn, says = chart_says(readings)
    return HoseDraws(chair, hose, unit, tuple(at for at, _ in rows), readings, drawn, says)


@dataclass(frozen=True, slots=True)
class SuctionCare:
    """One end-of-session care of a chair's hoses. `dwell_s` is by the shorter clock."""

    chair: str
    duty: Duty
    began_ms: int
    amount_ml: int | None
    planned_s: int | None
    dwell_s: int | None
    parts: tuple[Part, ...]

    @property
    def verdict(self) -> Verdict:
        """The worst of its parts."""
        return worst(part.verdict for part in self.parts)

    @property
    def reasons(self) -> tuple[Part, ...]:
        """The parts that aren't fit."""
        return tuple(part for part in self.parts if part.verdict is not Verdict.FIT)


Tried = tuple[Step, Attempt]


def suction_care(look: Look, chair: Chair, since: int = 0) -> tuple[SuctionCare, ...]:
    """Return each care of a chair's suction hoses from `since` [ms] on, oldest first."""
    if not chair.suction:
        return ()
    duties = [d for d in look.basis.rulebook.duties if d.subject is Subject.CHAIR]
    cared = [d for d in duties if any(s.computes is Computed.SUCTION_CONTACT for s in d.steps)]
    return tuple(sorted((one for duty in cared for one in _of_duty(look, chair, duty, since)), key=lambda one: one.began_ms))


def _of_duty(look: Look, chair: Chair, duty: Duty, since: int) -> Iterator[SuctionCare]:
    steps = [step for step in duty.steps_on(chair) if step.only == "suction"]
    tries = [(step, one) for step in steps for one in attempts(look, f"chair:{chair.id}", step.id, since)]
    group: list[Tried] = []
    for step, one in sorted(tries, key=lambda pair: (_first(pair[1]), pair[1].newest.seq)):
        if group and (step.product == CLEANER or _first(one) - group[-1][1].newest.happened > APART_MS):
            yield _judge(look, chair, duty, group)
            group = []
        group.append((step, one))
    if group:
        yield _judge(look, chair, duty, group)


def _first(one: Attempt) -> int:
    return min(fact.happened for fact in (one.begun, one.done) if fact is not None)


def _judge(look: Look, chair: Chair, duty: Duty, tries: Sequence[Tried]) -> SuctionCare:
    began, ended = min(_first(one) for _, one in tries), max(one.newest.happened for _, one in tries)
    then = replace(look, moment=ended, basis=look.then(ended), memo={})
    chair = then.basis.chairs.get(chair.id, chair)
    duty = next((one for one in then.basis.rulebook.duties if one.id == duty.id), duty)
    says = duty_says(AtChair(then, chair, began, frozenset()), duty)
    parts = [Part(s.step.name, s.verdict, s.why, s.step.origin, s.evidence) for s in says.steps if s.step.only == "suction"]
    cleaner = next((pair for pair in reversed(tries) if pair[0].product == CLEANER), None)
    contact = next((pair for pair in reversed(tries) if pair[0].computes is Computed.SUCTION_CONTACT), None)
    amount: int | None = None
    if cleaner is not None and cleaner[1].done is not None:
        amounts = [v for name, v in (cleaner[1].done.says.readings or {}).items() if name.endswith("_ml")]
        amount = sum(amounts) if amounts else None
        parts.extend(_hoses_and_amount(chair, cleaner, amount))
    parts.extend(_order(tries, contact))
    time = then.basis.times.get((chair.id, duty.id, contact[0].id)) if contact is not None else None
    length = length_of(contact[1].begun, contact[1].done) if contact is not None and contact[1].done is not None else None
    return SuctionCare(
        chair.id, duty, began, amount, time.seconds if time else None, length.ms // 1000 if length else None, tuple(parts)
    )  # fmt: skip


def _hoses_and_amount(chair: Chair, cleaner: Tried, amount: int | None) -> Iterator[Part]:
    step, one = cleaner
    assert one.done is not None
    every, ran, entries = {hose.id for hose in chair.suction}, one.done.says.suction, (one.done.entry,)
    left_out = sorted(every - set(ran or ()))
    if ran is None:
        yield Part(said("through every hose"), Verdict.UNPROVEN, said("its entry names no hoses"), step.origin, entries)
    elif left_out:
        yield Part(
            said("through every hose"),
            Verdict.UNPROVEN,
            said("not in the book for {left_out}", left_out=joined(", ", left_out)),
            step.origin,
            entries,
        )
    else:
        yield Part(
            said("through every hose"), Verdict.FIT, said("through {every}", every=joined(", ", sorted(every))), step.origin, entries
        )
    if "amount" in step.evidence:
        verdict, why = (
            (Verdict.UNPROVEN, said("how much is not in the book")) if amount is None else (Verdict.FIT, said("{amount} mL", amount=amount))
        )
        if amount == 0:
            verdict = Verdict.UNFIT
        yield Part(said("amount drawn through"), verdict, why, step.origin, entries)


def _order(tries: Sequence[Tried], contact: Tried | None) -> Iterator[Part]:
    """Hold the order: the cleaner, then its contact, and only then what follows in the rulebook, such as the filters."""
    if contact is None or contact[1].done is None:
        return
    began, over = contact[1].begun, contact[1].done
    for step, one in tries:
        if step.id == contact[0].id or one.done is None:
            continue
        if step.product == CLEANER and began is not None and began.happened < one.done.happened:
            why = said("the contact was begun before '{name}' was over", name=step.name)
            yield Part(said("in order"), Verdict.UNPROVEN, why, contact[0].origin, (one.done.entry, began.entry))
        elif step.product != CLEANER and one.done.happened < over.happened:
            why = said("'{name}' before the contact was over", name=step.name)
            yield Part(said("in order"), Verdict.UNFIT, why, step.origin, (one.done.entry, over.entry))
