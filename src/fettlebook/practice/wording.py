"""The model's refusals in our own words: the value seen, and the instruction that mends it.

pydantic says what a programmer needs. Its messages never reach the user; only its error type, place and value are used, and
the range, choices and meaning of a field come from the schema.
"""

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from datetime import date, datetime, time
from typing import Any, Final

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.place import Fault, look_up
from fettlebook.practice.schema import schema_at

MM_PER_INCH: Final = 25.4
_BOUNDS = ("greater_than_equal", "less_than_equal", "greater_than", "less_than", "finite_number")
_ID_SIGNS = "Use letters A to Z, digits, blanks, points, dashes and underscores, and begin with a letter or digit."


def seen(value: object) -> str:
    """Return a value of the file as it is shown in a message: short, and as it is written in TOML."""
    match value:
        case str():
            return f'"{value}"' if len(value) <= 40 else f'"{value[:37]}..."'
        case bool():
            return "true" if value else "false"
        case int() | float():
            text = str(value) if isinstance(value, float) or abs(value) < 10**40 else "a number of more than 40 digits"
            return text.removesuffix(".0") if len(text) < 12 else text
        case datetime() | date() | time():
            return value.isoformat()
        case dict():
            return "a table"
        case list() | tuple():
            return "a list"
    return "this value"


def nearest(word: str, known: Iterable[str]) -> str | None:
    """Return the known word that `word` was probably meant to be, or None."""
    by_form = {_plain(name): name for name in known}
    close = difflib.get_close_matches(_plain(word), by_form, n=1, cutoff=0.6)
    return by_form[close[0]] if close else None


def faults_of(errors: Sequence[Mapping[str, Any]], data: object) -> tuple[Fault, ...]:
    """Return one fault per thing that is wrong, from pydantic's error list over `data`."""
    faults: dict[KeyPath, Fault] = {}
    renamed = set(typing_slips(errors, data).values())
    for error in errors:
        path = _existing(tuple(error["loc"]), data, error["type"])
        if error["type"] == "too_short" and len(error["input"]) >= schema_at(path).get("minItems", 1):
            continue  # pydantic does not count entries that have errors of their own
        if path in faults or (error["type"] == "missing" and path in renamed):
            continue  # a union gives one error per member; a key with a typing slip is also missing under its right name
        faults[path] = Fault(path, *_say(error, path, data))
    return tuple(faults.values())


def typing_slips(errors: Sequence[Mapping[str, Any]], data: object) -> dict[KeyPath, KeyPath]:
    """Return, for each unknown key that looks like a known one, the path that was meant."""
    slips: dict[KeyPath, KeyPath] = {}
    for error in errors:
        if error["type"] == "extra_forbidden":
            *around, key = error["loc"]
            table = look_up(data, tuple(around))
            free = [name for name in schema_at(tuple(around)).get("properties", {}) if not isinstance(table, dict) or name not in table]
            if meant := nearest(str(key), free):
                slips[tuple(error["loc"])] = (*around, meant)
    return slips


def _existing(loc: KeyPath, data: object, kind: str) -> KeyPath:
    """Cut off what pydantic adds to a place (the name of a union's member), which is no key of the file."""
    path: KeyPath = ()
    for part in loc:
        known = schema_at(path)
        if isinstance(part, str) and part not in known.get("properties", {}) and not (isinstance(look_up(data, path), dict)):
            return path
        path = (*path, part)
    return path if kind != "missing" or isinstance(path[-1], str) else path[:-1]


