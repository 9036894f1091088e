"""Sets that lie clean and may not be used for the rest of the day: in quarantine after a failed test, lost, broken.

Units of a type are alike to a plan, and it names those that nothing has happened to yet by their number only. So the day simply owns fewer:
the untouched ones with the highest numbers are gone, and where a number above the new count was in use, a free lower one takes its place.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import TYPE_CHECKING

from fettlebook.errors import Mendable
from fettlebook.plan.instance import Done

if TYPE_CHECKING:
    from fettlebook.plan.events import Moment


def without_sets(m: "Moment", set_type: str, count: int) -> "Moment":
    """Return the day with so many sets of a type fewer.

    Raises
    ------
    Mendable
        Not so many of them lie untouched by what was done: the others are in use or in a machine, and come back another way.
    """
    of_type = next(t for t in m.day.set_types if t.id == set_type)
    touched = sorted((u for u in _touched(m.done) if u.rpartition("#")[0] == set_type), key=_number)
    if not 1 <= count <= of_type.owned - len(touched):
        free = of_type.owned - len(touched)
        what = f"{count} of {set_type} can't be held back: {free} of {of_type.owned} lie clean and were not used today"
        raise Mendable(what, where="event", mend="Name no more than these; for a load that failed say which machine's it was.")
    left = of_type.owned - count
    spare = iter(n for n in range(1, left + 1) if f"{set_type}#{n}" not in touched)
    names = {unit: f"{set_type}#{next(spare)}" for unit in touched if _number(unit) > left}
    types = tuple(t.model_copy(update={"owned": left}) if t.id == set_type else t for t in m.day.set_types)
    begun = {v.id for v in m.done.visits}
    never = {v.id for v in m.day.visits if v.id not in begun and v.needs().get(set_type, 0) > left}
    day = m.day.model_copy(update={"set_types": types, "done": _renamed(m.done, names)})
    told = f"{count} of {set_type} can't be used for the rest of the day: {left} left"
    return replace(m, day=day, never=m.never | never).noting(told)


def _number(unit: str) -> int:
    return int(unit.rpartition("#")[2])


def _touched(done: Done) -> set[str]:
    return {u for v in done.visits for u in v.units} | {k.unit for k in done.packs} | {u for b in done.batches for u in b.units}


def _renamed(done: Done, names: Mapping[str, str]) -> Done:
    def called(units: tuple[str, ...]) -> tuple[str, ...]:
        return tuple(names.get(unit, unit) for unit in units)

    return done.model_copy(
        update={
            "visits": tuple(v.model_copy(update={"units": called(v.units)}) for v in done.visits),
            "packs": tuple(k.model_copy(update={"unit": names.get(k.unit, k.unit)}) for k in done.packs),
            "batches": tuple(b.model_copy(update={"units": called(b.units)}) for b in done.batches),
        }
    )
