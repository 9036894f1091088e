"""The page on which the form of a machine's logs is made from a first file: what each column is, units, signs; tried at once, then kept.

The file that was shown stays in memory until it is kept or another is shown; nothing of it goes into the book from here.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from pydantic import ValidationError
from starlette.exceptions import HTTPException

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.cycle_chart import cycle_chart
from fettlebook.exchange.cycle_judging import criteria_for, read_log_of, sensors_for
from fettlebook.exchange.logs_table import Table, read_table
from fettlebook.practice.edit import machine_path, read_to_change, replace_practice_file, set_log_form, with_log_form
from fettlebook.practice.model import Cycle, Machine, MachineLog
from fettlebook.said import said
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.web.desk import Desk
from fettlebook.web.heat.sent import Sent, sent
from fettlebook.web.pages import Pages

Posted = Annotated[Sent, Depends(sent)]
ROLES: Final = {
    "time": said("time"), "date": said("date, where it stands apart"), "chamber": said("temperature in the chamber"),
    "drain": said("temperature at the drain"), "load": said("temperature in the load"), "pressure": said("pressure"),
    "dose": said("dosed amount"),
}  # fmt: skip
UNITS: Final = {
    "time": ("s", "min", "h"), "chamber": ("C", "F", "K"), "drain": ("C", "F", "K"), "load": ("C", "F", "K"),
    "pressure": ("kPa", "bar", "mbar", "hPa", "Pa", "MPa", "psi", "mmHg"), "dose": ("mL",),
}  # fmt: skip
SHOWN_FILES: Final = 20
SHOWN_ROWS: Final = 4


@dataclass(frozen=True, slots=True)
class Tried:
    """A file read by a form: what was taken, what is wrong, and what it shows."""

    taken: Mapping[str, str]
    units: Mapping[str, str]
    findings: tuple[Finding, ...]
    verdict: str = ""
    reasons: tuple[str, ...] = ()
    chart: str = ""

    @property
    def good(self) -> bool:
        """Whether the form reads this file."""
        return bool(self.verdict) and not any(one.weight == "error" for one in self.findings)


def log_form_routes(pages: Pages, desk: Desk, practice_file: Path) -> APIRouter:
    """Return the routes."""
    routes, shown, forms = APIRouter(), dict[str, tuple[bytes, str]](), dict[str, MachineLog | None]()

    def machine_of(name: str) -> Machine:
        found = next((one for one in desk.reading.practice.machines if one.id == name), None)
        if found is None:
            raise HTTPException(404, said("No such machine in the practice file."))
        return found

    def page(machine: Machine, log: MachineLog | None, status: int = 200, trouble: tuple[Finding, ...] = ()) -> HTMLResponse:
        file = shown.get(machine.id)
        forms[machine.id] = log  # the graph is drawn by what the page was made with
        of = machine.model_copy(update={"log": log})
        return pages.show(
            "log_form.html", status, machine=machine, log=log or MachineLog(), file=file, roles=ROLES, units=UNITS, trouble=trouble,
            table=_table(*file, log) if file else None, tried=_tried(of, *file, desk) if file else None, title=said("Log form"),
        )  # fmt: skip

    @routes.get("/machines/{machine}/log-form")
    def _page(machine: str) -> HTMLResponse:
        found = machine_of(machine)
        return page(found, found.log)

    @routes.get("/machines/{machine}/log-form/graph.svg")
    def _graph(machine: str) -> Response:
        found = machine_of(machine)
        file = shown.get(found.id)
        tried = _tried(found.model_copy(update={"log": forms.get(found.id)}), *file, desk) if file else None
        if tried is None or not tried.chart:
            raise HTTPException(404, said("There is nothing to draw."))
        return Response(tried.chart, media_type="image/svg+xml")

    @routes.post("/machines/{machine}/log-form/file")
    def _file(machine: str, form: Posted) -> Response:
        found = machine_of(machine)
        if form.file is None or not form.file[0]:
            raise Mendable(said("no file was sent, or an empty one"), where=machine, mend=said("Choose a log that this machine wrote."))
        shown.pop(found.id, None)
        shown[found.id] = form.file
        while len(shown) > SHOWN_FILES:
            shown.pop(next(iter(shown)))
        return RedirectResponse(f"/machines/{quote(found.id)}/log-form", 303)

    @routes.post("/machines/{machine}/log-form")
    def _try(machine: str, form: Posted) -> Response:
        found = machine_of(machine)
        try:
            log = _log(form)
        except ValidationError as error:
            first = error.errors(include_url=False, include_input=False)[0]
            field = ".".join(map(str, first["loc"]))
            return page(found, found.log, 422, (Finding(f"{field}: {first['msg']}", found.id, said("Correct it, then try again.")),))
        if form.one("act") != "keep":
            return page(found, log)
        file = shown.get(found.id)
        if file is None or not _tried(found.model_copy(update={"log": log}), *file, desk).good:
            trouble = Finding(said("this form does not read the file yet"), found.id, said("Mend what is named below, and try it first."))
            return page(found, log, 422, (trouble,))
        loaded, before = read_to_change(practice_file)
        assert loaded.practice is not None  # read_to_change raises where there is none
        path = machine_path(loaded.practice, found.id)
        after = set_log_form(before, path, log)
        replace_practice_file(practice_file, loaded, before, after, with_log_form(loaded.practice, path, log))
        shown.pop(found.id, None)
        return RedirectResponse(f"/machines/{quote(found.id)}/log-form", 303)

    return routes


def _log(form: Sent) -> MachineLog:
    """Return the form that was typed; empty fields say nothing."""
    given: dict[str, Any] = {
        "columns": {role: column for role in ROLES if (column := form.one(f"column {role}"))},
        "units": {role: unit for role in UNITS if (unit := form.one(f"unit {role}"))},
        "reference": form.one("reference") or None,
        "decimal": form.one("decimal") or None,
        "time": form.one("time") or None,
        "cycle": form.one("cycle") or None,
    }
    if ambient := form.one("ambient").replace(",", "."):
        try:
            given["ambient_kpa"] = float(ambient)
        except ValueError:
            given["ambient_kpa"] = ambient
    return MachineLog.model_validate(given)


def _table(content: bytes, name: str, log: MachineLog | None) -> Table:
    return read_table(content, name, log.decimal if log else None)


def _tried(machine: Machine, content: bytes, name: str, desk: Desk) -> Tried:
    """Return what the form makes of the file; never raises for what is in it."""
    try:
        read = read_log_of(machine, content, name)
    except Mendable as error:
        return Tried({}, {}, tuple(error.findings))
    findings = tuple(read.log.findings)
    if not read.log.temperatures_c:
        what, mend = said("no column is a temperature"), said("Say which one, by its heading or number.")
        findings = (*findings, Finding(what, name, mend))
    if read.log.time_s.size == 0 or any(one.weight == "error" for one in findings):
        return Tried(read.taken, read.units, findings)
    try:
        criteria = criteria_for(_cycle(machine), desk.reading.rulebook)
    except Mendable as error:
        return Tried(read.taken, read.units, (*findings, *error.findings))
    sensors = sensors_for(criteria, machine)
    judgement = judge_cycle(read.log, criteria, sensors)
    chart = cycle_chart(read.log, judgement, criteria, sensors, f"{machine.id}, {name}")
    return Tried(read.taken, read.units, findings, judgement.verdict, tuple(judgement.reasons), chart)


def _cycle(machine: Machine) -> Cycle | None:
    wanted = (machine.log.cycle if machine.log else None) or machine.day_cycle
    return next((one for one in machine.cycles if one.id == wanted), None)
