"""How people ask: a moment as it is typed, a subject as it is called, and both as they are told back."""

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import PRACTICE, from_ms
from fettlebook.errors import Mendable
from fettlebook.said import joined, said
from fettlebook.standing.standings import KINDS, View

FOR_EXAMPLE: Final = said("Write it as 2026-03-09T08:00, with an offset (+01:00) in the hour that comes twice when clocks go back.")


def read_moment(text: str, zone: ZoneInfo, where: str, now: datetime) -> datetime:
    """Return a moment as it was typed, on the practice's wall clock; raises `Mendable` where it can't be read or never was."""
    if text == "now":
        return now
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise Mendable(said("{text!r:.60} is no moment", text=text), where=where, mend=FOR_EXAMPLE) from None
    if read.tzinfo is not None:
        return read.astimezone(zone)
    local = read.replace(tzinfo=zone)
    if local.astimezone(ZoneInfo("UTC")).astimezone(zone).replace(tzinfo=None) != read:
        mend = said("Clocks went forward then: take {timespec}.", timespec=(read + timedelta(hours=1)).isoformat(timespec="minutes"))
        raise Mendable(said("{text} never was in {zone}", text=text, zone=zone), where=where, mend=mend)
    return local


def read_subject(view: View, text: str) -> str:
    """Return a subject as the book writes it, from how a person types it: `chair 1`, `chair 1/turbine`, `exam#3`, `practice`.

    Raises
    ------
    Mendable
        Nothing is called so; where several are, all of them are named.
    """
    if text in ("practice", PRACTICE):
        return PRACTICE
    if text.partition(":")[0] in (*KINDS, "visit", "pack", "person", "sample") and ":" in text:
        return text
    state, basis = view.look.state, view.look.basis
    found = [f"chair:{text}"] if text in basis.chairs else []
    found += [f"machine:{text}"] if text in basis.machines else []
    found += [s for s in view.subjects() if s in (f"outlet:{text}", f"unit:{text}")]
    kinds = ("load", "product", "solution", "visit", "pack", "person", "sample", "unit")
    found += [s for s in (f"{kind}:{text}" for kind in kinds) if s in state.subjects or state.stream(s, "steps").facts]
    found = list(dict.fromkeys(found))
    if len(found) == 1:
        return found[0]
    if found:
        raise Mendable(
            said('several are called "{text}"', text=text), where="SUBJECT", mend=said("Write one of: {found}.", found=joined(", ", found))
        )
    names = [s for s in view.subjects() if s.startswith(("chair:", "machine:"))]
    raise Mendable(
        said('nothing is called "{text}"', text=text),
        where="SUBJECT",
        mend=said("Choose one of: practice, {names}; or a load, set, lot.", names=joined(", ", names)),
    )


def said_at(ms: int | None, zone: ZoneInfo) -> str | None:
    """Return a moment for JSON: ISO 8601 on the practice's wall clock, with its offset."""
    return None if ms is None else from_ms(ms, str(zone)).isoformat(timespec="seconds")


def name_of(subject: str) -> str:
    """Return a subject as people call it."""
    kind, _, name = subject.partition(":")
    if kind == "product":
        product, _, lot = name.partition("/")
        return said("{product}, lot {lot}", product=product, lot=lot) if lot else name
    if subject == PRACTICE:
        return said("the practice")
    return said("load {load}", load=name) if kind == "load" else said("solution {solution}", solution=name) if kind == "solution" else name


def minutes(attended_s: int, unattended_s: int) -> str:
    """Return attended and unattended time in words."""
    parts = [said("{time} with somebody there", time=_min(attended_s))] if attended_s else []
    parts += [said("{time} running alone", time=_min(unattended_s))] if unattended_s else []
    return joined(", ", parts) if parts else said("no minutes")


def _min(seconds: int) -> str:
    return said("{seconds} min", seconds=max(1, -(-seconds // 60)))
