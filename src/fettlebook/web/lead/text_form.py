"""A posted practice file: one large field of text beside small ones, from our own pages only."""

from typing import Final

from fastapi import Request
from starlette.exceptions import HTTPException

from fettlebook.web.forms import Form
from fettlebook.web.people import TOKEN

MOST_BYTES: Final = 3_000_000  # as it is sent, with three signs for each that isn't a letter; a practice of 300 chairs stays under
SMALL_MOST: Final = 200


async def posted_text(request: Request) -> Form:
    """Read the form; the text keeps its line ends, the other fields are cleaned as in every form."""
    if request.headers.get("origin") is None and request.headers.get("sec-fetch-site") is None:
        raise HTTPException(403, "Refused: the request does not say that it comes from this page.")
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > MOST_BYTES:
        raise HTTPException(413, "Refused: more than a practice file holds. Change it by an editor on the server's machine.")
    if not request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        raise HTTPException(415, "Refused: no form of this page.")
    async with request.form(max_files=0, max_fields=12) as sent:
        values = {name: value for name, value in sent.items() if isinstance(value, str) and name != TOKEN}
    small = {n: "".join(s for s in v if s.isprintable())[:SMALL_MOST] for n, v in values.items() if n != "text"}
    return Form({**small, "text": values.get("text", "")})
