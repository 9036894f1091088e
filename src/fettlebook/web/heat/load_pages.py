"""The load bench: pack, run, release or reject. Large targets, one question after the other, and what is missing said plainly."""

import re
from typing import Annotated, Any, Final, Literal, get_args
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.book.kinds import CycleRecorded, InLoad, LoadPacked, LoadRejected, LoadReleased, LoadReleasedEarly, MachineTest
from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_entries import Ran, Said
from fettlebook.exchange.paper.labels import Paper
from fettlebook.exchange.paper.labels_of import labels_of_load
from fettlebook.practice.model import Cycle, Machine, MachineKind
from fettlebook.said import joined, said
from fettlebook.standing.asking import said_at
from fettlebook.standing.model import Verdict
from fettlebook.standing.ride import ride_faults
from fettlebook.web.heat.benchwork import LoadSeen, items_of, load_seen, loads_of, new_load_name, unit_words, units_of
from fettlebook.web.heat.pen import Pen
from fettlebook.web.heat.sent import Sent, sent
from fettlebook.web.languages.tongue import tongue
from fettlebook.web.moments import asked
from fettlebook.web.pages import Pages, saved
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of
from fettlebook.web.standing_pages import Asking

Posted = Annotated[Sent, Depends(sent)]
Found = Literal["wet", "torn", "opened", "indicator not turned"]
Form = Literal["solid", "porous", "hollow"]
PLACE: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")
MINUTE_MS: Final = 60_000
FEW: Final = 12  # of a stage; the others are folded away
SAID: Final = ("passed", "failed", "aborted", "nothing")


def load_routes(pages: Pages, record: Record) -> APIRouter:
    """Return the routes."""
    routes, bench = APIRouter(), _Bench(pages, record)

    @routes.get("/loads")
    def _loads() -> HTMLResponse:
        return bench.overview()

    @routes.get("/loads.csv")
    def _loads_csv() -> Response:
        return bench.table()

    @routes.get("/loads/pack")
    def _pack(machine: str = "", cycle: str = "") -> HTMLResponse:
        return bench.packing(machine, cycle)

    @routes.post("/loads/pack")
    def _packed(form: Posted) -> RedirectResponse:
        return _to(bench.pack(form))

    @routes.get("/loads/{load}")
    def _load(load: str) -> HTMLResponse:
        return bench.load(load)

    @routes.get("/loads/{load}/labels.pdf")
    def _labels(load: str, sheet: str = "3x8", skip: int = 0) -> Response:
        return bench.labels(load, sheet, skip)

    @routes.post("/loads/{load}/{act}")
    def _act(load: str, act: Literal["run", "release", "early", "reject", "spores"], form: Posted) -> RedirectResponse:
        getattr(bench, act)(load, form)
        return _to(load)

    return routes


def _to(load: str) -> RedirectResponse:
    return RedirectResponse(f"/loads/{quote(load)}", 303)


