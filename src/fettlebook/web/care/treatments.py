"""Treatments of the lines: how many hold, each one as planned and as it ran, and a chair's contact times as a drawing."""

from collections import Counter
from collections.abc import Sequence
from typing import Any, Final

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response

from fettlebook.exchange.reading_chart import Asked, Drawn, Reading, reading_chart
from fettlebook.rules.model import Computed
from fettlebook.said import joined, said, term
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.treatments import Held, Treatment, treatments
from fettlebook.times.words import clock
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import USUAL, Care, days_back, moment_of, since_of, table

MARKS: Final = {Verdict.FIT: "inside", Verdict.UNFIT: "outside", Verdict.UNPROVEN: "doubtful"}
HELD_WORDS: Final = {held: said("too short") if held is Held.SHORT else term(held.value) for held in Held}
SHOWN: Final = 15  # of a chair's treatments, the newest
Found = dict[str, tuple[Treatment, ...]]


def treatment_routes(care: Care) -> APIRouter:
    """Return the routes of the treatments."""
    router = APIRouter()

    def found(days: int) -> Found:
        def make(look: Look) -> Found:
            since = since_of(look, days)
            return {chair.id: treatments(look, chair, since) for chair in look.basis.practice.chairs}

        return care.found(f"treatments {days}", make)

    @router.get("/water/treatments")
    def _all(days: int = USUAL, written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        every = found(days_back(days))
        rows = [
            {"chair": name, "counts": _counts(of_chair), "last": of_chair[-1] if of_chair else None} for name, of_chair in every.items()
        ]
        wanting = sorted((t for of_chair in every.values() for t in of_chair if t.reasons), key=lambda t: -t.began_ms)
        return care.show(
            "care_treatments.html", "treatments", said("Treatments of the lines"), days=days, rows=rows, wanting=wanting[:SHOWN],
            enter=buttons_of("treatments"), written=written,
        )  # fmt: skip

    @router.get("/water/treatments.csv")
    def _csv(days: int = USUAL) -> Response:
        every = found(days_back(days))
        rows = care.found(f"treatments csv {days}", lambda look: [_row(look, t) for of_chair in every.values() for t in of_chair])
        return table("treatments", rows)

    @router.get("/water/treatments/of/{chair}")
    def _chair(chair: str, days: int = USUAL) -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        of_chair = found(days_back(days))[care.chair(chair)]
        drawing = care.found(f"treatments drawn {chair} {days}", lambda look: reading_chart(look, _contacts(chair, of_chair)))
        return care.show(
            "care_treatments_of.html", "treatments", said("Treatments of {chair}", chair=chair),
            days=days, chair=chair, clock=clock, drawing=drawing, held_words=HELD_WORDS,
            treatments=list(reversed(of_chair))[:SHOWN], of=len(of_chair), counts=_counts(of_chair),
            chairs=[one.id for one in care.pages.reading.practice.chairs],
        )  # fmt: skip

    return router


def _counts(of_chair: Sequence[Treatment]) -> list[tuple[str, int]]:
    counted = Counter(one.verdict for one in of_chair)
    return [(verdict.value, counted[verdict]) for verdict in Verdict if counted[verdict]]


def _contacts(chair: str, of_chair: Sequence[Treatment]) -> Drawn:
    """Return the contact times of a chair's treatments, those that the book tells."""
    readings, planned = [], 0
    for one in of_chair:
        for step in one.steps:
            if step.step.computes is Computed.CONTACT:
                planned = max(planned, step.planned_s or 0)
                if step.achieved_s is not None:
                    words = (HELD_WORDS[step.held], term(one.verdict.value))
                    told = joined(", ", (term(one.duty.name), clock(step.achieved_s), *words))
                    readings.append(Reading(one.began_ms, max(step.achieved_s, 1) / 60, MARKS[one.verdict], told))  # type: ignore[arg-type]
    asked = [Asked(planned / 60, said("planned {it}", it=clock(planned)))] if planned else []
    return Drawn(said("{chair}: contact time", chair=chair), "min", readings, asked=asked, log=True)


def _row(look: Look, one: Treatment) -> dict[str, Any]:
    row: dict[str, Any] = {
        "chair": one.chair, "duty": one.duty.id, "began": moment_of(look, one.began_ms), "ended": moment_of(look, one.ended_ms),
        "verdict": one.verdict.value,
    }  # fmt: skip
    for sort in (Computed.FILL, Computed.CONTACT, Computed.RINSE):
        step = next((s for s in one.steps if s.step.computes is sort), None)
        row |= {
            f"{sort.value}_planned_s": "" if step is None or step.planned_s is None else step.planned_s,
            f"{sort.value}_ran_s": "" if step is None or step.achieved_s is None else step.achieved_s,
            f"{sort.value}_held": "" if step is None else step.held.value,
        }
    strips = {strip.moment: strip for strip in one.strips}
    for moment in ("feed", "after the rinse"):
        strip = strips.get(moment)
        value = None if strip is None else strip.lowest_mg_l if moment == "feed" else strip.highest_mg_l
        row[f"strip_{moment.replace(' ', '_')}_mg_l"] = "" if value is None else value
    product = one.product
    age = "" if product.age_days is None else round(product.age_days, 1)
    reasons = "; ".join(f"{part.what}: {part.why}" for part in one.reasons)
    entries = " ".join(dict.fromkeys(entry for part in one.parts for entry in part.evidence))
    return row | {"product": product.product or "", "lot": product.lot or "", "age_days": age, "reasons": reasons, "entries": entries}
