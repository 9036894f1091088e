"""What is wrong between the parts of a day instance that schema 1 knows, each with its place."""

from __future__ import annotations

from collections import Counter
from difflib import get_close_matches
from typing import TYPE_CHECKING, Any

from fettlebook.errors import Finding

if TYPE_CHECKING:
    from collections.abc import Sequence

    from fettlebook.plan.instance import Instance


def schema_1_findings(instance: Instance, where: str = "instance") -> tuple[Finding, ...]:
    """Return what is wrong (error) or forces lateness or loss (warning) between the parts of an instance."""
    out: list[Finding] = []

    def say(path: str, what: str, mend: str, *, warn: bool = False) -> None:
        out.append(Finding(what, f"{where} $.{path}", mend, "warning" if warn else "error"))

    if instance.day_start >= instance.day_end:
        say(
            "day_end",
            f"{instance.day_end} is not after day_start {instance.day_start}",
            "Write the minute at which the last chair must be closed.",
        )
    parts: tuple[tuple[str, Sequence[Any]], ...] = (
        ("people", instance.people),
        ("chairs", instance.chairs),
        ("visits", instance.visits),
        ("set_types", instance.set_types),
        ("washers", instance.washers),
        ("sterilizers", instance.sterilizers),
        ("baths", instance.baths),
        ("duties", instance.duties),
    )
    for field, items in parts:
        for again in (i for i, n in Counter(x.id for x in items).items() if n > 1):
            say(field, f"id {again!r} stands {sum(x.id == again for x in items)} times", "Give each its own id.")
    for both in {m.id for m in instance.washers} & {m.id for m in instance.sterilizers}:
        say("sterilizers", f"id {both!r} is a washer's too", "Give each machine its own id.")
    for i, p in enumerate(instance.people):
        if p.from_ >= p.to:
            say(
                f"people[{i}].to",
                f"the shift of {p.id} ends at {p.to}, before it begins at {p.from_}",
                "Swap them, or add 1440 for a shift over midnight.",
            )
        for k, (a, b) in enumerate(p.breaks):
            if a >= b or b <= p.from_ or a >= p.to:
                say(
                    f"people[{i}].breaks[{k}]",
                    f"break {a} to {b} is empty or outside the shift {p.from_} to {p.to}",
                    "Write [from, to] inside the shift.",
                )
    chairs, types = {c.id for c in instance.chairs}, instance.owned()
    for i, v in enumerate(instance.visits):
        if v.chair not in chairs:
            say(f"visits[{i}].chair", f"no chair {v.chair!r}", "Write one of: " + ", ".join(sorted(chairs)) + ".")
        if v.latest is not None and v.latest < v.booked:
            say(f"visits[{i}].latest", f"{v.latest} is before booked {v.booked}", "Write a minute at or after the booked one.")
        for t, n in v.needs().items():
            if t not in types:
                near = get_close_matches(t, types, 1)
                say(f"visits[{i}].uses", f"no set type {t!r}", f"Did you mean {near[0]!r}?" if near else "List it in set_types.")
            elif n > types[t]:
                say(
                    f"visits[{i}].uses",
                    f"visit {v.id} needs {n} of {t}, {types[t]} owned",
                    "It can't be served; own more, or book it elsewhere.",
                    warn=True,
                )
    for c in instance.chairs:
        for before, after in zip(own := instance.visits_of(c.id), own[1:], strict=False):
            if before.booked + before.minutes > after.booked:
                over = before.booked + before.minutes - after.booked
                say(
                    f"visits[{instance.visits.index(after)}].booked",
                    f"{after.id} is booked {over} min before {before.id} on {c.id} ends",
                    "Move one of them.",
                    warn=True,
                )
    if (instance.now is None) != (instance.done is None):
        say("now", "`now` and `done` belong together, one is missing", "Give both, or neither.")
    return tuple(out)
