"""Addresses for measuring at a chair: flow by cup and clock, strips at an outlet, mixing by jug.

A form is answered on its own page, with what was typed kept and each fault beside its field. Only the button that says so
writes into the practice file, and only if the file is still the one that the answer was reckoned from.
"""

import csv
from collections.abc import Iterable
from io import StringIO
from pathlib import Path
from typing import Annotated, Any, Final
from urllib.parse import quote

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.practice.edit import read_to_change, replace_practice_file
from fettlebook.practice.model import OutletKind, Practice, ProductUse
from fettlebook.said import said
from fettlebook.science.flow import Tools, way_to_measure
from fettlebook.times.against import Meant, Place
from fettlebook.times.flow_words import AS_IN_USE, open_together, rests_words, way_words
from fettlebook.times.mix_order import amounts, cautions, good_for, strength_words, volume_words
from fettlebook.times.strips_words import STILL_DECIDES
from fettlebook.web import measure_flow, measure_strips
from fettlebook.web.desk import Desk
from fettlebook.web.forms import Form, posted
from fettlebook.web.measure_mix import mix_answer
from fettlebook.web.pages import Pages, saved
from fettlebook.web.tables import inert

TABS: Final = {"flow": said("Flow by cup and clock"), "strips": said("Strips at an outlet"), "mix": said("Mix by jug")}
Posted = Annotated[Form, Depends(posted)]


def measuring_routes(pages: Pages, desk: Desk, practice_file: Path) -> APIRouter:
    """Return the routes; `practice_file` is what a measurement is held against and written into."""
    routes = APIRouter()
    here = _Measuring(pages, desk, practice_file)

    @routes.get("/measure")
    def _first() -> RedirectResponse:
        return RedirectResponse(f"/measure/{quote(desk.reading.practice.chairs[0].id)}/flow", 303)

    @routes.get("/measure/{chair}/flow")
    def _flow(chair: str, outlet: str = "", written: str = "") -> HTMLResponse:
        return here.flow(here.place(chair, outlet), Form({}), written=bool(written))

    @routes.post("/measure/{chair}/flow")
    def _flow_sent(chair: str, form: Posted) -> Response:
        place = here.place(chair, form.text("outlet"))
        answer = measure_flow.flow_answer(form, place, desk.now().date())
        if answer and form.text("act") == "write":
            if answer.may_write:
                return here.write(form, answer.meant, "flow")
            form.refuse(
                "even_so", said("the readings look odd"), said("Measure again, or say that the flow shall be written all the same.")
            )
        if answer and form.text("act") == "csv":
            return _table(("cup", "mL", "seconds", "mL/min"), _cups(answer), answer.meant)
        return here.flow(place, form, answer)

    @routes.get("/measure/{chair}/strips")
    def _strips(chair: str, outlet: str = "", written: str = "") -> HTMLResponse:
        return here.strips(here.place(chair, outlet), Form({}), written=bool(written))

    @routes.post("/measure/{chair}/strips")
    def _strips_sent(chair: str, form: Posted) -> Response:
        place = here.place(chair, form.text("outlet"))
        answer = measure_strips.strips_answer(form, place, desk.now().date())
        if answer and answer.meant and form.text("act") == "write":
            return here.write(form, answer.meant, "strips")
        if answer and form.text("act") == "csv":
            return _table(("after", said("strip, mg/L"), said("fitted line, mg/L")), answer.rows, answer.meant)
        return here.strips(place, form, answer)

    @routes.get("/measure/{chair}/mix")
    def _mix(chair: str) -> HTMLResponse:
        return here.mix(here.place(chair, ""), Form({}))

    @routes.post("/measure/{chair}/mix")
    def _mix_sent(chair: str, form: Posted) -> HTMLResponse:
        return here.mix(here.place(chair, ""), form, sent=True)

    return routes


