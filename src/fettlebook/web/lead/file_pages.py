"""The practice file: changed in forms or as text, looked at before it is saved, and each version that the book holds."""

from difflib import unified_diff
from pathlib import Path
from typing import Annotated, Any, Final

from fastapi import APIRouter, Depends, Request
from fastapi.responses import HTMLResponse, RedirectResponse, Response
from starlette.exceptions import HTTPException

from fettlebook.book.door import Door as BookDoor
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.errors import Mendable
from fettlebook.practice.change import Group, change, groups_of
from fettlebook.practice.edit import BOM, read_to_change, replace_practice_file
from fettlebook.practice.load import Loaded, Located, read_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.said import said
from fettlebook.web.desk import Desk
from fettlebook.web.forms import Form, posted
from fettlebook.web.lead.text_form import posted_text
from fettlebook.web.lead.versions import Version, versions_of
from fettlebook.web.moments import short
from fettlebook.web.pages import Pages, saved
from fettlebook.web.people.devices import Devices
from fettlebook.web.people.people import People
from fettlebook.web.people.sign_in import Door
from fettlebook.web.people.visit import here
from fettlebook.web.people.who import What, must
from fettlebook.web.record import Record
from fettlebook.web.saving import csv_of

Posted = Annotated[Form, Depends(posted)]
Text = Annotated[Form, Depends(posted_text)]
DIFF_LINES: Final = 2_000  # of a difference that is shown
Line = tuple[str, str]  # "+", "-", "@" or " ", and the text


def file_routes(pages: Pages, record: Record, desk: Desk, people: People, path: Path) -> APIRouter:
    """Return the routes; everyone of them asks for the role that sets up."""
    routes = APIRouter(prefix="/lead/file")
    shelf = _Shelf(pages, record, desk, people, path)

    @routes.get("")
    def _forms(request: Request, written: str = "") -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.forms(written=bool(written))

    @routes.get("/text")
    def _text(request: Request) -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.text()

    @routes.post("/form")
    def _form(request: Request, form: Posted) -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.from_form(form)

    @routes.post("/look")
    def _look(request: Request, form: Text) -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.look(form)

    @routes.post("/save")
    def _save(request: Request, form: Text) -> Response:
        return shelf.save(must(request, What.SET_UP).person, form)

    @routes.get("/versions")
    def _versions(request: Request) -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.versions()

    @routes.get("/versions.csv")
    def _versions_csv(request: Request) -> Response:
        must(request, What.SET_UP)
        rows = [
            {"number": v.number, "received": shelf.when(v), "by": v.by, "lines_changed": v.changed, "sha256": v.digest} for v in shelf.all()
        ]
        return Response(csv_of(rows), media_type="text/csv; charset=utf-8", headers=saved("versions.csv"))

    @routes.get("/versions/{number}")
    def _version(request: Request, number: int) -> HTMLResponse:
        must(request, What.SET_UP)
        return shelf.version(number)

    return routes


