"""What follows when a cycle or a test of a machine fails: the steps in order, what is done of them, and what frees the machine.

Nothing here decides. Each step is done when an entry of the book shows that a person did it; what no other kind of entry shows (that the
records were gone through, that the authority was told) is a `failure.step` that refers to the failure.
"""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.errors import Mendable
from fettlebook.practice.model import Machine, MachineKind, Skill
from fettlebook.rules.model import Origin
from fettlebook.said import said, term
from fettlebook.standing.look import Look
from fettlebook.standing.look_back import LoadBack, LookBack, cycle_look_back, load_back, since_last_good
from fettlebook.standing.machine import cycle_verdict
from fettlebook.standing.machine_runs import IN_A_ROW, SPORE, freed_by, last_repair, newest_run, test_verdict
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact

Kind = Literal["cycle", "spore test", "test", "missing spore test"]
State = Literal["done", "open", "not yet"]
STILL_SHOWN_DAYS: Final = 14  # a failure whose steps are all done stays on the page so long
E5: Final = Origin("fettlebook", "after a failed cycle", "a failed cycle's load is put aside, the machine tested", "practice", "practice")
E8: Final = Origin("fettlebook", "after a failed test", "out of service until the test passes again", "practice", "practice")


@dataclass(frozen=True, slots=True)
class FollowStep:
    """One step of what follows a failure. `not yet`: another one comes first."""

    id: str
    name: str
    state: State
    told: str
    origin: Origin
    entry: str = ""


@dataclass(frozen=True, slots=True)
class Failure:
    """A failure of a machine, with what follows.

    `entry` is that of the failure; empty where a test is missing. `quarantine` are the loads that nobody has decided on since, `short` the
    sets at hand in them by type: they are missing for the rest of the day. `frees` says in words which result frees the machine.
    """

    machine: str
    kind: Kind
    what: str
    failed_ms: int | None
    entry: str
    told: str
    steps: tuple[FollowStep, ...]
    back: LookBack | None
    quarantine: tuple[LoadBack, ...]
    short: tuple[tuple[str, int], ...]
    frees: str

    @property
    def open(self) -> bool:
        """Whether a step is still to be done."""
        return any(step.state != "done" for step in self.steps)


def failures(look: Look, machine: Machine) -> tuple[Failure, ...]:
    """Return a machine's open failures and those of the last days, the newest first."""
    found = [*_failed_tests(look, machine), *_failed_cycle(look, machine), *_missing(look, machine)]
    shown = [f for f in found if f.open or f.failed_ms is None or f.failed_ms >= look.basis.days_after(look.at, -STILL_SHOWN_DAYS)]
    return tuple(sorted(shown, key=lambda f: (not f.open, -(f.failed_ms or look.at))))


def _failed_tests(look: Look, machine: Machine) -> Iterator[Failure]:
    for test in dict.fromkeys((SPORE, *(t.id for t in machine.tests), "air-removal test", "leak test")):
        passes, needed, failed = freed_by(look, machine.id, test)
        if failed is None:
            continue
        spore = test == SPORE
        since = max(failed.happened, failed.says.read)
        back = since_last_good(look, machine.id, test)
        waiting = tuple(load for load in back.loads if not decided_since(look, load.load, since))
        asked = look.basis.asks("positive spore test") if spore else None
        origin = asked.origin if asked else E8
        out = _out(look, machine, since, origin)
        review = _said(look, failed, "review", said("Go through how it was run and all records since the last good test"), origin)
        steps = [out, review, *_retests(look, machine, test, (passes, needed, failed), origin)]
        steps.append(_quarantined(back, waiting, origin))
        if spore:
            steps.append(
                _said(look, failed, "authority", said("Lead: talk it over with the authority, where your rules ask for it"), origin)
            )
        steps.append(_back(look, machine, since, freed=passes >= needed, origin=origin))
        name = next((t.name for t in machine.tests if t.id == test), test)
        told = said("{name} failed, ran {failed}", name=name, failed=look.when(failed.happened)) + (
            said(", read {read}", read=look.when(failed.says.read)) if failed.says.read > failed.happened else ""
        )
        frees = (
            said("{needed} {test}s in a row that pass, after a repair", needed=needed, test=test)
            if needed > 1
            else said("one {name} that passes, then a person who returns it", name=name)
        )
        kind: Kind = "spore test" if spore else "test"
        yield Failure(machine.id, kind, test, failed.happened, failed.entry, told, tuple(steps), back, waiting, _short(waiting), frees)


