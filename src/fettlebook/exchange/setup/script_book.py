"""How the appointment book is read: rooms and categories that a first calendar file holds are offered, one after the other."""

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
        rules += _chairs(walk, draft, seen, rooms)
        rules += _categories(walk, draft, seen)
    draft.calendar = {"default_visit_kind": draft.visit_kinds[0]["id"], "rules": rules}


def _seen(walk: Walk, typed: str) -> Seen:
    found = seen_in(walk.read_file(typed), typed)
    if not found.values:
        raise reading.refuse(
            said("none of its {n} entries names a room, a resource or a calendar", n=found.entries),
            said("Export it with rooms or resources, or leave this empty and write the rules later."),
        )
    return found


def _alone(chair: dict[str, Any], draft: Draft) -> bool:
    return [other["room"] for other in draft.chairs].count(chair["room"]) == 1


def _chairs(walk: Walk, draft: Draft, seen: Seen, rooms: dict[str, str]) -> list[dict[str, Any]]:
    rules, taken = [], set[str]()
    for n, chair in enumerate(draft.chairs):
        open_ = [v for v in seen.values if v not in taken]
        same = next((v for v in open_ if fold(v) in (fold(rooms[chair["room"]]), fold(chair["id"]))), None)
        offered = same or (open_[0] if open_ and len(open_) == len(draft.chairs) - n else "none")
        chosen = walk.ask(
            f"book.{chair['id']}",
            said("How does the appointment book call {chair} in {room}?", chair=chair["id"], room=rooms[chair["room"]]),
            said("Found in the file as {what}. A chair without one never gets a visit from the book.", what=seen.property),
            str,
            offered=offered,
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


def _categories(walk: Walk, draft: Draft, seen: Seen) -> list[dict[str, Any]]:
    rules = []
    kinds = [Choice(v["id"], v["name"]) for v in draft.visit_kinds]
    for category in seen.categories[:MOST_CATEGORIES]:
        same = next((c.value for c in kinds if fold(category) in (fold(c.value), fold(c.words))), "")
        chosen = walk.ask(
            f"book.category.{category}",
            said('What is an entry of the category "{category}"?', category=category),
            said("A kind of visit, or no visit at all, such as a meeting. The first kind is taken where nothing says otherwise."),
            str,
            offered=same,
            choices=(*kinds, Choice("no visit", said("no visit"))),
        )
        rules.append(
            {"property": "categories", "equals": category} | ({"ignore": True} if chosen == "no visit" else {"visit_kind": chosen})
        )
    return rules
