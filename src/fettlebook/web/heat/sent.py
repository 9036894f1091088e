"""What a form of these pages sent: fields with all their values, and at most one file; from our own pages only."""

from dataclasses import dataclass, field
from typing import Final

from fastapi import Request
from starlette.datastructures import UploadFile
from starlette.exceptions import HTTPException

from fettlebook.errors import Mendable
from fettlebook.said import said

MOST_BYTES: Final = 8_000_000  # a day of readings each second in many columns
MOST_FIELDS: Final = 700
MOST_SIGNS: Final = 500


@dataclass(frozen=True, slots=True)
class Sent:
    """A sent form."""

    values: dict[str, list[str]] = field(default_factory=dict)
    file: tuple[bytes, str] | None = None  # its bytes as they came, and its name

    def one(self, name: str) -> str:
        """Return a field's only value, without blanks around it; empty where it was not sent."""
        return (self.values.get(name) or [""])[0].strip()

    def all(self, name: str) -> tuple[str, ...]:
        """Return every value of a field."""
        return tuple(self.values.get(name, ()))

    def chosen(self, name: str, offered: tuple[str, ...], label: str) -> str:
        """Return one of what was offered; raises `Mendable` where nothing, or something else, was chosen."""
        value = self.one(name)
        if value not in offered:
            what = said("{it!r} is none of the choices", it=value[:60]) if value else said("not answered")
            raise Mendable(what, where=label, mend=said("Go back and choose one: what you typed is still there."))
        return value

    def reason(self, name: str, label: str) -> str:
        """Return words that must be given; raises `Mendable` where there are none."""
        words = self.one(name)
        if not words:
            raise Mendable(said("nothing was written"), where=label, mend=said("Go back and write it in a few words. No patients' names."))
        return words


async def sent(request: Request) -> Sent:
    """Read a posted form."""
    if request.headers.get("origin") is None and request.headers.get("sec-fetch-site") is None:
        raise HTTPException(403, said("Refused: the request does not say that it comes from this page."))
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > MOST_BYTES:
        raise HTTPException(
            413, said("Refused: more than {MOST_BYTES} MB. Cut the one cycle out of the log.", MOST_BYTES=MOST_BYTES // 1000000)
        )
    values: dict[str, list[str]] = {}
    file: tuple[bytes, str] | None = None
    async with request.form(max_files=1, max_fields=MOST_FIELDS) as form:
        for name, value in form.multi_items():
            if isinstance(value, UploadFile):
                content = await value.read()
                if content or value.filename:
                    file = (content, _name_of(value.filename or ""))
            elif len(value) > MOST_SIGNS:
                raise HTTPException(413, said("Refused: more words than a form of this page holds."))
            else:
                values.setdefault(name, []).append("".join(sign for sign in value if sign.isprintable()))
    return Sent(values, file)


def _name_of(name: str) -> str:
    """Return a file's name without folders."""
    return "".join(sign for sign in name.replace("\\", "/").rpartition("/")[2] if sign.isprintable())[-120:]
