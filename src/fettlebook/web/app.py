"""The pages and their addresses. Each route takes what the desk knows at once and hands it to a template."""

import sqlite3
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, JSONResponse, PlainTextResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from fettlebook import __version__
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.paper.cards import chair_cards
from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.plan.day import DayPlan
from fettlebook.practice.model import Chair
from fettlebook.rules.words import length_in_words, limit_in_words, origin_in_words, overridden_in_words
from fettlebook.times.curves import chair_pictures
from fettlebook.times.order import order_hint
from fettlebook.times.words import LEFT_OUT, share, whole_s
from fettlebook.web import board, running, tables, wording
from fettlebook.web import chair as chair_page
from fettlebook.web.desk import Desk
from fettlebook.web.guard import Guard
from fettlebook.web.now import now_and_next
from fettlebook.web.sheet import day_sheet

HERE: Final = Path(__file__).parent
LANES: Final[dict[str, board.By]] = {"chair": "chair", "person": "person", "machine": "machine"}


def create_app(desk: Desk, start: date | None = None, training_clock: bool = False) -> FastAPI:
    """Return the application.

    Parameters
    ----------
    desk
        What the pages show.
    start
        The day that opens first; None: today, or the next day with visits.
    training_clock
        The desk's clock was set by hand, and every page says so.
    """
    # FastAPI's own pages load scripts from elsewhere; there is no outside API yet.
    app = FastAPI(title="fettlebook", version=__version__, docs_url=None, redoc_url=None, openapi_url=None)
    pages = _Pages(desk, training_clock)

    app.mount("/fonts", StaticFiles(directory=FONTS), name="fonts")
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.add_middleware(Guard, fault_page=pages.fault)

    @app.exception_handler(Mendable)
    def _mendable(_: Request, error: Mendable) -> HTMLResponse:
        return pages.mend(error.findings)

    @app.exception_handler(HTTPException)
    def _http(_: Request, error: HTTPException) -> PlainTextResponse:
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
    def _day(day: str, by: str = "chair") -> HTMLResponse:
        return pages.day(_a_day(day), _a_lane(by))

    @app.post("/day/{day}/again")
    def _again(day: str, by: str = "chair") -> RedirectResponse:
        asked, lane = _a_day(day), _a_lane(by)
        desk.again(asked)
        return RedirectResponse(f"/day/{asked}?by={lane}", 303)

    @app.get("/day/{day}/progress")
    def _progress(day: str) -> JSONResponse:
        state = desk.day(_a_day(day))
        return JSONResponse({"stage": state.stage, "version": state.version, "trouble": bool(state.trouble or desk.trouble)})

    @app.get("/day/{day}/plan.csv")
    def _csv(day: str) -> Response:
        plan = pages.plan(_a_day(day))
        text = tables.as_csv(tables.rows_of(plan, desk.reading.practice))
        return Response(text, media_type="text/csv; charset=utf-8", headers=_saved(f"day-{plan.day}.csv"))

    @app.get("/day/{day}/plan.json")
    def _json(day: str) -> JSONResponse:
        plan = pages.plan(_a_day(day))
        return JSONResponse(tables.as_json(plan), headers=_saved(f"day-{plan.day}.json"))

    @app.get("/day/{day}/sheet.pdf")
    def _sheet(day: str) -> Response:
        plan = pages.plan(_a_day(day))
        pdf = day_sheet(plan, desk.reading.practice, desk.now())
        return Response(pdf, media_type="application/pdf", headers=_saved(f"day-{plan.day}.pdf", inline=True))

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
        return pages.chair(_a_chair(desk, chair))

    @app.get("/chair/{chair}/curves.json")
    def _curves(chair: str) -> JSONResponse:
        reading = desk.reading
        return JSONResponse(chair_page.as_data(chair_pictures(reading.practice, reading.rulebook, reading.times, _a_chair(desk, chair))))

    @app.get("/chair/{chair}/cards.pdf")
    def _cards(chair: str) -> Response:
        reading, known = desk.reading, _a_chair(desk, chair)
        own = tuple(time for time in reading.times if time.chair == known.id)
        now = desk.now()
        pdf = chair_cards(reading.practice, reading.rulebook, own, on=reading.rulebook.on or now.date(), made_at=now)
        return Response(pdf, media_type="application/pdf", headers=_saved("cards.pdf", inline=True))

    @app.get("/rules")
    def _rules() -> HTMLResponse:
        return pages.show("rules.html", rulebook=desk.reading.rulebook, title="Rules in force")

    return app


