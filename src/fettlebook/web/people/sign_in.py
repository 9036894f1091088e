"""The pages to sign in, lock, unlock and sign out, and one's own page."""

from typing import Annotated

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.errors import Mendable
from fettlebook.said import said
from fettlebook.web.forms import Form, posted
from fettlebook.web.pages import Pages
from fettlebook.web.people import cookies
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.kept_forms import KeptForms
from fettlebook.web.people.people import People, Refused
from fettlebook.web.people.visit import ask_to_enrol, here, next_of
from fettlebook.web.people.who import signed_in

Posted = Annotated[Form, Depends(posted)]
CLEAR = {"Clear-Site-Data": '"cache"'}


def sign_in_routes(pages: Pages, people: People, devices: Devices, kept: KeptForms) -> APIRouter:
    """Return the routes."""
    routes, door = APIRouter(), Door(pages, people, devices)

    @routes.get("/sign-in")
    def _sign_in(request: Request, next: str = "/", person: str = "") -> Response:
        if not here().free and not here().device:
            return ask_to_enrol(request)
        return door.page(next, person or here().locked)

    @routes.post("/sign-in")
    def _signed_in(request: Request, form: Posted) -> Response:
        return door.sign_in(request, form)

    @routes.post("/sign-out")
    def _sign_out(request: Request) -> Response:
        people.leave(cookies.read(request, cookies.SESSION))
        answer = RedirectResponse("/sign-in", 303, CLEAR)
        cookies.drop(answer, request, cookies.SESSION)
        return answer

    @routes.post("/lock")
    def _lock(request: Request, form: Posted) -> Response:
        if (who := here().who) is not None and not here().free:
            people.lock(who.device, who.person)
        if _wants_json(request):
            return JSONResponse({"locked": True})
        return RedirectResponse(f"/sign-in?next={next_of(form.text('next'))}", 303)

    @routes.get("/me")
    def _me(request: Request) -> Response:
        return door.me(request)

    @routes.post("/me/here")
    def _still_here() -> Response:
        return Response(status_code=204)

    @routes.post("/me/pin")
    def _my_pin(request: Request, form: Posted) -> Response:
        who = signed_in(request)
        try:
            door.own_pin(form)
            devices.give_pin(who.person, form.text("pin"), form.text("again"), who.person, cookies.read(request, cookies.SESSION))
        except Mendable as error:
            return door.me(request, error, 422)
        return RedirectResponse("/me?done=pin", 303)

    @routes.get("/kept/{ticket}")
    def _kept(request: Request, ticket: str) -> HTMLResponse:
        who = signed_in(request)
        form = kept.take(ticket, who.device, who.person)
        if form is None:
            raise HTTPException(404, "Nothing waits here any more. Go back to the page and look whether it was written.")
        return pages.show("kept_form.html", form=form, title=said("Not written yet"))

    return routes


class Door:
    """What the pages show and do."""

    def __init__(self, pages: Pages, people: People, devices: Devices) -> None:
        self._pages, self._people, self._devices = pages, people, devices

    def page(self, next_page: str, person: str = "", fault: str = "", status: int = 200) -> HTMLResponse:
        """Return the page to sign in: the names, or the PIN of the one that was chosen."""
        staff = self._pages.reading.practice.people
        chosen = next((one for one in staff if one.id == person), None)
        return self._pages.show(
            "sign_in.html", status, staff=staff, chosen=chosen, with_pin=self._people.with_pin(), next_page=next_of(next_page),
            locked=here().locked, fault=fault, free=here().free, title=said("Sign in"),
        )  # fmt: skip

    def sign_in(self, request: Request, form: Form) -> Response:
        """Sign somebody in by name, PIN or badge, and go back to where it was."""
        visit, person, badge = here(), form.text("person"), form.text("badge")
        if visit.free:
            done = self._people.choose(person, visit.device)
        elif not visit.device:
            return ask_to_enrol(request)
        elif badge:
            done = self._people.by_badge(visit.device, badge)
        else:
            done = self._people.by_pin(visit.device, person, form.text("pin"))
        if isinstance(done, Refused):
            fault = self._fault(done, badge=bool(badge))
            if _wants_json(request):
                return JSONResponse({"fault": fault, "wait_s": done.wait_s}, 401)
            return self.page(form.text("next"), person, fault, 422)
        answer: Response = RedirectResponse(next_of(form.text("next")), 303)
        if _wants_json(request):
            answer = JSONResponse({"person": done.person})
        if done.device:
            cookies.give(answer, request, cookies.DEVICE, done.device, cookies.DEVICE_S)
        cookies.give(answer, request, cookies.SESSION, done.session)
        return answer

    def me(self, request: Request, trouble: Mendable | None = None, status: int = 200) -> HTMLResponse:
        """Return one's own page."""
        who = signed_in(request)
        return self._pages.show(
            "me.html", status, who=who, findings=trouble.findings if trouble else (), done=request.query_params.get("done", ""),
            has_pin=who.person in self._people.with_pin(), free=here().free, title=who.name,
        )  # fmt: skip

    def own_pin(self, form: Form) -> None:
        """Ask the signed-in person's own PIN again; raises `Mendable` where it is wrong. While nobody has one, none is asked."""
        visit = here()
        if visit.free or visit.who is None or visit.who.person not in self._people.with_pin():
            return
        found = self._people.check_pin(visit.device, visit.who.person, form.text("own_pin"))
        if isinstance(found, Refused):
            raise Mendable(self._fault(found), where=said("your own PIN"), mend=said("Nothing was changed."))

    @staticmethod
    def _fault(refused: Refused, *, badge: bool = False) -> str:
        if refused.wait_s:
            return said("That was not right too often. Wait {n} s before the next try.", n=refused.wait_s)
        return said("Nobody has this badge.") if badge else said("That is not the PIN of this person.")


def _wants_json(request: Request) -> bool:
    return request.headers.get("accept", "") == "application/json"
