"""What a load owes beside its cycle: a spore test of its week, its own where it holds an implant; packs that were put aside alike."""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import Machine
from fettlebook.rules.model import Requirement
from fettlebook.said import said, term
from fettlebook.standing.again import again
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.machine_runs import OUTCOME, SPORE, test_verdict
from fettlebook.standing.model import Condition, Owed, Verdict, worst
from fettlebook.standing.streams import Fact

OF_IMPLANT: Final = "spore test of a load with an implant"
ALIKE: Final = 3  # common practice, no source: one wet pack is a pack, three are the load


def implant_rule(look: Look, packed: Fact) -> Requirement | None:
    """Return the rule that asks for a spore test in this very load; None where none in force does."""
    return look.then(packed.happened).asks(OF_IMPLANT) if packed.says.implant else None


def own_spore_test(look: Look, machine: Machine, packed: Fact) -> Iterator[Condition]:
    """Yield the result of the spore test that rode in a load with an implant, where a rule asks for one."""
    asked = implant_rule(look, packed)
    if asked is None:
        return
    what, load = said("its own spore test"), packed.says.load
    own = [fact for fact in look.back(f"machine:{machine.id}", f"test:{SPORE}") if fact.says.load == load]
    wait = Owed(f"load:{load}", "spore result", said("Read the spore test of this load and its control, and enter both"), asked.origin)
    if not own:
        yield Condition(what, Verdict.UNPROVEN, said("its result is not in the book"), asked.origin, mend=(wait,))
        return
    verdict = worst(test_verdict(fact) for fact in own if fact.happened == own[0].happened)
    told = said("{outcome} {ran}", outcome=term(own[0].says.outcome), ran=look.when(own[0].says.read))
    told += "" if verdict is OUTCOME[own[0].says.outcome] else said(", but its control was not as it should be")
    mend = () if verdict is Verdict.FIT else (wait,) if verdict is Verdict.UNPROVEN else again(look, f"load:{load}")
    yield Condition(what, verdict, told, asked.origin, tuple(fact.entry for fact in own), own[0].happened, mend=mend)


def spore_test_of_the_week(look: Look, machine: Machine, ran: Fact) -> Iterator[Condition]:
    """Yield, where a rule asks for spore tests each week, whether one passed in the week before the load, or after it."""
    asked = look.then(ran.happened).asks("spore tests")
    if asked is None:
        return
    what, subject = said("a spore test of its week"), f"machine:{machine.id}"
    good = (f for f in look.back(subject, f"test:{SPORE}", since=look.basis.days_after(ran.happened, -7)) if test_verdict(f) is Verdict.FIT)
    passed = next(good, None)
    if passed is None:
        test = Owed(subject, SPORE, said("Spore test with its control, now"), asked.origin)
        yield Condition(
            what, Verdict.UNPROVEN, said("none passed in the week before it, and none since"), asked.origin, (), ran.happened, mend=(test,)
        )
    else:
        yield Condition(
            what, Verdict.FIT, said("passed {passed}", passed=look.when(passed.happened)), asked.origin, (passed.entry,), passed.happened
        )


def packs_alike(look: Look, subject: str) -> Iterator[Condition]:
    """Yield a doubt where three packs alike were put aside: that says something of the whole load, and the rest waits for a decision."""
    seen: dict[str, list[Fact]] = {}
    for fact in look.back(subject, "decided"):
        if fact.says.meaning == "released" and fact.says.units is None and fact.says.packs is None:
            break
        if fact.says.found is not None:
            seen.setdefault(fact.says.found, []).append(fact)
    asked = look.basis.asks("dry, whole packs")
    for found, facts in seen.items():
        count = sum(max(len(fact.says.packs or ()), len(fact.says.units or ()), 1) for fact in facts)
        if count >= ALIKE:
            why = said(
                "{count} packs put aside: {found}. Look at the whole load, then release the rest or reject it", count=count, found=found
            )
            look_at = Owed(subject, "release", said("Look at the whole load: release it anew, or reject it"), BOOK, 120)
            origin = asked.origin if asked else BOOK
            yield Condition(
                said("no three packs alike put aside"), Verdict.UNPROVEN, why, origin, (facts[0].entry,), facts[0].happened, mend=(look_at,)
            )
