"""How late too few sets make a day at least, by one linear program over minutes: exact nearly always, and quick.

Comes in: an instance and its rows. Goes out: weighted minutes late that no plan can better, and starts of the visits that
reach it where the program found whole ones. Only sets and chairs are looked at; people and machines are left out.

For each visit that needs a short type, and each minute, a number between 0 and 1 says whether it has begun by then. What a
start costs holds all later visits of the chair up to the next one that needs such a type, so chairs are exact and each
minute's rule "begun less come back at most owned" has two entries a visit. Such rows are nearly those of a flow, which is
why the answers come out whole without any search. Time-indexed formulations of machine scheduling: Sousa and Wolsey 1992;
"begun by" instead of "begins at": Pritsker, Watters and Wolfe 1969 (both from memory).
"""

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Any

import numpy as np

from fettlebook.plan.instance import Instance
from fettlebook.plan.rows import Node, Row
from fettlebook.plan.set_ways import SetWays

FIRST_SLACK = 60  # weighted minutes late above what chairs force: as far as is looked at first
MOST_CELLS = 60_000  # visit-minutes in one program: some seconds
SOLVER_ERROR = 1e-4  # by which the solver's optimum may be off
LONGEST_AWAY_MIN = 28_800  # what never comes back stays away for longer than any day


@dataclass(frozen=True, slots=True)
class Away:
    """What one visit takes from a type: `count` sets, from `lead` minutes before its start, for `size` minutes at least.

    Of these, `cleared` go by until they are dirty and cleared away.
    """

    node: Node
    kind: str
    count: int
    lead: int
    size: int
    cleared: int


@dataclass(frozen=True, slots=True)
class MinuteBound:
    """`minutes`: no plan is less late. `starts`: visit -> start that reach it; empty where none came out whole."""

    minutes: int
    starts: dict[str, int]
    possible: bool = True  # False: proven that not all visits can be served


@dataclass(frozen=True, slots=True)
class _Job:
    """A visit that needs a short type: its minutes from `low` on, what each costs, and the one before it on its chair."""

    row: Row
    at: int
    low: int
    costs: np.ndarray
    before: int | None
    gap: int

    @property
    def high(self) -> int:
        return self.low + len(self.costs) - 1


def aways(day: Instance, all_rows: Iterable[Row]) -> list[Away]:
    """Return what each visit takes of each type, each set at least for its visit, clearing and the shortest way back."""
    ways, room = SetWays(day), {c.id: c.room for c in day.chairs}
    visits = {v.id: v for v in day.visits}
    first = {c.id: {p: c.procedure(p)[0].minutes for p in ("turnover", "closing")} for c in day.chairs}
    out = []
    for row in all_rows:
        own = [n for n in row.nodes if n.procedure is None]
        for n in own:
            clear = first[row.chair]["closing" if n is own[-1] else "turnover"]
            lead = ways.to_chair(room[row.chair])  # on the way from the store
            for t, count in visits[n.visit or ""].needs().items():
                cleared = lead + n.minutes + clear
                out.append(Away(n, t, count, lead, cleared + min(ways.shortest(room[row.chair], t), LONGEST_AWAY_MIN), cleared))
    return out


def minute_bound(day: Instance, all_rows: tuple[Row, ...], *, left: Callable[[], float], known: int | None = None) -> MinuteBound:
    """Return the bound.

    Parameters
    ----------
    day
        The instance.
    all_rows
        Its rows, none impossible.
    left
        Asked before each program for the seconds that it may take; 0 ends it with what is proven so far.
    known
        Weighted minutes late of a plan that is known: later is not looked at.
    """
    taken, weight = aways(day, all_rows), {v.id: v.weight for v in day.visits}
    booked = {v.id: v.booked for v in day.visits}
    visits = [n for row in all_rows for n in row.nodes if n.procedure is None]
    forced = sum(weight[n.visit or ""] * max(0, n.earliest - booked[n.visit or ""]) for n in visits)
    starts = {n.visit or "": n.earliest for n in visits}
    proven, slack, kinds = forced, FIRST_SLACK, set[str]()
    while True:
        short = _short(day, taken, starts) - kinds
        if not short:
            return MinuteBound(proven, starts)
        kinds |= short  # a type that stops nobody need not be looked at
        while True:
            far = slack if known is None else min(slack, max(0, known - forced))
            program = _Program(day, all_rows, [a for a in taken if a.kind in kinds], weight, far)
            seconds = left()
            if seconds <= 0 or program.cells > MOST_CELLS:
                return MinuteBound(proven, {})
            found = program.solve(seconds)
            if found is None:
                return MinuteBound(proven, {})
            value, begun = found
            if value <= far or (program.whole_day and value < np.inf):
                break
            if program.whole_day:
                return MinuteBound(proven, {}, possible=False)
            proven = max(proven, forced + far + (far < slack or known is None))
            if known is not None and forced + far >= known:
                return MinuteBound(min(proven, known), {})  # none is better than the one that is known
            slack = 2 * slack if value == np.inf else max(2 * slack, int(value) + 1)
        proven = max(proven, forced + int(np.ceil(value - SOLVER_ERROR)))
        if begun is None:
            return MinuteBound(proven, {})
        starts = {n.visit or "": at for row in all_rows for n, at in zip(row.nodes, row.pushed(begun), strict=True) if n.procedure is None}


