"""What the evidence file rests on, asked of the standings once: occasions, deviations, runs, tests, loads, counts, verdicts, gaps."""

from collections.abc import Callable
from dataclasses import dataclass
from datetime import date

from fettlebook.exchange.evidence.span import Span
from fettlebook.exchange.laboratory.from_book import BookWater, judge_book
from fettlebook.practice.model import Practice
from fettlebook.standing.compliance import Occasion, occasions
from fettlebook.standing.deviations import Deviation, deviations, undecided
from fettlebook.standing.gaps import Missing
from fettlebook.standing.look import Look
from fettlebook.standing.machine import cycle_reason, cycle_verdict
from fettlebook.standing.machine_runs import test_verdict
from fettlebook.standing.model import Standing, Verdict
from fettlebook.standing.standings import Standings
from fettlebook.standing.streams import Fact
from fettlebook.standing.upkeep import missing_now
from fettlebook.standing.water_history import WaterResult

Tell = Callable[[str, int, int], None]


@dataclass(frozen=True, slots=True)
class Run:
    """A cycle of a machine, with what it is worth."""

    machine: str
    fact: Fact
    verdict: Verdict
    why: str
    reason: str = ""  # why, without name and moment; empty: it was good


@dataclass(frozen=True, slots=True)
class Test:
    """A test of a machine, with what it says."""

    machine: str
    name: str
    fact: Fact
    verdict: Verdict


@dataclass(frozen=True, slots=True)
class Gathered:
    """All that the document and the figures are made from. `at` is the moment up to which the book was asked [ms]."""

    span: Span
    look: Look
    at: int
    known_at: int
    practice: Practice
    days: tuple[tuple[date, tuple[Occasion, ...]], ...]
    deviations: tuple[Deviation, ...]
    runs: tuple[Run, ...]
    tests: tuple[Test, ...]
    undecided: tuple[tuple[str, str, int, str], ...]
    water: BookWater
    results: tuple[WaterResult, ...]  # those of the span
    visits: tuple[tuple[str, str, int, str], ...]  # visit, chair, when [ms], entry
    decided: tuple[tuple[str, str, int, str], ...]  # load, meaning, when [ms], entry
    standings: tuple[Standing, ...]  # of chairs and machines at the end of the span
    missing: tuple[Missing, ...]
    doubts: tuple[str, ...]  # what of the files that held could not be read

    @property
    def occasions(self) -> tuple[Occasion, ...]:
        """Every occasion, day by day."""
        return tuple(one for _, day in self.days for one in day)

    @property
    def open(self) -> tuple[Deviation, ...]:
        """The deviations that nothing in the book closes."""
        return tuple(one for one in self.deviations if one.open)

    def chosen(self, subject: str) -> bool:
        """Tell whether a subject belongs to what was asked for: its chair, or no chair at all."""
        kind, _, name = subject.partition(":")
        return not self.span.chairs or kind not in ("chair", "outlet", "suction") or name.partition("/")[0] in self.span.chairs


def gather(standings: Standings, span: Span, *, now: int, known_at: int, tell: Tell = lambda stage, done, of: None) -> Gathered:
    """Return what a stretch of days says.

    Parameters
    ----------
    now
        Up to when things can have happened [ms]: nothing that is owed later is counted as missed.
    known_at
        By what had been received then [ms].
    tell
        Is told how far it is; what it raises ends the work.
    """
    end = max(span.since + 1, min(span.until, now))
    view, whole = standings.as_of(end - 1, known_at), standings.as_of(max(end - 1, now), known_at)
    look, basis = view.look, view.look.basis
    wanted = [c.id for c in basis.practice.chairs if not span.chairs or c.id in span.chairs]
    length = max(1, (span.last - span.first).days + 1)
    days: list[tuple[date, tuple[Occasion, ...]]] = []
    for day in occasions(standings, span.since, end, known_at=known_at, chairs=span.chairs):
        days.append(day)
        if len(days) % 7 == 0:
            tell("counting duties", len(days), length)
    tell("looking at the water", 0, 0)
    water = judge_book(look, chairs=wanted)
    later = judge_book(whole.look, chairs=wanted) if whole.look.at > look.at else water  # what was done about it afterwards counts
    tell("looking at machines", 0, 0)
    runs, tests = [], []
    for machine in basis.practice.machines:
        for fact in look.forward(f"machine:{machine.id}", "cycles", since=span.since, until=end - 1):
            verdict, why, _ = cycle_verdict(whole.look, fact)
            reason = "" if verdict is Verdict.FIT else cycle_reason(whole.look, fact)
            runs.append(Run(machine.id, fact, verdict, why, reason))
        names = {test.id: test.name for test in machine.tests}
        for fact in look.forward(f"machine:{machine.id}", "tests", since=span.since, until=end - 1):
            tests.append(Test(machine.id, names.get(fact.says.test, fact.says.test), fact, test_verdict(fact)))
    subjects = [f"chair:{c}" for c in wanted] + [f"machine:{m.id}" for m in basis.practice.machines]
    return Gathered(
        span=span,
        look=look,
        at=end,
        known_at=known_at,
        practice=basis.practice,
        days=tuple(days),
        deviations=deviations(whole.look, span.since, end, later.chairs, span.chairs),
        runs=tuple(runs),
        tests=tuple(tests),
        undecided=undecided(whole.look, span.since, end),
        water=water,
        results=tuple(r for c in water.chairs for r in c.results if span.since <= r.taken_ms < end),
        visits=tuple(_visits(look, wanted, span.since, end)),
        decided=tuple(_decided(look, runs)),
        standings=tuple(view.standing(subject) for subject in subjects),
        missing=tuple(m for m in missing_now(look) if m.before >= span.since),
        doubts=view.doubts,
    )


def _visits(look: Look, chairs: list[str], since: int, end: int) -> list[tuple[str, str, int, str]]:
    found: dict[str, tuple[str, str, int, str]] = {}
    for chair in chairs:
        for fact in look.forward(f"chair:{chair}", "visit", since=since, until=end - 1):
            found.setdefault(fact.says.ref, (fact.says.ref, chair, fact.happened, fact.entry))
    return sorted(found.values(), key=lambda one: (one[2], one[0]))


def _decided(look: Look, runs: list[Run]) -> list[tuple[str, str, int, str]]:
    """Return the newest decision on each load that ran."""
    found: dict[str, tuple[str, str, int, str]] = {}
    for run in runs:
        load = run.fact.says.load
        last = look.latest(f"load:{load}", "decided", since=run.fact.happened) if load is not None else None
        if load is not None and last is not None:
            found[load] = (load, last.says.meaning, last.happened, last.entry)
    return list(found.values())
