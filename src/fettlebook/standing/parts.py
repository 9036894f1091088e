"""Parts that last for so long: filters, separators, a chair's own bottle. Changed when, good until when; and how a bottle is filled.

How long a part may stay is what its label or instructions say, as the entry of its change has it. The program never stretches it; where
nobody entered a time, nothing is judged and the page says so. That a chair has a part is known from the practice file, else from its
first entry. Where file and entry both name a life, the shorter counts; a part of the file that was never entered is unproven, and owed.
"""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.practice.model import Chair, WearPart
from fettlebook.rules.model import Origin, Subject
from fettlebook.said import joined, said, said_date, term
from fettlebook.standing.facts import PartNew
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict

LABEL: Final = Origin("book", "part.changed", "the part's label or instructions for use, as its entry has them", "practice", "own")
IN_FILE: Final = Origin(
    "practice file", "parts", "the part's label or instructions for use, as the practice file has them", "practice", "own"
)
SOON_DAYS: Final = 14  # our own choice: a part that runs out within two weeks is to be had at hand


@dataclass(frozen=True, slots=True)
class PartSays:
    """The newest change of one part. `due_ms`: when it must be changed; None where nobody said how many days it lasts."""

    subject: str
    part: str
    name: str | None
    done: str  # changed, cleaned, or never
    changed_ms: int | None
    age_days: float | None
    good_days: int | None
    due_ms: int | None
    lot: str | None
    changes: int  # in the book up to now
    verdict: Verdict
    why: str
    evidence: tuple[str, ...]
    origin: Origin = LABEL
    litres: float | None = None  # that passed since at the most, where its label names litres

    @property
    def words(self) -> str:
        """What it is called."""
        return term(self.part) if self.name is None else self.name if self.part == "other" else joined(" ", (term(self.part), self.name))


@dataclass(frozen=True, slots=True)
class BottleFills:
    """How a chair's own bottle was filled in a stretch of time; `ml` adds up what entries say, `untold` are fills without an amount."""

    chair: str
    bottle_ml: float | None
    fills: int
    last_ms: int | None
    ml: int
    untold: int
    fills_ms: tuple[int, ...]
    amounts_ml: tuple[int | None, ...]


def parts_of(look: Look, subject: str) -> tuple[PartSays, ...]:
    """Return the parts of a chair (`chair:chair 1`), a machine or the building (`practice:all`), the next due first."""
    newest: dict[tuple[str, str | None], list[tuple[int, str, PartNew]]] = {}
    for fact in look.forward(subject, "part"):
        newest.setdefault((fact.says.part, fact.says.name), []).append((fact.happened, fact.entry, fact.says))
    chair = look.basis.chairs.get(subject.removeprefix("chair:")) if subject.startswith("chair:") else None
    listed: dict[tuple[str, str | None], WearPart] = {(one.what, one.name): one for one in chair.parts} if chair else {}
    found = [_part(look, subject, changes, listed.get(key)) for key, changes in newest.items()]
    found += [_never(look, subject, one) for key, one in listed.items() if key not in newest]
    if chair is not None:
        found = [_by_litres(look, chair, one, listed.get((one.part, one.name))) for one in found]
    return tuple(sorted(found, key=lambda one: (one.due_ms is None, one.due_ms or 0, one.words)))


def all_parts(look: Look) -> tuple[PartSays, ...]:
    """Return the parts of the building, the chairs and the machines, the next due first."""
    practice = look.basis.practice
    subjects = (PRACTICE, *(f"chair:{c.id}" for c in practice.chairs), *(f"machine:{m.id}" for m in practice.machines))
    found = (one for subject in subjects for one in parts_of(look, subject))
    return tuple(sorted(found, key=lambda one: (one.due_ms is None, one.due_ms or 0)))


