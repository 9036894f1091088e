"""May I load it? The conditions of a washer, an ultrasonic bath or a sterilizer."""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import Machine, MachineTest
from fettlebook.rules.model import Duty, Origin, Step, Subject, When
from fettlebook.said import joined, said, term
from fettlebook.standing.attempts import attempts
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.machine_runs import OUTCOME, SPORE, last_repair, newest_run, open_failures, test_verdict
from fettlebook.standing.model import Condition, Owed, Verdict, worst
from fettlebook.standing.owed import duty_condition, owed_duty, weekly_due
from fettlebook.standing.steps import DutySays, StepSays
from fettlebook.standing.streams import Fact
from fettlebook.standing.upkeep import service_conditions

DAYS: Final = {"day": 0, "week": 7, "quarter": 92, "year": 366}  # the test holds through this many local days after its own
WITHIN: Final = {
    "day": said("today"), "week": said("within a week"), "quarter": said("within a quarter"), "year": said("within a year")
}  # fmt: skip
WORD: Final = "values of each load"  # what rows are about that ask for more than the machine's word


def machine_conditions(look: Look, machine: Machine) -> tuple[Condition, ...]:
    """Return the conditions of a machine."""
    subject = f"machine:{machine.id}"
    tests = tuple(test_condition(look, machine, test) for test in machine.tests)
    return (
        *service_conditions(look, subject, out_of_service=machine.out_of_service),
        *tests,
        *machine_duties(look, machine, When.BEFORE_FIRST_LOAD),
        *machine_duties(look, machine, When.WEEKLY),
        *_after_repair(look, machine),
        *open_failures(look, machine),
        *_cycles(look, machine),
    )


def test_condition(look: Look, machine: Machine, test: MachineTest) -> Condition:
    """Return whether a test of the practice file is passed and in date; a test before a repair proves nothing after it."""
    basis, subject = look.basis, f"machine:{machine.id}"
    origin = test_origin(look, machine, test)
    what = said("{name}: passed {every}", name=test.name, every=WITHIN[test.every])
    verdict, facts = newest_run(look, machine.id, test.id)
    seconds = (test.attended_minutes * 60, test.unattended_minutes * 60)
    due = (
        _before_load(look, subject) if test.every == "day" else basis.days_after(facts[0].happened, DAYS[test.every] + 1) if facts else None
    )
    last = facts[0].happened if facts else None
    mend = Owed(subject, test.id, test.name, origin, *seconds, since_ms=last, due_ms=due, overdue=due is not None and look.over(due + 1))
    entries = tuple(fact.entry for fact in facts)
    if not facts:
        return Condition(what, Verdict.UNPROVEN, said("not in the book"), origin, mend=(mend,))
    ran = facts[0].happened
    told = said("{outcome} {ran}", outcome=term(facts[0].says.outcome), ran=look.when(ran))
    if verdict is not Verdict.FIT:
        why = told if verdict is OUTCOME[facts[0].says.outcome] else said("{told}, but its control was not as it should be", told=told)
        return Condition(what, verdict, why, origin, entries, ran, mend=(mend,))
    expires = basis.days_after(ran, DAYS[test.every] + 1)
    if look.over(expires):
        return Condition(what, Verdict.UNPROVEN, said("last {told}", told=told), origin, entries, expires, mend=(mend,))
    repaired = last_repair(look, subject)
    if repaired is not None and repaired.happened > ran:
        why = said("{told}, before the repair of {repaired}", told=told, repaired=look.when(repaired.happened))
        return Condition(what, Verdict.UNPROVEN, why, origin, (*entries, repaired.entry), repaired.happened, mend=(mend,))
    return Condition(what, Verdict.FIT, told, origin, entries, ran, expires, duty_id=test.id)


def test_origin(look: Look, machine: Machine, test: MachineTest) -> Origin:
    """Return who asks for a test of the practice file: the rule in force for such a machine and interval, else the practice itself."""
    asked = look.basis.asks(f"{machine.kind.value} tests, {test.every}")
    return (
        asked.origin
        if asked
        else Origin("practice file", test.id, "the practice's own list of tests, by the machine's IFU", "practice", "own")
    )


