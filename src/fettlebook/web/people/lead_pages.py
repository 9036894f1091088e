"""The lead's pages of people and devices, and the page at which a device is let in."""

from typing import Annotated, Any, Literal

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response

from fettlebook.book.kinds import from_ms
from fettlebook.errors import Mendable
from fettlebook.said import said
from fettlebook.web.forms import Form, posted
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people import cookies
from fettlebook.web.people.devices import CODE_S, Devices
from fettlebook.web.people.people import People
from fettlebook.web.people.sign_in import Door
from fettlebook.web.people.visit import here
from fettlebook.web.people.who import Role, SignedIn, What, must
from fettlebook.web.saving import csv_of

Posted = Annotated[Form, Depends(posted)]
Act = Literal["pin", "no-pin", "badge", "no-badge", "again", "end"]


def lead_routes(pages: Pages, people: People, devices: Devices) -> APIRouter:
    """Return the routes."""
    routes, desk = APIRouter(), _LeadDesk(pages, people, devices)

    @routes.get("/people")
    def _people(request: Request) -> HTMLResponse:
        return desk.people(must(request, What.SET_UP))

    @routes.get("/people.csv")
    def _people_csv(request: Request) -> Response:
        must(request, What.SET_UP)
        return Response(csv_of(desk.people_rows()), media_type="text/csv; charset=utf-8", headers=saved("people.csv"))

    @routes.get("/people/{person}")
    def _person(request: Request, person: str) -> HTMLResponse:
        return desk.person(must(request, What.SET_UP), person)

    @routes.post("/people/{person}/{act}")
    def _act(request: Request, person: str, act: Act, form: Posted) -> Response:
        return desk.act(request, must(request, What.SET_UP), person, act, form)

    @routes.get("/devices")
    def _devices(request: Request) -> HTMLResponse:
        return desk.devices(must(request, What.SET_UP))

    @routes.get("/devices.csv")
    def _devices_csv(request: Request) -> Response:
        must(request, What.SET_UP)
        return Response(csv_of(desk.device_rows()), media_type="text/csv; charset=utf-8", headers=saved("devices.csv"))

    @routes.post("/devices/code")
    def _code(request: Request, form: Posted) -> HTMLResponse:
        return desk.code(request, must(request, What.SET_UP), form)

    @routes.post("/devices/{device}/{act}")
    def _device(request: Request, device: str, act: Literal["rename", "withdraw"], form: Posted) -> Response:
        return desk.of_device(must(request, What.SET_UP), device, act, form)

    @routes.get("/enrol")
    def _enrol() -> HTMLResponse:
        return pages.show("enrol.html", findings=(), in_already=bool(here().device), free=here().free, title=said("Let this device in"))

    @routes.post("/enrol")
    def _enrolled(request: Request, form: Posted) -> Response:
        try:
            _, cookie = devices.enrol(form.text("code"), request.client.host if request.client else "")
        except Mendable as error:
            return pages.show("enrol.html", 422, findings=error.findings, in_already=False, free=False, title=said("Let this device in"))
        answer = RedirectResponse("/sign-in", 303)
        cookies.give(answer, request, cookies.DEVICE, cookie, cookies.DEVICE_S)
        return answer

    return routes