def _failed_cycle(look: Look, machine: Machine) -> Iterator[Failure]:
    """The newest cycle that failed, by its judged log or the machine's word; two in a row put the machine off."""
    runs = list(look.back(f"machine:{machine.id}", "cycles", since=look.basis.days_after(look.at, -STILL_SHOWN_DAYS)))
    verdicts = {ran.entry: cycle_verdict(look, ran) for ran in runs}
    at = next((n for n, ran in enumerate(runs) if verdicts[ran.entry][0] is Verdict.UNFIT), None)
    if at is None:
        return
    ran = runs[at]
    twice = at + 1 < len(runs) and verdicts[runs[at + 1].entry][0] is Verdict.UNFIT
    load = load_back(look, ran) if ran.says.load else None
    steps: list[FollowStep] = []
    decision = look.latest(f"load:{load.load}", "decided", since=ran.happened) if load else None
    aside = decision is not None and decision.says.meaning != "released"
    if load is not None:
        told = (
            said(
                "{meaning} by {by} {decision}",
                meaning=term(decision.says.meaning),
                by=decision.says.by,
                decision=look.when(decision.happened),
            )
            if decision and aside
            else said("nobody has rejected it yet")
        )
        entry = decision.entry if decision and aside else ""
        steps.append(
            FollowStep(
                "aside", said("Put load {load} aside and reject it by name", load=load.load), "done" if aside else "open", told, E5, entry
            )
        )
    steps.append(_said(look, ran, "review", said("Find out why: read the reasons and the graph; call service where it is the machine"), E5))
    if twice:
        steps.append(_out(look, machine, runs[at + 1].happened, E5))
    passed = _passed_since(look, machine, ran)
    told = said("{test} passed {passed}", test=passed.says.test, passed=look.when(passed.happened)) if passed else said("none passed since")
    steps.append(
        FollowStep(
            "retest", said("Test the machine before its next load"), "done" if passed else "open", told, E5, passed.entry if passed else ""
        )
    )
    if load is not None:
        again = [u for u in load.units if _begun_again(look, u.unit, ran)]
        state: State = "done" if len(again) == len(load.units) else "open"
        steps.append(
            FollowStep(
                "again",
                said("Wash, pack and run its sets again"),
                state,
                said("{again} of {units} sets begun", again=len(again), units=len(load.units)),
                E5,
            )
        )
    if twice:
        steps.append(_back(look, machine, ran.happened, freed=passed is not None, origin=E5))
    waiting = (load,) if load is not None and not aside else ()
    short = Counter(u.unit.partition("#")[0] for u in load.units if u.at_hand) if load else Counter[str]()
    frees = said("a test of the machine that passes") + (
        said(", then a person who returns it: two cycles failed in a row") if twice else ""
    )
    why = verdicts[ran.entry][1]
    back = cycle_look_back(look, machine.id, ran) if load is not None else None
    yield Failure(
        machine.id, "cycle", ran.says.cycle, ran.happened, ran.entry, why, tuple(steps), back, waiting, tuple(sorted(short.items())), frees
    )


def _begun_again(look: Look, unit: str, ran: Fact) -> bool:
    return any(fact.says.load != ran.says.load for fact in look.forward(f"unit:{unit}", "packed", since=ran.happened))


def _missing(look: Look, machine: Machine) -> Iterator[Failure]:
    asked = look.basis.asks("spore tests")
    if asked is None or machine.kind is not MachineKind.STERILIZER or machine.out_of_service:
        return
    verdict, facts = newest_run(look, machine.id, SPORE)
    if verdict is Verdict.UNFIT or (verdict is Verdict.FIT and facts[0].happened >= look.basis.days_after(look.at, -7)):
        return
    back: LookBack | None = None
    try:
        back = since_last_good(look, machine.id, SPORE)
    except Mendable:  # none in the book at all: nothing brackets the loads
        back = None
    covered = look.basis.days_after(back.last_good_ms, 8) if back is not None and back.last_good_ms is not None else 0
    waiting = tuple(load for load in back.loads if load.at_ms >= covered) if back is not None else ()
    good = (
        said("last good one {last_good_ms}", last_good_ms=look.when(back.last_good_ms))
        if back is not None and back.last_good_ms is not None
        else said("none good in the book")
    )
    steps = (
        FollowStep("retest", said("Run a spore test with its control now, and enter both when they are read"), "open", good, asked.origin),
        FollowStep(
            "hold",
            said("Lead: keep what lies in the cupboard since then, or let it be used"),
            "open",
            said("{waiting} loads that no good test covers", waiting=len(waiting)),
            asked.origin,
        ),
    )
    yield Failure(
        machine.id, "missing spore test", SPORE, None, "", said("no spore test of the last week; {good}", good=good), steps, back,
        waiting, _short(waiting),
        said("a spore test that passes beside a control that grew"),
    )  # fmt: skip


