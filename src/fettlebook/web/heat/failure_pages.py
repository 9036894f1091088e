"""When something fails: what follows, step by step, each by a named person; what lies in quarantine, whom it touched, what is short."""

from typing import Annotated, Any, Final, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.kinds import FailureStep, LoadRejected, OutOfService, RepairDone, Returned
from fettlebook.errors import Mendable
from fettlebook.practice.model import Machine, Skill
from fettlebook.said import said
from fettlebook.standing.asking import said_at
from fettlebook.standing.failure import Failure, failures
from fettlebook.web.heat.pen import Pen
from fettlebook.web.heat.sent import Sent, sent
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

Posted = Annotated[Sent, Depends(sent)]
Act = Literal["out", "review", "authority", "aside", "quarantine", "repair", "return"]
WORDS: Final[dict[str, str]] = {
    "out": said("Take it out of service"), "review": said("Enter what was found"), "authority": said("Enter what was decided"),
    "aside": said("Reject the load"),
    "quarantine": said("Recall all of them"), "repair": said("Enter the repair"), "return": said("Return it to service"),
}  # fmt: skip


def failure_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes."""
    routes, shows = APIRouter(), _Shows(pages, record)

    @routes.get("/failures")
    def _all() -> HTMLResponse:
        return shows.page("")

    @routes.get("/failures/{machine}.csv")
    def _csv(machine: str) -> Response:
        return shows.table(machine)

    @routes.get("/failures/{machine}")
    def _of(machine: str) -> HTMLResponse:
        return shows.page(machine)

    @routes.post("/failures/{machine}/{act}")
    def _act(machine: str, act: Act, form: Posted) -> RedirectResponse:
        shows.act(machine, act, form)
        return RedirectResponse(f"/failures/{quote(machine)}", 303)

    return routes


class _Shows:
    """The page, and what its buttons write."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self._pages, self._record = pages, record
        self._asking, self._pen = Asking(pages, record), Pen(pages, record)

    def _machines(self, name: str) -> list[Machine]:
        found = [m for m in self._pen.practice.machines if name in ("", m.id)]
        if not found:
            raise HTTPException(404, said("No such machine in the practice file."))
        return found

    def page(self, name: str) -> HTMLResponse:
        """Return the failures of one machine, or of all."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        machines = self._machines(name)
        with self._record.view() as view:
            found = [failure for machine in machines for failure in failures(view.look, machine)]
        moment = asked("", "", self._pages.reading.zone, self._pages.now)
        return self._asking.show(
            "heat_failures.html", "loads", moment, found=found, machine=name, act_words=WORDS, people=self._pages.reading.practice.people,
            on_day=self._pages.now.date().isoformat(), clock=self._pages.now.strftime("%H:%M"), typed_now="",
            title=said("After a failure, {machine}", machine=name) if name else said("After a failure"),
        )  # fmt: skip

    def table(self, name: str) -> Response:
        """Return whom and what the failures of a machine touch, as a table to save."""
        (machine,) = self._machines(name)
        with self._record.view() as view:
            zone, found = view.look.basis.zone, failures(view.look, machine)
        rows: list[dict[str, Any]] = []
        for failure in found:
            loads = failure.back.loads if failure.back else failure.quarantine
            held = {load.load for load in failure.quarantine}
            for load in loads:
                for unit in load.units:
                    for visit, chair, at in unit.visits or (("", "", None),):
                        rows.append(
                            {"failure": failure.what, "failed": said_at(failure.failed_ms, zone) or "", "load": load.load,
                             "in_quarantine": "yes" if load.load in held else "no", "unit": unit.unit, "pack": unit.pack or "",
                             "at_hand": "yes" if unit.at_hand else "no", "visit": visit, "chair": chair, "used": said_at(at, zone) or ""}
                        )  # fmt: skip
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("after-a-failure.csv"))

    def act(self, name: str, act: Act, form: Sent) -> None:
        """Write what a person did or decided; raises `Mendable` where the failure, the person or the words are missing."""
        (machine,) = self._machines(name)
        by, reason = self._pen.who(form), form.reason("reason", said("In a few words"))
        with self._record.view() as view:
            found = next((f for f in failures(view.look, machine) if f.entry == form.one("failure")), None)
            may = view.look.basis.may(by, Skill.LEAD)
        step = next((s for s in found.steps if s.id == act), None) if found else None
        if found is None or step is None:
            raise Mendable(said("this failure is not open any more"), where=name, mend=said("Open the page again and look."))
        if step.state == "not yet":
            raise Mendable(
                said("{what}: {why}", what=step.name, why=step.told),
                where=name,
                mend=said("Other steps come first; do them, then this one."),
            )
        if act == "quarantine" and not may:
            raise Mendable(
                said("{by} has not the skill lead", by=by), where="Who decides", mend=said("The lead decides on what lies in quarantine.")
            )
        self._write(found, act, form, by, reason)

    def _write(self, found: Failure, act: Act, form: Sent, by: str, reason: str) -> None:
        match act:
            case "out":
                self._pen.write(OutOfService(machine=found.machine, reason=reason), by, refers_to=found.entry or None)
            case "repair":
                self._pen.write(RepairDone(machine=found.machine, what=reason), by)
            case "return":
                self._pen.write(Returned(machine=found.machine, reason=reason, meaning="returned"), by)
            case "review" | "authority":
                outcome: Literal["done", "not needed"] = "not needed" if form.one("outcome") == "not needed" else "done"
                self._pen.write(FailureStep(machine=found.machine, step=act, outcome=outcome, reason=reason), by, refers_to=found.entry)
            case "aside" | "quarantine":
                meaning: Literal["rejected", "recalled"] = "rejected" if act == "aside" else "recalled"
                for load in found.quarantine:
                    self._pen.write(LoadRejected(load=load.load, meaning=meaning, reason=reason, machine=found.machine), by)
