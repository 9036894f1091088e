"""Taps: hot and cold water against temperature and time, rarely used ones with the days that their water stood, a chair's outlets too."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.exchange.reading_chart import Asked, Drawn, Reading, reading_chart
from fettlebook.said import joined, said, term
from fettlebook.standing.look import Look
from fettlebook.standing.rare_outlets import ChairOutlet, RareTap, chair_outlets, rare_taps
from fettlebook.standing.temperatures import TapSays, TapSeries, tap_series, taps
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import Care, moment_of, since_of, table
from fettlebook.web.care.treatments import MARKS

YEAR = 366


@dataclass(frozen=True, slots=True)
class Found:
    """What the book says of taps and outlets."""

    taps: tuple[TapSays, ...]
    drawings: tuple[str, ...]
    rare: tuple[RareTap, ...]
    outlets: tuple[ChairOutlet, ...]


def tap_routes(care: Care) -> APIRouter:
    """Return the routes of the taps."""
    router = APIRouter()

    def found() -> Found:
        return care.found("taps", _find)

    @router.get("/water/taps")
    def _all(written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        return care.show("care_taps.html", "taps", said("Taps and outlets"), found=found(), enter=buttons_of("taps"), written=written)

    @router.get("/water/taps/{name}.csv")
    def _csv(name: str) -> Response:
        if name not in TABLES:
            raise HTTPException(404, f"No such table. There are: {', '.join(TABLES)}.")
        all_of_it = found()
        return table(f"taps-{name}", care.found(f"taps csv {name}", lambda look: _rows(look, name, all_of_it)))

    return router


TABLES = ("temperatures", "rarely-used", "outlets")


def _find(look: Look) -> Found:
    outlets = [one for chair in look.basis.practice.chairs for one in chair_outlets(look, chair)]
    drawings = tuple(reading_chart(look, _drawn(one)) for one in tap_series(look, since_of(look, YEAR)) if len(one.readings) > 1)
    return Found(taps(look), drawings, rare_taps(look), tuple(sorted(outlets, key=lambda one: (one.moved_ms or 0, one.chair))))


def _drawn(series: TapSeries) -> Drawn:
    readings = [Reading(at, value, MARKS[verdict], why) for at, value, verdict, why in series.readings]  # type: ignore[arg-type]
    asked = []
    if series.asked_c is not None:
        words = said("at least {it:g}", it=series.asked_c) if series.water == "hot" else said("under {it:g}", it=series.asked_c)
        asked.append(Asked(series.asked_c, words))
    return Drawn(joined(", ", (series.place, term(series.water))), "degC", readings, asked=asked)


def _rows(look: Look, name: str, found: Found) -> list[dict[str, Any]]:
    if name == "temperatures":
        return [
            {
                "place": t.place, "water": t.water, "read": moment_of(look, t.read_ms), "degc": t.water_c,
                "ran_s": t.ran_s if t.ran_s is not None else "", "asked_degc": t.asked_c if t.asked_c is not None else "",
                "within_s": t.within_s if t.within_s is not None else "", "verdict": t.verdict.value, "why": t.why,
                "due": moment_of(look, t.due_ms),
            }
            for t in found.taps
        ]  # fmt: skip
    if name == "rarely-used":
        return [
            {
                "place": t.place, "last_ran": moment_of(look, t.ran_ms), "days": "" if t.days is None else round(t.days, 1),
                "due": moment_of(look, t.due_ms), "verdict": t.verdict.value, "why": t.why,
            }
            for t in found.rare
        ]  # fmt: skip
    return [
        {"chair": o.chair, "outlet": o.outlet, "moved": moment_of(look, o.moved_ms), "days": "" if o.days is None else round(o.days, 2)}
        for o in found.outlets
    ]
