"""The tour: eight steps through real pages of a practice that says that it is invented. What was done is kept in the browser alone."""

from fastapi import APIRouter
from fastapi.responses import HTMLResponse
from starlette.exceptions import HTTPException

from fettlebook.said import said
from fettlebook.web.pages import Pages


def tour_routes(pages: Pages) -> APIRouter:
    """Return the page of the tour; on a real practice there is none: nobody shall try things out in its book."""
    routes = APIRouter()

    @routes.get("/tour")
    def _tour() -> HTMLResponse:
        practice = pages.reading.practice
        if not practice.practice.invented:
            raise HTTPException(404, said("The tour is for an invented practice: fettlebook demo DIR writes one."))
        day, booked = pages.now.date(), pages.reading.booked
        shown = next((one for one in booked if one >= day), booked[-1] if booked else day)
        return pages.show("tour.html", title=said("The tour"), day=shown, chair=practice.chairs[0].id)

    return routes
