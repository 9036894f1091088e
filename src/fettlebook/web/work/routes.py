"""The page `My work`, its data for the tablet, and the word whether anything changed."""

import threading
from typing import Any

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse

from fettlebook.book.kinds import to_ms
from fettlebook.plan.work import work_of
from fettlebook.plan.work_model import Work
from fettlebook.said import said
from fettlebook.web.desk import Desk
from fettlebook.web.pages import Pages, StillPlanningError
from fettlebook.web.people.who import SignedIn, What, may, signed_in
from fettlebook.web.record import Record
from fettlebook.web.standing_pages import WAIT_S
from fettlebook.web.work.as_data import as_data

REST_MS = 20_000  # how long the same steps may serve where no entry came: what passed by and what is due moves by the minute

HELP_MS = 2 * 3_600_000  # so far ahead the steps of others are shown


class _Steps:
    """The steps of the day, made once for all who ask."""

    def __init__(self, pages: Pages, desk: Desk, record: Record) -> None:
        self._pages, self._desk, self._record = pages, desk, record
        self._lock = threading.Lock()
        self._made: tuple[tuple[int, int, int], tuple[Work, ...]] | None = None

    def mark(self) -> tuple[int, int, int]:
        """Return what changes with each entry, each plan, and a little with time."""
        now = self._pages.now
        state = self._desk.day(now.date())
        return self._record.store.head().size, state.version, to_ms(now) // REST_MS

    def all(self) -> tuple[Work, ...]:
        """Return the steps of today; raises for the page that says why there is no plan."""
        day = self._pages.now.date()
        state = self._desk.day(day)
        if state.plan is None and not state.trouble:
            raise StillPlanningError(day)
        plan = self._pages.plan(day)
        mark = self.mark()
        with self._lock:
            if self._made is None or self._made[0] != mark:
                with self._record.view() as view:
                    self._made = mark, work_of(view, plan)
            return self._made[1]

    def data(self, who: SignedIn) -> dict[str, Any]:
        """Return all that the page needs, for one person."""
        reading, mark = self._desk.reading, self.mark()
        names = {p.id: p.name for p in reading.practice.people}
        until = self._record.now() + HELP_MS
        return {
            "now_ms": self._record.now(),
            "mark": _as_text(mark),
            "person": who.person,
            "name": who.name,
            "notes": may(who.role, What.NOTE),
            "steps": [as_data(work, who.person, names, reading.zone) for work in self.all() if _concerns(work, who.person, until)],
        }


def work_routes(pages: Pages, record: Record, *, desk: Desk) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    steps = _Steps(pages, desk, record)

    @routes.get("/work")
    def _work(request: Request) -> HTMLResponse:
        who = signed_in(request)
        if not record.ready(WAIT_S):
            return pages.show("reading.html", seen=record.seen, of=record.store.head().size, title=said("The book is being read"))
        data, day = steps.data(who), pages.now.date()
        return pages.show("work.html", title=said("My work"), who=who, day=day, data=data)

    @routes.get("/work.json")
    def _data(request: Request) -> JSONResponse:
        return JSONResponse(steps.data(signed_in(request)))

    @routes.get("/work-mark")
    def _mark(request: Request) -> JSONResponse:
        signed_in(request)
        return JSONResponse({"now_ms": record.now(), "mark": _as_text(steps.mark())})

    return routes


def _concerns(work: Work, me: str, until: int) -> bool:
    """Tell whether a step is shown to somebody: of the others only what is to do soon, and what is not in order."""
    if me in (work.person, work.said.by) or work.said.state in ("running", "problem"):
        return True
    return work.to_do and (work.person is None or work.begins_ms < until)


def _as_text(mark: tuple[int, int, int]) -> str:
    return "-".join(map(str, mark))
