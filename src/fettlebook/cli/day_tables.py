"""The day plan on a terminal of 80 columns: the verdict, what to look at, and a timetable by person, chair and machine."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterable, Sequence
from itertools import groupby
from typing import TYPE_CHECKING
from zoneinfo import ZoneInfo

import click

from fettlebook.web.wording import clock, long_day

if TYPE_CHECKING:
    from datetime import datetime

    from fettlebook.plan.day import DayPlan, Task
    from fettlebook.practice.model import Practice

WIDTH = 80
CAUTION = "Instructions for use, labels and local rules come first. A person releases each load; this plan releases nothing."


def show_day(plan: DayPlan, practice: Practice, *, by: Sequence[str]) -> None:
    """Print a day plan."""
    invented = " (invented)" if practice.practice.invented else ""
    click.echo(f"{long_day(plan.day)}, {practice.practice.name}{invented}")
    _wrapped(plan.line[0].upper() + plan.line[1:])
    _wrapped(f"By {plan.method}.")
    zone = ZoneInfo(practice.practice.time_zone)
    _look(plan, practice, zone)
    if "person" in by and plan.tasks:
        for person in practice.people:
            if own := [t for t in plan.tasks if t.person == person.id]:
                rows = list(_person_rows(own, zone))
                _table(f"{person.name}: {plan.attended_minutes.get(person.id, 0)} min of work", ("from", "to", "where", "what"), rows)
    if "chair" in by and plan.tasks:
        for chair in practice.chairs:
            if own := [t for t in plan.tasks if t.place == chair.id]:
                _table(chair.id, ("from", "to", "what", "who"), list(_chair_rows(own, plan, practice, zone)))
    if "machine" in by and plan.tasks:
        for machine in practice.machines:
            if own := [t for t in plan.tasks if t.place == machine.id]:
                _table(machine.id, ("from", "to", "what", "who"), list(_machine_rows(own, practice, zone)))
        if packs := [t for t in plan.tasks if t.kind == "pack"]:
            _table("packing", ("from", "to", "what", "who"), list(_pack_rows(packs, practice, zone)))
    click.echo()
    _wrapped(CAUTION)


def _wrapped(text: str, indent: str = "", first: str = "") -> None:
    click.echo(textwrap.fill(text, WIDTH, initial_indent=first or indent, subsequent_indent=indent, break_on_hyphens=False))


def _look(plan: DayPlan, practice: Practice, zone: ZoneInfo) -> None:
    kinds = {k.id: k.name for k in practice.visit_kinds}
    if plan.shortages:
        click.echo("\nShort")
        for mend, group in groupby(plan.shortages, key=lambda s: s.mend):
            for s in group:
                _wrapped(f"{s.what}{', ' + s.when if s.when else ''} ({s.where})", "    ", "  - ")
            _wrapped(mend, "    ")
    left = [v for v in plan.visits if v.start is None]
    late = [v for v in plan.visits if v.minutes_late]
    if left:
        click.echo("\nNot served")
        for v in left:
            _wrapped(f"{clock(v.booked, zone)} {v.chair}, {kinds.get(v.visit_kind, v.visit_kind)}: {v.why}", "    ", "  - ")
    if late:
        click.echo("\nLate")
        for v in late:
            assert v.start is not None
            begins = f"{clock(v.start, zone)} (+{v.minutes_late})"
            said = f"{clock(v.booked, zone)} {v.chair}, {kinds.get(v.visit_kind, v.visit_kind)}: starts {begins}"
            _wrapped(f"{said}; {v.why}", "    ", "  - ")
    for weight, title in (("error", "To mend"), ("warning", "To look at")):
        if found := [f for f in plan.findings if f.weight == weight]:
            click.echo(f"\n{title}")
            for f in found:
                _wrapped(str(f), "    ", "  - ")


def _table(title: str, columns: tuple[str, ...], rows: list[tuple[str, ...]]) -> None:
    from rich import box  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, title_justify="left", title=title, title_style="bold")
    for c in columns:
        table.add_column(c, no_wrap=c in {"from", "to"}, overflow="fold")
    for row in rows:
        table.add_row(*row)
    click.echo()
    Console(width=WIDTH, highlight=False, markup=False).print(table)


def _span(tasks: Sequence[Task], zone: ZoneInfo) -> tuple[str, str]:
    return _down(min(t.start for t in tasks), zone), _up(max(t.end for t in tasks), zone)


def _down(moment: datetime, zone: ZoneInfo) -> str:
    return clock(moment, zone)


def _up(moment: datetime, zone: ZoneInfo) -> str:
    from datetime import timedelta  # noqa: PLC0415

    return clock(moment + timedelta(seconds=-moment.second % 60), zone)


def _person_rows(tasks: list[Task], zone: ZoneInfo) -> Iterable[tuple[str, ...]]:
    """One row for what a person does at one place without a break."""
    run: list[Task] = []
    for t in [*sorted(tasks, key=lambda t: t.start), None]:
        joins = (
            run and t is not None and (t.place, t.kind) == (run[-1].place, run[-1].kind) and (t.start - run[-1].end).total_seconds() < 60
        )
        if run and not joins:
            yield (*_span(run, zone), run[0].place, _doing(run))
            run = []
        if t is not None:
            run.append(t)


def _doing(run: list[Task]) -> str:
    kind = run[0].kind
    if kind == "pack":
        return f"pack {_counted(u for t in run for u in t.units)}"
    if kind in {"load", "unload"}:
        return f"{kind} {_counted(u for t in run for u in t.units)}"
    if kind in {"test", "duty"}:
        return f"{kind}: {', '.join(t.what for t in run)}"
    return f"{kind}: {', '.join(_short(t) for t in run)}"


def _short(task: Task) -> str:
    """Return a step by the last part of its id, as the rulebook lists it; its full words stand with the running times."""
    return task.step_id.rpartition(".")[2].replace("_", " ") if task.step_id else task.what


def _counted(units: Iterable[str]) -> str:
    return ", ".join(f"{n} {kind}" for kind, n in Counter(u.rpartition("#")[0] for u in units).items())


def _chair_rows(tasks: list[Task], plan: DayPlan, practice: Practice, zone: ZoneInfo) -> Iterable[tuple[str, ...]]:
    names, kinds = {p.id: p.name for p in practice.people}, {k.id: k.name for k in practice.visit_kinds}
    late = {v.ref: v.minutes_late for v in plan.visits}
    for (kind, ref), group in groupby(sorted(tasks, key=lambda t: t.start), key=lambda t: (t.kind, t.visit)):
        run = list(group)
        if kind == "visit":
            what = kinds.get(run[0].what, run[0].what)
            more = f" ({late[ref]} min late)" if ref and late.get(ref) else ""
            yield (*_span(run, zone), f"visit: {what}{more}", "")
        elif kind == "duty":
            yield from ((*_span([t], zone), f"duty: {t.what}", _who([t], names)) for t in run)
        else:
            yield (*_span(run, zone), kind, _who(run, names))


def _who(run: Iterable[Task], names: dict[str, str]) -> str:
    return ", ".join(dict.fromkeys(names.get(t.person, t.person) for t in run if t.person))


def _machine_rows(tasks: list[Task], practice: Practice, zone: ZoneInfo) -> Iterable[tuple[str, ...]]:
    names = {p.id: p.name for p in practice.people}
    ordered = sorted(tasks, key=lambda t: t.start)
    for (kind, what), group in groupby((t for t in ordered if t.kind in {"test", "duty"}), key=lambda t: (t.kind, t.what)):
        run = list(group)
        yield (*_span(run, zone), f"{kind}: {what}", _who(run, names))
    run = []
    for t in [t for t in ordered if t.kind not in {"test", "duty"}]:
        run.append(t)
        if t.kind == "unload":
            cycle = next(x for x in run if x.kind == "cycle")
            yield (
                *_span(run, zone),
                f"{_counted(run[0].units)}; runs {clock(cycle.start, zone)} to {clock(cycle.end, zone)}",
                _who(run, names),
            )
            run = []


def _pack_rows(tasks: list[Task], practice: Practice, zone: ZoneInfo) -> Iterable[tuple[str, ...]]:
    names = {p.id: p.name for p in practice.people}
    run: list[Task] = []
    for t in [*sorted(tasks, key=lambda t: (t.start, t.person or "")), None]:
        joins = run and t is not None and t.person == run[-1].person and t.start == run[-1].end
        if run and not joins:
            yield (*_span(run, zone), _counted(u for x in run for u in x.units), _who(run, names))
            run = []
        if t is not None:
            run.append(t)
