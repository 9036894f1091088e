"""Each chair's day as a row of nodes (attended steps and visits) with the minutes between them and their windows.

An unattended step needs nobody and may begin as soon as the chair is free, so it is a gap after the node before it.
"""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace

from fettlebook.plan.instance import Chair, Instance, Plan, PlannedStep, Procedure, Visit

_Key = tuple[str, Procedure | None, str | None, int]  # chair, procedure, visit, number of the step


@dataclass(frozen=True, slots=True)
class Node:
    """One attended step, or a visit; `gap` is the unattended time that must follow, `earliest`/`latest` bound its start."""

    chair: str
    procedure: Procedure | None  # None: the visit itself
    visit: str | None  # the visit itself, or the one that the procedure follows
    index: int
    minutes: int
    gap: int
    earliest: int
    latest: int

    @property
    def attended(self) -> bool:
        """Whether it needs a person; a visit needs none of ours."""
        return self.procedure is not None


@dataclass(frozen=True, slots=True)
class Row:
    """A chair's day, in order. `cleared` says when a visit's sets are dirty: node and minutes after its start."""

    chair: str
    nodes: tuple[Node, ...]
    cleared: dict[str, tuple[int, int]]
    lead: int  # unattended minutes before the first node

    def impossible(self) -> bool:
        """Whether some node has no room at all."""
        return any(n.earliest > n.latest for n in self.nodes)

    def pushed(self, begun: Mapping[str, int]) -> list[int]:
        """Return each node's start where some visits begin at the minutes told and all else as soon as the chair lets it."""
        out, at = [], 0
        for n in self.nodes:
            at = max(at, n.earliest, begun.get(n.visit or "", 0) if n.procedure is None else 0)
            out.append(at)
            at += n.minutes + n.gap
        return out


def rows(day: Instance, *, late_limit: int | None = None) -> tuple[Row, ...]:
    """Return a row for each chair with visits.

    Parameters
    ----------
    day
        The instance.
    late_limit
        Weighted minutes late that a better plan must stay within; narrows every visit's window.
    """
    done, own = _done(day), {c.id: day.visits_of(c.id) for c in day.chairs}
    return tuple(_row(day, c, own[c.id], late_limit, done) for c in day.chairs if own[c.id])


def _row(day: Instance, chair: Chair, visits: tuple[Visit, ...], late_limit: int | None, done: Mapping[_Key, int]) -> Row:
    chair_id = chair.id
    nodes: list[Node] = []
    cleared: dict[str, tuple[int, int]] = {}
    lead = 0

    def add(node: Node) -> None:
        nodes.append(node)

    def add_steps(procedure: Procedure, after: str | None) -> None:
        nonlocal lead
        for i, step in enumerate(chair.procedure(procedure)):
            if step.attended:
                add(Node(chair_id, procedure, after, i, step.minutes, 0, 0, 0))
                if i == 0 and after is not None:
                    cleared[after] = (len(nodes) - 1, step.minutes)
            elif nodes:
                if i == 0 and after is not None:
                    cleared[after] = (len(nodes) - 1, nodes[-1].minutes + step.minutes)
                nodes[-1] = replace(nodes[-1], gap=nodes[-1].gap + step.minutes)
            else:
                lead += step.minutes

    add_steps("opening", None)
    for v in visits:
        add(Node(chair_id, None, v.id, 0, v.minutes, 0, 0, 0))
        add_steps("closing" if v is visits[-1] else "turnover", v.id)
    by_id = {v.id: v for v in visits}
    hands = [p for p in day.people if "chairs" in p.does]
    first, last = min((p.from_ for p in hands), default=day.day_end), max((p.to for p in hands), default=day.day_start)
    at = day.day_start + lead
    for i, n in enumerate(nodes):
        begun = done.get((n.chair, n.procedure, n.visit, n.index))
        earliest = after_outages(chair.out, max(at, first if n.attended else by_id[n.visit or ""].booked), n.minutes)
        earliest = begun if begun is not None else max(earliest, day.now or 0)
        nodes[i] = replace(n, earliest=earliest)
        at = earliest + n.minutes + n.gap
    at = day.day_end if chair.closed_by is None else min(day.day_end, chair.closed_by)
    for i in reversed(range(len(nodes))):
        n = nodes[i]
        latest = at - n.minutes - n.gap
        if n.attended:
            latest = min(latest, last - n.minutes)
        else:
            v = by_id[n.visit or ""]
            latest = min([latest] + ([v.latest] if v.latest is not None else []))
            if late_limit is not None:
                latest = min(latest, v.booked + late_limit // v.weight)
        latest = _before_outages(chair.out, latest, n.minutes)
        begun = done.get((n.chair, n.procedure, n.visit, n.index))
        nodes[i] = replace(n, latest=min(latest, begun) if begun is not None else latest)
        at = latest
    return Row(chair_id, tuple(nodes), cleared, lead)


def after_outages(out: Iterable[tuple[int, int]], start: int, minutes: int) -> int:
    """Return the first minute from `start` at which so long a stretch meets none of a chair's outages."""
    for a, b in sorted(out):
        if a < start + minutes and start < b:
            start = b
    return start


def _before_outages(out: Iterable[tuple[int, int]], start: int, minutes: int) -> int:
    """Return the last minute up to `start` at which so long a stretch meets none of a chair's outages."""
    for a, b in sorted(out, reverse=True):
        if a < start + minutes and start < b:
            start = a - minutes
    return start


def _done(day: Instance) -> dict[_Key, int]:
    if day.done is None:
        return {}
    chair_of = {v.id: v.chair for v in day.visits}
    steps: dict[_Key, int] = {(s.chair, s.procedure, s.after, s.index): s.start for s in day.done.steps}
    return steps | {(chair_of[v.id], None, v.id, 0): v.start for v in day.done.visits}


def starts_of(plan: Plan, row: Row) -> list[int]:
    """Return the starts that a plan gives to a row's nodes, in order."""
    steps = {(s.chair, s.procedure, s.after, s.index): s.start for s in plan.steps}
    visits = {v.id: v.start for v in plan.visits}
    return [visits[n.visit or ""] if n.procedure is None else steps[(n.chair, n.procedure, n.visit, n.index)] for n in row.nodes]


def with_unattended(day: Instance, row: Row, starts: list[int]) -> list[tuple[Node | None, PlannedStep]]:
    """Return all steps of a row, attended ones still without a person, each with its node."""
    chair = next(c for c in day.chairs if c.id == row.chair)
    at_node = {(n.procedure, n.visit, n.index): (n, s) for n, s in zip(row.nodes, starts, strict=True)}
    visit_start = {n.visit: s for n, s in zip(row.nodes, starts, strict=True) if n.procedure is None}
    visits = day.visits_of(row.chair)
    todo: list[tuple[Procedure, str | None, int]] = [("opening", None, day.day_start)]
    todo += [("closing" if v is visits[-1] else "turnover", v.id, visit_start[v.id] + v.minutes) for v in visits]
    out: list[tuple[Node | None, PlannedStep]] = []
    for procedure, after, begin in todo:
        free = begin
        for i, step in enumerate(chair.procedure(procedure)):
            node, start = at_node.get((procedure, after, i), (None, after_outages(chair.out, free, step.minutes)))
            out.append((node, PlannedStep(chair=row.chair, procedure=procedure, after=after, index=i, start=start, person=None)))
            free = start + step.minutes
    return out
