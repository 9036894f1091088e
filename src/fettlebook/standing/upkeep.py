"""In service or not: faults that stop use, out of service, back in service; and what a device holds that never arrived."""

from collections.abc import Iterator
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.said import joined, said
from fettlebook.standing.basis import BOOK
from fettlebook.standing.gaps import Missing
from fettlebook.standing.look import MISSING, Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.streams import Fact

BY_SUBJECT: Final = "missing by subject"  # under this name a look remembers it


def service_conditions(look: Look, subject: str, *, out_of_service: bool = False, outlet: str | None = None) -> tuple[Condition, ...]:
    """Return whether a subject is in service: by the practice file, and by faults and returns in the book."""
    what = said("in service")
    if out_of_service:
        back = Owed(subject, "file", said("Set out_of_service = false in the practice file, once it may be used"), BOOK)
        return (
            Condition(
                what, Verdict.UNFIT, said("the practice file says: out of service"), BOOK, mend=(back,),
                failed=said("out of service, by the practice file"),
            ),
        )  # fmt: skip
    stops = list(open_stops(look, subject, outlet))
    if not stops:
        back_in = next((f for f in look.back(subject, "service") if f.says.sort == "returned"), None)
        why = (
            said("returned {back_in} by {by}", back_in=look.when(back_in.happened), by=back_in.says.by)
            if back_in
            else said("no fault that stops use in the book")
        )
        return (Condition(what, Verdict.FIT, why, BOOK, (back_in.entry,) if back_in else (), back_in.happened if back_in else None),)
    told = joined("; ", (said("{words} ({when})", words=fact.says.words, when=look.when(fact.happened)) for fact in stops))
    back = Owed(subject, "return", said("Repair it, then return it to service by name"), BOOK)
    failed = said("out of service: {why}", why=told)
    return (Condition(what, Verdict.UNFIT, told, BOOK, tuple(f.entry for f in stops), stops[-1].happened, mend=(back,), failed=failed),)


def open_stops(look: Look, subject: str, outlet: str | None) -> Iterator[Fact]:
    """Yield what put a subject out of service and hasn't been returned since, newest first; with `outlet`, what concerns it."""
    back: set[str] = set()
    for fact in look.back(subject, "service"):
        outlets = fact.says.outlets
        if fact.says.sort == "returned":
            if outlets is None:
                return  # all of it is back
            back |= set(outlets)
        elif fact.says.sort == "stop" and _holds(outlets, back, outlet):
            yield fact


def _holds(outlets: tuple[str, ...] | None, back: set[str], outlet: str | None) -> bool:
    """Tell whether a stop of these outlets (None: of all) still holds, for one outlet where that is asked."""
    if outlet is not None:
        return outlet not in back and (outlets is None or outlet in outlets)
    return outlets is None or bool(set(outlets) - back)


def missing_now(look: Look) -> tuple[Missing, ...]:
    """Return the entries that devices made and that had not arrived, as known then."""
    look.rests_on(PRACTICE, MISSING)
    return missing_by_subject(look).get(PRACTICE, ())


def missing_by_subject(look: Look) -> dict[str, tuple[Missing, ...]]:
    """Return the stretches of missing entries by each subject that their device was then working on; under the practice, all of them."""
    if BY_SUBJECT not in look.memo:
        found = (m for device, counter in look.state.devices.items() for m in counter.missing(device, look.known_at))
        everything = tuple(m for m in found if m.after <= look.moment)
        held: dict[str, tuple[Missing, ...]] = {}
        for missing in everything:
            for subject in _touched(look, missing):
                held[subject] = (*held.get(subject, ()), missing)
        look.memo[BY_SUBJECT] = held | {PRACTICE: everything}
    by_subject: dict[str, tuple[Missing, ...]] = look.memo[BY_SUBJECT]
    return by_subject


def missing_conditions(look: Look, subject: str, *, today_only: bool) -> Iterator[Condition]:
    """Yield a doubt for each stretch of missing entries whose device was then working on the subject.

    Parameters
    ----------
    today_only
        Leave out what ended before today: the duties of the day prove a chair or machine anew, while a set or load keeps the doubt.
    """
    look.rests_on(subject, MISSING)
    for missing in missing_by_subject(look).get(subject, ()):
        if not (today_only and missing.before < look.today):
            yield doubt(look, subject, missing)


def doubt(look: Look, subject: str, missing: Missing) -> Condition:
    """Return the condition that nothing is missing, failing for this device."""
    told: dict[Missing, str] = look.memo.setdefault("missing told", {})
    if missing not in told:  # it holds of many subjects
        told[missing] = said("{words}; made before {before}", words=missing.words, before=look.when(missing.before)) + (
            said(", after {after}", after=look.when(missing.after)) if missing.after else ""
        )
    send = Owed(subject, "send", said("Let device {device} send what it holds", device=missing.device), BOOK)
    why = told[missing]
    failed = said("entries have not arrived: {why}", why=why)
    return Condition(said("no entry is missing"), Verdict.UNPROVEN, why, BOOK, (), missing.before, mend=(send,), failed=failed)


def _touched(look: Look, missing: Missing) -> frozenset[str]:
    since, until = look.basis.day_start(missing.after or missing.before), look.basis.days_after(missing.before, 1) - 1
    return frozenset(look.state.devices[missing.device].touched(since, until, missing, look.known_at))
