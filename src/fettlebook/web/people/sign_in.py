"""The pages to sign in and out."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.web.forms import Form, posted
from fettlebook.web.pages import Pages
from fettlebook.web.people import cookies
from fettlebook.web.people.people import People
from fettlebook.web.people.visit import here, next_of

Posted = Annotated[Form, Depends(posted)]


def sign_in_routes(pages: Pages, people: People) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()

    def page(next_page: str, fault: str = "", status: int = 200) -> HTMLResponse:
        staff = pages.reading.practice.people
        return pages.show("sign_in.html", status, staff=staff, next_page=next_of(next_page), fault=fault, title="Sign in")

    @routes.get("/sign-in")
    def _sign_in(next: str = "/") -> HTMLResponse:
        return page(next)

    @routes.post("/sign-in")
    def _signed_in(request: Request, form: Posted) -> Response:
        done = people.choose(form.text("person"), here().device)
        if done is None:
            return page(form.text("next"), "Nobody of that name works here. Choose one of the names.", 422)
        answer = RedirectResponse(next_of(form.text("next")), 303)
        cookies.give(answer, request, cookies.DEVICE, done[0], cookies.DEVICE_S)
        cookies.give(answer, request, cookies.SESSION, done[1])
        return answer

    @routes.post("/sign-out")
    def _sign_out(request: Request) -> Response:
        people.leave(cookies.read(request, cookies.SESSION))
        answer = RedirectResponse("/sign-in", 303)
        cookies.drop(answer, request, cookies.SESSION)
        return answer

    return routes
