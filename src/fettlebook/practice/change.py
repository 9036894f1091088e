"""The common changes of a practice file as fields of a form: which values can be changed so, and the text with some of them changed.

Everything else is changed in the text itself. A changed text is put in place by `edit.replace_practice_file`, after a person saw it.
"""

import json
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import time
from typing import Final, Literal, get_args

from fettlebook.practice.edit import set_values
from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import Day, Person, Practice, Role
from fettlebook.said import said

Kind = Literal["text", "number", "time", "days", "choice", "yes or no"]
DAYS: Final[tuple[str, ...]] = get_args(Day)


@dataclass(frozen=True, slots=True)
class Field:
    """One value: where it stands, what it is called, and how it is written in a form."""

    path: KeyPath
    label: str
    kind: Kind
    value: str
    choices: tuple[str, ...] = ()
    beside: str = "id"  # the key behind which it is put where it was not there

    @property
    def name(self) -> str:
        """The field's name in a form."""
        return ".".join(map(str, self.path))


@dataclass(frozen=True, slots=True)
class Group:
    """Fields that are changed together."""

    key: str
    title: str
    fields: tuple[Field, ...]


def groups_of(practice: Practice) -> tuple[Group, ...]:
    """Return what can be changed in forms: people, sets owned, shelf life once opened, opening hours, chairs out of service."""
    people = [Group(f"person {p.id}", p.name, tuple(_person(("people", number), p))) for number, p in enumerate(practice.people)]
    sets = [
        Field(("sets", number, "owned"), said("{name}: owned", name=one.name), "number", str(one.owned))
        for number, one in enumerate(practice.sets)
    ]
    products = [
        Field(
            ("products", number, "shelf_open_days"), said("{name}: days once opened, by its label", name=one.name), "number",
            "" if one.shelf_open_days is None else str(one.shelf_open_days),
        )
        for number, one in enumerate(practice.products)
    ]  # fmt: skip
    chairs = [
        Field(
            ("chairs", number, "out_of_service"), said("{chair} out of service", chair=one.id), "yes or no", _yes(one.out_of_service),
            ("no", "yes"),
        )
        for number, one in enumerate(practice.chairs)
    ]  # fmt: skip
    hours = [
        field for number, one in enumerate(practice.opening) for field in _hours(("opening", number), number, one.days, one.from_, one.to)
    ]
    found = (
        *people,
        Group("sets", said("Sets owned"), tuple(sets)),
        Group("products", said("Open packages"), tuple(products)),
        Group("hours", said("Opening hours"), tuple(hours)),
        Group("chairs", said("Chairs"), tuple(chairs)),
    )
    return tuple(group for group in found if group.fields)


def _person(at: KeyPath, person: Person) -> Iterator[Field]:
    yield Field((*at, "name"), said("Name"), "text", person.name)
    yield Field((*at, "role"), said("Role"), "choice", person.acts_as.value, tuple(role.value for role in Role))
    for number, shift in enumerate(person.shifts):
        yield from _hours((*at, "shifts", number), number, shift.days, shift.from_, shift.to)


def _hours(at: KeyPath, number: int, days: tuple[str, ...], begin: time, end: time) -> Iterator[Field]:
    n = number + 1
    yield Field((*at, "days"), said("Days, {n}", n=n), "days", " ".join(days), beside="days")
    yield Field((*at, "from"), said("From, {n}", n=n), "time", f"{begin:%H:%M}", beside="days")
    yield Field((*at, "to"), said("To, {n}", n=n), "time", f"{end:%H:%M}", beside="days")


def change(text: bytes, group: Group, typed: Mapping[str, str]) -> bytes:
    """Return the text of a practice file with what was typed into some fields of a group; only values that differ are touched.

    Parameters
    ----------
    text
        The file's bytes, which `read_practice` took without an error, and from which the group was made.
    typed
        By the names of fields. What is no such value is written as typed: reading the new text then says what is wrong, and where.

    Raises
    ------
    Mendable
        A value does not stand where it can be replaced; nothing is guessed then.
    """
    for field in group.fields:
        new = typed.get(field.name, field.value).strip()
        if new != field.value and (new or field.value):
            text = set_values(text, field.path[:-1], {str(field.path[-1]): _written(field, new)}, beside=(field.beside,))
    return text


def _written(field: Field, new: str) -> bytes:
    """Return a value as TOML writes it; what is no number or time stays a text, which the model then refuses by line."""
    match field.kind:
        case "number" if new.isascii() and new.isdigit():
            return str(int(new)).encode()
        case "time" if (moment := _time(new)) is not None:
            return moment.isoformat("seconds").encode()
        case "days":
            return json.dumps(new.replace(",", " ").lower().split()).encode()
        case "yes or no":
            return b"true" if new == "yes" else b"false"
    return json.dumps(new, ensure_ascii=False).encode()


def _time(text: str) -> time | None:
    try:
        return time.fromisoformat(text)
    except ValueError:
        return None


def _yes(value: bool) -> str:
    return "yes" if value else "no"
