"""Strips: the dose in the water, the feed of a treatment, what was left after the rinse; each series with its control chart."""

from typing import Any, Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fettlebook.exchange.reading_chart import Asked, Drawn, Reading, reading_chart
from fettlebook.said import joined, said, term
from fettlebook.standing.look import Look
from fettlebook.standing.strip_charts import StripSeries, strip_series
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import USUAL, Care, days_back, moment_of, since_of, table
from fettlebook.web.care.treatments import MARKS

TITLES: Final = {
    "dose": "dose in the water",
    "feed": "feed of a treatment",
    "after the rinse": "left after the rinse",
    "solution mixed": "solution mixed",
}
Found = dict[str, tuple[StripSeries, ...]]


def strip_routes(care: Care) -> APIRouter:
    """Return the routes of the strips."""
    router = APIRouter()

    def found(days: int) -> Found:
        def make(look: Look) -> Found:
            since = since_of(look, days)
            return {chair.id: strip_series(look, chair, since) for chair in look.basis.practice.chairs}

        return care.found(f"strips {days}", make)

    @router.get("/water/strips")
    def _all(days: int = USUAL, written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        every = found(days_back(days))
        return care.show(
            "care_strips.html", "strips", said("Strips"), days=days, found=every, chairs=list(every), titles=TITLES,
            enter=buttons_of("strips"), written=written,
        )  # fmt: skip

    @router.get("/water/strips/of/{chair}")
    def _chair(chair: str, days: int = USUAL) -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        every = found(days_back(days))
        mine = every[care.chair(chair)]
        drawings = care.found(f"strips drawn {chair} {days}", lambda look: [reading_chart(look, _drawn(one)) for one in mine])
        return care.show(
            "care_strips_of.html", "strips", said("Strips of {chair}", chair=chair),
            days=days, chair=chair, chairs=list(every), titles=TITLES,
            series=list(zip(mine, drawings, strict=True)),
        )  # fmt: skip

    @router.get("/water/strips.csv")
    def _csv(days: int = USUAL) -> Response:
        every = found(days_back(days))
        return table("strips", care.found(f"strips csv {days}", lambda look: _rows(look, every)))

    return router


def _drawn(series: StripSeries) -> Drawn:
    readings = [
        Reading(one.read_ms, float(one.mg_l), MARKS[one.verdict], joined("; ", (one.why, term(one.verdict.value))))  # type: ignore[arg-type]
        for one in series.strips
    ]
    asked = (
        [
            Asked(
                series.asked_mg_l,
                said("at most {it:g}", it=series.asked_mg_l) if series.at_most else said("at least {it:g}", it=series.asked_mg_l),
            )
        ]
        if series.asked_mg_l is not None
        else []
    )
    of = f" ({series.product})" if series.product is not None else ""
    return Drawn(joined(", ", (series.chair, term(TITLES[series.moment]))) + of, "mg/L", readings, series.chart, asked)


def _rows(look: Look, every: Found) -> list[dict[str, Any]]:
    return [
        {
            "chair": series.chair, "dipped_for": series.moment, "product": series.product or "",
            "read": moment_of(look, one.read_ms), "mg_l": one.mg_l,
            "scale_ended": "yes" if one.at_least else "no", "asked_mg_l": "" if series.asked_mg_l is None else series.asked_mg_l,
            "verdict": one.verdict.value, "why": one.why, "entry": one.entry,
        }
        for of_chair in every.values() for series in of_chair for one in series.strips
    ]  # fmt: skip
