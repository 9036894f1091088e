"""What went wrong in a stretch of time, and what the book shows was done about it: cycles, tests, counts, faults, loads, notices.

Nothing here decides. A deviation is closed where the book shows what closes it (said beside each); else it is open, whatever was said.
"""

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook.practice.model import Machine, MachineKind
from fettlebook.said import joined, said, term
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look import Look
from fettlebook.standing.machine import cycle_reason, cycle_verdict
from fettlebook.standing.machine_runs import SPORE, test_verdict
from fettlebook.standing.model import Verdict
from fettlebook.standing.standings import PRACTICE
from fettlebook.standing.streams import Fact
from fettlebook.standing.water_history import ChairWater

SERVICE: Final = {
    "fault": said("fault"),
    "stop": said("taken out of service"),
    "repair": said("repaired"),
    "returned": said("returned to service"),
}
Kind = Literal["cycle", "test", "water count", "fault", "out of service", "load", "release", "notice"]
SOON_MS: Final = 30 * DAY_MS  # what is named as done about it lies within so long, but for what closes it


@dataclass(frozen=True, slots=True)
class Followed:
    """Something that was done afterwards, with the entry that says so."""

    at_ms: int
    what: str
    by: str
    entry: str


@dataclass(frozen=True, slots=True)
class Deviation:
    """Something that went wrong. `closes` says what closes it; `closed_by` is the entry that did, empty while it is open."""

    kind: Kind
    subject: str
    at_ms: int
    what: str
    entry: str
    verdict: Verdict
    followed: tuple[Followed, ...]
    closes: str
    closed_by: str

    @property
    def open(self) -> bool:
        """Whether the book shows nothing that closes it."""
        return not self.closed_by

    @property
    def state(self) -> Literal["closed", "open", "nothing done"]:
        """Closed; open with something done; or nothing in the book about it at all."""
        return "closed" if self.closed_by else "open" if self.followed else "nothing done"


def deviations(look: Look, since: int, until: int, waters: Collection[ChairWater], chairs: Collection[str] = ()) -> tuple[Deviation, ...]:
    """Return what went wrong from `since` to before `until`, oldest first; what was done about it up to the look's moment.

    Parameters
    ----------
    waters
        Each chair's results and treatments, as `chair_water` gives them.
    chairs
        Only these chairs, and everything that is of no chair; empty: all.
    """
    found: list[Deviation] = []
    for machine in look.basis.practice.machines:
        found += _cycles(look, machine, since, until)
        found += _tests(look, machine, since, until)
        found += _service(look, f"machine:{machine.id}", since, until)
        found += _loads(look, machine, since, until)
    for chair in look.basis.practice.chairs:
        if not chairs or chair.id in chairs:
            found += _service(look, f"chair:{chair.id}", since, until)
    for water in waters:
        found += _counts(look, water, since, until)
    found += _notices(look, since, until)
    return tuple(sorted(found, key=lambda d: (d.at_ms, d.subject, d.entry)))


def _cycles(look: Look, machine: Machine, since: int, until: int) -> Iterator[Deviation]:
    """Cycles that failed: closed by a good test or cycle since and, where there was a load, by its being put aside or run again."""
    subject = f"machine:{machine.id}"
    for ran in look.forward(subject, "cycles", since=since, until=until - 1):
        verdict = cycle_verdict(look, ran)[0]
        if verdict is not Verdict.UNFIT:
            continue
        done: list[Followed] = list(_failure_steps(look, ran.entry))
        aside: Fact | None = None
        if ran.says.load is not None:
            for fact in look.forward(f"load:{ran.says.load}", "decided", since=ran.happened):
                done.append(_decided(fact))
                aside = aside or (fact if fact.says.meaning != "released" else None)
            if aside is None and (again := _ran_again(look, machine, ran)) is not None:
                done.append(Followed(again.happened, said("its sets run again in load {load}", load=again.says.load), "", again.entry))
                aside = again
        good = _next_good(look, subject, ran.happened)
        if good is not None and (aside is not None or ran.says.load is None):  # a good cycle alone does nothing about a load that failed
            done.append(good)
        closed = good.entry if good is not None and (aside is not None or ran.says.load is None) else ""
        told, closes = said("{cycle} cycle, {why}", cycle=ran.says.cycle, why=cycle_reason(look, ran)), said("a good test or cycle since")
        if ran.says.load:
            told = said("{told}, load {load}", told=told, load=ran.says.load)
            closes = said("its load put aside or run again, and a good test or cycle since")
        yield Deviation("cycle", subject, ran.happened, told, ran.entry, verdict, _in_order(done), closes, closed)


