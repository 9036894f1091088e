"""The pages of the set-up: one question a page, one step back, and what it came to. On this machine only."""

from collections.abc import Callable
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from fastapi import FastAPI, Request
from fastapi.responses import HTMLResponse, PlainTextResponse, RedirectResponse, Response
from jinja2 import Environment, FileSystemLoader, StrictUndefined
from starlette.exceptions import HTTPException
from starlette.staticfiles import StaticFiles

from fettlebook import __version__
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.paper.typeset import FONTS
from fettlebook.exchange.setup.dialogue import Dialogue, Now
from fettlebook.exchange.setup.ended import Ended, end
from fettlebook.said import said
from fettlebook.web.forms import posted
from fettlebook.web.guard import Guard
from fettlebook.web.languages.asked import Languages, language_routes
from fettlebook.web.languages.printed import tongue_printed
from fettlebook.web.languages.templates import speak_in
from fettlebook.web.pages import HERE
from fettlebook.web.people.signed_forms import SignedForms
from fettlebook.web.people.visit import here

WORTH_SHOWN: Final = 12
FEW: Final = 12  # choices that are touched; more of them make a list


def setup_app(dialogue: Dialogue, now: Callable[[], datetime]) -> FastAPI:
    """Return the pages of one set-up; `app.state.ended` is what it came to, None before."""
    app = FastAPI(docs_url=None, redoc_url=None, openapi_url=None)
    templates = _templates()
    app.state.ended = None

    def show(template: str, status: int = 200, **values: Any) -> HTMLResponse:
        text = templates.get_template(template).render(version=__version__, folder=str(dialogue.folder), **values)
        return HTMLResponse(text, status)

    def fault(finding: Finding) -> Response:
        return show("setup_fault.html", 500, findings=[finding])

    app.mount("/fonts", StaticFiles(directory=FONTS), name="fonts")
    app.mount("/static", StaticFiles(directory=HERE / "static"), name="static")
    app.include_router(language_routes())
    app.add_middleware(Languages)
    app.add_middleware(Guard, fault_page=fault)

    @app.get("/")
    def _question() -> Response:
        stands = dialogue.now()
        if stands.question is None:
            if app.state.ended is None:
                return _finish(app, dialogue, stands, now, show)
            return show("setup_end.html", ended=app.state.ended, worth=_costly(app.state.ended))
        question = stands.question
        offered = set(question.offered.split(", ")) if question.many else {question.offered}
        asks: dict[str, Any] = {
            "now": stands,
            "question": question,
            "chosen": offered,
            "typed": stands.refused,
            "few": len(question.choices) <= FEW,
        }
        return show("setup_ask.html", **asks)

    @app.post("/answer")
    async def _answer(request: Request) -> Response:
        form = await posted(request)
        stands = dialogue.now()
        if stands.question is not None and form.text("question") == stands.question.id:  # else a second touch, or an older page
            dialogue.answer(_typed(stands, form.values))
        return RedirectResponse("/", 303)

    @app.post("/back")
    async def _back(request: Request) -> Response:
        await posted(request)
        app.state.ended = None
        dialogue.back()
        return RedirectResponse("/", 303)

    @app.exception_handler(Mendable)
    def _mendable(_: Request, error: Mendable) -> Response:
        return show("setup_fault.html", 422, findings=error.findings)

    @app.exception_handler(HTTPException)
    def _http(_: Request, error: HTTPException) -> PlainTextResponse:
        return PlainTextResponse(f"{error.detail}\n", error.status_code, headers=error.headers)

    return app


def _finish(app: FastAPI, dialogue: Dialogue, stands: Now, now: Callable[[], datetime], show: Callable[..., HTMLResponse]) -> Response:
    """Write what the answers come to; where that can't be done, say why, and ask the last question anew."""
    draft = stands.draft
    assert draft is not None
    try:
        ended = end(dialogue, draft, now().astimezone(ZoneInfo(draft.head["time_zone"])), voice_of=tongue_printed)
    except Mendable as error:
        dialogue.back()
        return show("setup_fault.html", 422, findings=error.findings)
    app.state.ended = ended
    return show("setup_end.html", ended=ended, worth=_costly(ended))


def _costly(ended: Ended) -> dict[str, Any]:
    costly = [one for one in ended.worth if one.seconds_a_day >= 0.5]
    return {"first": costly[:WORTH_SHOWN], "more": max(0, len(costly) - WORTH_SHOWN), "free": len(ended.worth) - len(costly)}


def _typed(stands: Now, values: Any) -> str:
    """Return the answer of a form: what was typed; of several choices those that were ticked."""
    question = stands.question
    assert question is not None
    if not question.many:
        return str(values.get("answer", ""))
    ticked = [choice.value for n, choice in enumerate(question.choices) if values.get(f"choice{n}")]
    return ", ".join(ticked) or ("" if question.enter_words and not question.offered else "none")


def _templates() -> Environment:
    templates = Environment(
        loader=FileSystemLoader(HERE / "templates"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        extensions=["jinja2.ext.i18n", SignedForms],
    )
    speak_in(templates)
    templates.globals |= {"visit": here, "title": said("Set up a practice")}
    return templates
