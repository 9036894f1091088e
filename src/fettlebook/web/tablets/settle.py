"""The page `To be settled`: where tablets do not agree, what holds meanwhile, and a person's word on it, which is an entry."""

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import Annotated, Any, Final
from zoneinfo import ZoneInfo

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import EntryClash, EntrySettled, EntryWithdrawn
from fettlebook.book.received import Received
from fettlebook.book.stores.beside import Missing
from fettlebook.errors import Mendable
from fettlebook.said import Said, said
from fettlebook.standing.asking import said_at
from fettlebook.standing.facts import happened_ms
from fettlebook.standing.to_settle import Timed, Twice, ended_twice, oddly_timed
from fettlebook.web.forms import Form, posted
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people.who import Role, SignedIn, What, must
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

DAYS: Final = 7
DAY_MS: Final = 86_400_000
ENTRIES_MOST: Final = 20_000
PAGE: Final = 500
TIMED_MOST: Final = 30
Posted = Annotated[Form, Depends(posted)]


@dataclass(frozen=True, slots=True)
class Disagreement:
    """All that the page shows."""

    twice: tuple[Twice, ...]
    timed: tuple[Timed, ...]
    held: tuple[Missing, ...]
    clashes: tuple[Received, ...]


def settle_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes."""
    routes, asking, door = APIRouter(), Asking(pages, record), Door(record.store)

    made: list[tuple[int, Disagreement]] = []  # what was found when the book held so many entries

    def found() -> Disagreement:
        size = record.store.head().size
        if not made or made[0][0] != size:
            made[:] = [(size, disagreement(record))]
        gaps = (record.store.missing_of(device) for device in record.store.devices())  # these move without an entry
        return replace(made[0][1], held=tuple(gap for gap in gaps if gap))

    @routes.get("/settle")
    def _settle() -> HTMLResponse:
        reading = pages.reading
        names = {person.id: person.name for person in reading.practice.people}
        steps = {(duty.id, step.id): step.name for duty in reading.rulebook.duties for step in duty.steps}
        return asking.show(
            "settle.html", "settle", asked("", "", reading.zone, pages.now), found=found(), names=names, steps=steps, days=DAYS,
            timed_most=TIMED_MOST, happened=happened_ms, length=_length,
            title=said("To be settled"),
        )  # fmt: skip

    @routes.get("/settle.csv")
    def _csv() -> Response:
        rows = [row for one in found().twice for row in _rows(one, pages.reading.zone)]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("to-be-settled.csv"))

    @routes.post("/settle")
    def _settled(request: Request, form: Posted) -> RedirectResponse:
        who = must(request, What.NOTE)
        pair = next((one for one in found().twice if one.settled_by == form.text("settles")), None)
        if pair is None:
            mend = "Open the page again: somebody else may have settled it."
            raise Mendable("this is settled already", where="To be settled", mend=mend)
        moment = Moment(record.now(), str(pages.reading.zone))
        why = form.text("why") or "looked at together"
        if form.text("act") == "stand":
            beside = tuple(one.entry.id for one in pair.beside)
            door.note(
                EntrySettled(beside=beside, why=why), moment=moment, by=who.person, subjects=_subjects(pair), refers_to=pair.settled_by
            )
        else:
            gone = _own(pair, form.text("act"), who)
            door.note(EntryWithdrawn(why=why), moment=moment, by=who.person, subjects=gone.entry.subjects, refers_to=gone.entry.id)
        return RedirectResponse("/settle", 303)

    return routes


def disagreement(record: Record) -> Disagreement:
    """Return what of the last days does not agree; what devices hold back is not asked."""
    entries = list(_recent(record, record.now() - DAYS * DAY_MS))
    clashes = tuple(one for one in entries if isinstance(one.entry.data, EntryClash))
    return Disagreement(ended_twice(entries), tuple(oddly_timed(entries)), (), clashes)


def _recent(record: Record, since_ms: int) -> Iterator[Received]:
    """Yield the entries received after a moment, newest first, at most 20,000."""
    before: int | None = None
    for _ in range(ENTRIES_MOST // PAGE):
        page = record.newest(PAGE, before=before)
        fresh = [one for one in page if one.received > since_ms]
        yield from fresh
        if not page or len(fresh) < len(page):
            return
        before = page[-1].seq


def _own(pair: Twice, entry: str, who: SignedIn) -> Received:
    """Return the entry of a pair that is to be withdrawn, if this person may: its maker, or who leads."""
    gone = next((one for one in (pair.counts, *pair.beside) if one.entry.id == entry), None)
    if gone is None:
        raise Mendable("no such entry of this pair", where="To be settled", mend="Open the page again.")
    if who.role is not Role.LEAD and gone.entry.by != who.person:
        mend = "Ask whoever made it, or the lead."
        raise Mendable("an entry is withdrawn by its maker, or by the lead", where="To be settled", mend=mend)
    return gone


def _subjects(pair: Twice) -> tuple[str, ...]:
    return tuple(dict.fromkeys(subject for one in (pair.counts, *pair.beside) for subject in one.entry.subjects))


def _rows(pair: Twice, zone: ZoneInfo) -> list[dict[str, Any]]:
    return [
        {
            "duty": one.entry.data.model_dump().get("duty"),
            "step": one.entry.data.model_dump().get("step"),
            "about": ", ".join(one.entry.subjects),
            "counts": "yes" if one is pair.counts else "beside it",
            "by": one.entry.by,
            "device": one.entry.device,
            "claimed": said_at(one.entry.at, zone),
            "happened": said_at(happened_ms(one), zone),
            "received": said_at(one.received, zone),
            "id": one.entry.id,
        }
        for one in (pair.counts, *pair.beside)
    ]


def _length(ms: int) -> Said:
    """Return a length of time as people say it: 3 d 2 h, 2 h 5 min, 12 min."""
    minutes = round(abs(ms) / 60_000)
    days, hours = divmod(minutes // 60, 24)
    if days:
        return said("{d} d {h} h", d=days, h=hours)
    return said("{h} h {m} min", h=hours, m=minutes % 60) if hours else said("{m} min", m=minutes)
