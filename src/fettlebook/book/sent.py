"""What appending needs of an entry, read in one pass where it is right beyond doubt; anything else is for `read_entry`, which says what.

What an entry says is held against its kind as everywhere. The rest of it, which every entry has, is read by msgspec, and its texts are held
against the types of `Entry`, each once: people, tablets and chairs are few.
"""

from collections.abc import Callable
from functools import lru_cache
from typing import Annotated, Any, Final

import msgspec
from msgspec import UNSET, Meta, UnsetType
from pydantic import TypeAdapter, ValidationError

from fettlebook.book.canonical import INTEGER_MOST, is_canonical
from fettlebook.book.entries import VERSION, Subject, Zone, is_id
from fettlebook.book.kinds import KINDS, Id
from fettlebook.book.kinds.forms import YEAR_9999_MS

_REMEMBERED: Final = 2000  # texts of a type: a hostile sender must not fill the memory


class _Mono(msgspec.Struct, forbid_unknown_fields=True):
    session: str
    ms: Annotated[int, Meta(ge=0, le=INTEGER_MOST)]


class Sent(msgspec.Struct, forbid_unknown_fields=True):
    """An entry as it came: its fields as in `Entry`, what it says as plain values."""

    v: Annotated[int, Meta(ge=VERSION, le=VERSION)]
    id: str
    kind: str
    at: Annotated[int, Meta(ge=0, le=YEAR_9999_MS)]
    zone: str
    device: str
    n: Annotated[int, Meta(ge=1, le=INTEGER_MOST)]
    by: str
    subjects: tuple[str, ...]
    data: dict[str, Any]
    mono: _Mono | UnsetType = UNSET
    role_as_shown: str | UnsetType = UNSET
    refers_to: str | UnsetType = UNSET


def _held_against(form: Any) -> Callable[[str], str]:
    return lru_cache(maxsize=_REMEMBERED)(TypeAdapter(form).validate_python)


_read: Final = msgspec.json.Decoder(Sent).decode
_name, _zone, _subject = map(_held_against, (Id, Zone, Subject))


def read_at_once(raw: bytes) -> Sent | None:
    """Return the entry whose canonical bytes are `raw`, where `read_entry` would surely take it; else None."""
    try:
        sent = _read(raw)
        model, refers_to, role, mono = KINDS[sent.kind], sent.refers_to, sent.role_as_shown, sent.mono
        if not is_id(sent.id) or (model.REFERS if refers_to is UNSET else not is_id(refers_to)):
            return None
        if len(raw) > model.MOST_BYTES or not is_canonical(raw, sent, sent.data):
            return None
        _name(sent.by), _name(sent.device), _zone(sent.zone)
        if role is not UNSET:
            _name(role)
        if mono is not UNSET:
            _name(mono.session)
        for subject in sent.subjects:
            _subject(subject)
        model.model_validate(sent.data)
    except (msgspec.MsgspecError, ValidationError, ValueError, KeyError, RecursionError):
        return None
    return sent