class _Bench:
    """The pages and what their buttons write."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self._pages, self._record = pages, record
        self._asking, self._pen = Asking(pages, record), Pen(pages, record)

    def _show(self, template: str, **values: Any) -> HTMLResponse:
        moment = asked("", "", self._pages.reading.zone, self._pages.now)
        people = self._pages.reading.practice.people
        return self._asking.show(template, "loads", moment, people=people, typed_now=self._pages.now.strftime("%Y-%m-%dT%H:%M"), **values)

    def overview(self) -> HTMLResponse:
        """Return the loads that wait, and the newest ones."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        with self._record.view() as view:
            rows = loads_of(view)
            names = {unit: unit_words(view, unit) for row in rows for unit in row.units}
        stages = (
            ("ran", said("Waits for release"), said("Nothing waits for release.")),
            ("packed", said("Packed, not run"), said("No load waits for its cycle.")),
            ("decided", said("The last week"), said("No load in the last week.")),
        )
        return self._show("heat_loads.html", rows=rows, stages=stages, names=names, few=FEW, title=said("Loads"))

    def table(self) -> Response:
        """Return the loads as a table to save."""
        with self._record.view() as view:
            zone = view.look.basis.zone
            rows = [
                {"load": r.load, "machine": r.machine, "stage": r.stage, "verdict": r.verdict.value, "packed": said_at(r.packed_ms, zone),
                 "units": " ".join(r.units), "told": r.told, "early_release": "yes" if r.early else "no"}
                for r in loads_of(view)
            ]  # fmt: skip
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("loads.csv"))

    def labels(self, load: str, sheet: str, skip: int) -> Response:
        """Return the labels of a load's packs; `sheet` is columns x rows of an A4 sheet."""
        columns, _, rows = sheet.partition("x")
        if not (columns.isdecimal() and rows.isdecimal() and 0 < int(columns) < 20 and 0 < int(rows) < 60):
            raise Mendable(
                said("{sheet!r} is no sheet of labels", sheet=sheet[:20]), where="sheet", mend=said("Write columns x rows: 3x8.")
            )
        with self._record.view() as view:
            pdf, _ = labels_of_load(self._record.store, view.look.basis, load, Paper(int(columns), int(rows)), skip, voice=tongue())
        return Response(pdf, media_type="application/pdf", headers=saved("labels.pdf", inline=True))

    def packing(self, machine: str, cycle: str) -> HTMLResponse:
        """Return the page to pack for a cycle; without one, the choice of machines and cycles."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        machines = [m for m in self._pen.practice.machines if m.kind is not MachineKind.ULTRASONIC]
        with self._record.view() as view:
            standings = {m.id: view.standing(f"machine:{m.id}") for m in machines}
            if not machine:
                return self._show("heat_pack_choose.html", machines=machines, standings=standings, title=said("Pack a load"))
            chosen, of = self._cycle(machine, cycle)
            units, load = list(units_of(view)), new_load_name(view)
        return self._show(
            "heat_pack.html", machine=chosen, cycle=of, units=units, load=load, sterilizer=chosen.kind is MachineKind.STERILIZER,
            standing=standings[chosen.id], title=said("Pack for {id}, {id2}", id=chosen.id, id2=of.id),
        )  # fmt: skip

    def _cycle(self, machine: str, cycle: str) -> tuple[Machine, Cycle]:
        chosen = next((m for m in self._pen.practice.machines if m.id == machine), None)
        of = next((c for c in chosen.cycles if c.id == cycle), None) if chosen else None
        if chosen is None or of is None:
            raise Mendable(
                said('no cycle "{cycle}" of "{machine}"', cycle=cycle[:60], machine=machine[:60]),
                where="machine and cycle",
                mend=said("Choose one on the page of loads."),
            )
        return chosen, of

    def pack(self, form: Sent) -> str:
        """Write a packed load; return its name."""
        machine, cycle = self._cycle(form.one("machine"), form.one("cycle"))
        sterilizer = machine.kind is MachineKind.STERILIZER
        by, practice = self._pen.who(form), self._pen.practice
        owned = {f"{s.id}#{n}" for s in practice.sets for n in range(1, s.owned + 1)}
        units = tuple(dict.fromkeys(form.all("unit")))
        if not units or not set(units) <= owned:
            raise Mendable(
                said("no set was chosen"), where="What lies in it", mend=said("Go back and touch each set that lies in the load.")
            )
        wrapped = sterilizer and form.chosen("wrapped", ("yes", "no"), "Wrapped or not") == "yes"
        shaped = form.chosen("form", get_args(Form), said("Hardest for steam to reach")) if sterilizer else ""
        shape: dict[str, Form] = {"solid": "solid", "porous": "porous", "hollow": "hollow"}
        oiled, implants, there = set(form.all("oiled")), set(form.all("implant")), form.one("load")
        faults = ride_faults(practice, machine, cycle.id, tuple((unit, wrapped, shape.get(shaped)) for unit in units))
        if bad := [why for verdict, why in faults if verdict is Verdict.UNFIT]:
            raise Mendable(
                joined("; ", bad), where="What lies in it", mend=said("Go back: take it out, or choose another cycle. Nothing was written.")
            )
        with self._record.view() as view:
            known = view.look.latest(f"load:{there}", "packed") if there else None
            if known is not None and {unit for unit, _ in known.says.items} == set(units):
                return there  # the button was touched twice
            load = there if PLACE.fullmatch(there) and f"load:{there}" not in view.look.state.subjects else new_load_name(view)
        places = {unit: form.one(f"at {unit}") for unit in units}
        if odd := [place for place in places.values() if place and not PLACE.fullmatch(place)]:
            raise Mendable(said("{odd!r} is no place", odd=odd[0][:40]), where="Where it lies", mend=said("Write it short: tray 2."))
        items = tuple(
            InLoad(
                unit=unit,
                pack=f"{load}-{number}" if wrapped else None,
                form=shape.get(shaped),
                implant=True if unit in implants else None,
                oiled=True if unit in oiled else None,
                position=places[unit] or None,
            )
            for number, unit in enumerate(units, start=1)
        )
        indicator = form.one("indicator") == "yes" if sterilizer else None
        self._pen.write(LoadPacked(load=load, machine=machine.id, cycle=cycle.id, items=items, indicator=indicator), by)
        return load

    def load(self, load: str) -> HTMLResponse:
        """Return one load: its stage, what is missing, and the form of what comes next."""
        if (waiting := self._asking.waiting()) is not None:
            return waiting
        with self._record.view() as view:
            seen = load_seen(view, load)
            names = {unit: unit_words(view, unit) for unit, _ in seen.packed.says.items} if seen.packed else {}
            oiled = set(seen.packed.says.oiled) if seen.packed else set()
        return self._show(
            "heat_load.html", seen=seen, names=names, oiled=oiled, said=SAID, found=get_args(Found), items=items_of(view, load),
            labels=seen.packed is not None and seen.machine is not None and seen.machine.kind is MachineKind.STERILIZER,
            bad=[c for c in seen.missing if c.verdict is Verdict.UNFIT], title=said("Load {load}", load=load),
        )  # fmt: skip

    def _seen(self, load: str) -> LoadSeen:
        with self._record.view() as view:
            return load_seen(view, load)

    def run(self, load: str, form: Sent) -> None:
        """Write the cycle that the load rode in: from its log, else by the machine's word alone."""
        seen = self._seen(load)
        if seen.machine is None or seen.packed is None or seen.ran is not None:
            raise Mendable(said("it was run already, or its machine is not known"), where=load, mend=said("Open the load again and look."))
        by, machine = self._pen.who(form), seen.machine
        words: dict[str, Said] = {"passed": "passed", "failed": "failed", "aborted": "aborted", "nothing": "nothing"}
        told = words[form.chosen("said", SAID, "What the machine says")]
        cycle = form.chosen("cycle", tuple(c.id for c in machine.cycles), said("Which cycle ran"))
        ended = self._pen.ended_ms(form)
        if 0 <= seen.packed.happened - ended < MINUTE_MS:
            ended = seen.packed.happened + 1  # people type minutes; what was packed late was packed late
        if form.file is not None and form.file[0]:
            with self._record.view() as view:
                items = items_of(view, load)
            self._pen.cycle(form, machine, Ran(machine.id, cycle, told, ended, load), items, by)
        else:
            minutes = next(c.minutes for c in machine.cycles if c.id == cycle)
            began = max(seen.packed.happened, ended - minutes * 60_000)
            data = CycleRecorded(machine=machine.id, cycle=cycle, load=load, said=told, began_ms=min(began, ended), ended_ms=ended)
            self._pen.write(data, by)

    def release(self, load: str, form: Sent) -> None:
        """Write a person's release; packs put aside are rejected first, and the rest is named."""
        seen, by = self._seen(load), self._pen.who(form)
        if seen.packed is None or seen.ran is None:
            raise Mendable(
                said("no cycle of it is in the book"), where=load, mend=said("Enter the run first: nothing is released without it.")
            )
        override, second = form.one("override") or None, None
        if seen.missing and not override:
            why = joined("; ", (said("{what}: {why}", what=c.what, why=c.why) for c in seen.missing))
            mend = said(
                "Get what is missing, or reject it. Against the judgement only with a reason, and a second person where it is unfit."
            )
            raise Mendable(said("the evidence is not complete: {why}", why=why), where=f"load {load}", mend=mend)
        if any(c.verdict is Verdict.UNFIT for c in seen.missing):
            second = self._pen.who(form, "second", said("The second person"))
            if second == by:
                raise Mendable(
                    said("two people are needed"), where="The second person", mend=said("Choose somebody else than the one who releases.")
                )
        rest, dry, turned = self._put_aside(seen, form, by)
        data = LoadReleased(
            load=load, meaning="released", machine=seen.machine.id if seen.machine else None, units=rest, dry=dry,
            indicators_turned=turned, override=override if seen.missing else None, second=second,
        )  # fmt: skip
        self._pen.write(data, by)

    def early(self, load: str, form: Sent) -> None:
        """Write an emergency release before the result of the load's own spore test."""
        seen, by = self._seen(load), self._pen.who(form)
        others = [c for c in seen.missing if c.what != "its own spore test"]
        if seen.packed is None or seen.ran is None or not seen.waits_for_spores or others:
            told = joined("; ", (said("{what}: {why}", what=c.what, why=c.why) for c in others)) or said(
                "its spore test is not what it waits for"
            )
            raise Mendable(
                told, where=f"load {load}", mend=said("An early release is only for a load whose spore result alone is missing.")
            )
        reason = form.reason("reason", said("Why it can't wait"))
        rest, dry, turned = self._put_aside(seen, form, by)
        data = LoadReleasedEarly(
            load=load, meaning="released before its spore result", reason=reason, machine=seen.machine.id if seen.machine else None,
            units=rest, dry=dry, indicators_turned=turned,
        )  # fmt: skip
        self._pen.write(data, by)

    def _put_aside(self, seen: LoadSeen, form: Sent, by: str) -> tuple[tuple[str, ...] | None, bool, bool]:
        """Reject the packs that are wet, torn or open; return what is left (None: all), whether it is dry, whether indicators turned."""
        assert seen.packed is not None
        dry = form.chosen("dry", ("yes", "no"), "Dry?") == "yes"
        turned = form.chosen("turned", ("yes", "no"), "Indicators turned?") == "yes"
        if not dry or not turned:
            what = said("not dry") if not dry else said("indicators not turned")
            raise Mendable(
                said("{what}: such packs are not released", what=what),
                where=f"load {seen.load}",
                mend=said("Put those packs aside, or reject it all."),
            )
        there = tuple(unit for unit, _ in seen.packed.says.items)
        kinds: dict[str, Found] = {one: one for one in get_args(Found)}
        marked = {unit: kinds[form.one(f"aside {unit}")] for unit in there if form.one(f"aside {unit}") in kinds}
        left = tuple(unit for unit in there if unit not in marked and unit not in seen.aside)
        if not left:
            raise Mendable(said("nothing is left to release"), where="Packs put aside", mend=said("Reject the whole load instead."))
        packs = dict(seen.packed.says.items)
        for found in dict.fromkeys(marked.values()):
            units = tuple(unit for unit, one in marked.items() if one == found)
            named = tuple(packs[unit] for unit in units if packs[unit] is not None)
            self._pen.write(
                LoadRejected(load=seen.load, meaning="rejected", reason=found, found=found, units=units, packs=named or None), by
            )
        return (None if len(left) == len(there) else left), dry, turned

    def reject(self, load: str, form: Sent) -> None:
        """Write that a person put the load aside, or calls it back after its release."""
        seen, by = self._seen(load), self._pen.who(form)
        recalled = seen.decided is not None and seen.decided.says.meaning == "released"
        reason = form.reason("reason", "Why")
        machine = seen.machine.id if seen.machine else None
        self._pen.write(LoadRejected(load=load, meaning="recalled" if recalled else "rejected", reason=reason, machine=machine), by)

    def spores(self, load: str, form: Sent) -> None:
        """Write the result of the spore test that rode in the load."""
        seen, by = self._seen(load), self._pen.who(form)
        if seen.machine is None or seen.ran is None:
            raise Mendable(said("no cycle of it is in the book"), where=load, mend=said("Enter the run first."))
        grew = form.chosen("test", ("passed", "failed"), said("The test itself"))
        control = form.chosen("control", ("as it should", "not as it should", "none"), said("The control"))
        outcomes: dict[str, Literal["passed", "failed"]] = {"passed": "passed", "failed": "failed"}
        controls: dict[str, Literal["as it should", "not as it should", "none"]] = {
            "as it should": "as it should", "not as it should": "not as it should", "none": "none",
        }  # fmt: skip
        data = MachineTest(
            machine=seen.machine.id,
            test="spore test",
            outcome=outcomes[grew],
            control=controls[control],
            load=load,
            ran_ms=seen.ran.happened,
        )
        self._pen.write(data, by)
