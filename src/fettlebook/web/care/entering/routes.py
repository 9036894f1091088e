"""The forms at their addresses: shown, read, entered through the door by who is signed in, and back to the page with the new state."""

from typing import Annotated, Final
from urllib.parse import quote, urlencode

from fastapi import APIRouter, Depends
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import to_ms
from fettlebook.errors import Mendable
from fettlebook.said import said
from fettlebook.web.care.entering.asks import Ask, Entering
from fettlebook.web.care.entering.parts import PART
from fettlebook.web.care.entering.stock import COUNTED, MIXED, OPENED, RECEIVED
from fettlebook.web.care.entering.strips import STRIP
from fettlebook.web.care.entering.suction import CLEAN, DRAW
from fettlebook.web.care.entering.taps import RUN, TEMPERATURE
from fettlebook.web.care.entering.treatment_strips import TREATMENT_STRIP
from fettlebook.web.care.entering.who_when import moment_of, person_of
from fettlebook.web.care.frame import Care
from fettlebook.web.forms import Form, posted

Posted = Annotated[Form, Depends(posted)]
FORMS: Final[dict[str, Entering]] = {
    "temperature": TEMPERATURE, "run": RUN, "strip": STRIP, "treatment-strip": TREATMENT_STRIP, "hose": DRAW, "spot": CLEAN, "part": PART,
    "counted": COUNTED, "delivered": RECEIVED, "opened": OPENED, "mixed": MIXED,
}  # fmt: skip
WHEN: Final = Ask("at", said("When"), "time", hint=said("Empty: now."))


def buttons_of(part: str) -> list[tuple[str, str]]:
    """Return the forms of one of the pages of water: address and words."""
    return [(f"/water/enter/{name}", one.button) for name, one in FORMS.items() if one.part == part]


def entering_routes(care: Care) -> APIRouter:
    """Return the routes of the forms."""
    router = APIRouter()

    def of(what: str) -> Entering:
        if what not in FORMS:
            raise HTTPException(404, said("There is no such form."))
        return FORMS[what]

    def shown(what: str, form: Form, written: str = "") -> HTMLResponse:
        entering = of(what)
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        with care.record.view() as view:
            asks, label = [*entering.asks(view.look), WHEN], entering.label(view.look)
        page = care.show(
            "care_enter.html", entering.part, entering.title, entering=entering, asks=asks, label=label, form=form,
            address=f"/water/enter/{what}", people=care.pages.reading.practice.people, written=written,
            can_not=any(a.kind == "choice" and not a.choices for a in asks),
        )  # fmt: skip
        page.status_code = 200 if form.good else 422
        return page

    @router.get("/water/enter/{what}")
    def _form(what: str, written: str = "", kept: str = "") -> HTMLResponse:
        names = of(what).keeps
        values = dict(zip(names, kept.split("\n"), strict=False)) if kept else {}
        return shown(what, Form(values), written)

    @router.post("/water/enter/{what}")
    def _entered(what: str, form: Posted) -> Response:
        entering, pages = of(what), care.pages
        if (waiting := care.asking.waiting()) is not None:
            return waiting
        with care.record.view() as view:
            data = entering.read(form, view.look)
        by = person_of(form, pages.reading.practice)
        now = pages.now
        was = moment_of(form, now)
        if data is None or by is None or not form.good:
            return shown(what, form)
        try:
            receipt = Door(care.record.store).note(data, moment=Moment(to_ms(was), str(pages.reading.zone)), by=by, now=to_ms(now))
        except Mendable as error:
            form.take(error.findings, {})
            return shown(what, form)
        if form.text("again"):
            kept = "\n".join(form.text(name) for name in entering.keeps)
            return RedirectResponse(f"/water/enter/{what}?{urlencode({'written': receipt.id, 'kept': kept})}", 303)
        return RedirectResponse(f"{entering.back}?written={quote(receipt.id)}", 303)

    return router
