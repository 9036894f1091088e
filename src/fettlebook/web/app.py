"""The pages and their addresses. Each route takes what the desk knows at once and hands it to a template."""

import sqlite3
from datetime import date
from functools import partial
from pathlib import Path
from typing import Final

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from fettlebook import __version__
from fettlebook.errors import AwayError, Mendable
from fettlebook.exchange.paper.cards import chair_cards
from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.said import said
from fettlebook.times.curves import chair_pictures
from fettlebook.web import board, running, tables
from fettlebook.web import chair as chair_page
from fettlebook.web.arriving import Watching, let_arrivals_in
from fettlebook.web.arriving.log_form import log_form_routes
from fettlebook.web.bench import Bench
from fettlebook.web.desk import Desk
from fettlebook.web.drafts import Drafts
from fettlebook.web.entries_pages import entries_routes
from fettlebook.web.evidence_pages import evidence_routes
from fettlebook.web.feed import feed_routes
from fettlebook.web.guard import Guard
from fettlebook.web.heat import heat_routes
from fettlebook.web.languages.asked import Languages, language_routes
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.lead import lead_desk_routes
from fettlebook.web.measuring import measuring_routes
from fettlebook.web.otherwise_routes import otherwise_routes
from fettlebook.web.pages import HERE, Pages, StillPlanningError, a_chair, a_day, a_lane, saved
from fettlebook.web.people.people import People
from fettlebook.web.people.wired import let_people_in
from fettlebook.web.plan_routes import plan_routes
from fettlebook.web.record import Record
from fettlebook.web.sheet import day_sheet
from fettlebook.web.standing_pages import standing_routes
from fettlebook.web.stands_up_routes import stands_up_routes
from fettlebook.web.tablets.api import make_api
from fettlebook.web.tablets.pages import tablet_routes
from fettlebook.web.tablets.scanned import scan_routes
from fettlebook.web.tablets.settle import settle_routes
from fettlebook.web.telling import Telling, telling_routes
from fettlebook.web.tls.served import Served
from fettlebook.web.tour import tour_routes
from fettlebook.web.trace_pages import trace_routes
from fettlebook.web.training import TrainingClock, training_routes
from fettlebook.web.visits import visit_routes
from fettlebook.web.wall import wall_routes
from fettlebook.web.water_pages import water_routes
from fettlebook.web.what_if_routes import what_if_routes
from fettlebook.web.work.routes import work_routes


