"""People wired into the app: the middleware, the pages, and what becomes of whoever is not signed in."""

from datetime import UTC, datetime

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse

from fettlebook.web.pages import Pages
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.kept_forms import KeptForms
from fettlebook.web.people.lead_pages import lead_routes
from fettlebook.web.people.people import People
from fettlebook.web.people.sign_in import sign_in_routes
from fettlebook.web.people.visit import Visits, ask_to_sign_in
from fettlebook.web.people.who import NotAllowedError, NotSignedInError
from fettlebook.web.tls.served import Served, ends_soon
from fettlebook.web.tls.trust import trust_routes


def let_people_in(app: FastAPI, pages: Pages, people: People, served: Served | None) -> None:
    """Let every request pass who may do what. Called before the guard is added, which then stands outside."""
    kept, devices = KeptForms(), Devices(people)
    pages.know(
        lock_after_s=int(people.idle_s),
        certificate_soon=lambda: ends_soon(served.certificates, datetime.now(UTC)) if served else None,
    )
    app.state.pages = pages
    app.add_middleware(Visits, people=people, kept=kept, refused=pages.not_allowed)
    app.add_exception_handler(NotSignedInError, lambda request, _: ask_to_sign_in(request))

    @app.exception_handler(NotAllowedError)
    def _not_allowed(_: Request, error: NotAllowedError) -> HTMLResponse:
        return pages.not_allowed(error.who, error.what)

    app.include_router(sign_in_routes(pages, people, devices, kept))
    app.include_router(lead_routes(pages, people, devices))
    app.include_router(trust_routes(pages, served))
