"""What a person typed into a form: read, kept, and found wrong field by field.

Only our own pages may post: a request has to say so itself, beside what the guard refuses. A form is small; more than it
can hold is not read at all.
"""

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from typing import Final

from fastapi import Request
from starlette.exceptions import HTTPException

from fettlebook.errors import Finding
from fettlebook.web.people import TOKEN

MOST_BYTES: Final = 16_384
MOST_FIELDS: Final = 120
MOST_SIGNS: Final = 200  # of one field
_NUMBER: Final = re.compile(r"[+-]?\d{1,9}(?:[.,]\d{1,9})?")


@dataclass(slots=True)
class Form:
    """Field names with what was typed, and what is wrong with them; `elsewhere` belongs to no field."""

    values: Mapping[str, str]
    wrong: dict[str, list[Finding]] = field(default_factory=dict)
    elsewhere: list[Finding] = field(default_factory=list)

    @property
    def good(self) -> bool:
        """Whether nothing was found wrong so far."""
        return not self.wrong and not self.elsewhere

    def text(self, name: str, otherwise: str = "") -> str:
        """Return what was typed, without blanks around it; `otherwise` where the field was not sent."""
        return self.values.get(name, otherwise).strip()

    def refuse(self, name: str, what: str, mend: str) -> None:
        """Find a field wrong."""
        self.wrong.setdefault(name, []).append(Finding(what, name, mend))

    def number(self, name: str, label: str, *, otherwise: float | None = None) -> float | None:
        """Return a field as a number, with decimal point or comma; None where it is empty or no number, which is then found wrong."""
        typed = self.text(name)
        if not typed:
            if otherwise is None:
                self.refuse(name, f"{label}: nothing was entered", "Enter a number.")
            return otherwise
        if not _NUMBER.fullmatch(typed):
            self.refuse(name, f'{label}: "{typed[:40]}" is no number', "Enter digits, with a point or a comma: 52.5.")
            return None
        return float(typed.replace(",", "."))

    def day(self, name: str, label: str, *, otherwise: date | None = None) -> date | None:
        """Return a field as a day; an empty one gives `otherwise`."""
        typed = self.text(name)
        if not typed:
            return otherwise
        try:
            found = date.fromisoformat(typed)
        except ValueError:
            self.refuse(name, f'{label}: "{typed[:40]}" is no day', "Write it as 2026-11-25.")
            return None
        if not 2000 <= found.year <= 2099:
            self.refuse(name, f"{label}: {found} can't be right", "Correct the year.")
            return None
        return found

    def take(self, findings: Sequence[Finding], fields: Mapping[str, str]) -> None:
        """Put findings beside the fields that they are about: `fields` says which `where` is which field."""
        for found in findings:
            name = next((fields[where] for where in (found.where, *found.where.split(", ")) if where in fields), None)
            (self.elsewhere if name is None else self.wrong.setdefault(name, [])).append(found)


async def posted(request: Request) -> Form:
    """Read a posted form, from our own pages only."""
    origin, site = request.headers.get("origin"), request.headers.get("sec-fetch-site")
    if origin is None and site is None:
        raise HTTPException(403, "Refused: the request does not say that it comes from this page.")
    length = request.headers.get("content-length", "")
    if not length.isdigit() or int(length) > MOST_BYTES:
        raise HTTPException(413, "Refused: more than a form of this page holds.")
    if not request.headers.get("content-type", "").startswith("application/x-www-form-urlencoded"):
        raise HTTPException(415, "Refused: no form of this page.")
    async with request.form(max_files=0, max_fields=MOST_FIELDS) as sent:
        values = {name: value for name, value in sent.items() if isinstance(value, str) and name != TOKEN}
    if len(values) > MOST_FIELDS or any(len(value) > MOST_SIGNS for value in values.values()):
        raise HTTPException(413, "Refused: more than a form of this page holds.")
    # A scanned code keeps the sign that ends its fields (group separator): without it, lot and last day run into each other.
    kept = {name: "\x1d" if name == "code" else "" for name in values}
    return Form({name: "".join(sign for sign in value if sign.isprintable() or sign == kept[name]) for name, value in values.items()})
