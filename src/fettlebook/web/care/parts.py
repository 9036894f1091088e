"""Parts that last for so long, and how the chairs' own bottles were filled."""

from dataclasses import dataclass
from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.kinds import PRACTICE
from fettlebook.said import said
from fettlebook.standing.asking import name_of
from fettlebook.standing.look import Look
from fettlebook.standing.parts import BottleFills, PartSays, all_parts, bottle_fills
from fettlebook.web.care.entering.routes import buttons_of
from fettlebook.web.care.frame import Care, moment_of, since_of, table

BOTTLE_DAYS = 31


@dataclass(frozen=True, slots=True)
class Found:
    """What the book says of parts and bottles."""

    parts: tuple[PartSays, ...]
    bottles: tuple[BottleFills, ...]


def part_routes(care: Care) -> APIRouter:
    """Return the routes of the parts."""
    router = APIRouter()

    def found() -> Found:
        return care.found("parts", _find)

    @router.get("/water/parts")
    def _all(written: str = "") -> HTMLResponse:
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        return care.show(
            "care_parts_page.html", "parts", said("Filters, separators, bottles"), found=found(), bottle_days=BOTTLE_DAYS,
            enter=buttons_of("parts"), written=written,
        )  # fmt: skip

    @router.get("/water/parts/{name}.csv")
    def _csv(name: str) -> Response:
        if name not in TABLES:
            raise HTTPException(404, f"No such table. There are: {', '.join(TABLES)}.")
        all_of_it = found()
        return table(f"parts-{name}", care.found(f"parts csv {name}", lambda look: _rows(look, name, all_of_it)))

    return router


TABLES = ("changes", "bottles")


def _find(look: Look) -> Found:
    practice = look.basis.practice
    fills = (bottle_fills(look, chair, since_of(look, BOTTLE_DAYS)) for chair in practice.chairs)
    return Found(all_parts(look), tuple(one for one in fills if one is not None))


def _rows(look: Look, name: str, found: Found) -> list[dict[str, Any]]:
    if name == "changes":
        return [
            {
                "of": "building" if p.subject == PRACTICE else name_of(p.subject), "part": p.words, "done": p.done,
                "when": moment_of(look, p.changed_ms), "age_days": "" if p.age_days is None else round(p.age_days, 1),
                "may_stay_days": p.good_days or "",
                "due": moment_of(look, p.due_ms), "lot": p.lot or "", "entries": p.changes, "verdict": p.verdict.value, "why": p.why,
            }
            for p in found.parts
        ]  # fmt: skip
    return [
        {"chair": b.chair, "filled": moment_of(look, at), "ml": "" if ml is None else ml, "bottle_ml": b.bottle_ml}
        for b in found.bottles for at, ml in zip(b.fills_ms, b.amounts_ml, strict=True)
    ]  # fmt: skip