def _say(error: Mapping[str, Any], path: KeyPath, data: object) -> tuple[str, str]:
    kind, value, field = error["type"], error["input"], schema_at(path)
    if kind == "missing":
        return _missing(error, path, field)
    if kind == "extra_forbidden":
        return _unknown_key(path, data)
    if kind in _BOUNDS:
        return _out_of_range(value, path, field, data)
    if kind in ("literal_error", "enum"):
        return _no_choice(value, field)
    if kind == "string_pattern_mismatch":
        return _wrong_signs(value, field)
    if kind in ("string_too_short", "too_short"):
        return ("the text" if kind.startswith("string") else "the list") + " is empty", _give(field)
    if kind == "string_too_long":
        return f"the text has {len(value)} characters, {field.get('maxLength')} are allowed", "Shorten it."
    if kind == "too_long":
        return f"the list has {len(value)} entries, {field.get('maxItems')} are allowed", "Take the others out."
    return _wrong_type(value, field)


def _missing(error: Mapping[str, Any], path: KeyPath, field: Mapping[str, Any]) -> tuple[str, str]:
    if not isinstance(error["loc"][-1], str):
        return f"the list has {len(error['input'])} of {field.get('maxItems')} values", _give(field)
    key = str(path[-1])
    if field.get("type") == "object":
        return f"{key} is missing", f"Add the table [{key}]: {_meaning(field)}."
    if field.get("type") == "array" and len(path) == 1:
        return f"{key} is missing", f"Add at least one [[{key}]]: {_meaning(field)}."
    return f"{key} is missing", f"Add {key} = ...: {_meaning(field)}."


def _unknown_key(path: KeyPath, data: object) -> tuple[str, str]:
    *around, key = path
    table, known = look_up(data, tuple(around)), list(schema_at(tuple(around)).get("properties", {}))
    free = [name for name in known if not isinstance(table, dict) or name not in table]
    meant = nearest(str(key), free)
    return f"unknown key {seen(key)}", f"Is it {meant}?" if meant else f"Take it out. Known keys here: {', '.join(known)}."


def _out_of_range(value: Any, path: KeyPath, field: Mapping[str, Any], data: object) -> tuple[str, str]:
    low, high = field.get("minimum"), field.get("maximum")
    if not -1e15 < value < 1e15:  # nan, inf, and whole numbers too large to be shown
        return f"{seen(value)} is not a number that can be used", _give(field)
    if "exclusiveMinimum" in field:
        what = f"{seen(value)} is not above {_plainly(field['exclusiveMinimum'])}" + (
            f" and at most {_plainly(high)}" if high is not None else ""
        )
    elif low is not None and high is not None:
        what = f"{seen(value)} is outside {_plainly(low)} to {_plainly(high)}"
    else:
        what = f"{seen(value)} is {'below' if high is None else 'above'} {_plainly(low if high is None else high)}"
    if path[-1] == "flow_ml_min" and value > 0:
        kind = look_up(data, (*path[:-1], "kind"))
        what = f"{value:g} mL/min is {value / 1000:g} L/min through a {kind if isinstance(kind, str) else 'dental unit'}"
        return what, "Measure again with cup and clock, and give the flow in mL/min."
    return what, _give(field) + _guess(value, path, field)


def _plainly(bound: Any) -> str:
    return f"{bound:.12g}"  # 1000000, not 1e+06


def _guess(value: float, path: KeyPath, field: Mapping[str, Any]) -> str:
    def fits(number: float) -> bool:
        low, above, high = field.get("minimum", number), field.get("exclusiveMinimum", number - 1), field.get("maximum", number)
        return bool(low <= number <= high and number > above)

    if str(path[-1]) == "bore_mm" and fits(value * MM_PER_INCH):
        return f" Is it {value * MM_PER_INCH:.1f} mm ({value:g} inch)?"
    if value < 0 and fits(-value):
        return f" Is it {seen(-value)}?"
    if field.get("type") == "number":
        for factor, unit in ((0.1, ""), (0.01, ""), (0.001, ""), (10.0, "")):
            if fits(value * factor):
                text = f"{value * factor:.6g}"
                return f" Is it {text if '.' in text else text + '.0'}{unit}?"
    return ""


