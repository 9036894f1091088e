"""People wired into the app: the middleware, the pages, and what becomes of whoever is not signed in."""

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse

from fettlebook.web.pages import Pages
from fettlebook.web.people.people import People
from fettlebook.web.people.sign_in import sign_in_routes
from fettlebook.web.people.visit import Visits, ask_to_sign_in
from fettlebook.web.people.who import NotAllowedError, NotSignedInError


def let_people_in(app: FastAPI, pages: Pages, people: People) -> None:
    """Let every request pass who may do what. Called before the guard is added, which then stands outside."""
    app.add_middleware(Visits, people=people, refused=pages.not_allowed)
    app.add_exception_handler(NotSignedInError, lambda request, _: ask_to_sign_in(request))

    @app.exception_handler(NotAllowedError)
    def _not_allowed(_: Request, error: NotAllowedError) -> HTMLResponse:
        return pages.not_allowed(error.who, error.what)

    app.include_router(sign_in_routes(pages, people))