def _ran_again(look: Look, machine: Machine, ran: Fact) -> Fact | None:
    """Return the last of the loads in which a failed load's sets all ran again, in a machine of the kind and before anything else."""
    packed = look.latest(f"load:{ran.says.load}", "packed")
    following = []
    for unit, _ in packed.says.items if packed is not None else ():
        fact = next((f for f in look.forward(f"unit:{unit}", "packed", since=ran.happened) if f.says.load != ran.says.load), None)
        kind = look.machine(fact.says.machine, fact.happened) if fact is not None else None
        if fact is None or kind is None or kind.kind is not machine.kind:
            return None
        following.append(fact)
    return max(following, default=None)


def _next_good(look: Look, subject: str, since: int) -> Followed | None:
    tests = (f for f in look.forward(subject, "tests", since=since + 1) if test_verdict(f) is Verdict.FIT)
    cycles = (f for f in look.forward(subject, "cycles", since=since + 1) if cycle_verdict(look, f)[0] is Verdict.FIT)
    test, cycle = next(tests, None), next(cycles, None)
    if test is not None and (cycle is None or test <= cycle):
        return Followed(test.happened, said("{test} passed", test=term(test.says.test)), "", test.entry)
    return Followed(cycle.happened, said("cycle {cycle} was good", cycle=cycle.says.cycle), "", cycle.entry) if cycle is not None else None


def _tests(look: Look, machine: Machine, since: int, until: int) -> Iterator[Deviation]:
    """Tests that failed: closed by the next one of the kind that passed."""
    subject = f"machine:{machine.id}"
    for failed in look.forward(subject, "tests", since=since, until=until - 1):
        if test_verdict(failed) is not Verdict.UNFIT:
            continue
        name = next((t.name for t in machine.tests if t.id == failed.says.test), failed.says.test)
        same = look.forward(subject, f"test:{failed.says.test}", since=failed.happened + 1)
        passed = next((f for f in same if test_verdict(f) is Verdict.FIT), None)
        end = passed.happened if passed is not None else failed.happened + SOON_MS
        done = [*_failure_steps(look, failed.entry), *_services(look, subject, failed.happened, end)]
        done += _recalled(look, subject, failed, end)
        if passed is not None:
            done.append(Followed(passed.happened, said("{test} passed", test=term(name)), "", passed.entry))
        again = said("the test, passed again")
        if failed.says.test == SPORE:
            again = said("a test of the kind that passes, and what your rules ask for")
        told = said("{test} failed", test=term(name))
        yield Deviation(
            "test", subject, failed.happened, told, failed.entry, Verdict.UNFIT, _in_order(done), again, passed.entry if passed else ""
        )


def _recalled(look: Look, subject: str, failed: Fact, end: int) -> Iterator[Followed]:
    """Loads of this machine that were called back after a test of it failed."""
    before = next((f for f in look.back(subject, f"test:{failed.says.test}", until=failed.happened - 1)), None)
    since = before.happened if before is not None else failed.happened - SOON_MS
    for ran in look.forward(subject, "cycles", since=since, until=failed.happened):
        if ran.says.load is None:
            continue
        for fact in look.forward(f"load:{ran.says.load}", "decided", since=failed.happened, until=end):
            yield _decided(fact)


