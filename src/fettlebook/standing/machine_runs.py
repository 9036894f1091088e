"""The runs of a machine's tests: what one says, what the newest says, and what frees a machine from one that failed."""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import Machine
from fettlebook.said import said, term
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict, worst
from fettlebook.standing.streams import Fact

SPORE: Final = "spore test"
IN_A_ROW: Final = "spore tests in a row after a repeated positive"
OUTCOME: Final = {"passed": Verdict.FIT, "failed": Verdict.UNFIT, "aborted": Verdict.UNPROVEN, "unproven": Verdict.UNPROVEN}


def newest_run(look: Look, machine: str, test: str, until: int | None = None) -> tuple[Verdict, tuple[Fact, ...]]:
    """Return the outcome of the newest run of a test and its entries; where two entries tell of one run, the worse counts."""
    facts: list[Fact] = []
    for fact in look.back(f"machine:{machine}", f"test:{test}", until=until):
        if facts and fact.happened != facts[0].happened:
            break
        facts.append(fact)
    return (worst(test_verdict(fact) for fact in facts) if facts else Verdict.UNPROVEN), tuple(facts)


def test_verdict(fact: Fact) -> Verdict:
    """Return what one test says: a spore test counts only beside a control that grew."""
    said = OUTCOME[fact.says.outcome]
    spore = fact.says.test == SPORE
    doubtful = fact.says.control == "not as it should" or (spore and fact.says.control != "as it should")
    return Verdict.UNPROVEN if said is Verdict.FIT and doubtful else said


def last_repair(look: Look, subject: str) -> Fact | None:
    """Return the newest repair of a machine."""
    return next((fact for fact in look.back(subject, "service") if fact.says.sort == "repair"), None)


def freed_by(look: Look, machine: str, test: str) -> tuple[int, int, Fact | None]:
    """Return how many passes in a row stand after the last failure of a test, how many are needed, and that failure (None: none).

    One passed test frees a machine. Where a spore test failed twice with none passed between, the rulebook can ask for more in a row,
    and for a repair before them.
    """
    passes, failures = 0, []
    for fact in look.back(f"machine:{machine}", f"test:{test}"):
        verdict = test_verdict(fact)
        if verdict is Verdict.UNFIT:
            failures.append(fact)
        elif verdict is Verdict.FIT:
            if failures:
                break
            passes += 1
        if len(failures) == 2:
            break
    asked = look.basis.limit_of(IN_A_ROW) if test == SPORE and len(failures) == 2 else None
    return passes, round(max(asked.value)) if asked else 1, failures[0] if failures else None


def open_failures(look: Look, machine: Machine) -> Iterator[Condition]:
    """Yield each failed spore, air-removal or leak test that the practice file does not list and that no later run has made good."""
    listed = {test.id for test in machine.tests}
    for test in (SPORE, "air-removal test", "leak test"):
        passes, needed, failed = freed_by(look, machine.id, test)
        if failed is None or passes >= needed or (test in listed and needed == 1):
            continue
        subject, what = f"machine:{machine.id}", said("no failed {test} open", test=term(test))
        asked = look.basis.asks(IN_A_ROW if needed > 1 else "positive spore test") if test == SPORE else None
        origin = asked.origin if asked else BOOK
        repaired = last_repair(look, subject)
        entries = (failed.entry,)
        why = said("failed {failed}; {passes} of {needed} passed since", failed=look.when(failed.happened), passes=passes, needed=needed)
        if needed > 1 and (repaired is None or repaired.happened < failed.happened):
            why += said(", and no repair is in the book")
        mend = Owed(
            subject,
            test,
            said("{test} again, until {needed} in a row passed", test=term(test.capitalize()), needed=needed)
            if needed > 1
            else said("{test} again", test=term(test.capitalize())),
            origin,
        )
        told = said("{test}: {why}", test=term(test), why=why)
        yield Condition(what, Verdict.UNFIT, why, origin, entries, failed.happened, mend=(mend,), failed=told)