class _Shelf:
    """The file and its versions, as the pages need them."""

    def __init__(self, pages: Pages, record: Record, desk: Desk, people: People, path: Path) -> None:
        self._pages, self._record, self._desk, self._path = pages, record, desk, path
        self._door, self._own = BookDoor(record.store), Door(pages, people, Devices(people))

    def forms(self, *, written: bool = False, nothing: bool = False) -> HTMLResponse:
        """Return the page of forms."""
        loaded, _ = read_to_change(self._path)
        assert loaded.practice is not None
        return self._show("lead_file.html", "forms", said("Practice file"), groups=groups_of(loaded.practice), digest=loaded.digest,
            written=written, nothing=nothing)  # fmt: skip

    def text(self) -> HTMLResponse:
        """Return the page of the text; also of a file that can't be used as it stands, which is mended here."""
        raw = self._path.read_bytes()
        loaded = self._read(raw)
        return self._text_page(_decoded(raw), loaded.digest, loaded.located)

    def from_form(self, form: Form) -> HTMLResponse:
        """Return what the file would be with what was typed into one form."""
        loaded, raw = read_to_change(self._path)
        self._unchanged(form, loaded.digest)
        assert loaded.practice is not None
        group = self._group(groups_of(loaded.practice), form.text("group"))
        after = change(raw, group, {field.name: form.text(field.name, field.value) for field in group.fields})
        if after == raw:
            return self.forms(nothing=True)
        return self._looked(raw, after, loaded.digest)

    def look(self, form: Form) -> HTMLResponse:
        """Return what the file would be as it was typed: each finding by its line, and what would change."""
        raw = self._path.read_bytes()
        digest = read_practice(raw, self._path.name).digest
        self._unchanged(form, digest)
        return self._looked(raw, _encoded(form.values.get("text", ""), raw), digest)

    def save(self, by: str, form: Form) -> Response:
        """Put the text in place whole, and note the version with who made it; nothing is written where anything is wrong."""
        raw = self._path.read_bytes()
        before = read_practice(raw, self._path.name)
        self._unchanged(form, before.digest)
        after = _encoded(form.values.get("text", ""), raw)
        loaded = self._read(after)
        if loaded.practice is None:
            return self._looked(raw, after, before.digest)
        try:
            self._own.own_pin(form)
            text = after.decode("utf-8")
            version = PracticeFileVersion.of(text, self._path.name)
            moment, subjects = self._moment(), (f"practice:{loaded.practice.practice.id}",)
            self._door.refuse(version, moment=moment, by=by, subjects=subjects)
            replace_practice_file(self._path, before, raw, after, loaded.practice)
            self._door.note(version, moment=moment, by=by, subjects=subjects)
        except Mendable as error:
            return self._looked(raw, after, before.digest, trouble=error)
        self._desk.again(self._desk.now().date())
        return RedirectResponse("/lead/file?written=1", 303)

    def all(self) -> tuple[Version, ...]:
        """Return the versions that the book holds, newest first."""
        return versions_of(self._record.store.read(kinds=[PracticeFileVersion.KIND]))

    def when(self, version: Version) -> str:
        """Return when a version was received, in words."""
        return short(version.received_ms, self._pages.reading.zone, self._record.now())

    def versions(self) -> HTMLResponse:
        """Return the list of versions."""
        return self._show("lead_versions.html", "versions", said("Versions of the practice file"), versions=self.all(), when=self.when)

    def version(self, number: int) -> HTMLResponse:
        """Return one version, and what it changed."""
        held = {version.number: version for version in self.all()}
        if number not in held:
            raise HTTPException(404, said("The book holds no such version."))
        one, before = held[number], held.get(number - 1)
        return self._show(
            "lead_version.html", "versions", said("Version {n} of the practice file", n=number), held=one, when=self.when,
            diff=_diff(before.text, one.text) if before is not None else (),
        )  # fmt: skip

    def _looked(self, before: bytes, after: bytes, digest: str, trouble: Mendable | None = None) -> HTMLResponse:
        loaded = self._read(after)
        good = loaded.practice is not None
        text = _decoded(after)
        if not good:
            return self._text_page(text, digest, loaded.located, status=422)
        return self._show(
            "lead_file_look.html", "text", said("What would change"), 422 if trouble else 200, text=text, digest=digest,
            diff=_diff(_decoded(before), text), located=loaded.located, findings=trouble.findings if trouble else (), free=here().free,
        )  # fmt: skip

    def _text_page(self, text: str, digest: str, located: tuple[Located, ...], status: int = 200) -> HTMLResponse:
        return self._show(
            "lead_file_text.html", "text", said("Practice file as text"), status, text=text, digest=digest, located=located,
            lines=text.splitlines(),
        )  # fmt: skip

    def _read(self, raw: bytes) -> Loaded:
        """Read a text as the pages would: with the rulebooks that it names."""
        loaded = read_practice(raw, self._path.name)
        if loaded.practice is None:
            return loaded
        try:
            load_rulebook(loaded.practice, on=self._desk.now().date())
        except Mendable as error:
            found = tuple(
                Located(one, ("practice", "rulebooks"), "practice", loaded.line(("practice", "rulebooks"))) for one in error.findings
            )
            return Loaded(loaded.file, loaded.digest, None, (*loaded.located, *found), True, loaded.lines, loaded.content)
        return loaded

    def _unchanged(self, form: Form, digest: str) -> None:
        if form.text("digest") != digest:
            raise Mendable(
                said("the practice file was changed since this page was opened"), where=self._path.name,
                mend=said("Nothing was written. Open the page again, and put your change in once more."),
            )  # fmt: skip

    @staticmethod
    def _group(groups: tuple[Group, ...], key: str) -> Group:
        found = next((group for group in groups if group.key == key), None)
        if found is None:
            raise HTTPException(404, said("No such form."))
        return found

    def _moment(self) -> Moment:
        return Moment(self._record.now(), str(self._pages.reading.zone))

    def _show(self, template: str, tab: str, title: str, status: int = 200, **values: Any) -> HTMLResponse:
        names = {one.id: one.name for one in self._pages.reading.practice.people}
        return self._pages.show(template, status, tab=tab, title=title, names=names, **values)


def _decoded(raw: bytes) -> str:
    return raw.removeprefix(BOM).decode("utf-8", "replace")


def _encoded(text: str, like: bytes) -> bytes:
    """Return what was typed as bytes, with the line ends and the mark of the file as it was: a browser sends its own line ends."""
    plain = text.replace("\r\n", "\n").replace("\r", "\n")
    body = plain.replace("\n", "\r\n") if b"\r\n" in like else plain
    return (BOM if like.startswith(BOM) else b"") + body.encode("utf-8", "replace")


def _diff(before: str, after: str) -> tuple[Line, ...]:
    """Return what differs, line by line, with three lines around it."""
    found = list(unified_diff(before.splitlines(), after.splitlines(), lineterm="", n=3))[2:]
    return tuple((line[:1], line[1:] if not line.startswith("@") else line.strip("@ ")) for line in found[:DIFF_LINES])