def _service(look: Look, subject: str, since: int, until: int) -> Iterator[Deviation]:
    """Faults and times out of service: closed by a repair of that fault, or a person who returned it."""
    for fact in look.forward(subject, "service", since=since, until=until - 1):
        if fact.says.sort not in ("fault", "stop"):
            continue
        later = [f for f in look.forward(subject, "service", since=fact.happened) if f > fact]
        ends = next((f for f in later if _ends(fact, f)), None)
        until_then = [f for f in later if ends is None or f <= ends][:6]
        kind: Kind = "fault" if fact.says.fault is not None else "out of service"
        closes = said("a person who returned it to service") if fact.says.sort == "stop" else said("its repair")
        verdict = Verdict.UNFIT if fact.says.sort == "stop" else Verdict.UNPROVEN
        done = [_service_words(f) for f in until_then if f.says.sort in ("repair", "returned")]
        yield Deviation(
            kind, subject, fact.happened, fact.says.words, fact.entry, verdict, _in_order(done), closes, ends.entry if ends else ""
        )


def _ends(stop: Fact, later: Fact) -> bool:
    if later.says.sort == "returned":
        return later.says.outlets is None or (stop.says.outlets is not None and set(stop.says.outlets) <= set(later.says.outlets))
    return stop.says.sort == "fault" and later.says.sort == "repair" and later.says.fault in (None, stop.says.fault)


def _loads(look: Look, machine: Machine, since: int, until: int) -> Iterator[Deviation]:
    """Loads put aside though their cycle was good; released against or before the evidence, or by nobody who may."""
    subject = f"machine:{machine.id}"
    for ran in look.forward(subject, "cycles", since=since, until=until - 1):
        if ran.says.load is None:
            continue
        name, verdict = f"load:{ran.says.load}", None
        for fact in look.forward(name, "decided", since=ran.happened):
            verdict = verdict or cycle_verdict(look, ran)[0]
            if fact.says.meaning != "released":
                if verdict is not Verdict.UNFIT:
                    told = said("load {load} not used: {reason}", load=ran.says.load, reason=fact.says.reason)
                    put = (_decided(fact),)
                    yield Deviation(
                        "load", name, fact.happened, told, fact.entry, Verdict.UNFIT, put, said("put aside by name"), fact.entry
                    )
                continue
            recall = next((f for f in look.forward(name, "decided", since=fact.happened) if f.says.meaning != "released"), None)
            done = (_decided(recall),) if recall is not None else ()
            recalled = recall.entry if recall is not None else ""
            if fact.says.override or verdict is Verdict.UNFIT:
                told = said("load {load} released against a cycle that is {verdict}", load=ran.says.load, verdict=term(str(verdict)))
                told = joined(": ", (told, fact.says.override)) if fact.says.override else told
                yield Deviation("release", name, fact.happened, told, fact.entry, Verdict.UNFIT, done, said("its recall"), recalled)
            elif fact.says.early:
                good = _spore_after(look, subject, ran.happened)
                told = said("load {load} released before its spore result: {reason}", load=ran.says.load, reason=fact.says.reason)
                followed = _in_order([*done, *((good,) if good else ())])
                closed = recalled or (good.entry if good else "")
                yield Deviation(
                    "release", name, fact.happened, told, fact.entry, Verdict.UNPROVEN, followed, said("its spore test"), closed
                )


def _spore_after(look: Look, subject: str, since: int) -> Followed | None:
    fact = next((f for f in look.forward(subject, f"test:{SPORE}", since=since) if test_verdict(f) is Verdict.FIT), None)
    return Followed(fact.happened, said("{test} passed", test=term(SPORE)), "", fact.entry) if fact is not None else None


def undecided(look: Look, since: int, until: int) -> tuple[tuple[str, str, int, str], ...]:
    """Return the loads that ran in a sterilizer and that nobody has decided on: (load, machine, when [ms], entry of the run)."""
    found = []
    for machine in look.basis.practice.machines:
        if machine.kind is not MachineKind.STERILIZER:
            continue
        for ran in look.forward(f"machine:{machine.id}", "cycles", since=since, until=until - 1):
            if ran.says.load is not None and look.latest(f"load:{ran.says.load}", "decided", since=ran.happened) is None:
                found.append((ran.says.load, machine.id, ran.happened, ran.entry))
    return tuple(found)