class _Pages:
    """Renders templates with what every page needs."""

    def __init__(self, desk: Desk, training_clock: bool) -> None:
        self._desk = desk
        self._training_clock = training_clock
        self._templates = Environment(
            loader=FileSystemLoader(HERE / "templates"), autoescape=True, undefined=StrictUndefined, trim_blocks=True, lstrip_blocks=True
        )
        self._templates.filters |= {
            "spell": wording.length,
            "spell_up": lambda seconds: wording.length(whole_s(seconds)),
            "number": wording.number,
            "unit": wording.unit,
            "share": share,
            "long_day": wording.long_day,
            "short_day": wording.short_day,
            "anchor": running.anchor,
            "origin": origin_in_words,
            "replaced": overridden_in_words,
            "limit_value": limit_in_words,
            "step_length": length_in_words,
        }

    def show(self, template: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return a page."""
        reading, now = self._desk.reading, self._desk.now()
        return HTMLResponse(
            self._templates.get_template(template).render(
                practice=reading.practice,
                trouble_now=self._desk.trouble,
                now=now,
                now_text=wording.clock(now, reading.zone),
                training_clock=self._training_clock,
                version=__version__,
                **values,
            ),
            status,
        )

    def plan(self, day: date) -> DayPlan:
        """Return the day's plan, or raise for a page that says why there is none."""
        state = self._desk.day(day)
        if state.plan:
            return state.plan
        if state.trouble:
            raise Mendable.of(state.trouble)
        raise HTTPException(503, "The day is being planned. Try again in a moment.", headers={"Retry-After": "2"})

    def day(self, day: date, by: board.By) -> HTMLResponse:
        """Return the day's page: the plan, or what stands in its way, or the word that it is being made."""
        state, reading = self._desk.day(day), self._desk.reading
        booked = reading.booked
        steps: dict[str, Any] = {
            "day": day,
            "by": by,
            "state": state,
            "title": wording.long_day(day),
            "before": next((d for d in reversed(booked) if d < day), None),
            "after": next((d for d in booked if d > day), None),
            "planned_at": wording.clock(state.planned_at, reading.zone) if state.planned_at else "",
        }
        if state.plan is None:
            return self.mend(state.trouble) if state.trouble and not state.stage else self.show("waiting.html", **steps)
        plan, practice, now = state.plan, reading.practice, self._desk.now()
        today = now.date() == day
        return self.show(
            "day.html",
            plan=plan,
            board=board.lay_out(plan, practice, by),
            rows=tables.rows_of(plan, practice),
            today=today,
            hands=now_and_next(plan, practice, now) if today else (),
            late=sorted((v for v in plan.visits if v.minutes_late or v.start is None), key=lambda v: v.booked.timestamp()),
            shape=wording.VERDICT_SHAPE[plan.verdict],
            verdict=wording.VERDICT_WORD[plan.verdict],
            clock=lambda moment: wording.clock(moment, reading.zone),
            kind_names={kind.id: kind.name for kind in practice.visit_kinds},
            names={person.id: person.name for person in practice.people},
            offset_min=lambda band: int((now.timestamp() - band.start.timestamp()) // 60),
            chairs={chair.id for chair in practice.chairs},
            **steps,
        )

    def chair(self, chair: Chair) -> HTMLResponse:
        """Return the page of a chair's wash-out."""
        reading = self._desk.reading
        duties = running.duties_of(chair.id, reading.times)
        return self.show(
            "chair.html",
            chair=chair,
            drawings=[chair_page.draw(p) for p in chair_pictures(reading.practice, reading.rulebook, reading.times, chair)],
            rows=[row for duty in duties for row in duty.steps],
            hints=dict.fromkeys(
                filter(None, (order_hint(reading.practice, reading.rulebook, t) for t in reading.times if t.chair == chair.id))
            ),
            left_out=LEFT_OUT,
            title=f"How the lines clear, {chair.id}",
        )

    def mend(self, findings: tuple[Finding, ...]) -> HTMLResponse:
        """Return the page that says what is wrong and how to mend it."""
        return self.show("mend.html", 422, findings=findings, title="Something needs mending")

    def fault(self, finding: Finding) -> HTMLResponse:
        """Return the page of a fault in the program."""
        return self.show("fault.html", 500, finding=finding, title="A fault in the program")


def _a_day(text: str) -> date:
    try:
        day = datetime.strptime(text, "%Y-%m-%d").date()  # noqa: DTZ007 - a calendar day has no zone
    except ValueError:
        raise HTTPException(404, "No such day. A day is written as 2026-11-25.") from None
    if not 2000 <= day.year <= 2099:
        raise HTTPException(404, "No such day here: years 2000 to 2099.")
    return day


def _a_chair(desk: Desk, name: str) -> Chair:
    chair = next((known for known in desk.reading.practice.chairs if known.id == name), None)
    if chair is None:
        raise HTTPException(404, "No such chair in the practice file.")
    return chair


def _a_lane(text: str) -> board.By:
    if text not in LANES:
        raise HTTPException(404, "Lanes are by chair, person or machine.")
    return LANES[text]


def _next_booked(desk: Desk) -> date:
    today, booked = desk.now().date(), desk.reading.booked
    return next((day for day in booked if day >= today), booked[-1] if booked else today)


def _saved(name: str, inline: bool = False) -> dict[str, str]:
    return {"Content-Disposition": f'{"inline" if inline else "attachment"}; filename="{name}"'}


def _minutes_css(longest: int) -> str:
    """Return the places on a band by minute as classes: the pages carry no style of their own (CSP)."""
    starts = "".join(f".s{m}{{grid-column-start:{m + 1}}}" for m in range(longest))
    lengths = "".join(f".w{m}{{grid-column-end:span {m}}}" for m in range(1, longest + 1))
    bands = "".join(f".m{m}{{--minutes:{m};--columns:{m + board.MARGIN_MIN}}}" for m in board.BAND_MINUTES)
    return f"{starts}\n{lengths}\n{bands}\n"


MINUTES_CSS: Final = _minutes_css(board.BAND_MINUTES[-1] + board.MARGIN_MIN)
