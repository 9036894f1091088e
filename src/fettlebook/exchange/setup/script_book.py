"""How the appointment book is read: rooms and categories that a first calendar file holds are offered, one after the other."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final

from fettlebook.exchange.calendar_map import fold
from fettlebook.exchange.setup import reading
from fettlebook.exchange.setup.asking import Choice, Walk
from fettlebook.exchange.setup.calendar_seen import Seen, seen_in
from fettlebook.exchange.setup.draft import Draft
from fettlebook.said import said

MOST_CATEGORIES: Final = 12  # asked about; what is beyond falls to the default kind, and the import lists it


def ask_book(walk: Walk, draft: Draft) -> None:
    """Ask for a first calendar file, and what its rooms and categories mean."""
    walk.part = said("Appointment book")
    seen = walk.ask(
        "book.file",
        said("Where is a calendar file of your appointment book?"),
        said("Export it as iCalendar (.ics) and give its path. Names in it are never read. Left empty, it is done another day."),
        lambda typed: _seen(walk, typed) if typed and typed != "none" else None,
        offered=walk.calendars[0] if walk.calendars else "",
        enter_words=said("none yet"),
        example="book.ics",
    )
    rooms = {room["id"]: room["name"] for room in draft.rooms}
    rules: list[dict[str, Any]] = []
    if seen is None:
        rules = [{"property": "location", "equals": rooms[c["room"]], "chair": c["id"]} for c in draft.chairs if _alone(c, draft)]
        if not rules:
            rules = [{"property": "location", "equals": draft.chairs[0]["id"], "chair": draft.chairs[0]["id"]}]
        draft.comments["calendar"] = "not tried on a calendar file yet: entries whose location is the room's name go to its chair"
    else:
        draft.calendar_file = walk.answers["book.file"] or (walk.calendars[0] if walk.calendars else "")
        rules += _rules(walk, draft, _Names(seen, rooms))
    draft.calendar = {"default_visit_kind": draft.visit_kinds[0]["id"], "rules": rules}


def _seen(walk: Walk, typed: str) -> Seen:
    found = seen_in(walk.read_file(typed), typed)
    if not found.values:
        raise reading.refuse(
            said("none of its {n} entries names a room, a resource or a calendar", n=found.entries),
            said("Export it with rooms or resources, or leave this empty and write the rules later."),
        )
    return found


@dataclass(frozen=True)
class _Names:
    """What the file calls things, and what the practice calls its rooms."""

    seen: Seen
    rooms: Mapping[str, str]


def _rules(walk: Walk, draft: Draft, names: _Names) -> list[dict[str, Any]]:
    """Show what has the same name here and there on one sheet; ask for the rest."""
    kinds = [Choice(v["id"], v["name"]) for v in draft.visit_kinds]
    chairs = {f"chair:{chair}": name for chair, name in _same_names(draft, names).items()}
    categories = {
        f"category:{category}": same
        for category in names.seen.categories[:MOST_CATEGORIES]
        for same in kinds
        if fold(category) in (fold(same.value), fold(same.words))
    }
    lines = [Choice(at, said('entries of "{name}"', name=name), at.partition(":")[2]) for at, name in chairs.items()]
    lines += [Choice(at, said('category "{name}"', name=at.partition(":")[2]), kind.words) for at, kind in categories.items()]
    other = walk.otherwise("book.usual", said("Is this what the names in your appointment book mean?"), lines)
    same_chairs = {at.partition(":")[2]: name for at, name in chairs.items() if at not in other}
    same_kinds = {at.partition(":")[2]: kind.value for at, kind in categories.items() if at not in other}
    return _chairs(walk, draft, names, same_chairs) + _categories(walk, names.seen, kinds, same_kinds)


def _alone(chair: dict[str, Any], draft: Draft) -> bool:
    return [other["room"] for other in draft.chairs].count(chair["room"]) == 1


def _chairs(walk: Walk, draft: Draft, names: _Names, same: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return a rule for each chair; `same` are those whose name needs no question."""
    seen, rooms = names.seen, names.rooms
    rules, taken = [], set[str]()
    for n, chair in enumerate(draft.chairs):
        chosen = same.get(chair["id"])
        if chosen is None:
            open_ = [v for v in seen.values if v not in taken.union(same.values())]
            last = open_[0] if open_ and len(open_) == len(draft.chairs) - n else "none"
            chosen = walk.ask(
                f"book.{chair['id']}",
                said("How does the appointment book call {chair} in {room}?", chair=chair["id"], room=rooms[chair["room"]]),
                said("Found in the file as {what}. A chair without one never gets a visit from the book.", what=seen.property),
                str,
                offered=last,
                choices=(*(Choice(v, v) for v in open_), Choice("none", said("not in this file"))),
            )
        if chosen != "none":
            taken.add(chosen)
            rules.append({"property": seen.property, "equals": chosen, "chair": chair["id"]})
    if not rules:
        first = draft.chairs[0]
        draft.left_out.append(said("no chair was found in the calendar file: write the rules into [calendar] before the day is planned"))
        rules.append({"property": "location", "equals": rooms[first["room"]], "chair": first["id"]})
    return rules


def _same_names(draft: Draft, names: _Names) -> dict[str, str]:
    """Return what the file calls each chair, where that is the name of its room or its own; no name twice."""
    found: dict[str, str] = {}
    for chair in draft.chairs:
        here = (fold(names.rooms[chair["room"]]), fold(chair["id"]))
        same = next((v for v in names.seen.values if v not in found.values() and fold(v) in here), None)
        if same is not None:
            found[chair["id"]] = same
    return found


def _categories(walk: Walk, seen: Seen, kinds: Sequence[Choice], same: Mapping[str, str]) -> list[dict[str, Any]]:
    """Return a rule for each category; `same` are those that need no question."""
    rules = []
    for category in seen.categories[:MOST_CATEGORIES]:
        chosen = same.get(category)
        if chosen is None:
            chosen = walk.ask(
                f"book.category.{category}",
                said('What is an entry of the category "{category}"?', category=category),
                said("A kind of visit, or no visit at all, such as a meeting. The first kind is taken where nothing says otherwise."),
                str,
                choices=(*kinds, Choice("no visit", said("no visit"))),
            )
        rules.append(
            {"property": "categories", "equals": category} | ({"ignore": True} if chosen == "no visit" else {"visit_kind": chosen})
        )
    return rules
