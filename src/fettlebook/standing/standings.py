"""The whole: a book's state, what it is judged by, and verdicts of any subject at any moment, by what was known at any other."""

from collections.abc import Iterable, Iterator
from typing import Final

from fettlebook.book.received import Received
from fettlebook.errors import Mendable
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook, Subject, When
from fettlebook.said import joined, said
from fettlebook.standing.attempts import attempts
from fettlebook.standing.basis import BOOK, Basis
from fettlebook.standing.chair import chair_conditions
from fettlebook.standing.kept import Kept
from fettlebook.standing.load import load_conditions
from fettlebook.standing.look import Look
from fettlebook.standing.lots import label, lot_conditions
from fettlebook.standing.machine import machine_conditions
from fettlebook.standing.model import Condition, Owed, Standing, Verdict, WayToFit
from fettlebook.standing.owed import duty_condition, weekly_due
from fettlebook.standing.parts import part_conditions
from fettlebook.standing.rare_outlets import outlet_conditions
from fettlebook.standing.state import Original, State
from fettlebook.standing.steps import DutySays, StepSays
from fettlebook.standing.surgery import surgery_left_open
from fettlebook.standing.unit import unit_conditions
from fettlebook.standing.upkeep import doubt, missing_conditions, missing_now
from fettlebook.standing.versions import Held, Versions
from fettlebook.standing.way import way_to_fit
from fettlebook.times.model import RunningTime

PRACTICE: Final = "practice:all"
KINDS: Final = ("practice", "chair", "outlet", "machine", "load", "unit", "product", "solution")


class Standings:
    """A state with what it is judged by: the practice files and rules that its book holds, each for its time; `basis` where it holds none.

    Entries are added as they are received; verdicts are made when asked for, and those of now kept while they hold (`kept.py`).
    """

    def __init__(self, state: State, basis: Basis) -> None:
        self.state = state
        self.basis = basis
        self.versions = Versions(basis)
        self.kept = Kept(state, Held(basis))

    def add(self, received: Received) -> None:
        """Add the next entry of the book; the cost does not grow with the book."""
        self.state.add(received)

    def as_of(self, at: int, known_at: int | None = None) -> "View":
        """Return the view of what had happened by `at` and was received by `known_at` (left out: by `at` too) [ms since 1970 UTC]."""
        known = at if known_at is None else known_at
        held = self.versions.held(self.state, at, known)
        return View(self.kept.look(held, at, known, self.versions), held.doubts)


def fold(
    entries: Iterable[Received],
    practice: Practice,
    rulebook: Rulebook,
    times: Iterable[RunningTime],
    *,
    original: Original | None = None,
) -> Standings:
    """Return the standings that entries, given in the order of receipt, and the rules of a day make together.

    Parameters
    ----------
    original
        Gives an entry by its id, such as a store's `get`; left out, every entry is kept in memory.
    """
    state = State(original)
    for received in entries:
        state.add(received)
    return Standings(state, Basis.of(practice, rulebook, times))


