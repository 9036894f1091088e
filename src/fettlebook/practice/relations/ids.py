"""An id names one thing, so it may stand once among things of its kind."""

from collections.abc import Iterable, Iterator

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import SINGULAR, Fault


def check_ids(parts: Parts) -> Iterator[Fault]:
    """Yield a fault for the second and each further use of an id."""
    for table in ("rooms", "chairs", "machines", "sets", "people", "products", "visit_kinds"):
        yield from _twice(((table, number, "id"), part.id) for number, part in getattr(parts, table))
    for number, chair in parts.chairs:
        at: KeyPath = ("chairs", number)
        # segments and stirred volumes share their ids: `from` can name either
        line_parts = [(("segments", n), part.id) for n, part in enumerate(chair.segments)]
        line_parts += [(("stirred", n), volume.id) for n, volume in enumerate(chair.stirred)]
        yield from _twice(((*at, *place, "id"), key) for place, key in line_parts)
        yield from _twice(((*at, "outlets", n, "id"), outlet.id) for n, outlet in enumerate(chair.outlets))
        yield from _twice(((*at, "suction", n, "id"), hose.id) for n, hose in enumerate(chair.suction))
    for number, machine in parts.machines:
        yield from _twice((("machines", number, "cycles", n, "id"), cycle.id) for n, cycle in enumerate(machine.cycles))
        yield from _twice((("machines", number, "tests", n, "id"), test.id) for n, test in enumerate(machine.tests))


def _twice(named: Iterable[tuple[KeyPath, str]]) -> Iterator[Fault]:
    known: set[str] = set()
    for path, key in named:
        if key in known:
            kind = SINGULAR[str(path[-3])]
            yield Fault(path, f'the id "{key}" stands twice', f"Give each {kind} an id of its own, and correct what refers to it.")
        known.add(key)