def _retests(look: Look, machine: Machine, test: str, stood: tuple[int, int, Fact], origin: Origin) -> Iterator[FollowStep]:
    passes, needed, failed = stood
    if needed > 1:
        asked = look.basis.limit_of(IN_A_ROW)
        origin = asked.origin if asked else origin
        repaired = last_repair(look, f"machine:{machine.id}")
        done = repaired is not None and repaired.happened > failed.happened
        told = (
            said("{words}, {when}", words=repaired.says.words, when=look.when(repaired.happened))
            if repaired and done
            else said("the repeated test failed too; no repair since")
        )
        yield FollowStep(
            "repair",
            said("Have it inspected and repaired"),
            "done" if done else "open",
            told,
            origin,
            repaired.entry if repaired and done else "",
        )
        state: State = "done" if passes >= needed else "open" if done else "not yet"
        yield FollowStep(
            "retest",
            said("{needed} tests in a row, chamber empty, all passed", needed=needed),
            state,
            said("{passes} of {needed} passed", passes=passes, needed=needed),
            origin,
        )
        return
    newest = look.latest(f"machine:{machine.id}", f"test:{test}")
    passed = newest if newest is not None and passes >= needed else None
    told = said("passed {passed}", passed=look.when(passed.happened)) if passed else said("not run again yet")
    name = said("Repeat the test at once, same cycle, rightly loaded") if test == SPORE else said("Find the cause, then run the test again")
    yield FollowStep("retest", name, "done" if passed else "open", told, origin, passed.entry if passed else "")


def _out(look: Look, machine: Machine, since: int, origin: Origin) -> FollowStep:
    stop = next((f for f in look.back(f"machine:{machine.id}", "service", since=since) if f.says.sort == "stop"), None)
    told = (
        said("by {by} {stop}: {words}", by=stop.says.by, stop=look.when(stop.happened), words=stop.says.words)
        if stop
        else said("still in service by the book")
    )
    return FollowStep(
        "out", said("Take {id} out of service", id=machine.id), "done" if stop else "open", told, origin, stop.entry if stop else ""
    )


def _back(look: Look, machine: Machine, since: int, *, freed: bool, origin: Origin) -> FollowStep:
    back = next((f for f in look.back(f"machine:{machine.id}", "service", since=since) if f.says.sort == "returned"), None)
    state: State = "done" if back else "open" if freed else "not yet"
    told = (
        said("by {by} {back}: {words}", by=back.says.by, back=look.when(back.happened), words=back.says.words)
        if back
        else said("a person does, by name, once a result has freed it")
    )
    return FollowStep("return", said("Return {id} to service", id=machine.id), state, told, origin, back.entry if back else "")


def _said(look: Look, failed: Fact, step: str, name: str, origin: Origin) -> FollowStep:
    done = next((f for f in look.back(f"failure:{failed.entry}", "done") if f.says.step == step), None)
    told = (
        said(
            "{outcome} by {by} {done}: {reason}",
            outcome=done.says.outcome,
            by=done.says.by,
            done=look.when(done.happened),
            reason=done.says.reason,
        )
        if done
        else said("nobody has entered it")
    )
    return FollowStep(step, name, "done" if done else "open", told, origin, done.entry if done else "")


def _quarantined(back: LookBack, waiting: tuple[LoadBack, ...], origin: Origin) -> FollowStep:
    told = (
        said("{waiting} of {loads} loads decided on", waiting=len(back.loads) - len(waiting), loads=len(back.loads))
        if back.loads
        else said("no load since the last good test")
    )
    name = said("Lead: recall each load since the last good test, or release it anew")
    return FollowStep("quarantine", name, "open" if waiting else "done", told, origin)


def _passed_since(look: Look, machine: Machine, ran: Fact) -> Fact | None:
    tests = look.back(f"machine:{machine.id}", "tests", since=ran.happened)
    return next((f for f in tests if test_verdict(f) is Verdict.FIT), None)


def decided_since(look: Look, load: str, since: int) -> bool:
    """Tell whether a load was recalled, or released anew by a lead, since a moment."""
    for fact in look.back(f"load:{load}", "decided", since=since):
        if fact.happened > since and (fact.says.meaning != "released" or look.then(fact.happened).may(fact.says.by, Skill.LEAD)):
            return True
    return False


def _short(loads: tuple[LoadBack, ...]) -> tuple[tuple[str, int], ...]:
    return tuple(sorted(Counter(u.unit.partition("#")[0] for load in loads for u in load.units if u.at_hand).items()))
