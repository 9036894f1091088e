"""The page of arrivals, and the address to which machines send: `PUT /arrive/SOURCE/NAME` with the token of a device that was let in.

A gateway is let in like a tablet: the lead shows a code, the gateway sends it once (`POST /arrive/enrol`) and keeps the token. What it
sends is answered only when it lies in the folder for good; taking it in happens after that.
"""

from pathlib import Path
from typing import Final

from fastapi import APIRouter, Request
from fastapi.responses import HTMLResponse, JSONResponse, RedirectResponse, Response
from starlette.concurrency import run_in_threadpool

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.arrivals.spool import spool
from fettlebook.exchange.calendar import booked_days
from fettlebook.exchange.key import KEY_BYTES
from fettlebook.said import said
from fettlebook.web.arriving.watching import Watching
from fettlebook.web.pages import Pages
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of

APPOINTMENTS: Final = "appointments"
BODY_MOST: Final = 20_000_000  # of one message; a longer log goes through the folder
CODE_MOST: Final = 200


def arriving_routes(pages: Pages, record: Record, watching: Watching, people: People) -> APIRouter:
    """Return the routes."""
    routes, devices = APIRouter(), Devices(people)

    @routes.get("/arrivals")
    def _arrivals() -> HTMLResponse:
        return pages.show(
            "arrivals.html", came=watching.came(), aside=watching.put_aside(), trouble=watching.trouble, folder=watching.folder.name,
            machines=pages.reading.practice.machines, title=said("Arrivals"),
        )  # fmt: skip

    @routes.get("/arrivals.csv")
    def _table() -> Response:
        rows = [
            {"file": one.path.name, "why": " ".join(one.why.split("\n")[1:]).strip(), "first": one.why.partition("\n")[0]}
            for one in watching.put_aside()
        ]
        headers = {"Content-Disposition": 'attachment; filename="put-aside.csv"'}
        return Response(csv_of(rows, ("file", "first", "why")), media_type="text/csv; charset=utf-8", headers=headers)

    @routes.post("/arrivals/again")
    def _again() -> RedirectResponse:
        watching.look_again()
        return RedirectResponse("/arrivals", 303)

    @routes.post("/arrive/enrol")
    async def _enrol(request: Request) -> Response:
        code = (await _body(request, CODE_MOST)).decode("ascii", "replace").strip()
        address = request.client.host if request.client else ""
        try:
            device, token = await run_in_threadpool(devices.enrol, code, address)
        except Mendable as error:
            return _told(403, *error.findings)
        return JSONResponse({"device": device, "token": token}, 201)

    @routes.put("/arrive/{source}/{name}")
    async def _arrive(source: str, name: str, request: Request) -> Response:
        if not _let_in(people, request):
            mend = "Let the lead show a code, send it once to /arrive/enrol, and keep the token."
            return _told(401, Finding("no token of a device that was let in", "Authorization", mend))
        try:
            content = await _body(request, BODY_MOST)
            if source == APPOINTMENTS:
                return await run_in_threadpool(_appointments, pages, watching, name, content)
            path = await run_in_threadpool(spool, watching.folder, source, name, content, record.now())
        except Mendable as error:
            too_long = error.findings[0].where == "body"
            return _told(413 if too_long else 503 if error.findings[0].what.startswith("can't be kept") else 422, *error.findings)
        watching.look_again()
        return JSONResponse({"file": path.name, "length_bytes": len(content)}, 202)

    return routes


def _appointments(pages: Pages, watching: Watching, name: str, content: bytes) -> Response:
    """Put an export of the appointment book into its folder, where it can be read; the newest one there is the book."""
    folder = watching.appointments
    if folder is None:
        mend = "Start the page with the folder of exports in the place of the calendar file."
        return _told(409, Finding("the appointment book is a file, not a folder of exports", APPOINTMENTS, mend))
    today = pages.now.date()
    booked_days(content, name, pages.reading.practice, today, bytes(KEY_BYTES), days=1)  # raises where it is no appointment book
    ending = ".json" if content.lstrip()[:1] == b"{" else ".ics"
    path = spool(folder.parent, folder.name, f"{Path(name).stem}{ending}", content, round(pages.now.timestamp() * 1000))
    return JSONResponse({"file": path.name, "length_bytes": len(content)}, 202)


def _let_in(people: People, request: Request) -> bool:
    if people.free:
        return True  # on this machine alone, and nobody has a PIN yet
    kind, _, token = request.headers.get("authorization", "").partition(" ")
    return kind.lower() == "bearer" and bool(people.device_of(token.strip(), free=False))


async def _body(request: Request, most: int) -> bytes:
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > most:
            raise Mendable(f"more than {most:,} bytes", where="body", mend="Put it into the folder of arrivals instead.")
    return bytes(body)


def _told(status: int, *findings: Finding) -> Response:
    headers = {"WWW-Authenticate": "Bearer"} if status == 401 else None
    return JSONResponse({"findings": [{"what": f.what, "where": f.where, "mend": f.mend} for f in findings]}, status, headers)
