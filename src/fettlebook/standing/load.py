"""May I use what is in it? The conditions of a load: packed, run, tested before, released by a person who may."""

from collections.abc import Iterator

from fettlebook.practice.model import Machine, MachineKind, Skill
from fettlebook.rules.model import Origin
from fettlebook.said import joined, said, term
from fettlebook.standing.again import again
from fettlebook.standing.basis import BOOK
from fettlebook.standing.load_tests import own_spore_test, packs_alike, spore_test_of_the_week
from fettlebook.standing.look import Look
from fettlebook.standing.machine import cycle_verdict, test_origin
from fettlebook.standing.machine_runs import newest_run, test_verdict
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.ride import TYPES, Item, ride_faults, ride_verdict
from fettlebook.standing.streams import Fact


def load_conditions(look: Look, load: str, *, unit: str | None = None, pack: str | None = None) -> tuple[Condition, ...]:
    """Return the conditions of a load; with a unit or pack, what was decided of others in it does not count."""
    subject = f"load:{load}"
    packed = look.latest(subject, "packed")
    if packed is None:
        return (Condition(said("packed"), Verdict.UNPROVEN, said("what lies in it is not in the book"), BOOK, mend=again(look, subject)),)
    machine = look.machine(packed.says.machine, packed.happened)
    if machine is None:
        why = said("{machine} is not in the practice file", machine=packed.says.machine.removeprefix("machine:"))
        return (Condition(said("packed"), Verdict.UNPROVEN, why, BOOK, (packed.entry,), packed.happened, mend=again(look, subject)),)
    here = Condition(
        said("packed"),
        Verdict.FIT,
        said("{items} items {packed}", items=len(packed.says.items), packed=look.when(packed.happened)),
        BOOK,
        (packed.entry,),
        packed.happened,
    )
    ran = look.latest(subject, "cycle")
    if ran is None:
        return (
            here,
            Condition(
                said("cycle was good"),
                Verdict.UNPROVEN,
                said("no cycle in the book"),
                _cycle_origin(look, machine),
                mend=again(look, subject),
            ),
        )
    conditions = [here, _cycle(look, machine, packed, ran), *_may_ride(look, machine, packed, ran), *_tested_before(look, machine, ran)]
    if machine.kind is MachineKind.STERILIZER:
        conditions += [
            *_looked_back(look, machine, packed, ran),
            *spore_test_of_the_week(look, machine, ran),
            *own_spore_test(look, machine, packed),
            *packs_alike(look, subject),
            released(look, subject, ran, unit=unit, pack=pack),
        ]
    else:
        conditions += _rejected(look, subject, unit=unit)
    return tuple(conditions)


def _cycle_origin(look: Look, machine: Machine) -> Origin:
    asked = look.basis.asks("steam cycle" if machine.kind is MachineKind.STERILIZER else "washer cycle")
    return asked.origin if asked else BOOK


def _cycle(look: Look, machine: Machine, packed: Fact, ran: Fact) -> Condition:
    verdict, why, entries = cycle_verdict(look, ran)
    if ran.says.machine != packed.says.machine:
        verdict, why = (
            Verdict.UNPROVEN,
            said("packed for {id}, but run in {machine}", id=machine.id, machine=ran.says.machine.removeprefix("machine:")),
        )
    subject = f"load:{packed.says.load}"
    mend = () if verdict is Verdict.FIT else again(look, subject)
    return Condition(said("cycle was good"), verdict, why, _cycle_origin(look, machine), entries, ran.happened, mend=mend)


def riding(packed: Fact) -> tuple[Item, ...]:
    """Return what lies in a load, as `ride` asks for it."""
    forms = packed.says.forms or (None,) * len(packed.says.items)
    return tuple((unit, pack is not None, form) for (unit, pack), form in zip(packed.says.items, forms, strict=True))


def _may_ride(look: Look, machine: Machine, packed: Fact, ran: Fact) -> Iterator[Condition]:
    """Whether what lies in it may ride in the cycle that ran, whatever it was packed for."""
    if ran.says.machine != packed.says.machine:
        return
    faults = ride_faults(look.then(packed.happened).practice, machine, ran.says.cycle, riding(packed))
    if machine.kind is MachineKind.STERILIZER or faults:
        verdict = ride_verdict(faults)
        why = joined("; ", (why for _, why in faults)) or said("all of it may ride in this cycle, and together")
        mend = () if verdict is Verdict.FIT else again(look, f"load:{packed.says.load}")
        yield Condition(said("right things in the right cycle"), verdict, why, TYPES, (packed.entry, ran.entry), ran.happened, mend=mend)


def _tested_before(look: Look, machine: Machine, ran: Fact) -> Iterator[Condition]:
    """The tests that are due each day: passed on the day of the cycle, before it began."""
    began = min(ran.says.began, ran.happened)
    for test in machine.tests:
        if test.every != "day":
            continue
        what, origin = said("{name}: passed before the load", name=test.name), test_origin(look, machine, test)
        verdict, facts = newest_run(look, machine.id, test.id, until=began)
        if not facts or facts[0].happened < look.basis.day_start(began):
            why = said("none on {began} before {began2}", began=look.basis.day_of(began), began2=look.when(began))
            yield Condition(what, Verdict.UNPROVEN, why, origin, mend=again(look, f"load:{ran.says.load}"))
            continue
        entries, told = (
            tuple(fact.entry for fact in facts),
            said("{outcome} {ran}", outcome=term(facts[0].says.outcome), ran=look.when(facts[0].happened)),
        )
        mend = () if verdict is Verdict.FIT else again(look, f"load:{ran.says.load}")
        yield Condition(what, verdict, told, origin, entries, facts[0].happened, mend=mend)


