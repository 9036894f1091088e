"""What comes in by itself, while the pages are open: the folder that is watched, the address that machines send to, and its page."""

from fastapi import FastAPI

from fettlebook.web.arriving.routes import arriving_routes
from fettlebook.web.arriving.watching import Watching
from fettlebook.web.pages import Pages
from fettlebook.web.people.people import People
from fettlebook.web.record import Record

__all__ = ["Watching", "let_arrivals_in"]


def let_arrivals_in(app: FastAPI, pages: Pages, record: Record | None, watching: Watching | None, people: People) -> None:
    """Add the page and the address where there is a book, and a folder that is watched for it."""
    pages.know(arrivals=watching is not None)
    if watching is not None and record is not None:
        app.include_router(arriving_routes(pages, record, watching, people))
