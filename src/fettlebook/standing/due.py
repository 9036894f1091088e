"""What is owed now: duties due today and overdue, of every chair and machine, and instruments that wait."""

from collections.abc import Iterable, Iterator
from dataclasses import replace
from typing import Final

from fettlebook.rules.model import When
from fettlebook.said import said
from fettlebook.standing.again import again
from fettlebook.standing.basis import HOUR_MS
from fettlebook.standing.chair import close_owed
from fettlebook.standing.machine import test_origin
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.owed import owed_duty
from fettlebook.standing.standings import PRACTICE, View

# Owed only where the practice works today; on a closed day they belong to the way to fit, not to the list of the day.
OF_A_WORKING_DAY: Final = (When.BEFORE_FIRST_VISIT, When.BEFORE_FIRST_LOAD, When.AFTER_STANDING_STILL)
FAR: Final = 1 << 62


def due_duties(view: View, *, instruments: bool = True) -> tuple[Owed, ...]:
    """Return the duties that are due by the end of the day that is judged, the overdue ones first, then by the moment they are due.

    A duty is overdue when the moment by which it was owed is past: the next visit on a chair, the first load of a machine, the day
    after which a weekly test no longer holds. `instruments` left out, sets and loads that wait are not looked for.
    """
    found: dict[tuple[str, str], Owed] = {}
    for owed in (*_owed(view), *(_instruments(view) if instruments else ())):
        found.setdefault((owed.subject, owed.duty_id), owed)
    return tuple(
        sorted(
            found.values(),
            key=lambda o: (not o.overdue, o.due_ms if o.due_ms is not None else FAR if o.duty_id == "process" else view.look.at),
        )
    )


def _owed(view: View) -> Iterator[Owed]:
    look, basis = view.look, view.look.basis
    works = bool(basis.openings(basis.day_of(look.at)))
    for subject in view.subjects():
        kind = subject.partition(":")[0]
        if kind not in ("practice", "chair", "machine", "product"):
            continue
        standing = view.standing(subject)
        conditions = standing.conditions if kind != "practice" else view.own_conditions()
        out = next((c for c in conditions if c.what == "in service" and c.verdict is not Verdict.FIT), None)
        if out is not None:  # nothing else is owed of what nobody uses; the file's own word is no duty of the day
            yield from (owed for owed in out.mend if owed.duty_id != "file")
            continue
        if kind != "practice":
            yield from (owed for owed in standing.way_to_fit.duties if works or not _of_a_working_day(view, owed))
        else:
            yield from (owed for condition in conditions for owed in condition.mend)
        yield from _soon(view, subject, conditions)
        if kind == "chair":
            yield from close_owed(look, basis.chairs[subject.partition(":")[2]])


def _of_a_working_day(view: View, owed: Owed) -> bool:
    duty = next((d for d in view.look.basis.rulebook.duties if d.id == owed.duty_id), None)
    if duty is None:
        machine = view.look.basis.machines.get(owed.subject.partition(":")[2])
        return machine is not None and any(test.id == owed.duty_id and test.every == "day" for test in machine.tests)
    return duty.when in OF_A_WORKING_DAY


def _soon(view: View, subject: str, conditions: Iterable[Condition]) -> Iterator[Owed]:
    """Yield what holds today and no longer tomorrow; what a laboratory takes days for, so many days before."""
    look, basis = view.look, view.look.basis
    tomorrow = basis.days_after(look.at, 1)
    culture = basis.limit_of("time of a culture")
    ahead = round(min(culture.value) * 24 * HOUR_MS) if culture else 0
    for condition in conditions:
        if condition.verdict is not Verdict.FIT or condition.expires_ms is None:
            continue
        if condition.what.startswith("water count") and condition.expires_ms - ahead <= tomorrow:
            name = said("Take the next water sample: its result must come before the last one's time is over")
            yield Owed(subject, "sample", name, condition.origin, due_ms=condition.expires_ms)
        elif condition.expires_ms <= tomorrow and (renewed := _renewed(view, subject, condition.duty_id)) is not None:
            yield replace(renewed, due_ms=condition.expires_ms)
        elif condition.expires_ms <= tomorrow and subject.startswith("product:"):
            yield Owed(subject, "fresh", said("Open a new package and enter it"), condition.origin, due_ms=condition.expires_ms)


def _renewed(view: View, subject: str, duty_id: str) -> Owed | None:
    """Return the weekly duty or the test that renews a condition; None where it is of each day, and owed again only tomorrow."""
    look, basis = view.look, view.look.basis
    machine = basis.machines.get(subject.partition(":")[2]) if subject.startswith("machine:") else None
    test = next((t for t in machine.tests if t.id == duty_id and t.every != "day"), None) if machine else None
    if machine is not None and test is not None:
        origin = test_origin(look, machine, test)
        return Owed(subject, test.id, test.name, origin, test.attended_minutes * 60, test.unattended_minutes * 60)
    duty = next((d for d in basis.rulebook.duties if d.id == duty_id and d.when is When.WEEKLY), None)
    if duty is None:
        return None
    chair = basis.chairs.get(subject.partition(":")[2]) if subject.startswith("chair:") else None
    return owed_duty(look, subject, duty, duty.steps_on(chair) if chair else duty.steps)


def _instruments(view: View) -> Iterator[Owed]:
    """Yield how many sets wait for processing, and each load that waits for its release."""
    used, waiting = 0, dict[str, None]()
    for subject in view.subjects():
        if not subject.startswith("unit:"):
            continue
        conditions = view.standing(subject).failing
        used += any(c.what in ("sterilized", "not used since it was sterilized") and c.verdict is Verdict.UNFIT for c in conditions)
        for condition in conditions:
            if condition.what == "released by a person who may" and condition.verdict is Verdict.UNPROVEN:
                waiting.update((owed.subject, None) for owed in condition.mend)
    if used:
        once = again(view.look, PRACTICE)[0]
        name = said(
            "{used} used {used2}: wash, pack, sterilize, release (minutes: one load)",
            used=used,
            used2=said("set waits") if used == 1 else said("sets wait"),
        )
        yield replace(once, name=name)
    for load in waiting:
        yield next(o for o in view.standing(load).way_to_fit.duties if o.duty_id in ("release", "process"))
