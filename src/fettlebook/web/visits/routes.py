"""The page `Visits`. What is noted goes through the tablet's queue, as on My work: also without network."""

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse

from fettlebook.plan.visits_now import needed, visits_now
from fettlebook.said import said
from fettlebook.standing.asking import name_of
from fettlebook.web.desk import Desk
from fettlebook.web.moments import short
from fettlebook.web.pages import Pages, StillPlanningError
from fettlebook.web.people.who import signed_in
from fettlebook.web.record import Record
from fettlebook.web.standing_pages import WAIT_S
from fettlebook.web.tiles import SIGN


def visit_routes(pages: Pages, record: Record, desk: Desk) -> APIRouter:
    """Return the route."""
    routes = APIRouter()

    @routes.get("/visits")
    def _visits(request: Request) -> HTMLResponse:
        who = signed_in(request)
        if not record.ready(WAIT_S):
            return pages.show("reading.html", seen=record.seen, of=record.store.head().size, title=said("The book is being read"))
        day = pages.now.date()
        state = desk.day(day)
        if state.plan is None and not state.trouble:
            raise StillPlanningError(day)
        plan = pages.plan(day)
        zone = pages.reading.zone
        with record.view() as view:
            found = visits_now(view, plan)
            kinds = {one.kind_id: needed(view, one.kind_id) for one in found if one.ended_ms is None}
            chairs = {one.chair: view.standing(f"chair:{one.chair}") for one in found}
        return pages.show(
            "visits.html", visits=found, kinds=kinds, chairs=chairs, who=who, day=day, sign=lambda verdict: SIGN[verdict],
            clock=lambda ms: short(ms, zone, record.now())[-5:], name_of=name_of, title=said("Visits"),
        )  # fmt: skip

    return routes