def _short(day: Instance, taken: list[Away], starts: dict[str, int]) -> set[str]:
    """Return the types of which more are away at some minute than are owned."""
    moves: dict[str, dict[int, int]] = {}
    for a in taken:
        begin = starts[a.node.visit or ""] - a.lead
        own = moves.setdefault(a.kind, {})
        own[begin] = own.get(begin, 0) + a.count
        own[begin + a.size] = own.get(begin + a.size, 0) - a.count
    owned, out = day.owned(), set()
    for kind, own in moves.items():
        if max(np.cumsum([own[t] for t in sorted(own)])) > owned[kind]:
            out.add(kind)
    return out


class _Program:
    """The linear program for starts that are together at most `far` weighted minutes later than chairs force."""

    def __init__(self, day: Instance, all_rows: tuple[Row, ...], taken: list[Away], weight: dict[str, int], far: int) -> None:
        self.day, self.taken, self.far = day, taken, far
        needing = {a.node.visit for a in taken}
        self.jobs: list[_Job] = []
        self.number: dict[str, int] = {}
        self.whole_day = True  # whether all minutes are looked at that the day has
        for row in all_rows:
            at = [i for i, n in enumerate(row.nodes) if n.procedure is None and n.visit in needing]
            before = None
            for i, end in zip(at, [*at[1:], len(row.nodes)], strict=False):
                gap = 0 if before is None else sum(n.minutes + n.gap for n in row.nodes[self.jobs[before].at : i])
                self.number[row.nodes[i].visit or ""] = len(self.jobs)
                costs, whole = _costs(row, i, end, weight, far)
                self.whole_day = self.whole_day and whole
                self.jobs.append(_Job(row, i, row.nodes[i].earliest, costs, before, gap))
                before = len(self.jobs) - 1
        self.first = np.cumsum([0, *(len(j.costs) - 1 for j in self.jobs)])
        self.cells = int(self.first[-1])

    def solve(self, seconds: float) -> tuple[float, dict[str, int] | None] | None:
        """Return the least cost and whole starts if they came out whole; infinity where nothing fits; None: no answer in time."""
        from scipy.optimize import Bounds, LinearConstraint, milp  # noqa: PLC0415 - only who solves pays
        from scipy.sparse import csr_array  # noqa: PLC0415

        constant = float(sum(j.costs[-1] for j in self.jobs))
        if not self.cells:
            return (constant, {}) if self._fits_alone() else (np.inf, None)
        rows_, columns, values, limits = self._matrix()
        matrix = csr_array((values, (rows_, columns)), shape=(len(limits), self.cells))
        cost = np.concatenate([j.costs[:-1] - j.costs[1:] for j in self.jobs])
        found = milp(
            cost, constraints=LinearConstraint(matrix, -np.inf, limits), bounds=Bounds(0, 1), options={"time_limit": max(0.01, seconds)}
        )
        if found.status == 2:
            return np.inf, None
        if found.status != 0 or found.x is None:
            return None
        return constant + float(found.fun), self._whole(found.x)

    def _whole(self, x: np.ndarray) -> dict[str, int] | None:
        """Return each visit's start where every number is 0 or 1."""
        if np.any((x > 1e-6) & (x < 1 - 1e-6)):
            return None
        begun = {}
        for k, j in enumerate(self.jobs):
            own = x[self.first[k] : self.first[k + 1]]
            begun[j.row.nodes[j.at].visit or ""] = j.low + int(np.count_nonzero(own < 0.5))
        return begun

    def _fits_alone(self) -> bool:
        starts = {j.row.nodes[j.at].visit or "": j.low for j in self.jobs}
        return not _short(self.day, self.taken, starts)

    def _matrix(self) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """Return the rules as rows, columns, values and right-hand sides of `<=`."""
        parts: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        limits: list[np.ndarray] = []
        height = 0

        def add(row: np.ndarray, column: np.ndarray, value: Any, limit: np.ndarray) -> None:
            nonlocal height
            parts.append((row + height, column, np.broadcast_to(np.asarray(value, dtype=float), row.shape)))
            limits.append(limit)
            height += len(limit)

        for k, j in enumerate(self.jobs):
            cells = np.arange(self.first[k], self.first[k + 1])
            if len(cells) > 1:  # once begun, begun
                n = np.arange(len(cells) - 1)
                add(np.concatenate([n, n]), np.concatenate([cells[:-1], cells[1:]]), np.repeat([1.0, -1.0], len(n)), np.zeros(len(n)))
            if j.before is not None and len(cells):  # not before the one before it on the chair, and what lies between
                p = self.jobs[j.before]
                earlier = np.arange(j.low, j.high) - j.gap - p.low
                n = np.arange(int(np.count_nonzero(earlier < p.high - p.low)))
                columns = np.concatenate([cells[: len(n)], self.first[j.before] + earlier[: len(n)]])
                add(np.concatenate([n, n]), columns, np.repeat([1.0, -1.0], len(n)), np.zeros(len(n)))
        for kind, owned in self.day.owned().items():
            if own := [a for a in self.taken if a.kind == kind]:
                add(*self._at_most(own, owned))
        rows_, columns, values = (np.concatenate([p[i] for p in parts]) for i in range(3))
        return rows_, columns, values, np.concatenate(limits)

    def _at_most(self, own: list[Away], owned: int) -> tuple[np.ndarray, np.ndarray, np.ndarray, np.ndarray]:
        """At each minute: sets taken by then, less those back by then, are at most those owned."""
        jobs = [self.jobs[self.number[a.node.visit or ""]] for a in own]
        begin = min(j.low - a.lead for a, j in zip(own, jobs, strict=True))
        end = max(j.high - a.lead for a, j in zip(own, jobs, strict=True)) + 1
        minutes = np.arange(begin, end)
        limit, most = np.full(len(minutes), float(owned)), np.zeros(len(minutes))
        entries: list[tuple[np.ndarray, np.ndarray, np.ndarray]] = []
        for a, j in zip(own, jobs, strict=True):
            k = self.number[a.node.visit or ""]
            most += a.count * ((minutes >= j.low - a.lead) & (minutes < j.high - a.lead + a.size))
            for shift, sign in ((a.lead, 1), (a.lead - a.size, -1)):
                at = minutes + shift
                limit -= sign * a.count * (at >= j.high)
                inside = np.flatnonzero((at >= j.low) & (at < j.high))
                entries.append((inside, self.first[k] + at[inside] - j.low, np.full(len(inside), float(sign * a.count))))
        kept = most > owned
        place = np.cumsum(kept) - 1
        row, column, value = (np.concatenate([e[i] for e in entries]) for i in range(3))
        asked = kept[row]
        return place[row[asked]], column[asked], value[asked], limit[kept]


def _costs(row: Row, at: int, end: int, weight: dict[str, int], far: int) -> tuple[np.ndarray, bool]:
    """Return what each start from a visit's earliest on costs until node `end`, while the whole row stays within `far`.

    And whether that is as far as the day goes.
    """
    costs: list[int] = []
    start = row.nodes[at].earliest
    while True:
        begin, cost, whole = start, 0, 0
        for i, n in enumerate(row.nodes[at:], at):
            begin = max(begin, n.earliest)
            if begin > n.latest:
                return np.array(costs, dtype=float), True
            if n.procedure is None:
                whole += weight[n.visit or ""] * (begin - n.earliest)
                cost = whole if i < end else cost
            begin += n.minutes + n.gap
        if whole > far:
            return np.array(costs, dtype=float), False
        costs.append(cost)
        start += 1
