"""The addresses under /api: who works here, and entries from tablets. A document in the OpenAPI form describes them."""

import json
from collections.abc import Callable, Sequence
from typing import Any, Final

from fastapi import FastAPI, Request
from fastapi.responses import Response
from pydantic import ValidationError
from starlette.concurrency import run_in_threadpool
from starlette.exceptions import HTTPException

from fettlebook import __version__
from fettlebook.book.canonical import each_key_once
from fettlebook.book.signing import book_name
from fettlebook.errors import Finding, Mendable
from fettlebook.web.people.visit import here
from fettlebook.web.people.who import SignedIn, What, may, signed_in_or_none
from fettlebook.web.record import Record
from fettlebook.web.tablets.forms import BODY_MOST, Batch, Results, Trouble, WhoHere
from fettlebook.web.tablets.taking import Taking

ANSWERS: Final[dict[int | str, dict[str, Any]]] = {
    401: {"model": Trouble, "description": "Nobody is signed in here. Entries wait in the tablet."},
    403: {"model": Trouble, "description": "Came from another page, or the signed-in person only reads."},
    421: {"description": "Asked under a name that is not this server's."},
    503: {"model": Trouble, "description": "Nothing was stored: the book can't be written now."},
}
TAKES: Final[dict[int | str, dict[str, Any]]] = {
    400: {"model": Trouble, "description": "The body is not JSON, or names a key twice."},
    413: {"model": Trouble, "description": f"More than {BODY_MOST:,} bytes."},
    415: {"model": Trouble, "description": "Not application/json."},
    422: {"model": Trouble, "description": "JSON of another form than this document says."},
}


class _RefusedError(Exception):
    """The request as a whole is refused."""

    def __init__(self, status: int, *findings: Finding) -> None:
        self.status, self.findings = status, findings


def make_api(record: Record, zone: Callable[[], str]) -> FastAPI:
    """Return the application to be mounted at /api; `zone` gives the practice's time zone."""
    api = FastAPI(title="fettlebook for tablets", version=__version__, docs_url=None, redoc_url=None, openapi_url="/openapi.json")
    taking = Taking(record.store)

    def signed(request: Request) -> SignedIn:
        found = signed_in_or_none(request)
        if found is None:
            mend = "Sign in at this tablet. What was noted waits in it until then."
            raise _RefusedError(401, Finding("nobody is signed in here", "sign-in", mend))
        return found

    @api.exception_handler(_RefusedError)
    def _refused(_: Request, error: _RefusedError) -> Response:
        headers = {"WWW-Authenticate": "Cookie"} if error.status == 401 else None
        return _trouble(error.status, error.findings, headers)

    @api.exception_handler(Mendable)
    def _mendable(_: Request, error: Mendable) -> Response:
        return _trouble(503, error.findings)

    @api.exception_handler(HTTPException)
    def _http(_: Request, error: HTTPException) -> Response:
        finding = Finding(str(error.detail).lower(), "address", "Look at /api/openapi.json for what there is.")
        return _trouble(error.status_code, [finding], error.headers)

    @api.get("/who", responses=ANSWERS)
    def _who(request: Request) -> WhoHere:
        """Say who is signed in at this tablet."""
        found = signed(request)
        return WhoHere(
            person=found.person,
            name=found.name,
            role=str(found.role),
            device=found.device,
            now=record.now(),
            zone=zone(),
            book=book_name(record.store.practice),
            token=here().token,
            highest_n=record.store.highest_n(found.device),
        )

    body = {"required": True, "content": {"application/json": {"schema": {"$ref": "#/components/schemas/Batch"}}}}

    @api.post("/entries", responses=ANSWERS | TAKES, response_model=Results, openapi_extra={"requestBody": body})
    async def _entries(request: Request) -> Response:
        """Take entries that waited in a tablet. Sent again, an entry gets the same receipt; it is never in the book twice."""
        found = signed(request)
        if not may(found.role, What.NOTE):
            mend = "Somebody who does the work signs in at this tablet; what was noted waits in it until then."
            raise _RefusedError(403, Finding(f"{found.name} only reads here", "sign-in", mend))
        batch = await read_batch(request)
        results = await run_in_threadpool(taking.take, batch, now=record.now(), via=found.device)
        return _json(results.model_dump(mode="json", exclude_none=True))

    described = api.openapi

    def openapi() -> dict[str, Any]:
        if api.openapi_schema is None:
            document = described()
            models = Batch.model_json_schema(ref_template="#/components/schemas/{model}")
            document["components"]["schemas"] |= models.pop("$defs", {}) | {"Batch": models}
            api.openapi_schema = document
        return api.openapi_schema

    api.openapi = openapi  # type: ignore[method-assign]
    return api


async def read_batch(request: Request) -> Batch:
    """Return the batch in a request's body; raises for the answer that says what is wrong with it."""
    if request.headers.get("content-type", "").partition(";")[0].strip().lower() != "application/json":
        raise _RefusedError(415, Finding("not application/json", "Content-Type", "Send JSON, and say so."))
    body = bytearray()
    async for part in request.stream():
        body += part
        if len(body) > BODY_MOST:
            raise _RefusedError(413, Finding(f"more than {BODY_MOST:,} bytes", "body", "Send fewer entries at a time."))
    try:
        value = json.loads(bytes(body), object_pairs_hook=each_key_once, parse_int=_integer, parse_constant=_no_number)
    except RecursionError:
        raise _RefusedError(400, Finding("nested too deeply", "body", "Send entries as the book has them.")) from None
    except ValueError as error:
        raise _RefusedError(400, Finding(f"not JSON: {error}"[:200], "body", "Send one JSON object in UTF-8.")) from None
    try:
        return Batch.model_validate(value)
    except ValidationError as error:
        raise _RefusedError(422, *map(_finding, error.errors(include_url=False, include_input=False)[:20])) from None


def _finding(part: Any) -> Finding:
    where = "".join(f"[{name}]" if isinstance(name, int) else f".{name}" for name in part["loc"])
    what = part["msg"][0].lower() + part["msg"][1:]
    return Finding(what, f"body{where}"[:200], "Send this field in the form that /api/openapi.json names.")


def _trouble(status: int, findings: Sequence[Finding], headers: Any = None) -> Response:
    return _json({"findings": [{"what": one.what, "where": one.where, "mend": one.mend} for one in findings]}, status, headers)


def _json(said: Any, status: int = 200, headers: Any = None) -> Response:
    # In ASCII: a text that came with half a character in it can be said too.
    return Response(json.dumps(said), status, headers=headers, media_type="application/json")


def _integer(text: str) -> int | float:
    return int(text) if len(text) <= 20 else float(text)  # longer is in no entry; int() of millions of digits would take for ever


def _no_number(text: str) -> Any:
    raise ValueError(f"{text} is no number")
