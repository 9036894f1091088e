"""What a day's timetable was made from, called as people call it: visits by chair and booked time, people by their names.

The references of visits and the ids of people stay in `Maps` and in the timetable itself; here they would only be
strange in sentences. Nothing else about the day is changed by it.
"""

from collections import Counter
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import Any, TypeVar

from fettlebook.plan.explain import Words
from fettlebook.plan.instance import Done, Instance, Plan
from fettlebook.plan.tasks import Maps
from fettlebook.practice.model import Practice

_Named = TypeVar("_Named", Plan, Done)


@dataclass(frozen=True, slots=True)
class Basis:
    """An instance and its plan in people's words, and the way back to references and ids."""

    day: Instance
    plan: Plan
    maps: Maps
    words: Words
    refs: Mapping[str, str]  # what a visit is called -> its reference
    ids: Mapping[str, str]  # what a person is called -> the person's id

    def name_of(self, ref: str) -> str:
        """Return what a visit is called; its reference where it has no other name."""
        return next((name for name, known in self.refs.items() if known == ref), ref)


def basis_of(practice: Practice, day: Instance, plan: Plan, maps: Maps) -> Basis:
    """Return an instance and its plan, called as people call them."""
    words = Words(maps.clock.shown, {s.id: s.name for s in practice.sets})
    visits = _visit_names(day, words)
    people = _people_names(practice, (p.id for p in day.people))
    named = named_day(day, visits, people)
    refs, ids = {name: ref for ref, name in visits.items()}, {name: key for key, name in people.items()}
    return Basis(named, named_plan(plan, visits, people), maps, words, refs, ids)


def _visit_names(day: Instance, words: Words) -> dict[str, str]:
    found: dict[str, str] = {}
    seen: Counter[str] = Counter()
    for chair in day.chairs:
        for v in day.visits_of(chair.id):
            name = f"{chair.id}, {words.minute(v.booked)}"
            seen[name] += 1
            found[v.id] = name if seen[name] == 1 else f"{name}, no. {seen[name]}"
    return found


def _people_names(practice: Practice, ids: Iterable[str]) -> dict[str, str]:
    names = {p.id: p.name for p in practice.people}
    often = Counter(names.values())
    return {key: names[key] if key in names and often[names[key]] == 1 else key for key in ids}


def named_day(day: Instance, visits: Mapping[str, str], people: Mapping[str, str]) -> Instance:
    """Return the instance with visits and people called otherwise; who is in neither map keeps the name."""
    update: dict[str, Any] = {
        "visits": tuple(v.model_copy(update={"id": visits.get(v.id, v.id)}) for v in day.visits),
        "people": tuple(p.model_copy(update={"id": people.get(p.id, p.id)}) for p in day.people),
        "duties": tuple(
            d.model_copy(update={"who": tuple(people.get(w, w) for w in d.who), "after": visits.get(d.after or "", d.after)})
            for d in day.duties
        ),
    }
    if day.done is not None:
        update["done"] = _named(day.done, visits, people)
    return day.model_copy(update=update)


def named_plan(plan: Plan, visits: Mapping[str, str], people: Mapping[str, str]) -> Plan:
    """Return the plan with visits and people called otherwise."""
    named = _named(plan, visits, people)
    return named.model_copy(update={"left_out": tuple(visits.get(v, v) for v in plan.left_out)})


def _named(plan: _Named, visits: Mapping[str, str], people: Mapping[str, str]) -> _Named:
    def who(person: str | None) -> str | None:
        return None if person is None else people.get(person, person)

    return plan.model_copy(
        update={
            "visits": tuple(v.model_copy(update={"id": visits.get(v.id, v.id)}) for v in plan.visits),
            "steps": tuple(
                s.model_copy(update={"after": visits.get(s.after, s.after) if s.after else s.after, "person": who(s.person)})
                for s in plan.steps
            ),
            "packs": tuple(k.model_copy(update={"person": who(k.person)}) for k in plan.packs),
            "batches": tuple(
                b.model_copy(update={"load_person": who(b.load_person), "unload_person": who(b.unload_person)}) for b in plan.batches
            ),
            "tests": tuple(t.model_copy(update={"person": who(t.person)}) for t in plan.tests),
            "duties": tuple(d.model_copy(update={"person": who(d.person)}) for d in plan.duties),
        }
    )
