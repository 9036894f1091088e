"""`/lead`: what the lead has to know this week, and the two forms that take something out of service and bring it back."""

from collections.abc import Mapping
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, NoticeBegun, NoticeEnded, OutOfService, Returned
from fettlebook.errors import Mendable
from fettlebook.said import said
from fettlebook.standing.ahead import DayAhead, days_ahead, open_faults
from fettlebook.standing.asking import name_of
from fettlebook.standing.due import due_duties
from fettlebook.standing.look import Look
from fettlebook.standing.standings import View
from fettlebook.standing.stock import LEAD_DAYS, USE_DAYS, stock_of
from fettlebook.standing.training import training_due, training_names, trainings
from fettlebook.standing.training import training_rows as rows_of_training
from fettlebook.standing.upkeep import open_stops
from fettlebook.web.arriving.watching import Watching
from fettlebook.web.forms import Form, posted
from fettlebook.web.lead.training_form import as_typed, day_said_by, training_of, training_rows
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people.who import What, must
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking
from fettlebook.web.tablets.settle import disagreement

Posted = Annotated[Form, Depends(posted)]
DAYS: Final = 7
REASON_MOST: Final = 200


def desk_routes(pages: Pages, record: Record, watching: Watching | None, *, with_file: bool) -> APIRouter:
    """Return the routes."""
    routes, desk = APIRouter(), _LeadDesk(pages, record, watching, with_file=with_file)

    @routes.get("/lead")
    def _lead(request: Request) -> Response:
        must(request, What.SET_UP)
        return desk.page()

    @routes.get("/lead/week.csv")
    def _week(request: Request) -> Response:
        must(request, What.SET_UP)
        return Response(csv_of(desk.rows()), media_type="text/csv; charset=utf-8", headers=saved("week.csv"))

    @routes.post("/lead/service")
    def _service(request: Request, form: Posted) -> Response:
        return desk.service(must(request, What.SET_UP).person, form)

    @routes.post("/lead/training")
    def _training(request: Request, form: Posted) -> Response:
        return desk.training(must(request, What.SET_UP).person, form)

    @routes.get("/lead/training.csv")
    def _trainings(request: Request) -> Response:
        must(request, What.SET_UP)
        return Response(csv_of(desk.training_rows()), media_type="text/csv; charset=utf-8", headers=saved("training.csv"))

    @routes.post("/lead/notice")
    def _notice(request: Request, form: Posted) -> Response:
        return desk.notice(must(request, What.SET_UP).person, form)

    return routes


