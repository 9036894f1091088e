"""Addresses of a day that goes otherwise: what happened, the new plan as a proposal, keep it or drop it."""

from datetime import date
from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse
from starlette.exceptions import HTTPException

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.follow import Course, timetable
from fettlebook.said import joined, said
from fettlebook.web import wording
from fettlebook.web.desk import DayState, Desk
from fettlebook.web.drafts import Drafts, Proposal
from fettlebook.web.happenings import KINDS, Fields, Kind, event_of, inside, minute_of, questions
from fettlebook.web.pages import Pages, a_day
from fettlebook.web.prefilled import prefilled
from fettlebook.web.proposals import compare, lists_of, promises

STAYS_MIN = (0, 15, 30, 60)


async def fields(request: Request) -> Fields:
    """Return a sent form's fields, each with all its values."""
    form = await request.form()
    return {name: [value for value in form.getlist(name) if isinstance(value, str)] for name in form}


Sent = Annotated[Fields, Depends(fields)]


def otherwise_routes(pages: Pages, desk: Desk, drafts: Drafts) -> APIRouter:
    """Return the routes."""
    routes = APIRouter()
    shows = _Shows(pages, desk, drafts)

    @routes.get("/day/{day}/otherwise")
    def _otherwise(day: str, newer: str = "") -> HTMLResponse:
        return shows.overview(a_day(day), newer=bool(newer))

    @routes.get("/day/{day}/otherwise/progress")
    def _progress(day: str) -> JSONResponse:
        proposal = drafts.look(a_day(day))
        piece = proposal.piece if proposal else None
        stage = piece.stage if piece and not piece.ended else ""
        return JSONResponse({"stage": stage, "version": proposal.mark if proposal else "none", "trouble": bool(piece and piece.trouble)})

    @routes.get("/day/{day}/otherwise/{what}")
    def _ask(day: str, what: str, at: str = "", chair: str = "", machine: str = "") -> HTMLResponse:
        return shows.ask(a_day(day), _a_kind(what), at, {"chair": chair, "machine": machine})

    @routes.post("/day/{day}/otherwise/{what}")
    def _tell(day: str, what: str, sent: Sent) -> RedirectResponse:
        asked, kind = a_day(day), _a_kind(what)
        _, basis, course = shows.known(asked)
        at = inside(course, minute_of(basis, (sent.get("at") or [""])[0]))
        practice = desk.reading.practice
        happened = event_of(kind, sent, questions(kind, basis, course, practice, at), practice, basis.words.minute)
        drafts.add(asked, basis, course, at, happened)
        return RedirectResponse(f"/day/{asked}/otherwise#result", 303)

    @routes.post("/day/{day}/new-plan/{act}")
    def _act(day: str, act: str, sent: Sent) -> RedirectResponse:
        asked = a_day(day)
        if act == "keep":
            done = drafts.keep(asked, (sent.get("mark") or [""])[0])
            return RedirectResponse(f"/day/{asked}" if done else f"/day/{asked}/otherwise?newer=yes#result", 303)
        if act == "drop":
            drafts.drop(asked)
        elif act == "stop":
            drafts.stop(asked)
        elif act == "stay":
            _, basis, _ = shows.known(asked)
            drafts.stay(asked, basis, _minutes((sent.get("minutes") or [""])[0]))
        elif act == "files":
            drafts.drop(asked)
            desk.keep(asked, None)
            return RedirectResponse(f"/day/{asked}", 303)
        else:
            raise HTTPException(404, said("A new plan is kept or dropped; nothing else."))
        return RedirectResponse(f"/day/{asked}/otherwise#result", 303)

    return routes


class _Shows:
    """The two pages."""

    def __init__(self, pages: Pages, desk: Desk, drafts: Drafts) -> None:
        self._pages, self._desk, self._drafts = pages, desk, drafts

    def known(self, day: date) -> tuple[DayState, Basis, Course]:
        """Return what is known of a day that has a plan; raises for the page that says why it has none."""
        self._pages.basis(day)
        state = self._desk.day(day)
        basis = state.first.basis if state.first else None
        if basis is None or not basis.day.visits:
            raise Mendable(said("nothing is planned on this day"), where=str(day), mend=said("Choose a day with visits."))
        return state, basis, self._drafts.course(state, basis)

    def overview(self, day: date, *, newer: bool) -> HTMLResponse:
        """Return the page of what happened, and of the proposal where there is one."""
        _, basis, course = self.known(day)
        proposal = self._drafts.look(day)
        piece = proposal.piece if proposal else None
        return self._pages.show(
            "otherwise.html",
            kinds=KINDS,
            course=course,
            minute=basis.words.minute,
            proposal=proposal,
            newer=newer,
            stage=piece.stage if piece and not piece.ended else "",
            trouble=piece.trouble if piece else (),
            **(self._proposed(day, basis, proposal) if proposal else {}),
            **self._pages.of_day(day, "otherwise", said("It goes otherwise")),
        )

    def _proposed(self, day: date, basis: Basis, proposal: Proposal) -> dict[str, Any]:
        state = self._desk.day(day)
        assert state.first is not None
        assert state.plan is not None
        after = timetable(state.first, proposal.course)
        return {
            "shape": wording.VERDICT_SHAPE[after.verdict],
            "verdict": wording.VERDICT_WORD[after.verdict],
            "rows": compare(state.plan, after, basis),
            "lists": lists_of(proposal, basis),
            "promises": promises(proposal),
            "stays": STAYS_MIN,
        }

    def ask(self, day: date, kind: Kind, at: str, known: dict[str, str]) -> HTMLResponse:
        """Return the form for one kind of happening."""
        _, basis, course = self.known(day)
        now = self._pages.minute_now(day)
        first = min(v.booked for v in basis.day.visits)
        minute = inside(course, minute_of(basis, at) if at else first if now is None else now)
        text, note = KINDS[kind]
        return self._pages.show(
            "otherwise_ask.html",
            kind=kind,
            asked=text,
            note=note,
            at=basis.maps.clock.moment(minute).strftime("%H:%M"),
            questions=prefilled(questions(kind, basis, course, self._desk.reading.practice, minute), course, minute, known),
            **self._pages.of_day(day, "otherwise", text),
        )


def _a_kind(text: str) -> Kind:
    if text not in KINDS:
        raise HTTPException(404, said("No such happening here. There are: {KINDS}.", KINDS=joined(", ", KINDS)))
    kind: Kind = text  # type: ignore[assignment]
    return kind


def _minutes(text: str) -> int:
    if text not in {str(m) for m in STAYS_MIN}:
        raise Mendable(said("{text!r} is none of the choices", text=text[:40]), where="how long people may stay", mend=said("Choose one."))
    return int(text)