class View:
    """Verdicts of all subjects at one moment, each made once."""

    def __init__(self, look: Look, doubts: tuple[str, ...] = ()) -> None:
        self.look = look
        self.doubts = doubts
        self._doubts = tuple(Condition(said("judged by what held then"), Verdict.UNPROVEN, doubt, BOOK) for doubt in doubts)
        self._made: dict[str, Standing] = {}

    def standing(self, subject: str) -> Standing:
        """Return the standing of a subject, written as the book writes it: `chair:chair 1`, `outlet:chair 1/turbine`, `practice:all`.

        Raises
        ------
        Mendable
            The practice file or the book knows no such subject.
        """
        conditions, way = self.look.once(subject, lambda: self._stands(subject))
        made = self._made.get(subject)
        if made is None:
            made = self._made[subject] = Standing(subject, self.look.moment, self.look.known_at, conditions, way)
        return made

    def later(self, at: int) -> "View":
        """Return the view of a later moment, by what is known at this one: what will hold if nothing more is entered [ms]."""
        then = self.look.versions.held(self.look.state, at, self.look.known_at) if self.look.versions is not None else None
        basis = self.look.basis if then is None else then.basis
        return View(Look(self.look.state, basis, at, self.look.known_at, self.look.versions), self.doubts if then is None else then.doubts)

    def subjects(self) -> Iterator[str]:
        """Yield what has a standing now: practice, chairs, lines, machines, units, products in use, and the loads of units at hand."""
        practice = self.look.basis.practice
        yield PRACTICE
        for chair in practice.chairs:
            yield f"chair:{chair.id}"
            yield from (f"outlet:{chair.id}/{outlet.id}" for outlet in chair.outlets)
        yield from (f"machine:{machine.id}" for machine in practice.machines)
        loads: dict[str, None] = {}
        for set_type in practice.sets:
            for number in range(1, set_type.owned + 1):
                unit = f"unit:{set_type.id}#{number}"
                yield unit
                packed = self.look.latest(unit, "packed")
                if packed is not None:
                    loads[packed.says.load] = None
        yield from (f"load:{load}" for load in loads)
        for product in _in_use(practice):
            opened = self.look.latest(f"product:{product}", "opened")
            if opened is not None:
                yield opened.says.subject

    def all(self) -> tuple[Standing, ...]:
        """Return the standings of all present subjects."""
        return tuple(self.standing(subject) for subject in self.subjects())

    def _stands(self, subject: str) -> tuple[tuple[Condition, ...], WayToFit]:
        conditions = (*self._conditions(subject), *self._doubts)
        return conditions, way_to_fit(self.look.basis, conditions)

    def _conditions(self, subject: str) -> tuple[Condition, ...]:
        look, basis = self.look, self.look.basis
        kind, _, name = subject.partition(":")
        if kind == "practice":
            return self._practice()
        if kind == "chair" and name in basis.chairs:
            of_chair = (*chair_conditions(look, basis.chairs[name]), *part_conditions(look, subject))
            return (*of_chair, *missing_conditions(look, subject, today_only=True))
        if kind == "outlet":
            chair, _, outlet = name.partition("/")
            if chair in basis.chairs and any(o.id == outlet for o in basis.chairs[chair].outlets):
                missing = missing_conditions(look, f"chair:{chair}", today_only=True)
                return (*chair_conditions(look, basis.chairs[chair], outlet), *missing)
        if kind == "machine" and name in basis.machines:
            of_machine = (*machine_conditions(look, basis.machines[name]), *part_conditions(look, subject))
            return (*of_machine, *missing_conditions(look, subject, today_only=True))
        if kind == "load" and look.named(subject):
            return (*load_conditions(look, name), *missing_conditions(look, subject, today_only=False))
        if kind == "unit" and (look.named(subject) or self._owned(name)):
            return (*unit_conditions(look, name), *missing_conditions(look, subject, today_only=False))
        if kind in ("product", "solution") and look.named(subject):
            return (*lot_conditions(look, subject), *missing_conditions(look, subject, today_only=False))
        raise Mendable(said('nothing is called "{subject}"', subject=subject), where="subject", mend=self._known_names(kind))

    def _owned(self, unit: str) -> bool:
        set_type, _, number = unit.partition("#")
        return any(
            s.id == set_type and number.isascii() and number.isdigit() and 1 <= int(number) <= s.owned
            for s in self.look.basis.practice.sets
        )

    def _known_names(self, kind: str) -> str:
        names = [subject for subject in self.subjects() if subject.startswith(f"{kind}:")][:12]
        return (
            said("Choose one of: {names}.", names=joined(", ", names))
            if names
            else said("Begin with one of: {KINDS}.", KINDS=joined(", ", (f"{kind}:" for kind in KINDS)))
        )

    def own_conditions(self) -> tuple[Condition, ...]:
        """Return the practice's own conditions, without those of its chairs and machines."""
        return self.look.once("own conditions", self._own)

    def _own(self) -> tuple[Condition, ...]:
        missing = tuple(doubt(self.look, PRACTICE, missing) for missing in missing_now(self.look))
        own = (*self._weekly(), *self._products(), *surgery_left_open(self.look))
        return (*own, *outlet_conditions(self.look), *part_conditions(self.look, PRACTICE), *missing)

    def _practice(self) -> tuple[Condition, ...]:
        """The practice is no better than its chairs and machines in service, its own duties, and what its devices hold back."""
        practice = self.look.basis.practice
        parts = [f"chair:{c.id}" for c in practice.chairs if not c.out_of_service]
        parts += [f"machine:{m.id}" for m in practice.machines if not m.out_of_service]
        return (*(self._part(subject) for subject in parts), *self.own_conditions())

    def _part(self, subject: str) -> Condition:
        standing = self.standing(subject)
        name = subject.partition(":")[2]
        evidence = tuple(dict.fromkeys(entry for c in standing.conditions for entry in c.evidence))
        if not standing.failing:
            return Condition(name, Verdict.FIT, said("all conditions hold"), BOOK, evidence, None, standing.valid_until_ms)
        worst_one = standing.failing[0]
        more = said(" (and {failing} more)", failing=len(standing.failing) - 1) if len(standing.failing) > 1 else ""
        why = joined("", (said("{what}: {why}", what=worst_one.what, why=worst_one.why), more))
        return Condition(name, standing.verdict, why, worst_one.origin, evidence, worst_one.since_ms, mend=standing.way_to_fit.duties)

    def _weekly(self) -> Iterator[Condition]:
        look, basis = self.look, self.look.basis
        since = look.days(-7)
        for duty in basis.rulebook.duties_of(Subject.PRACTICE, When.WEEKLY):
            found: list[StepSays] = []
            for step in duty.steps:
                tries = [a for a in attempts(look, PRACTICE, step.id, since) if a.done is not None and not a.broken_off]
                done = tries[-1].done.happened if tries and tries[-1].done else None
                verdict = Verdict.FIT if tries else Verdict.UNPROVEN
                found.append(
                    StepSays(
                        step,
                        verdict,
                        said("done") if tries else said("not in the book"),
                        tries[-1].rests_on(timed=False) if tries else (),
                        done=done,
                    )
                )
            oldest = min((one.done for one in found if one.done is not None), default=look.today)
            expires, what = basis.days_after(oldest, 8), said("{name}: done in the last week", name=duty.name)
            says = DutySays(duty, tuple(found))
            due = weekly_due(look, PRACTICE, says)
            yield duty_condition(look, PRACTICE, says, what=what, since=since, expires=expires, due=due)

    def _products(self) -> Iterator[Condition]:
        look = self.look
        for product in _in_use(look.basis.practice):
            opened = look.latest(f"product:{product}", "opened")
            what = said("{product}: an opened package, in date", product=product)
            if opened is None:
                fresh = Owed(f"product:{product}", "fresh", said("Enter the package that is open, with lot and day"), label(product))
                yield Condition(what, Verdict.UNPROVEN, said("no opened package in the book"), label(product), mend=(fresh,))
                continue
            for condition in lot_conditions(look, opened.says.subject):
                yield Condition(
                    what, condition.verdict, said("lot {lot}: {why}", lot=opened.says.lot, why=condition.why), condition.origin,
                    condition.evidence,
                    condition.since_ms, condition.expires_ms, condition.mend,
                )  # fmt: skip


def _in_use(practice: Practice) -> tuple[str, ...]:
    chosen = (practice.in_use.line_intensive, practice.in_use.line_continuous, practice.in_use.suction, practice.in_use.surfaces)
    return tuple(dict.fromkeys(product for product in chosen if product is not None))
