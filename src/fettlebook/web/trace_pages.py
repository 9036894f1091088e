"""What was done, to whom: a trace from any subject, and the look-back from a bad test or count with its lists to save."""

from typing import Any

from fastapi import APIRouter
from fastapi.responses import HTMLResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.said import said
from fettlebook.standing.asking import said_at
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look_back import LookBack, since_last_good, water_look_back
from fettlebook.standing.standings import View
from fettlebook.standing.trace import Trace, trace
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

DAYS = 90
MOST_DAYS = 36_500


def trace_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of traces and look-backs."""
    router, asking = APIRouter(), Asking(pages, record)

    @router.get("/trace")
    def _choose(at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known)
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            bad = list(_look_backs(view))
            visits = _newest_visits(view)[:12]
        return asking.show("trace_choose.html", "trace", moment, bad=bad, visits=visits, title=said("What was done, to whom?"))

    @router.get("/look-back/{subject:path}.csv")
    def _back_csv(subject: str, test: str = "", at: str = "", known: str = "", known_at: str = "") -> Response:
        with asking.view(asking.moment(at, known_at or known)) as view:
            found = _look_back(view, subject, test)
            rows = list(_back_rows(view, found))
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("look-back.csv"))

    @router.get("/look-back/{subject:path}.pdf")
    def _back_pdf(subject: str, test: str = "", at: str = "", known: str = "", known_at: str = "") -> Response:
        from fettlebook.exchange.look_back_pack import pack_of, pdf_pack  # noqa: PLC0415 - few ask for it

        with asking.view(asking.moment(at, known_at or known)) as view:
            pdf = pdf_pack(pack_of(view.look, subject, test=test or None), tongue())
        return Response(pdf, media_type="application/pdf", headers=saved("look-back.pdf", inline=True))

    @router.get("/look-back/{subject:path}")
    def _back(subject: str, test: str = "", at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known)
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            found = _look_back(view, subject, test)
        return asking.show("look_back.html", "trace", moment, subject=subject, found=found, test=test, title="Look-back")

    @router.get("/trace/{subject:path}.csv")
    def _trace_csv(subject: str, days: int = DAYS, at: str = "", known: str = "", known_at: str = "") -> Response:
        with asking.view(asking.moment(at, known_at or known)) as view:
            found, zone = _trace(view, subject, days), view.look.basis.zone
        rows = [
            {"depth": one.depth, "of": one.of, "to": one.to, "how": one.how, "at": said_at(one.at_ms, zone), "entry": one.entry}
            for one in found.links
        ]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("trace.csv"))

    @router.get("/trace/{subject:path}")
    def _trace_page(subject: str, days: int = DAYS, at: str = "", known: str = "", known_at: str = "") -> HTMLResponse:
        moment = asking.moment(at, known_at or known or ("now" if at else ""))
        if (waiting := asking.waiting()) is not None:
            return waiting
        with asking.view(moment) as view:
            found = _trace(view, subject, days)
        return asking.show("trace.html", "trace", moment, found=found, days=days, title=said("Trace of {subject}", subject=subject))

    return router


def _trace(view: View, subject: str, days: int) -> Trace:
    days = min(max(days, 1), MOST_DAYS)
    return trace(view.look, subject, since=view.look.at - days * DAY_MS)


def _look_back(view: View, subject: str, test: str) -> LookBack:
    kind, _, name = subject.partition(":")
    if kind == "machine" and name in view.look.basis.machines:
        return since_last_good(view.look, name, test or None)
    if kind == "chair" and name in view.look.basis.chairs:
        return water_look_back(view.look, name)
    raise HTTPException(404, said("A look-back starts at a machine or a chair of the practice file."))


def _look_backs(view: View) -> list[tuple[str, LookBack]]:
    """Return the look-backs that a bad result opened, of all machines and chairs, the newest first."""
    from fettlebook.errors import Mendable  # noqa: PLC0415

    found: list[tuple[str, LookBack]] = []
    for subject in (*(f"machine:{m}" for m in view.look.basis.machines), *(f"chair:{c}" for c in view.look.basis.chairs)):
        try:
            back = _look_back(view, subject, "")
        except Mendable:  # no test or count of it in the book
            continue
        if back.bad_ms is not None:
            found.append((subject, back))
    return sorted(found, key=lambda one: -(one[1].bad_ms or 0))


def _newest_visits(view: View) -> list[tuple[str, str, int]]:
    """Return the newest visits first: subject, chair, and the newest thing known of it [ms]."""
    look = view.look
    found: list[tuple[int, str, str]] = []
    for chair in look.basis.chairs:
        facts = [fact for fact, _ in zip(look.back(f"chair:{chair}", "visit"), range(12), strict=False)]
        found.extend((fact.happened, f"visit:{fact.says.ref}", chair) for fact in facts)
    newest = {subject: (subject, chair, ms) for ms, subject, chair in sorted(found)}
    return sorted(newest.values(), key=lambda one: -one[2])


def _back_rows(view: View, found: LookBack) -> list[dict[str, Any]]:
    zone = view.look.basis.zone
    rows: list[dict[str, Any]] = [
        {"what": "visit", "visit": visit, "chair": chair, "at": said_at(ms, zone), "load": "", "set": "", "pack": ""}
        for visit, chair, ms in found.visits
    ]
    for load in found.loads:
        for unit in load.units:
            told = said("still in the cupboard") if unit.at_hand else "used" if unit.visits else said("processed since")
            rows.append(
                {"what": told, "visit": " ".join(v for v, _, _ in unit.visits), "chair": "", "at": said_at(load.at_ms, zone),
                 "load": load.load, "set": unit.unit, "pack": unit.pack or ""}
            )  # fmt: skip
    return rows
