"""All pages of care under one router."""

from fastapi import APIRouter

from fettlebook.web.care.entering import entering_routes
from fettlebook.web.care.frame import Care
from fettlebook.web.care.parts import part_routes
from fettlebook.web.care.stock import stock_routes
from fettlebook.web.care.strips import strip_routes
from fettlebook.web.care.suction import suction_routes
from fettlebook.web.care.taps import tap_routes
from fettlebook.web.care.treatments import treatment_routes
from fettlebook.web.pages import Pages
from fettlebook.web.record import Record


def care_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of all pages of care."""
    router, care = APIRouter(), Care(pages, record)
    for routes in (treatment_routes, suction_routes, strip_routes, tap_routes, part_routes, stock_routes, entering_routes):
        router.include_router(routes(care))
    return router