def create_app(  # noqa: PLR0915 - a list of addresses reads best as a list
    desk: Desk,
    start: date | None = None,
    training_clock: bool | TrainingClock = False,
    bench: Bench | None = None,
    practice_file: Path | None = None,
    *,
    record: Record | None = None,
    people: People | None = None,
    served: Served | None = None,
    watching: Watching | None = None,
    telling: Telling | None = None,
) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    desk
        What the pages show.
    start
        The day that opens first; None: today, or the next day with visits.
    training_clock
        The desk's clock was set by hand, and every page says so; given itself, it can be put forward.
    record
        The book to ask; None: the pages of standing, traces and entries are left out.
    bench
        Where work in the background is done; None: one of its own.
    people
        Who may sign in, and where; None: names are chosen, as on a machine of one's own.
    served
        How the pages are reached from other machines; None: from this one alone.
    watching
        What takes in arrivals; None: no folder of arrivals.
    people
        Who may sign in, and where; None: names are chosen, as on a machine of one's own.
    served
        How the pages are reached from other machines; None: from this one alone.
    telling
        What sends word of changed verdicts; None: nobody is told.
    practice_file
        What measurements are held against and written into; None: no page to measure.
    """
    bench = bench or Bench()
    # FastAPI's own pages load scripts from elsewhere; there is no outside API yet.
    app = FastAPI(title="fettlebook", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    pages = Pages(desk, bool(training_clock), measuring=practice_file is not None)

    people = people or People(lambda: desk.reading.practice)
    if record is not None:
        pages.know(has_book=True, low_on_space=record.low_on_space)
        for routes in (
            standing_routes,
            trace_routes,
            entries_routes,
            heat_routes,
            water_routes,
            settle_routes,
            partial(work_routes, desk=desk),
            partial(visit_routes, desk=desk),
            partial(evidence_routes, bench=bench),
        ):
            app.include_router(routes(pages, record))
        app.include_router(feed_routes(pages, desk, record, people))
        app.include_router(wall_routes(pages, record, desk=desk, people=people))
        for lead in lead_desk_routes(pages, record, desk, people, practice_file=practice_file, watching=watching):
            app.include_router(lead)
        app.mount("/api", make_api(record, lambda: str(desk.reading.zone)))
    app.mount("/fonts", StaticFiles(directory=FONTS), name="fonts")
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    let_arrivals_in(app, pages, record, watching, people)
    if telling is not None:
        app.include_router(telling_routes(pages, telling))
    let_people_in(app, pages, people, served)
    app.add_middleware(Guard, fault_page=pages.fault, hosts=served.certificates.hosts if served else frozenset())
    app.add_middleware(Languages)  # around the guard: its pages are in the reader's language too

    @app.exception_handler(Mendable)
    def _mendable(_: Request, error: Mendable) -> HTMLResponse:
        return pages.mend(error.findings, away=isinstance(error, AwayError))

    @app.exception_handler(StillPlanningError)
    def _planning(_: Request, error: StillPlanningError) -> HTMLResponse:
        return pages.waiting(error.day)

    @app.exception_handler(HTTPException)
    def _http(request: Request, error: HTTPException) -> Response:
        if request.method == "GET" and "text/html" in request.headers.get("accept", ""):  # a person looks
            why = said("There is no such page. The address may be mistyped, or of another edition.")
            return pages.refused(why if error.detail == "Not Found" else error.detail, error.status_code)
        return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=error.headers)

    @app.get("/minutes.css")
    def _minutes() -> Response:
        return Response(MINUTES_CSS, media_type="text/css", headers={"Cache-Control": "max-age=86400"})

    @app.get("/health")
    def _health() -> dict[str, str]:
        return {"status": "ok", "version": __version__, "sqlite": sqlite3.sqlite_version}

    @app.get("/")
    def _home() -> RedirectResponse:
        return RedirectResponse(f"/day/{start or _next_booked(desk)}", 303)

    @app.get("/day/{day}")
    def _day(day: str, by: str = "chair", waits: str = "") -> HTMLResponse:
        return pages.day(a_day(day), a_lane(by), waits)

    @app.post("/day/{day}/again")
    def _again(day: str, by: str = "chair") -> RedirectResponse:
        asked, lane = a_day(day), a_lane(by)
        desk.again(asked)
        return RedirectResponse(f"/day/{asked}?by={lane}", 303)

    @app.get("/day/{day}/progress")
    def _progress(day: str) -> JSONResponse:
        state = desk.day(a_day(day))
        return JSONResponse({"stage": state.stage, "version": state.version, "trouble": bool(state.trouble or desk.trouble)})

    @app.get("/day/{day}/plan.csv")
    def _csv(day: str) -> Response:
        plan = pages.plan(a_day(day))
        text = tables.as_csv(tables.rows_of(plan, desk.reading.practice))
        return Response(text, media_type="text/csv; charset=utf-8", headers=saved(f"day-{plan.day}.csv"))

    @app.get("/day/{day}/plan.json")
    def _json(day: str) -> JSONResponse:
        plan = pages.plan(a_day(day))
        return JSONResponse(tables.as_json(plan), headers=saved(f"day-{plan.day}.json"))

    @app.get("/day/{day}/sheet.pdf")
    def _sheet(day: str) -> Response:
        plan = pages.plan(a_day(day))
        pdf = day_sheet(plan, desk.reading.practice, desk.now(), record.stands() if record is not None else None, voice=tongue())
        return Response(pdf, media_type="application/pdf", headers=saved(f"day-{plan.day}.pdf", inline=True))

    if practice_file is not None:
        app.include_router(measuring_routes(pages, desk, practice_file))
        app.include_router(log_form_routes(pages, desk, practice_file))
    of_days = (
        plan_routes(pages, desk),
        otherwise_routes(pages, desk, Drafts(desk, bench)),
        what_if_routes(pages, desk, bench),
        stands_up_routes(pages, desk, bench),
    )
    of_tablets = (tablet_routes(pages), scan_routes())
    for router in (*of_days, *of_tablets, tour_routes(pages), language_routes(), training_routes(pages, training_clock)):
        app.include_router(router)

    @app.get("/times")
    def _first_times() -> RedirectResponse:
        return RedirectResponse(f"/times/{desk.reading.practice.chairs[0].id}", 303)

    @app.get("/times/{chair}")
    def _times(chair: str) -> HTMLResponse:
        if chair not in {known.id for known in desk.reading.practice.chairs}:
            raise HTTPException(404, "No such chair in the practice file.")
        return pages.show("times.html", chair=chair, duties=running.duties_of(chair, desk.reading.times), title=f"Running times, {chair}")

    @app.get("/chair/{chair}")
    def _chair(chair: str) -> HTMLResponse:
        return pages.chair(a_chair(desk, chair))

    @app.get("/chair/{chair}/curves.json")
    def _curves(chair: str) -> JSONResponse:
        reading = desk.reading
        return JSONResponse(chair_page.as_data(chair_pictures(reading.practice, reading.rulebook, reading.times, a_chair(desk, chair))))

    @app.get("/chair/{chair}/cards.pdf")
    def _cards(chair: str) -> Response:
        reading, known = desk.reading, a_chair(desk, chair)
        own = tuple(time for time in reading.times if time.chair == known.id)
        now = desk.now()
        pdf = chair_cards(reading.practice, reading.rulebook, own, on=reading.rulebook.on or now.date(), made_at=now, voice=tongue())
        return Response(pdf, media_type="application/pdf", headers=saved("cards.pdf", inline=True))

    @app.get("/rules")
    def _rules() -> HTMLResponse:
        return pages.show("rules.html", rulebook=desk.reading.rulebook, title="Rules in force")

    return app


def _next_booked(desk: Desk) -> date:
    today, booked = desk.now().date(), desk.reading.booked
    return next((day for day in booked if day >= today), booked[-1] if booked else today)


def _minutes_css(longest: int) -> str:
    """Return the places on a band by minute as classes: the pages carry no style of their own (CSP)."""
    starts = "".join(f".s{m}{{grid-column-start:{m + 1}}}" for m in range(longest))
    lengths = "".join(f".w{m}{{grid-column-end:span {m}}}" for m in range(1, longest + 1))
    bands = "".join(f".m{m}{{--minutes:{m};--columns:{m + board.MARGIN_MIN}}}" for m in board.BAND_MINUTES)
    return f"{starts}\n{lengths}\n{bands}\n"


MINUTES_CSS: Final = _minutes_css(board.BAND_MINUTES[-1] + board.MARGIN_MIN)