class _LeadDesk:
    """What these pages show and write."""

    def __init__(self, pages: Pages, record: Record, watching: Watching | None, *, with_file: bool) -> None:
        self._pages, self._record, self._watching, self._with_file = pages, record, watching, with_file
        self._asking, self._door = Asking(pages, record), Door(record.store)
        self._settle: tuple[int, int] | None = None
        self._week: tuple[object, tuple[DayAhead, ...]] | None = None

    def page(self, trouble: Mendable | None = None, training_form: Mapping[str, str] | None = None) -> HTMLResponse:
        """Return the desk; with what was wrong in a form, where something was."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        reading = self._pages.reading
        moment = asked("", "", reading.zone, self._pages.now)
        with self._record.view() as view:
            look = view.look
            products = [stock_of(look, one, LEAD_DAYS, USE_DAYS) for one in look.basis.practice.products]
            found: dict[str, Any] = {
                "overdue": [owed for owed in due_duties(view) if owed.overdue],
                "week": self._ahead(view),
                "faults": open_faults(look),
                "places": self._places(view),
                "stock": [one for one in products if one.runs_out is not None or one.packages_left is not None],
                "uncounted": [one.name for one in products if one.runs_out is None],
                "on_day": look.basis.day_of(look.at),
                **_trained(look),
                "boil": look.latest("practice:all", "notice:boil water"),
            }
        found["aside"] = self._watching.put_aside() if self._watching is not None else None
        found["twice"], found["doctor"] = self._to_settle(), self._pages.doctor
        return self._asking.show(
            "lead.html", "lead", moment, **found, with_file=self._with_file, findings=trouble.findings if trouble else (),
            staff=reading.practice.people, training_form=as_typed(training_form), opened=training_form is not None,
            names={one.id: one.name for one in reading.practice.people}, reason_most=REASON_MOST, title=said("Lead's desk"),
        )  # fmt: skip

    def rows(self) -> list[dict[str, Any]]:
        """Return the week as a table to save."""
        with self._record.view() as view:
            return [
                {"day": one.day, "subject": owed.subject, "what": owed.name, "attended_min": round(owed.attended_min, 1),
                 "unattended_min": round(owed.unattended_min, 1), "overdue": "yes" if owed.overdue else "no"}
                for one in self._ahead(view)
                for owed in one.duties
            ]  # fmt: skip

    def service(self, by: str, form: Form) -> Response:
        """Take a chair or machine out of service, or bring it back, with a reason."""
        kind, _, name = form.text("subject").partition(":")
        reason = form.text("reason")[:REASON_MOST]
        practice = self._pages.reading.practice
        known = {"chair": {one.id for one in practice.chairs}, "machine": {one.id for one in practice.machines}}
        try:
            if name not in known.get(kind, ()):
                raise Mendable(said("no such chair or machine"), where=said("Which"), mend=said("Choose one of the list."))
            if not reason:
                raise Mendable(said("no reason was given"), where=said("Reason"), mend=said("Say in a few words why."))
            chair, machine = (name, None) if kind == "chair" else (None, name)
            said_of: Data = (
                Returned(chair=chair, machine=machine, reason=reason, meaning="returned")
                if form.text("act") == "return"
                else OutOfService(chair=chair, machine=machine, reason=reason)
            )
            self._door.note(said_of, moment=Moment(self._record.now(), str(self._pages.reading.zone)), by=by)
        except Mendable as error:
            answer = self.page(error)
            answer.status_code = 422
            return answer
        return RedirectResponse("/lead#service", 303)

    def notice(self, by: str, form: Form) -> Response:
        """Enter that an authority's notice to boil water holds from now on, or that it was lifted: one switch for every chair."""
        issued_by = form.text("issued_by")[:REASON_MOST] or None
        said_of: Data = (
            NoticeEnded(notice="boil water", issued_by=issued_by)
            if form.text("act") == "end"
            else NoticeBegun(notice="boil water", issued_by=issued_by)
        )
        try:
            self._door.note(said_of, moment=Moment(self._record.now(), str(self._pages.reading.zone)), by=by)
        except Mendable as error:
            answer = self.page(error)
            answer.status_code = 422
            return answer
        return RedirectResponse("/lead#notice", 303)

    def training(self, by: str, form: Form) -> Response:
        """Enter a training that was held, of one of the staff."""
        try:
            data = training_of(form, self._pages.reading.practice, self._pages.now.date(), self._record.store.text_keys())
            self._door.note(data, moment=Moment(self._record.now(), str(self._pages.reading.zone)), by=by)
        except Mendable as error:
            answer = self.page(error, form.values)
            answer.status_code = 422
            return answer
        return RedirectResponse("/lead#training", 303)

    def training_rows(self) -> list[Mapping[str, Any]]:
        """Return every training of the staff as a table to save."""
        with self._record.view() as view:
            return training_rows(trainings(view.look))

    def _ahead(self, view: View) -> tuple[DayAhead, ...]:
        """Return the days ahead, made once for each state of the book, reading and day: it is the same fold asked many times."""
        mark = (view.look.known_at, self._record.store.head().size, self._pages.reading.mark, view.look.basis.day_of(view.look.at))
        if self._week is None or self._week[0] != mark:
            self._week = mark, days_ahead(view, DAYS)
        return self._week[1]

    def _to_settle(self) -> int:
        """Return how many pairs wait to be settled, counted once for each state of the book."""
        size = self._record.store.head().size
        if self._settle is None or self._settle[0] != size:
            found = disagreement(self._record)
            self._settle = size, len(found.twice) + len(found.clashes)
        return self._settle[1]

    @staticmethod
    def _places(view: View) -> list[dict[str, Any]]:
        """Return each chair and machine: whether it is out of service, why, and whether the practice file alone says so."""
        practice, out = view.look.basis.practice, []
        for part, kind in ((practice.chairs, "chair"), (practice.machines, "machine")):
            for one in part:
                subject = f"{kind}:{one.id}"
                stops = list(open_stops(view.look, subject, None))
                out.append({"subject": subject, "name": name_of(subject), "stops": stops, "by_file": one.out_of_service})
        return out


def _trained(look: Look) -> dict[str, Any]:
    """Return the trainings of the staff, those that are due marked; the names that they have; what the rulebook asks."""
    due, asked_by_rules = set(training_due(look)), rows_of_training(look.basis)
    topics = {row.id: row.topic for row in asked_by_rules}
    return {
        "trainings": [{"says": one, "due": one in due, "day_by": day_said_by(one)} for one in trainings(look)],
        "training_names": [(name, topics.get(name, "")) for name in training_names(look.basis)],
        "asked_by_rules": asked_by_rules,
    }
