"""From JSON text to the parts of a day and back: strict in, findings with their JSON path; out without what says nothing."""

from difflib import get_close_matches
from typing import Any, TypeVar

from pydantic import BaseModel, ValidationError

from fettlebook.errors import Finding, Mendable

# Fields that schema 1 lacks, or that are written only where they say something.
_UNSAID: dict[str, tuple[str, ...]] = {
    "Plan": ("left_out", "tests", "duties"),
    "Done": ("tests", "duties"),
    "Instance": ("now", "done", "baths", "apart", "store", "transport", "duties"),
    "Visit": ("latest", "may_move"),
    "SetType": ("places", "bath", "dry_minutes", "lubricate_minutes", "rides"),
    "Person": ("does",),
    "Chair": ("room", "out", "closed_by"),
    "Machine": ("cycles", "tests", "room"),
    "PlannedVisit": ("chair",),
    "Batch": ("cycle",),
    "Duty": ("subject", "who", "after"),
    "OwedTest": ("alone_minutes",),
}


def without_unsaid(value: BaseModel, data: dict[str, Any]) -> None:
    """Take out of a value's plain form the fields that say nothing, in all its parts."""
    for name in _UNSAID.get(type(value).__name__, ()):
        if getattr(value, name) == type(value).model_fields[name].default:
            del data[name]
    for name, field in type(value).model_fields.items():
        inner, written = getattr(value, name), data.get(field.alias or name)
        if isinstance(inner, BaseModel) and name == "done":
            without_unsaid(inner, data[name])
            for b in data[name]["batches"]:  # running still: not "unloaded by nobody"
                if b["unload_start"] is None:
                    del b["unload_start"], b["unload_person"]
        elif isinstance(inner, tuple) and written:
            for x, y in zip(inner, written, strict=True):
                if isinstance(x, BaseModel):
                    without_unsaid(x, y)


_Form = TypeVar("_Form", bound=BaseModel)


def read_form(form: type[_Form], text: str | bytes, where: str) -> _Form:
    """Return the value in a JSON text; raises `Mendable` with every finding of its form."""
    try:
        return form.model_validate_json(text)
    except ValidationError as error:
        raise Mendable.of([_finding(form, e, where) for e in error.errors(include_url=False)]) from None


_MENDS = {
    "missing": "Add the field.",
    "int_type": "Write a whole number of minutes or pieces, without quotes.",
    "int_from_float": "Write a whole number.",
    "bool_type": "Write true or false.",
    "string_type": "Write text in quotes.",
    "too_short": "List at least one.",
    "greater_than_equal": "Write a value inside the limit.",
    "less_than_equal": "Write a value inside the limit.",
    "json_invalid": "Mend the JSON at that place; nothing was read.",
    "literal_error": "Write one of the values named.",
}


def _finding(form: type[BaseModel], error: Any, where: str) -> Finding:
    path = "$"
    for part in error["loc"]:
        path += f"[{part}]" if isinstance(part, int) else f".{part}"
    seen = error["input"]
    shown = "" if isinstance(seen, (dict, list, tuple, bytes)) or len(str(seen)) > 60 else f" (seen: {seen!r})"
    mend = _MENDS.get(error["type"], "Write it as the schema asks.")
    if error["type"] == "extra_forbidden":
        known = {f.alias or n for n, f in form.model_fields.items()}
        near = get_close_matches(str(error["loc"][-1]), known, 1)
        mend = f"Did you mean {near[0]!r}?" if near else "Take it out."
        return Finding(f"unknown field {error['loc'][-1]!r}", f"{where} {path}", mend)
    return Finding(error["msg"][0].lower() + error["msg"][1:] + shown, f"{where} {path}", mend)
