"""Suction and surfaces: how each hose draws, its care, wet times against the label, shares of clean spots; never per person."""

from collections import Counter
from collections.abc import Sequence
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.exchange.reading_chart import Drawn, Reading, reading_chart
from fettlebook.exchange.share_chart import share_chart
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.rounds import ChairChecks, chair_checks
from fettlebook.standing.suction import HoseDraws
from fettlebook.standing.surfaces import Share, cleaning_shares
from fettlebook.times.words import clock
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import USUAL, Care, days_back, moment_of, since_of, table

SHOWN = 12  # of a chair's times that aren't fit, the newest
Found = tuple[dict[str, ChairChecks], tuple[Share, ...]]


def suction_routes(care: Care) -> APIRouter:
    """Return the routes of suction and surfaces."""
    router = APIRouter()

    def found(days: int) -> Found:
        def make(look: Look) -> Found:
            since = since_of(look, days)
            return {c.id: chair_checks(look, c, since) for c in look.basis.practice.chairs}, cleaning_shares(look, since)

        return care.found(f"suction {days}", make)

    @router.get("/water/suction")
    def _all(days: int = USUAL, written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        chairs, shares = found(days_back(days))
        rows = [{"checks": one, "care": _counts(one.care), "wet": _counts(one.wet)} for one in chairs.values()]
        return care.show(
            "care_suction.html", "suction", said("Suction and surfaces"), enter=buttons_of("suction"),
            written=written, days=days, rows=rows, shares=shares, drawing=share_chart(shares),
            chairs=list(chairs),
        )  # fmt: skip

    @router.get("/water/suction/of/{chair}")
    def _chair(chair: str, days: int = USUAL) -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        chairs, _ = found(days_back(days))
        one = chairs[care.chair(chair)]
        drawings = care.found(f"suction drawn {chair} {days}", lambda look: [reading_chart(look, _drawn(hose)) for hose in one.hoses])
        return care.show(
            "care_suction_of.html", "suction", said("Suction and surfaces of {chair}", chair=chair),
            days=days, chair=chair, chairs=list(chairs), checks=one,
            hoses=list(zip(one.hoses, drawings, strict=True)), clock=clock, care_counts=_counts(one.care), wet_counts=_counts(one.wet),
            care_wanting=[c for c in reversed(one.care) if c.reasons][:SHOWN],
            wet_wanting=[w for w in reversed(one.wet) if w.verdict is not Verdict.FIT][:SHOWN],
        )  # fmt: skip

    @router.get("/water/suction/{name}.csv")
    def _csv(name: str, days: int = USUAL) -> Response:
        if name not in TABLES:
            raise HTTPException(404, f"No such table. There are: {', '.join(TABLES)}.")
        chairs, shares = found(days_back(days))
        rows = care.found(f"suction csv {name} {days}", lambda look: _rows(look, name, list(chairs.values()), shares))
        return table(f"suction-{name}", rows)

    return router


TABLES = ("hoses", "care", "wet", "clean")


def _counts(those: Sequence[Any]) -> list[tuple[str, int]]:
    counted = Counter(one.verdict for one in those)
    return [(verdict.value, counted[verdict]) for verdict in Verdict if counted[verdict]]


def _drawn(hose: HoseDraws) -> Drawn:
    beyond = set(hose.chart.beyond) if hose.chart is not None else set()
    readings = [
        Reading(at, value, "outside" if number in beyond else "inside", f"{value:.3g} {hose.unit}")
        for number, (at, value) in enumerate(zip(hose.taken_ms, hose.readings, strict=True))
    ]
    return Drawn(f"{hose.chair}, {hose.hose}", hose.unit, readings, hose.chart)


def _rows(look: Look, name: str, chairs: Sequence[ChairChecks], shares: Sequence[Share]) -> list[dict[str, Any]]:
    if name == "hoses":
        return [
            {"chair": h.chair, "hose": h.hose, "read": moment_of(look, at), "value": value, "unit": h.unit, "chart_now": h.says}
            for one in chairs for h in one.hoses for at, value in zip(h.taken_ms, h.readings, strict=True)
        ]  # fmt: skip
    if name == "care":
        return [
            {
                "chair": c.chair, "duty": c.duty.id, "began": moment_of(look, c.began_ms), "amount_ml": c.amount_ml or "",
                "planned_s": c.planned_s or "", "acted_s": c.dwell_s or "", "verdict": c.verdict.value,
                "reasons": "; ".join(f"{p.what}: {p.why}" for p in c.reasons),
            }
            for one in chairs for c in one.care
        ]  # fmt: skip
    if name == "wet":
        return [
            {
                "chair": w.chair, "step": w.step_id, "done": moment_of(look, w.done_ms), "planned_s": w.planned_s or "",
                "ran_s": w.ran_s if w.ran_s is not None else "", "verdict": w.verdict.value, "why": w.why,
            }
            for one in chairs for w in one.wet
        ]  # fmt: skip
    return [
        {
            "place": s.place, "method": s.method, "round": s.round or "all", "clean": s.clean, "of": s.of,
            "low_95": "" if s.low is None else round(s.low, 4), "high_95": "" if s.high is None else round(s.high, 4), "not_told": s.untold,
        }
        for s in shares
    ]  # fmt: skip
