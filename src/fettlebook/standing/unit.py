"""May I open it? The conditions of one set or handpiece: clean, packed, sterile, released, in date, not used since."""

from collections.abc import Iterator

from fettlebook.practice.model import MachineKind
from fettlebook.rules.model import Origin
from fettlebook.said import said, term
from fettlebook.standing.again import again
from fettlebook.standing.basis import BOOK, DAY_MS, Basis
from fettlebook.standing.handpiece import oiled, within_its_cycles
from fettlebook.standing.load import load_conditions
from fettlebook.standing.look import Look
from fettlebook.standing.machine import cycle_verdict
from fettlebook.standing.model import Condition, Verdict
from fettlebook.standing.streams import Fact
from fettlebook.standing.upkeep import service_conditions

CLEANS = (MachineKind.WASHER, MachineKind.ULTRASONIC)
WRAPPED = ("storage life of packs",)
UNWRAPPED = ("storage life unwrapped, clinical room", "storage life unwrapped, elsewhere")


def unit_conditions(look: Look, unit: str) -> tuple[Condition, ...]:
    """Return the conditions of a unit such as `exam#3`."""
    subject = f"unit:{unit}"
    retired = look.latest(subject, "retired")
    if retired is not None:
        why = said("retired {retired}: {retired2}", retired=look.when(retired.happened), retired2=retired.says)
        return (Condition(said("not retired"), Verdict.UNFIT, why, BOOK, (retired.entry,), retired.happened, failed=why),)
    service = service_conditions(look, subject)
    newest = look.latest(subject, "packed")
    sterile = next((fact for fact in look.back(subject, "packed") if _kind(look, fact) is MachineKind.STERILIZER), None)
    used = look.latest(subject, "use")
    if sterile is None:
        why = (
            said("used {used}, and no sterilizer load with it is in the book", used=look.when(used.happened))
            if used
            else said("no sterilizer load with it is in the book")
        )
        verdict = Verdict.UNFIT if used else Verdict.UNPROVEN
        return (*service, Condition("sterilized", verdict, why, BOOK, (used.entry,) if used else (), mend=again(look, subject)))
    if used is not None and used >= sterile:
        why = said(
            "used at {chair}, visit {visit}, {used}",
            chair=used.says.chair.removeprefix("chair:"),
            visit=used.says.visit,
            used=look.when(used.happened),
        )
        return (
            *service,
            Condition(
                said("not used since it was sterilized"), Verdict.UNFIT, why, BOOK, (used.entry,), used.happened, mend=again(look, subject)
            ),
        )
    if newest is not None and newest is not sterile and newest > sterile:
        why = said("in load {load} since {newest}, not sterilized since", load=newest.says.load, newest=look.when(newest.happened))
        return (*service, Condition("sterilized", Verdict.UNPROVEN, why, BOOK, (newest.entry,), newest.happened, mend=again(look, subject)))
    pack = next((pack for one, pack in sterile.says.items if one == unit), None)
    of_load = load_conditions(look, sterile.says.load, unit=unit, pack=pack)
    own = (*oiled(look, unit, sterile), *within_its_cycles(look, unit))
    return (*service, *_washed(look, subject, sterile, used), *own, *of_load, *_in_date(look, subject, sterile, wrapped=pack is not None))


def _kind(look: Look, packed: Fact) -> MachineKind | None:
    machine = look.machine(packed.says.machine, packed.happened)
    return machine.kind if machine else None


def _washed(look: Look, subject: str, sterile: Fact, used: Fact | None) -> Iterator[Condition]:
    """Washed between its last use and the sterilizer, in a cycle that was good."""
    if not any(machine.kind in CLEANS for machine in look.basis.practice.machines):
        return
    what = said("washed before it was packed")
    since = used.happened if used else 0
    asked = look.basis.asks("washer cycle")
    origin = asked.origin if asked else BOOK
    seen = ""
    for washed in look.back(subject, "packed", since=since, until=sterile.happened):
        if _kind(look, washed) not in CLEANS:
            continue
        ran = look.latest(f"load:{washed.says.load}", "cycle", until=sterile.happened)
        decided = look.latest(f"load:{washed.says.load}", "decided")
        if ran is None:
            seen = seen or said("load {load}: no cycle in the book before it was sterilized", load=washed.says.load)
            continue
        verdict, why, entries = cycle_verdict(look, ran)
        if decided is not None and decided.says.meaning != "released":
            verdict, why = (
                Verdict.UNFIT,
                said(
                    "load {load} was {meaning}: {reason}",
                    load=washed.says.load,
                    meaning=term(decided.says.meaning),
                    reason=decided.says.reason,
                ),
            )
        mend = () if verdict is Verdict.FIT else again(look, subject)
        yield Condition(what, verdict, why, origin, (*entries, washed.entry), ran.happened, mend=mend)
        return
    why = seen or (said("no washer load since its use {since}", since=look.when(since)) if used else said("no washer load in the book"))
    yield Condition(what, Verdict.UNPROVEN, why, origin, mend=again(look, subject))


def _in_date(look: Look, subject: str, sterile: Fact, *, wrapped: bool) -> Iterator[Condition]:
    ran = look.latest(f"load:{sterile.says.load}", "cycle")
    if ran is None:
        return
    what = said("within its storage life")
    days, origin = storage_life(look.basis, wrapped=wrapped)
    if days is None:
        yield Condition(what, Verdict.FIT, said("no term set: look at the pack before you open it"), origin, (ran.entry,), ran.happened)
        return
    # Unwrapped things last to the end of the working day: that is a local day, not 24 hours.
    ends = look.basis.days_after(ran.happened, 1) if days <= 1 else ran.happened + round(days * DAY_MS)
    told = said(
        "{wrapped}, sterilized {ran}, good until {ends}",
        wrapped=said("wrapped") if wrapped else said("unwrapped"),
        ran=look.when(ran.happened),
        ends=look.when(ends),
    )
    if look.over(ends):
        yield Condition(what, Verdict.UNPROVEN, told, origin, (ran.entry,), ends, mend=again(look, subject))
    else:
        yield Condition(what, Verdict.FIT, told, origin, (ran.entry,), ran.happened, ends)


def storage_life(basis: Basis, *, wrapped: bool) -> tuple[float | None, Origin]:
    """Return how many days it may be stored, by the strictest rule in force; None where none names a number.

    Where an unwrapped set lies isn't in the book: the rule for the stricter place holds.
    """
    found = [
        (max(limit.value), limit.origin)
        for limit in basis.rulebook.limits
        if limit.unit == "d" and limit.value and limit.quantity in (WRAPPED if wrapped else UNWRAPPED)
    ]
    if found:
        return min(found, key=lambda one: one[0])
    asked = basis.asks(*WRAPPED)
    if not wrapped:
        return 1.0, asked.origin if asked else BOOK
    return None, asked.origin if asked else BOOK
