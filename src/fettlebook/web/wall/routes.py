"""The addresses of the wall board: `/board`, the part of it that changes, and the stream of that part."""

from collections.abc import AsyncIterator
from typing import Annotated, Any, Final, Protocol

from fastapi import APIRouter, Header, Request
from fastapi.responses import HTMLResponse, JSONResponse, Response
from fastapi.sse import EventSourceResponse, ServerSentEvent

from fettlebook.plan.forecast import Forecast
from fettlebook.plan.wall import NextDuty, Wall
from fettlebook.said import Said, joined, said
from fettlebook.web.desk import Desk
from fettlebook.web.moments import short
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people.visit import Visit
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import WAIT_S
from fettlebook.web.tiles import SIGN
from fettlebook.web.wall.live import Live

FIT_IN_TIME: Final = {"in time": "full", "late": "broken", "unsaid": "peak"}
TONE: Final = {"in time": "fit", "late": "unfit", "unsaid": "unproven"}


class Doorkeeper(Protocol):
    """Whoever knows devices and sessions."""

    def visit(self, request: Request) -> Visit:
        """Return who asks."""


def wall_routes(pages: Pages, record: Record, *, desk: Desk, people: Doorkeeper) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()

    def drawn(wall: Wall) -> str:
        return pages.part("wall_now.html", **_values(pages, wall))

    live = Live(record, desk, drawn)

    @routes.get("/board")
    def _board() -> HTMLResponse:
        if not record.ready(WAIT_S):
            return pages.show("reading.html", seen=record.seen, of=record.store.head().size, title=said("The book is being read"))
        part = live.part()
        return pages.show("wall.html", part=part, title=said("Wall board"))

    @routes.get("/board/now")
    def _now() -> JSONResponse:
        part = live.part()
        return JSONResponse({"mark": part.mark, "html": part.html})

    @routes.get("/board/stream", response_class=EventSourceResponse)
    async def _stream(request: Request, seen: str = "", last_event_id: Annotated[str, Header()] = "") -> AsyncIterator[ServerSentEvent]:
        began = _who(people.visit(request))
        async for event in live.stream(last_event_id or seen, lambda: _who(people.visit(request)) == began):
            yield event

    @routes.get("/board.csv")
    def _table() -> Response:
        return Response(csv_of(_rows(pages, live.wall())), media_type="text/csv; charset=utf-8", headers=saved("board.csv"))

    return routes


def _who(visit: Visit) -> tuple[str, str, bool]:
    """Return whose screen it is: another answer later means that a session ended or a device was withdrawn."""
    return visit.device, visit.who.person if visit.who is not None else "", visit.free


def _values(pages: Pages, wall: Wall) -> dict[str, Any]:
    practice, zone = pages.reading.practice, pages.reading.zone
    names = {one.id: one.name for one in practice.people}
    rooms = {room.id: room.name for room in practice.rooms}
    return {
        "wall": wall,
        "names": names,
        "rooms": {chair.id: rooms.get(chair.room, "") for chair in practice.chairs},
        "kinds": {kind.id: kind.name for kind in practice.visit_kinds},
        "clock": lambda ms: short(ms, zone, wall.at_ms),
        "sign": lambda verdict: SIGN[verdict],
        "says": lambda one: forecast_words(one, lambda ms: short(ms, zone, wall.at_ms)),
        "shape_of": FIT_IN_TIME,
        "tone_of": TONE,
        "whole_min": lambda seconds: max(1, -(-seconds // 60)),
    }


def forecast_words(says: Forecast, clock: Any) -> Said:
    """Return in words whether a chair will be fit in time."""
    if says.state == "unsaid":
        return said("can't be said: {why}", why=says.why)
    told = (
        said("late by {late_min} min: fit by {at}", late_min=says.late_min, at=clock(says.fit_ms))
        if says.state == "late"
        else said("fit by {at}", at=clock(says.fit_ms))
    )
    return said("{told}; also owed: {beside}", told=told, beside=joined(", ", says.beside)) if says.beside else told


def _rows(pages: Pages, wall: Wall) -> list[dict[str, Any]]:
    """Return the board as a table to save."""
    values = _values(pages, wall)
    clock, names = values["clock"], values["names"]
    found = []
    for row in (*wall.chairs, *wall.machines):
        duty, visit, says = row.next, row.visit, row.forecast
        found.append(
            {"subject": row.subject, "verdict": row.verdict.value, "reason": f"{row.what}: {row.why}" if row.what else row.why,
             **_duty(duty, names, clock), "next_visit": clock(visit.booked_ms) if visit else "",
             "in_time": forecast_words(says, clock) if says else ""}
        )  # fmt: skip
    for one in wall.sets:
        found.append(
            {"subject": f"sets:{one.id}", "verdict": one.verdict.value, "reason": one.why, **_duty(one.next, names, clock),
             "next_visit": "", "in_time": f"{one.fit} fit, {one.unproven} unproven, {one.unfit} unfit"}
        )  # fmt: skip
    return found


def _duty(duty: NextDuty | None, names: dict[str, str], clock: Any) -> dict[str, Any]:
    return {
        "next_duty": duty.name if duty else "",
        "from": clock(duty.begins_ms) if duty else "",
        "min": round(duty.seconds / 60, 1) if duty and duty.seconds else "",
        "who": names.get(duty.person or "", "") if duty else "",
    }
