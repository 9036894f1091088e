"""A step of the day as data that the page shows and goes on with while there is no network: all texts said in the reader's language."""

from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import from_ms
from fettlebook.plan.work_model import Work
from fettlebook.said import Said, said
from fettlebook.standing.step_asks import AskedReading, Handling
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.work.pictures import picture_of

# What a step of the plan with instruments is called; its place stands beside it.
INSTRUMENTS: Final = {"load": said("Load the machine"), "unload": said("Unload the machine"), "pack": said("Look at, pack and label")}
# Evidence as the rulebook names it, where it is a number to type.
QUANTITIES: Final = {
    "strip reading": said("strip reading"),
    "amount": said("amount"),
    "temperature": said("temperature"),
    "pressure": said("pressure"),
}


def as_data(work: Work, me: str, names: dict[str, str], zone: ZoneInfo) -> dict[str, Any]:
    """Return one step as JSON data.

    Parameters
    ----------
    me
        The signed-in person's id.
    names
        People's names by id.
    zone
        In which moments are written.
    """
    now = work.said
    short = {
        "id": work.id,
        "kind": work.kind,
        "subject": work.subject,
        "place": work.place,
        "duty": work.duty,
        "duty_name": spoken(work.duty_name),
        "step": work.step,
        "name": spoken(INSTRUMENTS.get(work.name, work.name) if work.kind == "instruments" else work.name),
        "picture": picture_of(work),
        "attended": work.attended,
        "length_s": work.length_s,
        "contact": work.holds,
        "begins_ms": work.begins_ms,
        "at": clock(work.begins_ms, zone),
        "person": names.get(work.person or "", work.person or ""),
        "mine": work.person == me or (now.state == "running" and now.by == me),
        "state": now.state,
        "started_ms": now.started_ms,
        "not_before_ms": _not_before(work),
        "ended_at": clock(now.ended_ms, zone) if now.ended_ms is not None else "",
        "by": names.get(now.by or "", now.by or ""),
        "why": spoken(now.why),
        "passed": work.passed,
        "owed": work.owed,
        "overdue": work.overdue,
        "units": len(work.units),
    }
    if work.passed or now.state == "done":
        return short
    return short | {
        "after": list(work.after),
        "groups": [{"outlets": list(outlets), "seconds": seconds} for outlets, seconds in work.groups],
        "outlets": list(work.outlets),
        "amount_ml": work.amount_ml,
        "readings": [_reading(one) for one in work.readings],
        "cautions": [spoken(text) for text in work.cautions],
        "product": _product(work.handling, zone) if work.handling is not None else None,
        "link": _link(work),
        **_entries(work),
    }


def clock(ms: int, zone: ZoneInfo) -> str:
    """Return a moment of the day on the practice's clock."""
    return f"{from_ms(ms, str(zone)):%H:%M}"


def spoken(text: str) -> str:
    """Return a text in the reader's language, as far as it can be said in it."""
    return str(tongue().say(text)) if isinstance(text, Said) else tongue().look_up(text)


def _not_before(work: Work) -> int | None:
    if not work.holds or work.said.started_ms is None or work.length_s is None:
        return None
    return work.said.started_ms + 1000 * work.length_s


def _reading(asked: AskedReading) -> dict[str, Any]:
    return {
        "name": asked.name,
        "quantity": spoken(QUANTITIES.get(asked.quantity, asked.quantity)),
        "unit": asked.unit,
        "decimals": asked.decimals,
        "low": asked.low,
        "high": asked.high,
        "required": asked.required,
        "at_least": asked.at_least,
    }


def _product(handling: Handling, zone: ZoneInfo) -> dict[str, Any]:
    until = handling.good_until_ms
    return {
        "id": handling.product,
        "name": handling.name,
        "wear": list(handling.wear),
        "hazards": list(handling.hazards),
        "lot": handling.lot,
        "good_until_ms": until,
        "good_until": f"{from_ms(until, str(zone)):%Y-%m-%d %H:%M}" if until is not None else "",
        "asks_lot": handling.asks_lot,
    }


def _link(work: Work) -> str:
    if work.kind == "test":
        return f"/machines/{work.place}"
    return "/loads" if work.kind == "instruments" else ""


def _entries(work: Work) -> dict[str, Any]:
    """Return the entries that the page writes: of the start, of the end (its readings and product are added there), of a problem."""
    kind, _, name = work.subject.partition(":")
    where = {kind: name} if kind in ("chair", "machine") else {}
    base: dict[str, Any] = {"duty": work.duty, "step": work.step, **where}
    begun = dict(base)
    if work.outlets:
        begun["outlets"] = list(work.outlets)
    if work.suction:
        begun["suction"] = list(work.suction)
    if work.visit is not None:
        begun["visit"] = work.visit
    elif work.run is not None:
        begun["run"] = work.run
    return {
        "start": {"kind": "step.started", "data": begun},
        "done": {"kind": "step.done", "data": {**begun, "outcome": "done"}},
        "problem": {"kind": "duty.skipped", "data": base},
        "where": where,
    }
