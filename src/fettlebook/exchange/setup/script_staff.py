"""People with skills and shifts; one leads infection prevention. Initials or short names, never more."""

from typing import Any

from fettlebook.exchange.setup import reading
from fettlebook.exchange.setup.asking import Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.said import joined, said

SKILLS = (
    Choice("chairs", said("turns chairs over")),
    Choice("instruments", said("cleans, packs, sterilizes")),
    Choice("release", said("may release a load")),
)


def ask_staff(walk: Walk, draft: Draft) -> None:
    """Ask for the people."""
    walk.part = said("People")
    names = walk.ask(
        "people.names",
        said("Who works here with chairs and instruments?"),
        said("Initials or a short name that each person chose, with commas between."),
        reading.names,
        example="Ana, Ben, CK",
    )
    usual = "mon-fri 8-17"
    both = [Choice(name, name, joined(", ", (s.words for s in SKILLS[:2]))) for name in names]
    other = walk.otherwise("people.usual", said("Does each of them do this, and none may release a load?"), both)
    for n, name in enumerate(names):
        person: dict[str, Any] = {"id": reading.id_of(name, [p["id"] for p in draft.people], "person"), "name": name}
        known = {s for p in draft.people for s in p["skills"]}
        last = n == len(names) - 1
        person["skills"] = tuple(s.value for s in SKILLS[:2])
        if name in other:
            person["skills"] = walk.ask(
                f"person.{name}.skills",
                said("{name}: what does this person do?", name=name),
                said("Several with commas between. Somebody must turn chairs over, somebody must clean and sterilize."),
                _skills(known if last else {"chairs", "instruments"}),
                offered="chairs, instruments",
                choices=SKILLS,
                many=True,
            )
        shifts = walk.ask(
            f"person.{name}.shifts",
            said("{name}: when at work?", name=name),
            said("Days and times, a break if there is one: mon-thu 8-17 break 12:30-13, fri 8-13."),
            reading.shift,
            offered=usual,
        )
        usual = walk.answers.get(f"person.{name}.shifts", usual) or usual
        person["shifts"] = [_shift(*shift) for shift in shifts]
        draft.people.append(person)
    choices = [Choice(p["id"], p["name"]) for p in draft.people]
    lead = walk.ask(
        "people.lead",
        said("Who leads infection prevention?"),
        said("This person gives out PINs, lets tablets in and may change this file. One leads; others can be added later."),
        str,
        offered=choices[0].value,
        choices=choices,
    )
    for person in draft.people:
        if person["id"] == lead:
            person["skills"] = (*person["skills"], "lead")
            person["role"] = "lead"


def _skills(known: set[str]) -> Any:
    def read(typed: str) -> tuple[str, ...]:
        found = reading.listed(typed)
        lacking = [s.words for s in SKILLS[:2] if s.value not in known | set(found)]
        if not found or lacking:
            what = said("nobody does this yet: {what}", what=", ".join(lacking)) if lacking else said("no skill was chosen")
            raise reading.refuse(what, said("Give it to this person, or go back and give it to another."))
        return found

    return read


def _shift(days: tuple[str, ...], begin: Any, end: Any, rests: tuple[tuple[Any, Any], ...]) -> dict[str, Any]:
    found: dict[str, Any] = {"days": list(days), "from": begin, "to": end}
    return found | ({"breaks": [list(rest) for rest in rests]} if rests else {})