def _part(look: Look, subject: str, changes: list[tuple[int, str, PartNew]], listed: WearPart | None) -> PartSays:
    # Cleaned is not changed: the life runs from the last change; where only cleanings are known, from the first of them.
    at, entry, says = next((one for one in reversed(changes) if one[2].done == "changed"), changes[0])
    entered = next(
        (one[2].good_days for one in reversed(changes) if one[2].good_days is not None and one[2].done == "changed"), says.good_days
    )
    written = None if listed is None else listed.life_days
    good = min((days for days in (entered, written) if days is not None), default=None)
    origin = LABEL if written is None or (entered is not None and entered <= written) else IN_FILE
    due = None if good is None else look.basis.days_after(at, good + 1)
    told = {"done": term(says.done), "it": look.when(at)}
    if due is None:
        verdict, why = Verdict.UNPROVEN, said("{done} {it}; how long it may stay was not entered", **told)
    elif look.over(due):
        day = said_date(look.basis.day_of(due - 1))
        verdict, why = Verdict.UNPROVEN, said("{done} {it}, may stay {good} days: was due on {due}", **told, good=good, due=day)
    else:
        verdict, why = Verdict.FIT, said("{done} {it}, may stay until {due}", **told, due=said_date(look.basis.day_of(due - 1)))
    return PartSays(
        subject, says.part, says.name, says.done, at, look.age_days(at), good, due, says.lot, len(changes), verdict, why, (entry,),
        origin,
    )  # fmt: skip


def _never(look: Look, subject: str, listed: WearPart) -> PartSays:
    """Return a part of the practice file whose change was never entered: how old it is nobody can tell."""
    why = said("in the practice file, and its change was never entered")
    due = look.today
    return PartSays(
        subject, listed.what, listed.name, "never", None, None, listed.life_days, due, None, 0, Verdict.UNPROVEN, why, (), IN_FILE
    )


def _by_litres(look: Look, chair: Chair, one: PartSays, listed: WearPart | None) -> PartSays:
    """Return the part with the litres that passed it since, where its label names litres; a fill without amount counts as full."""
    if listed is None or listed.litres is None or one.changed_ms is None:
        return one
    fills = bottle_fills(look, chair, one.changed_ms)
    if fills is None or fills.bottle_ml is None:
        return one
    passed = (fills.ml + fills.untold * fills.bottle_ml) / 1000
    told = {"passed": passed, "litres": listed.litres}
    if passed > listed.litres:
        why = one.why + said("; up to {passed:.1f} L have passed, its label allows {litres:g} L", **told)
        return replace(one, verdict=Verdict.UNPROVEN, why=why, due_ms=look.today, origin=IN_FILE, litres=passed)
    passes = said("; {passed:.1f} of {litres:g} L have passed at the most", **told)
    if one.due_ms is not None:
        return replace(one, why=one.why + passes, litres=passed)
    head = said("{done} {it}", done=one.done, it=look.when(one.changed_ms))  # no days are named: the litres alone say
    return replace(one, verdict=Verdict.FIT, why=head + passes, origin=IN_FILE, litres=passed)


def part_conditions(look: Look, subject: str) -> Iterator[Condition]:
    """Yield one condition for each part whose life is known; a part without one is shown, not judged."""
    for one in parts_of(look, subject):
        if one.due_ms is None and one.litres is None:
            continue
        fit = one.verdict is Verdict.FIT
        mend = Owed(
            subject,
            f"change {one.words}",
            said("Change the {words}, by its instructions, and enter it", words=one.words),
            one.origin,
            due_ms=one.due_ms,
            overdue=not fit,
        )
        what = said("{words} within its life", words=one.words)
        yield Condition(
            what, one.verdict, one.why, one.origin, one.evidence, one.changed_ms, one.due_ms if fit else None,
            () if fit else (mend,),
        )  # fmt: skip


def bottle_fills(look: Look, chair: Chair, since: int = 0) -> BottleFills | None:
    """Return how a chair's own bottle was filled from `since` [ms] on; None where it has none."""
    steps = [s for d in look.basis.rulebook.duties if d.subject is Subject.CHAIR for s in d.steps_on(chair) if s.only == "bottle"]
    filling = [step for step in steps if "amount" in step.evidence]
    if chair.supply.bottle_ml is None:
        return None
    facts = sorted((f for s in filling for f in look.forward(f"chair:{chair.id}", f"done:{s.id}", since=since)), key=lambda f: f.happened)
    amounts: list[int | None] = []
    for fact in facts:
        poured = [value for name, value in (fact.says.readings or {}).items() if name.endswith("_ml")]
        amounts.append(sum(poured) if poured else None)
    known = [value for value in amounts if value is not None]
    return BottleFills(
        chair.id, chair.supply.bottle_ml, len(facts), facts[-1].happened if facts else None, sum(known), len(facts) - len(known),
        tuple(fact.happened for fact in facts), tuple(amounts),
    )  # fmt: skip
