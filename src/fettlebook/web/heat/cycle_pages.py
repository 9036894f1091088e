"""One cycle with its graph and numbers; a machine's history: verdicts, control charts, the tests it owes; entering a test."""

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Annotated, Any, Final, Literal
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.kinds import CycleRecorded, MachineTest, from_ms
from fettlebook.exchange.control_chart import Point, control_chart
from fettlebook.exchange.cycle_entries import Ran, judged_entry, values_of
from fettlebook.practice.model import Machine
from fettlebook.rules.cycle_criteria import bundled_criteria
from fettlebook.rules.model import Origin
from fettlebook.said import Said, said, said_moment, term
from fettlebook.science.cycles.drift import CHARTED, against_past
from fettlebook.standing.asking import said_at
from fettlebook.standing.machine import cycle_verdict, test_condition
from fettlebook.standing.machine_runs import SPORE, newest_run
from fettlebook.standing.model import Verdict
from fettlebook.standing.standings import View
from fettlebook.web.heat.kept_cycle import kept_cycle
from fettlebook.web.heat.pen import Pen
from fettlebook.web.heat.sent import Sent, sent
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

Posted = Annotated[Sent, Depends(sent)]
Control = Literal["as it should", "not as it should", "none"]
HISTORY_DAYS: Final = 92
MOST_RUNS: Final = 200
ASKED_EVERY: Final = ("day", "week", "quarter", "year")


@dataclass(frozen=True, slots=True)
class RunRow:
    """One run of a machine."""

    entry: str
    at_ms: int
    cycle: str
    load: str | None
    said: str
    verdict: Verdict
    why: str
    values: dict[str, float]


@dataclass(frozen=True, slots=True)
class TestRow:
    """One test that a machine owes."""

    name: str
    every: str
    verdict: Verdict
    told: str
    due_ms: int | None
    origin: Origin