class _Measuring:
    """The three pages of a chair."""

    def __init__(self, pages: Pages, desk: Desk, practice_file: Path) -> None:
        self._pages = pages
        self._desk = desk
        self._file = practice_file

    def place(self, chair: str, outlet: str) -> Place:
        """Return an outlet of the practice file as it stands now; without a name the first one."""
        loaded, text = read_to_change(self._file)
        known = next((c for c in loaded.practice.chairs if c.id == chair), None) if loaded.practice else None
        if known is None or (outlet and outlet not in {o.id for o in known.outlets}):
            raise HTTPException(404, said("No such chair or outlet in the practice file."))
        return Place.of(loaded, text, chair, outlet or known.outlets[0].id)

    def write(self, form: Form, meant: Meant, tab: str) -> Response:
        """Write what was meant, or tell that the file is not the one any more that the answer came from."""
        place = meant.place
        if form.text("digest") != place.loaded.digest:
            form.elsewhere.clear()
            raise HTTPException(
                409, said("The practice file was changed since this answer. Nothing was written: go back, and reckon again.")
            )
        replace_practice_file(self._file, place.loaded, place.text, meant.text, meant.practice)
        return RedirectResponse(f"/measure/{quote(place.chair.id)}/{tab}?outlet={quote(place.outlet.id)}&written=1", 303)

    def flow(self, place: Place, form: Form, answer: measure_flow.FlowAnswer | None = None, *, written: bool = False) -> HTMLResponse:
        """Return the page of cup and clock."""
        way = way_to_measure(measure_flow.AIM_PCT / 100, flow_ml_min=place.outlet.flow_ml_min, tools=Tools(1.0, None, 1.0))
        return self._show(
            "flow",
            place,
            form,
            answer=answer,
            rows=range(1, measure_flow.ROWS + 1),
            way=(rests_words(place), *way_words(way, place.outlet.flow_ml_min, measure_flow.AIM_PCT), open_together(place)),
            as_in_use=AS_IN_USE,
            written=written,
        )

    def strips(self, place: Place, form: Form, answer: measure_strips.StripsAnswer | None = None, *, written: bool = False) -> HTMLResponse:
        """Return the page of strips."""
        return self._show(
            "strips",
            place,
            form,
            answer=answer,
            rows=range(1, measure_strips.ROWS + 1),
            together=open_together(place),
            still=STILL_DECIDES,
            written=written,
        )

    def mix(self, place: Place, form: Form, *, sent: bool = False) -> HTMLResponse:
        """Return the page of mixing."""
        made = mix_answer(form, place.practice, self._desk.now()) if sent else None
        return self._show(
            "mix",
            place,
            form,
            made=made,
            amounts=[line.strip() for line in amounts(made)] if made else (),
            good_for=tuple(good_for(made)) if made else (),
            cautions=tuple(cautions(made)) if made else (),
            head=said(
                "{name}, for {use}: {batch_ml} of {use2}",
                name=made.product.name,
                use=made.use.use,
                batch_ml=volume_words(made.mix.batch_ml),
                use2=strength_words(made.use),
            )
            if made
            else "",
            uses=_uses(place.practice),
            written=False,
        )

    def _show(self, tab: str, place: Place, form: Form, **values: Any) -> HTMLResponse:
        return self._pages.show(
            f"measure_{tab}.html",
            200 if form.good else 422,
            tab=tab,
            tabs=TABS,
            chair=place.chair,
            place=place,
            form=form,
            on_day=self._desk.now().date(),
            digest=place.loaded.digest,
            kinds={o.id: _kind(o.kind) for o in place.chair.outlets},
            title=said("Measuring, {id}: {tab}", id=place.chair.id, tab=TABS[tab]),
            **values,
        )


def _kind(kind: OutletKind) -> str:
    return "" if kind is OutletKind.OTHER else kind.value


def _uses(practice: Practice) -> tuple[tuple[str, str], ...]:
    """Return each use of a product with what is in use here for it."""
    found = []
    for use in ProductUse:
        chosen: str | None = getattr(practice.in_use, use.name.lower())
        name = next((p.name for p in practice.products if p.id == chosen), said("no product chosen"))
        found.append((use.value, name))
    return tuple(found)


def _cups(answer: measure_flow.FlowAnswer) -> Iterable[tuple[object, ...]]:
    for number, reading in enumerate(answer.found.readings, start=1):
        yield number, reading.volume_ml, reading.seconds, round(reading.flow_ml_min, 3)


def _table(head: tuple[str, ...], rows: Iterable[tuple[object, ...]], meant: Meant | None) -> Response:
    """Return what was read, and below it what was promised, as one table file."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(head)
    writer.writerows([inert(cell) for cell in row] for row in rows)
    if meant:
        writer.writerow([])
        writer.writerow(("duty", "step", "promised_s", "set_by", "needs_s", "holds"))
        for p in meant.promises:
            needs = "" if p.needs_s is None else round(p.needs_s, 1)
            writer.writerow([inert(c) for c in (p.duty_name, p.name, p.promised_s, p.set_by, needs, "yes" if p.holds else "no")])
    return Response(out.getvalue(), media_type="text/csv; charset=utf-8", headers=saved("measured.csv"))