def machine_duties(look: Look, machine: Machine, when: When) -> Iterator[Condition]:
    """Yield what is said at a look's moment of the duties that a machine owes by one of its moments."""
    subject, basis = f"machine:{machine.id}", look.basis
    first = when is When.BEFORE_FIRST_LOAD
    since = look.today if first else look.days(-7)
    for duty in basis.rulebook.duties_of(Subject(machine.kind.value), when):
        found = [_step(look, machine, duty, step, since) for step in duty.steps]
        says = DutySays(duty, tuple(one for one in found if one is not None))
        if not says.steps:
            continue
        oldest = min((one.done for one in says.steps if one.done is not None), default=look.today)
        expires = look.days(1) if first else basis.days_after(oldest, 8)
        what = said("{name}: done {first}", name=duty.name, first=said("today") if first else said("in the last week"))
        due = _before_load(look, subject) if first else weekly_due(look, subject, says)
        yield duty_condition(look, subject, says, what=what, since=since, expires=expires, due=due)


def _before_load(look: Look, subject: str) -> int | None:
    """Return when the first cycle of the day began: what is owed before it is late from then on."""
    first = look.first(subject, "cycles", since=look.today)
    return min(first.says.began, first.happened) if first else None


def _step(look: Look, machine: Machine, duty: Duty, step: Step, since: int) -> StepSays | None:
    """Return what the book says of a step at a machine; None where the machine's tests, judged beside it, are the evidence asked for."""
    if look.basis.is_about(duty, "spore tests"):
        verdict, facts = newest_run(look, machine.id, SPORE)
        fresh = bool(facts) and facts[0].happened >= since
        if not facts or (not fresh and verdict is Verdict.FIT):
            return StepSays(
                step,
                Verdict.UNPROVEN,
                said("last spore test {facts}", facts=look.when(facts[0].happened)) if facts else said("no spore test in the book"),
            )
        entries = tuple(fact.entry for fact in facts)
        return StepSays(
            step,
            verdict,
            said("spore test {outcome} {facts}", outcome=term(facts[0].says.outcome), facts=look.when(facts[0].happened)),
            entries,
            done=facts[0].happened,
        )
    daily = duty.when is When.BEFORE_FIRST_LOAD and any(test.every == "day" for test in machine.tests)
    if daily and {"start", "cycle log", "judgement"} & set(step.evidence):
        return None
    tries = attempts(look, f"machine:{machine.id}", step.id, since)
    if not tries:
        return StepSays(step, Verdict.UNPROVEN, said("not in the book"))
    last = tries[-1]
    if last.done is None:
        return StepSays(
            step, Verdict.UNPROVEN, said("begun {newest}, its end is not in the book", newest=look.when(last.newest.happened)), last.entries
        )
    verdict = Verdict.UNFIT if last.broken_off else Verdict.FIT
    return StepSays(
        step, verdict, said("broken off") if last.broken_off else said("done"), last.rests_on(timed=False), done=last.done.happened
    )


def _after_repair(look: Look, machine: Machine) -> Iterator[Condition]:
    asked = look.basis.asks("spore test after a repair")
    repaired = last_repair(look, f"machine:{machine.id}")
    if asked is None or repaired is None or machine.kind.value != "sterilizer":
        return
    verdict, facts = newest_run(look, machine.id, SPORE)
    what, since = said("spore test since the repair"), repaired.happened
    entries = (*(fact.entry for fact in facts), repaired.entry)
    mend = Owed(f"machine:{machine.id}", SPORE, said("Spore test"), asked.origin)
    if not facts or facts[0].happened < since or verdict is not Verdict.FIT:
        why = said("repaired {since}: {words}", since=look.when(since), words=repaired.says.words)
        yield Condition(what, Verdict.UNPROVEN if verdict is Verdict.FIT else verdict, why, asked.origin, entries, since, mend=(mend,))
    else:
        yield Condition(
            what, Verdict.FIT, said("passed {facts}", facts=look.when(facts[0].happened)), asked.origin, entries[:-1], facts[0].happened
        )


