"""All routes of loads, cycles, machines and failures."""

from fastapi import APIRouter

from fettlebook.web.heat.cycle_pages import cycle_routes
from fettlebook.web.heat.failure_pages import failure_routes
from fettlebook.web.heat.load_pages import load_routes
from fettlebook.web.pages import Pages
from fettlebook.web.record import Record


def heat_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes; `record` is the book that they ask and write into."""
    routes = APIRouter()
    for part in (load_routes, cycle_routes, failure_routes):
        routes.include_router(part(pages, record))
    return routes
