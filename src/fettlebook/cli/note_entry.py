"""The work of `fettlebook note`: from FIELD=VALUE to the data of an entry."""

import json
import mimetypes
import textwrap
from collections.abc import Callable, Mapping, Sequence
from datetime import UTC, datetime
from pathlib import Path
from typing import Any, Final
from zoneinfo import ZoneInfo

import click
from pydantic import ValidationError

from fettlebook.book.door import Door
from fettlebook.book.entries import PROGRAM, Moment
from fettlebook.book.kinds import KINDS, Data, HeldFile, PracticeFileVersion, to_ms
from fettlebook.book.stores import Store
from fettlebook.book.words import seal_words
from fettlebook.cli.book_open import now_ms, opened
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.load import read_practice

WIDTH: Final = 80
_FILES: Final = ("log", "report", "files")
_BY_OPTION: Final = ("remark", "from_paper")
_PROGRAMS_OWN: Final = (
    "entry.clash", "clock.back", "book.restored", "restore.tried", "book.pruned", "text.erased", "key.changed", "book.verified",
    "checkpoint.stamped", "sign.in", "sign.out", "sign.refused", "pin.changed", "device.enrolled", "device.renamed", "device.withdrawn",
    "certificate.made",
    "book.imported", "day.planned", "day.replanned", "practice_file.version", "rulebook.version", "cycle.judged",
)  # fmt: skip
BY_HAND: Final = {kind: model for kind, model in KINDS.items() if kind not in _PROGRAMS_OWN}


def list_kinds(*, as_json: bool) -> None:
    """Print the kinds that can be written by hand."""
    if as_json:
        click.echo(json.dumps({kind: _first_line(model) for kind, model in BY_HAND.items()}))
        return
    for kind, model in BY_HAND.items():
        click.echo(f"{kind:<24}{_first_line(model)}")


def describe(kind: str, *, as_json: bool) -> None:
    """Print the fields of one kind."""
    model = _model(kind)
    rows = [(name, _shape(field), name in _required(model)) for name, field in _fields(model).items()]
    if as_json:
        click.echo(json.dumps([{"field": name, "shape": shape, "required": needed} for name, shape, needed in rows]))
        return
    click.echo("\n".join(textwrap.wrap(f"{kind}: {_first_line(model)}", WIDTH)))
    for name, shape, needed in rows:
        click.echo(f"  {name:<20}{'needed  ' if needed else '        '}{shape}")


def write(
    kind: str,
    fields: Sequence[str],
    *,
    book_at: str | None,
    practice: str | None,
    by: str | None,
    at: datetime | None,
    from_paper: bool,
    remark: str | None,
    refers_to: str | None,
    as_json: bool,
) -> int:
    """Write one entry; print its id once it is durable."""
    model = _model(kind)
    if book_at is None or by is None:
        missing = "--book" if book_at is None else "--by"
        raise Mendable("not given", where=missing, mend="Say into which book, and who says it: --book book.sqlite --by ana.")
    typed = _split(fields, model)
    with opened(book_at, practice, write=True) as store:
        door = Door(store)
        zone = _zone(store)
        now = now_ms()
        when = to_ms(at.replace(tzinfo=ZoneInfo(zone))) if at is not None else now
        values = {name: _value(name, text, _fields(model)[name], _no_file) for name, text in typed.items()}
        values |= {"from_paper": True} if from_paper else {}
        moment = Moment(when, zone)
        # Everything is held against the kind, the practice and the clock before a file or a key is kept.
        door.refuse(_data(model, kind, values), moment=moment, by=by, refers_to=refers_to, now=now)
        _known_reference(store, refers_to)
        values |= {name: _value(name, text, _fields(model)[name], _keeper(store)) for name, text in typed.items() if name in _FILES}
        values |= {"remark": seal_words(remark, store.text_keys())} if remark is not None else {}
        receipt = door.note(_data(model, kind, values), moment=moment, by=by, refers_to=refers_to, now=now)
    if as_json:
        click.echo(json.dumps({"id": receipt.id, "seq": receipt.seq, "received": receipt.received, "leaf_hash": receipt.leaf_hash.hex()}))
    else:
        click.echo(receipt.id)
    return 0


def _model(kind: str) -> type[Data]:
    if kind not in BY_HAND:
        what = "written by the program only" if kind in KINDS else "no kind of entry"
        raise Mendable(f"{kind!r:.60} is {what}", where="KIND", mend="Run `fettlebook note` for the list.")
    return BY_HAND[kind]


def _split(fields: Sequence[str], model: type[Data]) -> dict[str, Any]:
    """Return what was typed by field; readings as a table of their own."""
    typed: dict[str, Any] = {}
    findings = []
    for one in fields:
        name, equals, text = one.partition("=")
        name, dot, inner = name.partition(".")
        if not equals or name not in _fields(model):
            known = ", ".join(_fields(model))
            findings.append(Finding(f"{one!r:.60} names no field", "FIELD=VALUE", f"Write FIELD=VALUE with one of: {known}."))
        elif dot:
            typed.setdefault(name, {})[inner] = text
        elif name in typed:
            findings.append(Finding(f"{name} is given twice", "FIELD=VALUE", "Write a list with commas: outlets=turbine,syringe."))
        else:
            typed[name] = text
    if findings:
        raise Mendable.of(findings)
    return typed


