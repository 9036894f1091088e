"""What of a practice file can be read, part by part, so that relations are checked even where some part has an error.

One slip in one number must not hide a loop in another chair: the file would have to be mended in as many rounds as it has
kinds of errors. So slips that have an obvious stand-in get one (a number out of range is taken as its bound, an unknown key
is left out, a mistyped key is taken as the one that was meant), and a part that still can't be read is left out alone. A
stand-in serves the checks only: it is never part of a Practice.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any, Final, TypeVar

from pydantic import ValidationError

from fettlebook.practice import model
from fettlebook.practice.lines import KeyPath
from fettlebook.practice.schema import schema_at
from fettlebook.practice.wording import typing_slips

P = TypeVar("P", bound=model.Part)
Places = tuple[tuple[int, P], ...]  # index in the file's list, and the part

TABLES: Final = ("opening", "holidays", "rooms", "chairs", "machines", "sets", "people", "products", "visit_kinds", "own_rules", "measured")


@dataclass(frozen=True)
class Parts:
    """The parts that could be read, each with its index in the file."""

    head: model.PracticeHead | None
    reprocessing: model.Reprocessing | None
    in_use: model.InUse | None
    opening: Places[model.Opening]
    holidays: Places[model.Holiday]
    rooms: Places[model.Room]
    chairs: Places[model.Chair]
    machines: Places[model.Machine]
    sets: Places[model.SetType]
    people: Places[model.Person]
    products: Places[model.Product]
    visit_kinds: Places[model.VisitKind]
    own_rules: Places[model.OwnRule]
    measured: Places[model.MeasuredStep]
    map_rules: Places[model.MapRule]
    default_visit_kind: str | None
    ids: Mapping[str, frozenset[str]]  # table -> every id written there, also of a part that can't be read
    whole: frozenset[str]  # the tables of which every part could be read


def parts_of_practice(practice: model.Practice) -> Parts:
    """Return the parts of a practice that is valid in itself."""
    tables = {name: tuple(enumerate(getattr(practice, name))) for name in TABLES}
    return Parts(
        head=practice.practice,
        reprocessing=practice.reprocessing,
        in_use=practice.in_use,
        map_rules=tuple(enumerate(practice.calendar.rules)),
        default_visit_kind=practice.calendar.default_visit_kind,
        ids={name: frozenset(part.id for _, part in tables[name] if hasattr(part, "id")) for name in TABLES},
        whole=frozenset((*TABLES, "rules")),
        **tables,
    )


def readable_parts(data: Mapping[str, Any], errors: Sequence[Mapping[str, Any]]) -> Parts:
    """Return what can be read of `data`, given what the model refuses in it."""
    stood_in = _stand_in(data, errors)
    read = {name: _entries(stood_in.get(name), kind) for name, kind in _KINDS.items()}
    calendar = stood_in.get("calendar")
    rules, default = (calendar.get("rules"), calendar.get("default_visit_kind")) if isinstance(calendar, dict) else (None, None)
    read_rules = _entries(rules, model.MapRule)
    return Parts(
        head=_one(stood_in.get("practice"), model.PracticeHead),
        reprocessing=_one(stood_in.get("reprocessing"), model.Reprocessing),
        in_use=_one(stood_in.get("in_use"), model.InUse),
        map_rules=read_rules,
        default_visit_kind=default if isinstance(default, str) else None,
        ids={name: _ids(stood_in.get(name)) for name in TABLES},
        whole=frozenset(name for name in TABLES if len(read[name]) == _length(stood_in.get(name)))
        | ({"rules"} if len(read_rules) == _length(rules) else frozenset()),
        **read,  # type: ignore[arg-type] # one table per field, by name
    )


_KINDS: Final[Mapping[str, type[model.Part]]] = {
    "opening": model.Opening, "holidays": model.Holiday, "rooms": model.Room, "chairs": model.Chair, "machines": model.Machine,
    "sets": model.SetType, "people": model.Person, "products": model.Product, "visit_kinds": model.VisitKind,
    "own_rules": model.OwnRule, "measured": model.MeasuredStep,
}  # fmt: skip


def _one(value: object, kind: type[P]) -> P | None:
    try:
        return kind.model_validate(value)
    except ValidationError:
        return None


def _entries(value: object, kind: type[P]) -> Places[P]:
    entries = value if isinstance(value, tuple) else ()
    return tuple((number, part) for number, entry in enumerate(entries) if (part := _one(entry, kind)) is not None)


def _ids(value: object) -> frozenset[str]:
    entries = value if isinstance(value, tuple) else ()
    return frozenset(entry["id"] for entry in entries if isinstance(entry, dict) and isinstance(entry.get("id"), str))


def _length(value: object) -> int:
    return len(value) if isinstance(value, tuple) else 0 if value is None else -1


def _stand_in(data: Mapping[str, Any], errors: Sequence[Mapping[str, Any]]) -> dict[str, Any]:
    """Return a copy of `data` in which slips with an obvious stand-in have got it."""
    copy = _thawed(data)
    meant = typing_slips(errors, data)
    for error in errors:
        *around, key = loc = tuple(error["loc"])
        table = _walk(copy, tuple(around))
        if error["type"] == "extra_forbidden" and isinstance(table, dict) and key in table:
            value = table.pop(key)
            if loc in meant:
                table[meant[loc][-1]] = value
        elif error["type"] in ("greater_than_equal", "less_than_equal", "greater_than", "less_than", "finite_number"):
            field = schema_at(loc)
            number = field.get("maximum", field.get("minimum", 1))  # plenty of a thing breaks no relation; none of it does
            if isinstance(table, dict | list) and isinstance(_walk(copy, loc), int | float):
                table[key] = float(number) if field.get("type") == "number" else number
    frozen = frozen_lists(copy)
    return frozen if isinstance(frozen, dict) else {}


def frozen_lists(value: object) -> object:
    """Return TOML content with every list as a tuple, which is what the strict models take."""
    if isinstance(value, dict):
        return {key: frozen_lists(inside) for key, inside in value.items()}
    return tuple(frozen_lists(inside) for inside in value) if isinstance(value, list) else value


def _thawed(value: Any) -> Any:
    if isinstance(value, Mapping):
        return {key: _thawed(inside) for key, inside in value.items()}
    return [_thawed(inside) for inside in value] if isinstance(value, tuple) else value


def _walk(data: Any, path: KeyPath) -> Any:
    for part in path:
        try:
            data = data[part]
        except (KeyError, IndexError, TypeError):
            return None
    return data