def _looked_back(look: Look, machine: Machine, packed: Fact, ran: Fact) -> Iterator[Condition]:
    """A test that failed after the cycle, with none passed between: the load is in the look-back until it is released anew."""
    asked = look.basis.asks("positive spore test")
    for test in dict.fromkeys(("spore test", *(test.id for test in machine.tests))):
        after = look.first(f"machine:{machine.id}", f"test:{test}", since=ran.happened)
        if after is None or test_verdict(after) is not Verdict.UNFIT:
            continue
        decided = look.latest(f"load:{packed.says.load}", "decided")
        again_released = decided is not None and decided.says.meaning == "released" and decided.happened > after.says.read
        origin = asked.origin if asked and test == "spore test" else BOOK
        why = said("{test} failed {after}, and none was passed since this load", test=term(test), after=look.when(after.happened))
        what = said("no look-back from {test}", test=term(test))
        entries = (after.entry, ran.entry)
        if again_released and decided is not None and look.then(decided.happened).may(decided.says.by, Skill.LEAD):
            yield Condition(
                what,
                Verdict.FIT,
                said("{why}; released anew by {by}", why=why, by=decided.says.by),
                origin,
                (decided.entry,),
                decided.happened,
            )
        else:
            verdict = Verdict.UNFIT if packed.says.implant else Verdict.UNPROVEN
            lead = Owed(f"load:{packed.says.load}", "look back", said("Look back: the lead releases it anew, or recalls it"), origin)
            failed = said("look back: {why}", why=why)
            yield Condition(what, verdict, why, origin, entries, after.happened, mend=(lead,), failed=failed)


def released(look: Look, subject: str, ran: Fact, *, unit: str | None, pack: str | None) -> Condition:
    """Return whether a person who may released the load, after its cycle, having seen it dry and its indicators turned."""
    what = said("released by a person who may")
    asked = look.basis.asks("release of packs")
    origin = asked.origin if asked else BOOK
    decided = _decision(look, subject, unit, pack)
    release = Owed(subject, "release", said("Look at packs and indicators, then release it by name"), origin, 120)
    if decided is None:
        return Condition(what, Verdict.UNPROVEN, said("not released"), origin, mend=(release,))
    says, moment = decided.says, look.when(decided.happened)
    entries, since = (decided.entry,), decided.happened
    if says.meaning != "released":
        return Condition(
            what,
            Verdict.UNFIT,
            said("{meaning} by {by} {moment}: {reason}", meaning=term(says.meaning), by=says.by, moment=moment, reason=says.reason),
            origin,
            entries,
            since,
            mend=again(look, subject),
        )
    told = said("released by {by} {moment}", by=says.by, moment=moment) + (
        said(", against the judgement: {override}", override=says.override) if says.override else ""
    )
    if says.early:
        told = said(
            "EARLY RELEASE by {by} {moment}, before the result of its spore test: {reason}", by=says.by, moment=moment, reason=says.reason
        )
    if says.dry is False or says.turned is False:
        why = told + "; " + (said("not dry") if says.dry is False else said("indicators not turned"))
        return Condition(what, Verdict.UNFIT, why, origin, entries, since, mend=again(look, subject))
    lacks = [
        words
        for words, missing in (
            (
                said("{by} has neither the skill release nor lead", by=says.by),
                not look.then(decided.happened).may(says.by, Skill.RELEASE, Skill.LEAD),
            ),
            (said("released before the cycle was over"), decided.happened < ran.happened),
            (said("whether it was dry is not in the book"), says.dry is None),
            (said("whether the indicators had turned is not in the book"), says.turned is None),
        )
        if missing
    ]
    if lacks:
        return Condition(what, Verdict.UNPROVEN, joined("; ", (told, *lacks)), origin, entries, since, mend=(release,))
    return Condition(what, Verdict.FIT, told, origin, entries, since)


def _decision(look: Look, subject: str, unit: str | None, pack: str | None) -> Fact | None:
    """Return the newest decision that concerns a unit or pack; without either, the newest of all: one recalled pack shows at the load."""
    for fact in look.back(subject, "decided"):
        units, packs = fact.says.units, fact.says.packs
        if (
            (units is None and packs is None)
            or (unit is not None and unit in (units or ()))
            or (pack is not None and pack in (packs or ()))
        ):
            return fact
        if unit is None and pack is None and fact.says.meaning != "released":
            return fact
    return None


def _rejected(look: Look, subject: str, *, unit: str | None) -> Iterator[Condition]:
    decided = _decision(look, subject, unit, None)
    if decided is not None and decided.says.meaning != "released":
        why = said(
            "{meaning} by {by} {decided}: {reason}",
            meaning=term(decided.says.meaning),
            by=decided.says.by,
            decided=look.when(decided.happened),
            reason=decided.says.reason,
        )
        mend = again(look, subject)
        yield Condition(said("not put aside"), Verdict.UNFIT, why, BOOK, (decided.entry,), decided.happened, mend=mend, failed=why)