class _LeadDesk:
    """What these pages show and do."""

    def __init__(self, pages: Pages, people: People, devices: Devices) -> None:
        self._pages, self._people, self._devices = pages, people, devices
        self._door = Door(pages, people, devices)

    def people(self, lead: SignedIn, trouble: Mendable | None = None, status: int = 200) -> HTMLResponse:
        """Return who works here, with role, PIN and badge."""
        return self._pages.show(
            "people.html", status, me=lead, staff=self._pages.reading.practice.people, with_pin=self._people.with_pin(),
            with_badge=self._devices.with_badge(), at=self._where(), findings=trouble.findings if trouble else (), free=here().free,
            title=said("People"),
        )  # fmt: skip

    def people_rows(self) -> list[dict[str, Any]]:
        """Return the table of people to save: that there is a PIN, never what it is."""
        pins, badges, at = self._people.with_pin(), self._devices.with_badge(), self._where()
        return [
            {"person": one.id, "name": one.name, "role": str(one.acts_as), "pin": "yes" if one.id in pins else "no",
             "badge": "yes" if one.id in badges else "no", "signed_in_at": " ".join(at.get(one.id, ()))}
            for one in self._pages.reading.practice.people
        ]  # fmt: skip

    def device_rows(self) -> list[dict[str, Any]]:
        """Return the table of devices to save."""
        return [
            {"device": one.id, "name": one.name, "let_in": self._day(one.enrolled), "by": one.by, "last_sign_in": self._day(one.seen),
             "withdrawn": self._day(one.withdrawn) if one.withdrawn else ""}
            for one in self._devices.all()
        ]  # fmt: skip

    def person(self, lead: SignedIn, person: str, trouble: Mendable | None = None, status: int = 200) -> HTMLResponse:
        """Return one person's page: give or take PIN and badge."""
        of = self._people.person(person)
        if of is None:
            return self.people(lead, Mendable(f"nobody is called {person[:60]!r}", where="people", mend="Choose one of these."), 404)
        slow = sum(tries for (what, _), tries in self._devices.waits().items() if what == person)
        free = here().free
        return self._pages.show(
            "person.html", status, me=lead, of=of, has_pin=person in self._people.with_pin(),
            has_badge=person in self._devices.with_badge(), at=self._where().get(person, ()), slow=slow,
            findings=trouble.findings if trouble else (), free=free,
            first=free and of.role is Role.LEAD, title=of.name,
        )  # fmt: skip

    def act(self, request: Request, lead: SignedIn, person: str, act: Act, form: Form) -> Response:
        """Do one thing about a person, and go back to the list."""
        first = here().free
        try:
            self._door.own_pin(form)
            session = cookies.read(request, cookies.SESSION) if person == lead.person else ""
            match act:
                case "pin":
                    self._devices.give_pin(person, form.text("pin"), form.text("again"), lead.person, session)
                case "no-pin":
                    self._devices.take_pin(person, lead.person)
                case "badge":
                    self._devices.give_badge(person, form.text("code"), lead.person)
                case "no-badge":
                    self._devices.take_badge(person, lead.person)
                case "again":
                    self._devices.let_try_again(person)
                case "end":
                    self._people.end_sessions(person=person)
        except Mendable as error:
            return self.person(lead, person, error, 422)
        answer = RedirectResponse(f"/people/{person}?done={act}" if person != lead.person or act != "end" else "/sign-in", 303)
        if first and act == "pin":
            self._first(request, answer, person)
        return answer

    def _first(self, request: Request, answer: Response, person: str) -> None:
        """The first PIN was given, and from now on a device has to be let in: the one at which it was given is."""
        device, cookie = self._devices.let_in("the device of the first PIN", person)
        cookies.give(answer, request, cookies.DEVICE, cookie, cookies.DEVICE_S)
        cookies.give(answer, request, cookies.SESSION, self._people.begin_at(device, person))

    def devices(self, lead: SignedIn, trouble: Mendable | None = None, status: int = 200) -> HTMLResponse:
        """Return the devices that are let in, and those that were."""
        names = {one.id: one.name for one in self._pages.reading.practice.people}
        return self._pages.show(
            "devices.html", status, me=lead, devices=self._devices.all(), names=names, day=self._day, free=here().free,
            findings=trouble.findings if trouble else (), title=said("Devices"),
        )  # fmt: skip

    def code(self, request: Request, lead: SignedIn, form: Form) -> HTMLResponse:
        """Show a code that lets one device in."""
        import segno  # noqa: PLC0415 - seldom needed

        try:
            self._door.own_pin(form)
            code = self._devices.code(form.text("name"), lead.person)
        except Mendable as error:
            return self.devices(lead, error, 422)
        address = f"{request.url.scheme}://{request.url.netloc}/enrol"
        made = segno.make(f"{address}#{code}", error="m")
        sign = made.svg_inline(scale=6, border=2, omitsize=True, title=said("The code as a sign to scan"))
        return self._pages.show(
            "device_code.html", code=f"{code[:4]} {code[4:]}", address=address, sign=sign, minutes=CODE_S // 60, name=form.text("name"),
            title=said("Let a device in"),
        )  # fmt: skip

    def of_device(self, lead: SignedIn, device: str, act: Literal["rename", "withdraw"], form: Form) -> Response:
        """Rename or withdraw a device."""
        try:
            self._door.own_pin(form)
            if act == "rename":
                self._devices.rename(device, form.text("name"), lead.person)
            else:
                self._devices.withdraw(device, lead.person)
        except Mendable as error:
            return self.devices(lead, error, 422)
        return RedirectResponse("/devices", 303)

    def _where(self) -> dict[str, list[str]]:
        at: dict[str, list[str]] = {}
        for one in self._devices.all():
            if one.person and not one.locked:
                at.setdefault(one.person, []).append(one.name)
        return at

    def _day(self, seconds: int) -> str:
        return from_ms(seconds * 1000, str(self._pages.reading.zone)).isoformat(" ", "minutes")[:16]
