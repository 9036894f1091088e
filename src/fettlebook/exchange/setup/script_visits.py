"""Kinds of visits, and the sets that one visit uses."""

from fettlebook.exchange.setup import reading
from fettlebook.exchange.setup.asking import Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.said import said


def ask_visits(walk: Walk, draft: Draft) -> None:
    """Ask for the kinds of visits."""
    walk.part = said("Visits")
    own = [s["name"] for s in draft.sets if s["kind"] == "set"]
    kinds = walk.ask(
        "visits.kinds",
        said("Which kinds of visits do you have?"),
        said("Names with commas between, as the appointment book calls them if it does. The first is taken where it says nothing."),
        reading.names,
        offered=", ".join(own),
    )
    sets = [Choice(s["id"], s["name"]) for s in draft.sets]
    usual = {name: _usual(name, sets) for name in kinds}
    words = {one.value: one.words for one in sets}
    lines = [Choice(name, name, ", ".join(words[one] for one in usual[name])) for name in kinds]
    other = walk.otherwise("visits.usual", said("Does one visit use these sets?"), lines)
    for name in kinds:
        used = usual[name]
        if name in other:
            used = walk.ask(
                f"visit.{name}",
                said("{name}: which sets does one visit use?", name=name),
                said("One of each that you choose; more than one of a type can be written into the file later."),
                reading.listed,
                offered=", ".join(used),
                choices=sets,
                many=True,
            )
        known = [v["id"] for v in draft.visit_kinds]
        draft.visit_kinds.append({"id": reading.id_of(name, known, "visit"), "name": name, "uses": dict.fromkeys(used, 1)})
    choices = [Choice(v["id"], v["name"]) for v in draft.visit_kinds]
    surgical = walk.ask(
        "visits.surgical",
        said("Which of them are surgery, and so need sterile water by a sterile path?"),
        said("Water for surgery is sterile water, never from the chair's lines. Several with commas between."),
        reading.listed,
        offered=", ".join(c.value for c in choices if "surg" in c.words.casefold()) or "none",
        choices=(*choices, Choice("none", said("none"))),
        many=True,
    )
    for kind in draft.visit_kinds:
        if kind["id"] in surgical:
            kind["surgical"] = True


def _usual(name: str, sets: list[Choice]) -> tuple[str, ...]:
    """Return the sets that a kind of visit by this name mostly uses: the first one, and the one of its own name."""
    first = sets[0].value
    same = next((c.value for c in sets if name.casefold() in (c.value, c.words.casefold())), first)
    return (same,) if same == first or "surg" in same else (first, same)