def _counts(look: Look, water: ChairWater, since: int, until: int) -> Iterator[Deviation]:
    """Counts over a limit: closed by the next count of that chair within it."""
    subject = f"chair:{water.chair}"
    for result in water.results:
        if result.verdict is not Verdict.UNFIT or not since <= result.taken_ms < until:
            continue
        good = next(
            (r for r in water.results if r.taken_ms > result.taken_ms and r.verdict is Verdict.FIT and _same(result.outlets, r.outlets)),
            None,
        )
        end = good.taken_ms if good is not None else result.taken_ms + 3 * SOON_MS
        done = [
            Followed(one.done_ms, treatment_words(whole=one.whole, why=one.why), "", one.evidence[0])
            for one in water.treatments
            if result.taken_ms < one.done_ms <= end and one.evidence
        ]
        done += _services(look, subject, result.taken_ms, end)
        if good is not None:
            done.append(Followed(good.taken_ms, said("next sample: {why}", why=good.why), "", good.evidence[0]))
        told = said("sample {sample}: {why}", sample=result.sample, why=result.why)
        yield Deviation(
            "water count", subject, result.taken_ms, told, result.evidence[0], Verdict.UNFIT,
            _in_order(done), said("a later count within the limit"), good.evidence[0] if good is not None else "",
        )  # fmt: skip


def _same(one: tuple[str, ...] | None, two: tuple[str, ...] | None) -> bool:
    return one is None or two is None or bool(set(one) & set(two))


def _notices(look: Look, since: int, until: int) -> Iterator[Deviation]:
    for notice in ("boil water", "other"):
        for fact in look.forward(PRACTICE, f"notice:{notice}", since=since, until=until - 1):
            if not fact.says.begun:
                continue
            ended = next((f for f in look.forward(PRACTICE, f"notice:{notice}", since=fact.happened + 1) if not f.says.begun), None)
            done = (Followed(ended.happened, said("the notice ended"), "", ended.entry),) if ended is not None else ()
            told = said("notice: {notice}", notice=term(notice))
            told = joined(", ", (told, fact.says.words)) if fact.says.words else told
            closed = ended.entry if ended else ""
            yield Deviation("notice", PRACTICE, fact.happened, told, fact.entry, Verdict.UNFIT, done, said("the end of the notice"), closed)


def _failure_steps(look: Look, entry: str) -> Iterator[Followed]:
    for fact in look.forward(f"failure:{entry}", "done"):
        yield Followed(
            fact.happened, joined("", (fact.says.step, ", ", term(fact.says.outcome), ": ", fact.says.reason)), fact.says.by, fact.entry
        )


def _services(look: Look, subject: str, since: int, end: int) -> Iterator[Followed]:
    for fact in look.forward(subject, "service", since=since, until=end):
        yield _service_words(fact)


def _service_words(fact: Fact) -> Followed:
    return Followed(fact.happened, joined(": ", (SERVICE[fact.says.sort], fact.says.words)), fact.says.by, fact.entry)


def _decided(fact: Fact) -> Followed:
    return Followed(fact.happened, decided_words(fact), fact.says.by, fact.entry)


def decided_words(fact: Fact) -> str:
    """Return a decision on a load in words."""
    told = said("load {load} {meaning}", load=fact.says.load, meaning=term(fact.says.meaning))
    return joined(": ", (told, fact.says.reason)) if fact.says.reason else told


def treatment_words(*, whole: bool, why: str) -> str:
    """Return an intensive treatment in words."""
    return said("intensive treatment") if whole else said("intensive treatment, not whole: {why}", why=why)


def _in_order(done: list[Followed]) -> tuple[Followed, ...]:
    return tuple(sorted({one.entry: one for one in done}.values(), key=lambda one: (one.at_ms, one.entry)))