def _no_choice(value: object, field: Mapping[str, Any]) -> tuple[str, str]:
    choices = [str(choice) for choice in field.get("enum", [field.get("const")])]
    if isinstance(value, str) and (meant := nearest(value, choices)):
        return f"{seen(value)} is not one of: {', '.join(choices)}", f'Is it "{meant}"?'
    return f"{seen(value)} is not one of: {', '.join(choices)}", "Write one of these."


def _wrong_signs(value: str, field: Mapping[str, Any]) -> tuple[str, str]:
    if str(field.get("pattern", "")).startswith("^[A-Za-z0-9]"):
        tidy = re.sub(r"[^A-Za-z0-9 ._-]+", "-", value.translate(_UMLAUTS)).strip(" ._-")
        return f"{seen(value)} has a sign that an id can't have", _ID_SIGNS + (f' Is it "{tidy[:60]}"?' if tidy else "")
    return f"{seen(printable(value))} has a control character", "Delete it and type the text again."


def _wrong_type(value: object, field: Mapping[str, Any]) -> tuple[str, str]:
    wanted = str(field.get("format") or field.get("type") or "value")
    name = _TYPES.get(wanted, "what belongs here")
    what = f"{seen(value)} is {_kind(value)}, not {name}"
    if wanted == "boolean":
        return what, "Write true or false, without quotation marks."
    if isinstance(value, str):
        if wanted in ("number", "integer") and re.fullmatch(r"-?\d+([.,]\d+)?", value.strip()):
            return what, f"Write it without quotation marks: {value.strip().replace(',', '.')}."
        if wanted == "time" and re.fullmatch(r"\d\d?:\d\d(:\d\d)?", value):
            return what, f"Write it without quotation marks and with seconds: {value.zfill(5)[:5]}:00."
        if wanted == "date" and re.fullmatch(r"\d{4}-\d\d-\d\d", value):
            return what, f"Write it without quotation marks: {value}."
        if wanted == "array":
            return what, f"Put it in square brackets: [{seen(value)}]."
    if wanted == "integer" and isinstance(value, float):
        whole = f" Is it {value:.0f}?" if value.is_integer() else ""
        return f"{value:g} is not a whole number written without a point", f"{_give(field)}{whole}"
    if wanted == "string" and isinstance(value, int | float) and not isinstance(value, bool):
        return what, f'Put it in quotation marks: "{seen(value)}".'
    if wanted == "date" and isinstance(value, datetime):
        return what, f"Write {value.date().isoformat()}."
    return what, _give(field)


_UMLAUTS = str.maketrans({"ä": "ae", "ö": "oe", "ü": "ue", "Ä": "Ae", "Ö": "Oe", "Ü": "Ue", "ß": "ss", "é": "e", "è": "e"})
_TYPES = {
    "string": "text", "number": "a number", "integer": "a whole number", "boolean": "true or false", "array": "a list",
    "object": "a table", "time": "a time", "date": "a date",
}  # fmt: skip


def _kind(value: object) -> str:
    match value:
        case str():
            return "text"
        case bool():
            return "true or false"
        case int() | float():
            return "a number"
        case datetime():
            return "a date with a time"
        case date():
            return "a date"
        case time():
            return "a time"
        case dict():
            return "one table"
    return "a list"


def _give(field: Mapping[str, Any]) -> str:
    return f"Give the {_meaning(field)}."


def _meaning(field: Mapping[str, Any]) -> str:
    """The field's description up to the first semicolon, its unit in words."""
    text = str(field.get("description") or "value").partition(";")[0].strip().rstrip(".")
    return re.sub(r" \[([^\]]+)\]", lambda unit: f" in {unit[1].replace('degC', '°C')}", text)


def _plain(word: str) -> str:
    return word.casefold().replace("-", "_").replace(" ", "_")


def printable(text: str) -> str:
    """Return `text` with every sign that could move a cursor or colour a terminal shown as a question mark."""
    return "".join(sign if sign.isprintable() else "?" for sign in text)
