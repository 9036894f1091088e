"""How a form is made: what it asks, how each answer is read, and what is wrong with it, beside its field."""

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal, TypeVar

from pydantic import ValidationError

from fettlebook.book.kinds import Data
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.web.forms import Form

Choices = Sequence[tuple[str, str]]
NAME: Final = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,59}")  # as ids in entries are
SCANNED: Final = "code"
D = TypeVar("D", bound=Data)


@dataclass(frozen=True, slots=True)
class Ask:
    """One field: a number, a few words, a day or time, a code to scan, something to choose, or a tick."""

    name: str
    label: str
    kind: Literal["number", "words", "day", "time", "code", "choice", "tick"] = "number"
    value: str = ""  # what stands there first
    unit: str = ""
    hint: str = ""
    choices: Choices = ()
    known: Sequence[str] = ()  # offered while typing, others are taken as well


@dataclass(frozen=True, slots=True)
class Entering:
    """One form: where it hangs, what it asks, and the entry that it means (None where something is wrong, and the form tells what)."""

    part: str  # of the pages of water
    back: str
    button: str
    title: str
    lead: str
    asks: Callable[[Look], Sequence[Ask]]
    read: Callable[[Form, Look], Data | None]
    caution: str = ""
    keeps: tuple[str, ...] = ()  # fields that stay for the next entry
    label: Callable[[Look], Sequence[str]] = lambda _: ()  # further cautions, as rulebook and product label say them


def chairs_and_machines(look: Look) -> list[tuple[str, str]]:
    """Return the chairs and machines of the practice file, to choose from."""
    practice = look.basis.practice
    return [*((f"chair:{c.id}", c.id) for c in practice.chairs), *((f"machine:{m.id}", m.id) for m in practice.machines)]


def chosen(form: Form, name: str, choices: Choices) -> str | None:
    """Return which of the choices was taken; None, found wrong, where it is none of them."""
    typed = form.text(name)
    if typed and any(typed == value for value, _ in choices):
        return typed
    form.refuse(name, said("nothing was chosen"), said("Choose one."))
    return None


def named(form: Form, name: str, *, may_lack: bool = False) -> str | None:
    """Return a short name, such as of a place; None where it is empty or can't be a name."""
    typed = form.text(name)
    if not typed and may_lack:
        return None
    if not NAME.fullmatch(typed):
        form.refuse(
            name,
            said("nothing was entered") if not typed else said("this can't be a name"),
            said("Use letters without accents, digits, blanks, points and hyphens, at most 60."),
        )
        return None
    return typed


def amount(form: Form, name: str, span: tuple[float, float], *, times: int = 1, may_lack: bool = False) -> int | None:
    """Return a number within `span`, in whole parts of which `times` make one; None where it is missing or wrong."""
    if not form.text(name):
        if not may_lack:
            form.refuse(name, said("nothing was entered"), said("Enter a number."))
        return None
    value = form.number(name, name)
    if value is None:
        form.wrong.pop(name)
        form.refuse(name, said("this is no number"), said("Enter digits, with a point or a comma: 52.5."))
        return None
    low, high = span
    if not low <= value <= high:
        form.refuse(
            name,
            said("{value:g} is outside {low:g} to {high:g}", value=value, low=low, high=high),
            said("Look at the number and its unit."),
        )
        return None
    if times == 1 and value != int(value):
        form.refuse(name, said("{value:g} is no whole number", value=value), said("Enter it without a point or comma."))
        return None
    return round(value * times)


def lot_of(form: Form) -> str | None:
    """Return the lot as the package says; None where the field is empty."""
    return form.text("lot")[:60] or None


def made(form: Form, kind: type[D], fields: Mapping[str, object]) -> D | None:
    """Return the entry's data; None where the form is wrong already, or the entry can't hold what it says."""
    if not form.good:
        return None
    try:
        return kind(**{name: value for name, value in fields.items() if value is not None})
    except ValidationError as error:
        for one in error.errors():
            place = str(one["loc"][0]) if one["loc"] else ""
            form.refuse(place if place in form.values else "", said("this can't be entered"), one["msg"])
        return None