def cycle_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes of cycles and machines."""
    routes, shows = APIRouter(), _Shows(pages, record)

    @routes.get("/cycles/{entry}.svg")
    def _svg(entry: str) -> Response:
        return Response(kept_cycle(record, entry).chart(), media_type="image/svg+xml")

    @routes.get("/cycles/{entry}.csv")
    def _csv(entry: str) -> Response:
        return shows.cycle_table(entry)

    @routes.get("/cycles/{entry}.log")
    def _log(entry: str) -> Response:
        return shows.raw(entry)

    @routes.get("/cycles/{entry}")
    def _cycle(entry: str) -> HTMLResponse:
        return shows.cycle(entry)

    @routes.post("/cycles/{entry}/judge")
    def _again(entry: str, form: Posted) -> RedirectResponse:
        shows.judge(entry, form)
        return RedirectResponse(f"/cycles/{quote(entry)}", 303)

    @routes.get("/machines")
    def _machines() -> HTMLResponse:
        return shows.machines()

    @routes.get("/machines/{machine}.csv")
    def _machine_csv(machine: str) -> Response:
        return shows.machine_table(machine)

    @routes.get("/machines/{machine}/{key}.svg")
    def _chart(machine: str, key: str, cycle: str = "") -> Response:
        return Response(str(tongue().say(shows.chart(machine, key, cycle))), media_type="image/svg+xml")

    @routes.get("/machines/{machine}")
    def _machine(machine: str, cycle: str = "") -> HTMLResponse:
        return shows.machine(machine, cycle)

    @routes.post("/machines/{machine}/test")
    def _test(machine: str, form: Posted) -> RedirectResponse:
        shows.test(machine, form)
        return RedirectResponse(f"/machines/{quote(machine)}", 303)

    return routes


class _Shows:
    """The pages."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self._pages, self._record = pages, record
        self._asking, self._pen = Asking(pages, record), Pen(pages, record)

    def _show(self, template: str, **values: Any) -> HTMLResponse:
        moment = asked("", "", self._pages.reading.zone, self._pages.now)
        people = self._pages.reading.practice.people
        return self._asking.show(template, "loads", moment, people=people, typed_now=self._pages.now.strftime("%Y-%m-%dT%H:%M"), **values)

    def cycle(self, entry: str) -> HTMLResponse:
        """Return one cycle: verdict, reasons, graph, every number with its limit."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        kept = kept_cycle(self._record, entry)
        recorded = isinstance(kept.data, CycleRecorded)
        machine_says = kept.data.said if isinstance(kept.data, CycleRecorded) else ""
        ended = kept.data.ended_ms if isinstance(kept.data, CycleRecorded) else kept.data.ran_ms
        now = kept.judgement.verdict if kept.judgement else ""
        counts = recorded and bool(kept.verdict)
        shown = {"passed": "fit", "failed": "unfit", "aborted": "unproven"}.get(kept.verdict, kept.verdict) or "unproven"
        return self._show(
            "heat_cycle.html", kept=kept, judgement=kept.judgement, recorded=recorded, said=machine_says, verdict=shown,
            ended_ms=ended or kept.received.received, differs=counts and now not in ("", shown),
            title=said("Cycle: {title}", title=kept.title),
        )  # fmt: skip

    def cycle_table(self, entry: str) -> Response:
        """Return the criteria of a cycle as a table to save."""
        kept = kept_cycle(self._record, entry)
        outcomes = kept.judgement.outcomes if kept.judgement else ()
        rows = [
            {"criterion": o.name, "unit": o.unit, "verdict": o.verdict, "value": o.value, "compare": o.compare, "limit": o.limit,
             "margin": o.margin, "may_be_out": o.uncertainty, "moment_s": o.moment_s, "source": o.source, "sure": o.sure, "why": o.why}
            for o in outcomes
        ]  # fmt: skip
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("cycle.csv"))

    def raw(self, entry: str) -> Response:
        """Return the log as it came."""
        held = kept_cycle(self._record, entry).data.log
        if held is None:
            raise HTTPException(404, said("No log of this run is kept."))
        return Response(self._record.store.file(held.digest), media_type="application/octet-stream", headers=saved("log.csv"))

    def judge(self, entry: str, form: Sent) -> None:
        """Write what the kept log is worth by this program now, beside what was written before."""
        by, kept = self._pen.who(form), kept_cycle(self._record, entry)
        if kept.judgement is None or not isinstance(kept.data, CycleRecorded):
            raise HTTPException(404, said("There is no log to judge."))
        self._pen.write(judged_entry(kept.data.machine, kept.load, kept.judgement), by, refers_to=entry)

    def machines(self) -> HTMLResponse:
        """Return the machines with their verdicts."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        with self._record.view() as view:
            rows = [(machine, view.standing(f"machine:{machine.id}")) for machine in view.look.basis.practice.machines]
        return self._show("heat_machines.html", rows=rows, title=said("Machines"))

    def _of(self, machine: str) -> Machine:
        found = next((m for m in self._pen.practice.machines if m.id == machine), None)
        if found is None:
            raise HTTPException(404, said("No such machine in the practice file."))
        return found

    def machine(self, name: str, cycle: str) -> HTMLResponse:
        """Return a machine: its verdict, the tests it owes, its runs, and control charts of one cycle."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        machine = self._of(name)
        chosen = next((c.id for c in machine.cycles if c.id == cycle), machine.day_cycle)
        with self._record.view() as view:
            standing = view.standing(f"machine:{name}")
            runs = self._runs(view, machine)
            tests = list(_tests(view, machine))
            spore = view.look.basis.asks("spore tests") is not None or newest_run(view.look, name, SPORE)[1] != ()
        told = Counter(key for run in runs if run.cycle == chosen for key in run.values)
        there = {key for key, count in told.items() if count > 1}
        kinds = [(t.id, t.name) for t in machine.tests] + [
            (t, term(t)) for t in ("air-removal test", "leak test") if t not in {m.id for m in machine.tests}
        ]
        return self._show(
            "heat_machine.html", machine=machine, standing=standing, runs=runs, tests=tests, cycle=chosen,
            charts=[(key, term(CHARTED[key][0])) for key in CHARTED if key in there], few=MOST_RUNS,
            kinds=[*kinds, *([(SPORE, SPORE)] if spore and machine.kind.value == "sterilizer" else [])],
            criteria=[(row.id, row.name) for row in bundled_criteria() if row.kind in ("air-removal test", "leak test", "steam")],
            title=said("{name}: history", name=name),
        )  # fmt: skip

    def _runs(self, view: View, machine: Machine) -> list[RunRow]:
        look, rows = view.look, list[RunRow]()
        for ran in look.back(f"machine:{machine.id}", "cycles", since=look.basis.days_after(look.at, -HISTORY_DAYS)):
            if len(rows) == MOST_RUNS:
                break
            verdict, why, _ = cycle_verdict(look, ran)
            values: dict[str, float] = {}
            if ran.says.read or ran.says.logged:
                received = self._record.store.get(ran.entry)
                readings = getattr(received.entry.data, "readings", None) if received else None
                values = values_of(readings) if readings else {}
            rows.append(RunRow(ran.entry, ran.happened, ran.says.cycle, ran.says.load, ran.says.said, verdict, why, values))
        return rows

    def machine_table(self, name: str) -> Response:
        """Return a machine's runs as a table to save, with every value that was read."""
        machine = self._of(name)
        with self._record.view() as view:
            runs, zone = self._runs(view, machine), view.look.basis.zone
        keys = list(dict.fromkeys(key for run in runs for key in run.values))
        rows: list[dict[str, Any]] = [
            {"ended": said_at(r.at_ms, zone), "cycle": r.cycle, "load": r.load or "", "machine_says": r.said, "verdict": r.verdict.value,
             "why": r.why, "entry": r.entry} | {key: r.values.get(key, "") for key in keys}
            for r in runs
        ]  # fmt: skip
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("machine.csv"))

    def chart(self, name: str, key: str, cycle: str) -> Said:
        """Return the control chart of one quantity; raises 404 where no run tells of it."""
        machine = self._of(name)
        with self._record.view() as view:
            zone = view.look.basis.zone
            runs = [r for r in reversed(self._runs(view, machine)) if r.cycle == (cycle or machine.day_cycle) and key in r.values]
        if key not in CHARTED or not runs:
            raise HTTPException(404, said("No run tells of this."))
        good = [r.values for r in runs if r.verdict is Verdict.FIT]
        charts = against_past(runs[-1].values, good[:-1] if runs[-1].verdict is Verdict.FIT else good)
        found = next((c for c in charts if c.key == key), None)
        ran = [from_ms(r.at_ms, str(zone)) for r in runs]
        points = [
            Point(r.values[key], r.verdict.value, said_moment(at, "short moment", f"{at:%d %b %H:%M}"))
            for r, at in zip(runs, ran, strict=True)
        ]
        label, unit, _ = CHARTED[key]
        return control_chart(points, label, unit, (found.low, found.mean, found.high) if found else None)

    def test(self, name: str, form: Sent) -> None:
        """Write a test of a machine: from its log where one was sent, else as a person read it."""
        machine, by = self._of(name), self._pen.who(form)
        known = (*(t.id for t in machine.tests), "air-removal test", "leak test", SPORE)
        test, ended = form.chosen("test", known, said("Which test")), self._pen.ended_ms(form)
        if form.file is not None and form.file[0]:
            ran = Ran(name, machine.day_cycle, "nothing", ended)
            self._pen.test(form, machine, ran, test, by)
            return
        outcomes: dict[str, Literal["passed", "failed", "aborted"]] = {"passed": "passed", "failed": "failed", "aborted": "aborted"}
        outcome = outcomes[form.chosen("outcome", tuple(outcomes), "How it came out")]
        controls: dict[str, Control] = {"as it should": "as it should", "not as it should": "not as it should", "none": "none"}
        control = controls[form.chosen("control", tuple(controls), "The control")] if test == SPORE else None
        self._pen.write(MachineTest(machine=name, test=test, outcome=outcome, control=control, ran_ms=ended), by)


def _tests(view: View, machine: Machine) -> Iterator[TestRow]:
    """Yield the tests of the practice file with their due dates, then what the rulebook asks for that the file has no test for."""
    look = view.look
    for test in machine.tests:
        found = test_condition(look, machine, test)
        due = found.expires_ms if found.verdict is Verdict.FIT else next((o.due_ms for o in found.mend), None)
        yield TestRow(test.name, said("each {every}", every=term(test.every)), found.verdict, found.why, due, found.origin)
    for condition in view.standing(f"machine:{machine.id}").conditions:
        if condition.what.startswith(("Spore test", "spore test", "no failed")):
            yield TestRow(condition.what, "", condition.verdict, condition.why, condition.expires_ms, condition.origin)
    listed = {test.every for test in machine.tests}
    for every in ASKED_EVERY:
        asked_for = look.basis.asks(f"{machine.kind.value} tests, {every}")
        if asked_for is not None and every not in listed:
            told = said(
                "asked for, and the practice file lists no test of each {every} for it: {topic}", every=term(every), topic=asked_for.topic
            )
            yield TestRow(
                said("tests of each {every}", every=term(every)),
                said("each {every}", every=term(every)),
                Verdict.UNPROVEN,
                told,
                None,
                asked_for.origin,
            )
