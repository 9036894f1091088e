"""Addresses around a day's plan: take the best so far while it is made, and the levels of its sets."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response

from fettlebook.plan.set_stages import STAGES
from fettlebook.said import said
from fettlebook.web import set_levels
from fettlebook.web.desk import Desk
from fettlebook.web.pages import Pages, a_day, saved


def plan_routes(pages: Pages, desk: Desk) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()

    @routes.post("/day/{day}/enough")
    def _enough(day: str) -> RedirectResponse:
        desk.enough(a_day(day))
        return RedirectResponse(f"/day/{a_day(day)}", 303)

    @routes.get("/day/{day}/sets")
    def _sets(day: str) -> HTMLResponse:
        asked = a_day(day)
        basis = pages.basis(asked)
        drawn = set_levels.draw_levels(basis, pages.minute_now(asked))
        return pages.show("sets.html", stages=STAGES, sets=drawn, **pages.of_day(asked, "sets", said("Sets over the day")))

    @routes.get("/day/{day}/sets.csv")
    def _csv(day: str) -> Response:
        asked = a_day(day)
        text = set_levels.as_csv(set_levels.draw_levels(pages.basis(asked), None))
        return Response(text, media_type="text/csv; charset=utf-8", headers=saved(f"sets-{asked}.csv"))

    @routes.get("/day/{day}/sets.json")
    def _json(day: str) -> JSONResponse:
        asked = a_day(day)
        return JSONResponse(set_levels.as_json(pages.basis(asked)), headers=saved(f"sets-{asked}.json"))

    return routes