def cycle_verdict(look: Look, ran: Fact) -> tuple[Verdict, str, tuple[str, ...]]:
    """Return what a cycle is worth: what the machine worth, and no better than the newest judgement of its log."""
    told = said("{cycle} {ran}: the machine says {says}", cycle=ran.says.cycle, ran=look.when(ran.happened), says=term(ran.says.said))
    return _cycle(look, ran, told)


def cycle_reason(look: Look, ran: Fact) -> str:
    """Return why a cycle is worth what it is, without its name and moment, for where these stand beside it."""
    return _cycle(look, ran, said("the machine says {says}", says=term(ran.says.said)))[1]


def _cycle(look: Look, ran: Fact, told: str) -> tuple[Verdict, str, tuple[str, ...]]:
    worth = {"passed": Verdict.FIT, "failed": Verdict.UNFIT, "aborted": Verdict.UNFIT, "nothing": Verdict.UNPROVEN}[ran.says.said]
    # A judgement belongs to its cycle whenever it was made: it tells what the cycle was.
    judged = next(look.known(f"cycle:{ran.entry}", "judged"), None)
    if judged is None:
        asked = look.then(ran.happened).asks(WORD)
        if worth is Verdict.FIT and ran.says.logged:
            return Verdict.UNPROVEN, said("{told}; its log is kept and was not judged", told=told), (ran.entry,)
        if worth is Verdict.FIT and asked is not None and not ran.says.read:
            more = said(
                "{told}, and nothing else is in the book; asked for: {topic} ({source})",
                told=told,
                topic=asked.topic,
                source=asked.origin.source,
            )
            return Verdict.UNPROVEN, more, (ran.entry,)
        return worth, told, (ran.entry,)
    verdict = Verdict(judged.says.verdict)
    if worth is not Verdict.UNPROVEN:
        verdict = worst((worth, verdict))
    entries = (ran.entry,) if worth is verdict is Verdict.FIT else (judged.entry, ran.entry)
    why = f" ({judged.says.reasons})" if judged.says.reasons else ""
    return verdict, said("{told}; judged from its log: {verdict}{why}", told=told, verdict=term(judged.says.verdict), why=why), entries


def _cycles(look: Look, machine: Machine) -> Iterator[Condition]:
    """The last cycle: after a bad one the machine is in doubt until a test passes, after two in a row it is off."""
    bad: list[tuple[str, str]] = []
    newest: Fact | None = None
    for ran in look.back(f"machine:{machine.id}", "cycles"):
        verdict, why, _ = cycle_verdict(look, ran)
        newest = newest or ran
        if verdict is not Verdict.UNFIT or len(bad) == 2:
            break
        bad.append((ran.entry, why))
    if newest is None:
        return
    what = said("last cycle did not fail")
    passed = next((f for f in look.back(f"machine:{machine.id}", "tests", since=newest.happened) if test_verdict(f) is Verdict.FIT), None)
    entries = tuple(entry for entry, _ in bad)
    if not bad or passed is not None:
        why = (
            said("test passed {passed} after it", passed=look.when(passed.happened))
            if bad and passed
            else said("{outcome} {ran}", outcome=term(newest.says.said), ran=look.when(newest.happened))
        )
        yield Condition(what, Verdict.FIT, why, BOOK, (passed.entry,) if bad and passed else (), newest.happened)
        return
    verdict = Verdict.UNFIT if len(bad) > 1 else Verdict.UNPROVEN
    tests = tuple(
        Owed(f"machine:{machine.id}", t.id, t.name, test_origin(look, machine, t), t.attended_minutes * 60, t.unattended_minutes * 60)
        for t in machine.tests
        if t.every == "day"
    )
    mend = tests or tuple(owed_duty(look, f"machine:{machine.id}", d, d.steps) for d in _first_duties(look, machine))
    why = joined("; ", (told for _, told in bad))
    failed = said("the last cycle failed: {why}", why=why)
    yield Condition(what, verdict, why, BOOK, entries, newest.happened, mend=mend, failed=failed)


def _first_duties(look: Look, machine: Machine) -> tuple[Duty, ...]:
    return look.basis.rulebook.duties_of(Subject(machine.kind.value), When.BEFORE_FIRST_LOAD)
