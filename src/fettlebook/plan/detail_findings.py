"""What is wrong between the parts that version 2 adds to a day instance, each with its place."""

from __future__ import annotations

from difflib import get_close_matches
from typing import TYPE_CHECKING, Protocol

from fettlebook.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Iterable

    from fettlebook.plan.instance import Instance, Machine


class _Say(Protocol):
    def __call__(self, path: str, what: str, mend: str, *, warn: bool = False) -> None: ...


def detail_findings(day: Instance, where: str) -> tuple[Finding, ...]:
    """Return what is wrong (error), or can't be done (warning), in what version 2 adds."""
    out: list[Finding] = []

    def say(path: str, what: str, mend: str, *, warn: bool = False) -> None:
        out.append(Finding(what, f"{where} $.{path}", mend, "warning" if warn else "error"))

    if day.schema_ == 1 and (used := _used(day)):
        say("schema", f"schema 1 does not know {used}", 'Write "schema": 2, so that no reader of schema 1 plans the day without it.')
    _chairs(day, say)
    _machines(day, say)
    _rides(day, say)
    _duties(day, say)
    if day.transport and day.store is None:
        say("store", "there are ways between rooms, but no room in which sets are kept", "Name the room in which sets are packed and kept.")
    return tuple(out)


def has_detail(day: Instance) -> bool:
    """Return whether a day says anything that schema 1 does not know."""
    return bool(_used(day))


def _used(day: Instance) -> str:
    """Return the first field of version 2 that says something; empty without any."""
    for name in ("baths", "apart", "store", "transport", "duties"):
        if getattr(day, name):
            return name
    parts: tuple[tuple[str, Iterable[object], tuple[str, ...]], ...] = (
        ("chairs", day.chairs, ("room", "out", "closed_by")),
        ("visits", day.visits, ("may_move",)),
        ("set_types", day.set_types, ("bath", "dry_minutes", "lubricate_minutes", "rides")),
        ("machines", (*day.washers, *day.sterilizers), ("cycles", "tests", "room")),
    )
    for part, items, names in parts:
        for item in items:
            for name in names:
                if getattr(item, name) not in (None, (), 0, False):
                    return f"{name} of {part}"
    return ""


def _unknown(seen: str, known: Iterable[str]) -> str:
    known = sorted(known)
    near = get_close_matches(seen, known, 1)
    return f"Did you mean {near[0]!r}?" if near else f"Write one of: {', '.join(known)}." if known else "Take it out."


def _chairs(day: Instance, say: _Say) -> None:
    chairs = {c.id for c in day.chairs}
    for i, c in enumerate(day.chairs):
        for k, (a, b) in enumerate(c.out):
            if a >= b:
                say(f"chairs[{i}].out[{k}]", f"{c.id} is out from {a} to {b}, which is no time", "Write [from, to].")
    for i, v in enumerate(day.visits):
        for other in v.may_move:
            if other not in chairs:
                say(f"visits[{i}].may_move", f"no chair {other!r}", _unknown(other, chairs))


def _machines(day: Instance, say: _Say) -> None:
    others = {m.id for m in (*day.washers, *day.sterilizers)}
    for i, m in enumerate(day.baths):
        if m.id in others:
            say(f"baths[{i}].id", f"id {m.id!r} is another machine's too", "Give each machine its own id.")
    for part, machines in (("baths", day.baths), ("washers", day.washers), ("sterilizers", day.sterilizers)):
        for i, m in enumerate(machines):
            path = f"{part}[{i}]"
            if m.cycles and m.minutes != min(c.minutes for c in m.cycles):
                quickest = min(c.minutes for c in m.cycles)
                say(f"{path}.minutes", f"{m.minutes}, but the quickest cycle takes {quickest}", f"Write {quickest}.")
            for again in {c.id for c in m.cycles if sum(x.id == c.id for x in m.cycles) > 1}:
                say(f"{path}.cycles", f"cycle {again!r} stands twice", "Give each its own id.")
            for k, t in enumerate(m.tests):
                if not t.minutes:
                    say(f"{path}.tests[{k}]", f"{t.name} takes no time", "Write its minutes.")


def _rides(day: Instance, say: _Say) -> None:
    types = set(day.owned())
    for k, pair in enumerate(day.apart):
        for name in pair:
            if name not in types:
                say(f"apart[{k}]", f"no set type {name!r}", _unknown(name, types))
    for i, t in enumerate(day.set_types):
        stages: list[tuple[str, tuple[Machine, ...]]] = [("washer", day.washers), ("sterilizer", day.sterilizers)]
        if t.bath:
            stages.insert(0, ("ultrasonic bath", day.baths))
        for stage, machines in stages:
            what = ""
            if t.bath and not machines and stage == "ultrasonic bath":
                what = f"{t.id} goes through an ultrasonic bath, and there is none"
            elif machines and all(m.cycle_for([t.rides]) is None for m in machines):
                what = f"no {stage} has a cycle that {t.id} may ride"
            elif machines and t.places > max(m.capacity for m in machines if m.cycle_for([t.rides]) is not None):
                what = f"one {t.id} fills more than any {stage} that it may ride holds"
            if what:
                say(
                    f"set_types[{i}]",
                    what,
                    "Its sets can't come back today. Add the cycle or the machine, or mend the set type.",
                    warn=True,
                )


def _duties(day: Instance, say: _Say) -> None:
    subjects = {c.id for c in day.chairs} | {m.id for m in (*day.baths, *day.washers, *day.sterilizers)}
    people, visits = {p.id for p in day.people}, {v.id for v in day.visits}
    for i, d in enumerate(day.duties):
        path = f"duties[{i}]"
        if d.subject is not None and d.subject not in subjects:
            say(f"{path}.subject", f"no chair and no machine {d.subject!r}", _unknown(d.subject, subjects))
        if d.after is not None and d.after not in visits:
            say(f"{path}.after", f"no visit {d.after!r}: the duty waits for none", _unknown(d.after, visits), warn=True)
        for p in d.who:
            if p not in people:
                say(f"{path}.who", f"nobody called {p!r}", _unknown(p, people))
        if d.earliest + d.minutes > d.latest:
            late = f"{d.name} takes {d.minutes} min and can't be done from {d.earliest} to {d.latest}"
            say(f"{path}.latest", late, "Widen its window; as it stands it is never done.", warn=True)
