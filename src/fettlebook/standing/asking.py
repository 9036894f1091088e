"""How people ask: a moment as it is typed, a subject as it is called, and both as they are told back."""

from datetime import datetime, timedelta
from typing import Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import PRACTICE, from_ms
from fettlebook.errors import Mendable
from fettlebook.standing.standings import KINDS, View

FOR_EXAMPLE: Final = "Write it as 2026-03-09T08:00, with an offset (+01:00) in the hour that comes twice when clocks go back."


def read_moment(text: str, zone: ZoneInfo, where: str, now: datetime) -> datetime:
    """Return a moment as it was typed, on the practice's wall clock; raises `Mendable` where it can't be read or never was."""
    if text == "now":
        return now
    try:
        read = datetime.fromisoformat(text)
    except ValueError:
        raise Mendable(f"{text!r:.60} is no moment", where=where, mend=FOR_EXAMPLE) from None
    if read.tzinfo is not None:
        return read.astimezone(zone)
    local = read.replace(tzinfo=zone)
    if local.astimezone(ZoneInfo("UTC")).astimezone(zone).replace(tzinfo=None) != read:
        mend = f"Clocks went forward then: take {(read + timedelta(hours=1)).isoformat(timespec='minutes')}."
        raise Mendable(f"{text} never was in {zone}", where=where, mend=mend)
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
        raise Mendable(f'several are called "{text}"', where="SUBJECT", mend=f"Write one of: {', '.join(found)}.")
    names = [s for s in view.subjects() if s.startswith(("chair:", "machine:"))]
    raise Mendable(
        f'nothing is called "{text}"', where="SUBJECT", mend=f"Choose one of: practice, {', '.join(names)}; or a load, set, lot."
    )


def said_at(ms: int | None, zone: ZoneInfo) -> str | None:
    """Return a moment for JSON: ISO 8601 on the practice's wall clock, with its offset."""
    return None if ms is None else from_ms(ms, str(zone)).isoformat(timespec="seconds")


def name_of(subject: str) -> str:
    """Return a subject as people call it."""
    kind, _, name = subject.partition(":")
    if kind == "product":
        return name.replace("/", ", lot ")
    return "the practice" if subject == PRACTICE else f"{kind} {name}" if kind in ("load", "solution") else name


def minutes(attended_s: int, unattended_s: int) -> str:
    """Return attended and unattended time in words."""
    parts = [f"{_min(attended_s)} with somebody there"] if attended_s else []
    parts += [f"{_min(unattended_s)} running alone"] if unattended_s else []
    return ", ".join(parts) or "no minutes"


def _min(seconds: int) -> str:
    return f"{max(1, -(-seconds // 60))} min"