def _fields(model: type[Data]) -> dict[str, Mapping[str, Any]]:
    schema = model.model_json_schema()
    return {name: _plain(field, schema) for name, field in schema["properties"].items() if name not in _BY_OPTION}


def _required(model: type[Data]) -> list[str]:
    return list(model.model_json_schema().get("required", []))


def _plain(field: Mapping[str, Any], schema: Mapping[str, Any]) -> Mapping[str, Any]:
    """Return a field's own form, without the "or nothing" around it and with its references followed."""
    if "anyOf" in field:
        field = next(one for one in field["anyOf"] if one.get("type") != "null")
    if "$ref" in field:
        field = schema["$defs"][field["$ref"].rpartition("/")[2]]
    return field


def _shape(field: Mapping[str, Any]) -> str:
    if "enum" in field or "const" in field:
        return " | ".join(map(str, field.get("enum", [field.get("const")])))
    kind = str(field.get("type", "text"))
    named = {"string": "text", "integer": "whole number", "boolean": "yes | no", "array": "list, with commas", "object": "name.unit=number"}
    return str(field.get("description") or named.get(kind, kind))


def _value(name: str, text: Any, field: Mapping[str, Any], keep: Callable[[str], Any]) -> Any:
    """Return the value that a field's text stands for; what doesn't fit is left as text, and refused by the kind in its own words."""
    kind = field.get("type")
    if isinstance(text, dict):
        return {inner: _whole(one) for inner, one in text.items()}
    if name in _FILES:
        files = [keep(one) for one in text.split(",")]
        return tuple(files) if kind == "array" else files[0]
    if name == "items":
        return tuple(_item(one) for one in text.split(","))
    if name == "plates":
        return tuple(_plate(one) for one in text.split(","))
    if kind == "integer":
        return _whole(text)
    if kind == "boolean":
        return {"yes": True, "true": True, "no": False, "false": False}.get(text.strip().lower(), text)
    if kind == "array":
        return tuple(one.strip() for one in text.split(",") if one.strip())
    return text


def _whole(text: str) -> Any:
    try:
        return int(text) if len(text) < 20 else text
    except ValueError:
        return text


def _item(text: str) -> dict[str, str]:
    unit, _, rest = text.strip().partition(":")
    pack, _, form = rest.partition(":")
    return {"unit": unit} | ({"pack": pack} if pack else {}) | ({"form": form} if form else {})


def _plate(text: str) -> dict[str, Any]:
    """Return a plate from COLONIES:ML, the mL of undiluted sample on it; >COLONIES: too many to count."""
    colonies, _, volume = text.strip().partition(":")
    try:
        plated: Any = round(float(volume) * 1_000_000)
    except (ValueError, OverflowError):
        plated = volume
    return {"colonies": _whole(colonies.removeprefix(">")), "plated_nl": plated} | ({"too_many": True} if colonies.startswith(">") else {})


def _no_file(text: str) -> HeldFile:
    """Stand for a file while everything else is held against the rules."""
    if not text.startswith("@"):
        raise Mendable(f"{text!r:.60} is no file", where="FIELD=@FILE", mend="Write an @ before the file's name: log=@cycle.csv.")
    if not Path(text[1:]).is_file():
        raise Mendable("no such file", where=text[1:], mend="Look at the name and the folder.")
    return HeldFile(digest="0" * 64, length_bytes=0, media="text/plain")


def _keeper(store: Store) -> Callable[[str], HeldFile]:
    def keep(text: str) -> HeldFile:
        path = Path(text[1:])
        media = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
        try:
            return store.keep_file(path.read_bytes(), media=media, name=path.name)
        except OSError as error:
            raise Mendable(f"can't be read ({error.strerror})", where=str(path), mend="Look at the rights of this file.") from None

    return keep


def _data(model: type[Data], kind: str, values: Mapping[str, Any]) -> Data:
    try:
        return model.model_validate(dict(values))
    except ValidationError as error:
        mend = f"Run `fettlebook note {kind}` for its fields."
        findings = []
        for part in error.errors(include_url=False):
            place = ".".join(map(str, part["loc"])) or kind
            seen = "" if part["type"] == "missing" or isinstance(part["input"], dict) else f"{part['input']!r:.60}: "
            findings.append(Finding(seen + part["msg"][0].lower() + part["msg"][1:], place, mend))
        raise Mendable.of(findings) from None


def _zone(store: Store) -> str:
    last = store.latest(PracticeFileVersion.KIND)
    data = last.entry.data if last is not None else None
    if isinstance(data, PracticeFileVersion):
        practice = read_practice(data.text.encode("utf-8", "surrogatepass"), data.name or "practice.toml").practice
        if practice is not None:
            return practice.practice.time_zone
    return str(UTC)


def _known_reference(store: Store, refers_to: str | None) -> None:
    if refers_to is not None and store.get(refers_to) is None:
        raise Mendable(f"no entry {refers_to!r:.60}", where="--refers-to", mend="Give the id of an entry in this book (book dump --json).")


def _first_line(model: type[Data]) -> str:
    return (model.__doc__ or PROGRAM).strip().partition("\n")[0]
