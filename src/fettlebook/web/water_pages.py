"""Water: where each chair stands and how sure that is, a chair's history as drawing and table, the sampling diary, a result entered."""

from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import to_ms
from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory.beside import WaterBeside, water_beside
from fettlebook.exchange.laboratory.from_book import BookWater, judge_book, limit_cfu_ml
from fettlebook.exchange.laboratory.sampling_diary import DueSample, due_samples, plan_told, plan_words
from fettlebook.exchange.laboratory.water_words import achieved_words, cause_words, high_words, rise_words
from fettlebook.exchange.water_chart import interval_of, water_chart
from fettlebook.said import joined, said
from fettlebook.standing.asking import said_at
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import ChairWater, WaterResult
from fettlebook.web.care import care_routes
from fettlebook.web.forms import Form, posted
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking
from fettlebook.web.water_result import read_result

Posted = Annotated[Form, Depends(posted)]
CSV: Final = "text/csv; charset=utf-8"
SHORT_SHOWN: Final = 2  # treatments that were not whole, the newest
Found = tuple[Look, BookWater, WaterBeside]


class _Water:
    """What these pages have in common: the fit, made once for each state of the book and day."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self.pages, self.record, self.asking = pages, record, Asking(pages, record)
        self._held: tuple[tuple[int, str], Found] | None = None

    def found(self) -> Found:
        """Return what the book says of the water now."""
        with self.record.view() as view:
            look = view.look
            key = (look.state.seq, f"{look.basis.day_of(look.at)}")
            if self._held is None or self._held[0] != key or self._held[1][0].basis is not look.basis:
                water = judge_book(look)
                self._held = key, (look, water, water_beside(look, water))
            return self._held[1]

    def due(self) -> tuple[DueSample, ...]:
        """Return the samples to take."""
        return due_samples(*self.found())

    def show(self, template: str, part: str, title: str, status: int = 200, **values: Any) -> HTMLResponse:
        """Return one of the pages."""
        page = self.asking.show(template, "water", self.asking.moment("", ""), part=part, title=title, percent=_percent, cfu=_cfu, **values)
        page.status_code = status
        return page

    def chair(self, name: str) -> tuple[Look, BookWater, WaterBeside, ChairWater]:
        """Return all that is known of a chair; 404 where the practice file has none of that name."""
        look, water, beside = self.found()
        if name not in look.basis.chairs:
            raise HTTPException(404, said("No such chair in the practice file."))
        return look, water, beside, water.chair(name)


def water_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of the pages of water."""
    router, here = APIRouter(), _Water(pages, record)

    @router.get("/water")
    def _overview(written: str = "") -> HTMLResponse:
        if (waiting := here.asking.waiting()) is not None:
            return waiting
        look, water, beside = here.found()
        return here.show(
            "water.html", "overview", said("Water of all chairs"), rows=_rows(water), judged=water.judged, limits=water.limits,
            limit_cfu_ml=limit_cfu_ml, written=written,
            lines=[*(high_words(look, one) for one in beside.high), rise_words(beside), *cause_words(beside)],
        )  # fmt: skip

    @router.get("/water.csv")
    def _csv() -> Response:
        _, water, _ = here.found()
        return Response(csv_of(_table(water)), media_type=CSV, headers=saved("water.csv"))

    @router.get("/water/of/{chair}")
    def _chair(chair: str) -> HTMLResponse:
        if (waiting := here.asking.waiting()) is not None:
            return waiting
        look, water, beside, history = here.chair(chair)
        lines = [achieved_words(look, one) for one in beside.achieved if one.chair == chair]
        short = [t for t in history.treatments if not t.whole]
        lines += [
            said("{chair}, {done_ms}: not whole, so it moves nothing. {why}.", chair=chair, done_ms=_day(look, t.done_ms), why=t.why)
            for t in short[-SHORT_SHOWN:]
        ]
        if len(short) > SHORT_SHOWN:
            lines.append(said("{SHORT_SHOWN} earlier treatments were not whole either.", SHORT_SHOWN=len(short) - SHORT_SHOWN))
        lines += [high_words(look, one) for one in beside.high if one.chair == chair]
        today = water.today(chair)
        return here.show(
            "water_chair.html", "overview", said("Water of {chair}", chair=chair), chair=chair,
            chairs=list(look.basis.chairs), stands=today,
            each=water.each_limit(chair) if today.proven and water.judged.trusted else (), chart=water_chart(look, water, chair),
            results=list(reversed(history.results)), lines=lines, verdict=water.judged.verdict(today), judged=water.judged,
            interval_of=interval_of,
        )  # fmt: skip

    @router.get("/water/of/{chair}/results.csv")
    def _chair_csv(chair: str) -> Response:
        look, _, _, history = here.chair(chair)
        return Response(csv_of([_result_row(look, r) for r in history.results]), media_type=CSV, headers=saved("water-results.csv"))

    @router.get("/water/diary")
    def _diary() -> HTMLResponse:
        if (waiting := here.asking.waiting()) is not None:
            return waiting
        look, water, _ = here.found()
        told = plan_told(look, water)
        return here.show("water_diary.html", "diary", said("Sampling diary"), due=here.due(), plan=plan_words(told), judged=water.judged)

    @router.get("/water/diary.csv")
    def _diary_csv() -> Response:
        rows = [
            {"by": one.due, "not_before": one.from_day or "", "chair": one.chair, "outlet": one.outlet, "why": one.why}
            for one in here.due()
        ]
        return Response(csv_of(rows), media_type=CSV, headers=saved("sampling-diary.csv"))

    @router.get("/water/diary.ics")
    def _diary_ics() -> Response:
        from fettlebook.exchange.laboratory.sampling_calendar import sampling_calendar  # noqa: PLC0415 - few ask for it

        look, water, _ = here.found()
        told = sampling_calendar(look.basis.practice, here.due(), today=water.judged.today, made_at=pages.now)
        return Response(told, media_type="text/calendar; charset=utf-8", headers=saved("sampling-diary.ics"))

    @router.get("/water/sheet.pdf")
    def _sheet() -> Response:
        from fettlebook.exchange.paper.sampling_sheet import sampling_sheet  # noqa: PLC0415 - the typesetter takes long to load

        look, _, _ = here.found()
        pdf = sampling_sheet(look.basis.practice, look.basis.rulebook, here.due(), made_at=pages.now, voice=tongue())
        return Response(pdf, media_type="application/pdf", headers=saved("water-samples.pdf", inline=True))

    @router.get("/water/enter")
    def _enter(chair: str = "") -> HTMLResponse:
        return _form(Form({"chair": chair}))

    @router.post("/water/enter")
    def _entered(form: Posted) -> Response:
        with record.view() as view:
            data, by = read_result(form, view.look)
        if data is None or by is None or not form.good:
            return _form(form)
        now = Moment(to_ms(pages.now), str(pages.reading.zone))
        try:
            Door(record.store).note(data, moment=now, by=by, now=now.at)
        except Mendable as error:
            form.take(error.findings, {})
            return _form(form)
        return RedirectResponse(f"/water?written={quote(data.chair or '')}", 303)

    router.include_router(care_routes(pages, record))

    def _form(form: Form) -> HTMLResponse:
        practice = pages.reading.practice
        status = 200 if form.good else 422
        return here.show(
            "water_enter.html", "enter", said("Enter a result"), status, form=form, chairs=practice.chairs, people=practice.people,
            on_day=pages.now.date(),
        )  # fmt: skip

    return router


def _rows(water: BookWater) -> list[dict[str, Any]]:
    rows = []
    for history in water.chairs:
        today = water.today(history.chair)
        trusted = today.proven and water.judged.trusted
        rows.append(
            {
                "chair": history.chair, "verdict": water.judged.verdict(today), "samples": today.samples,
                "last": history.results[-1] if history.results else None, "trusted": trusted,
                "level": [today.cfu_per_ml(share) for share in (0.05, 0.5, 0.95)] if trusted else None,
                "each": water.each_limit(history.chair) if trusted else (), "next": today.p_next_above_limit if trusted else None,
                "passes": today.passes_on if trusted else None, "days": today.days,
            }
        )  # fmt: skip
    return rows


def _table(water: BookWater) -> list[dict[str, Any]]:
    rows = []
    for row in _rows(water):
        level = row["level"] or ("", "", "")
        rows.append(
            {
                "chair": row["chair"], "by_the_counts": row["verdict"], "samples": row["samples"], "level_cfu_ml": level[1],
                "from_5_pct": level[0], "to_95_pct": level[2],
                "chance_over": joined("; ", (f"{one.limit.role} {one.cfu_ml:g}: {one.p_above:.4f}" for one in row["each"])),
                "reaches_risk_on": row["passes"] or "",
            }
        )  # fmt: skip
    return rows


def _result_row(look: Look, r: WaterResult) -> dict[str, Any]:
    ends = interval_of(r)
    return {
        "taken": said_at(r.taken_ms, look.basis.zone), "sample": r.sample, "outlets": " ".join(r.outlets or ()), "mark": r.mark or "",
        "cfu_per_ml": r.per_ml if r.per_ml is not None else "", "colonies": r.seen.colonies if r.seen else "",
        "plated_ml": r.seen.volume_ml if r.seen else "", "low_95": ends[0] if ends else "", "high_95": ends[1] if ends else "",
        "verdict": r.verdict.value, "doubts": joined("; ", r.doubts), "entries": " ".join(r.evidence),
    }  # fmt: skip


def _day(look: Look, ms: int) -> str:
    return str(look.basis.day_of(ms))


def _percent(share: float) -> str:
    return said("under 1 %") if share < 0.01 else said("over 99 %") if share > 0.99 else said("{share:.0f} %", share=100 * share)


def _cfu(value: float) -> str:
    return said("under 1") if value < 1 else f"{float(f'{value:.2g}'):,.0f}"
