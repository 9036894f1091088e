"""Canonical JSON of a narrow domain: one value has one spelling, so that its digest can be compared for ever.

Sources
-------
[J] RFC 8785, JSON Canonicalization Scheme: order of keys, escapes, no white space. secondary
[I] RFC 7493 (I-JSON) section 2.2: integers beyond 2^53 - 1 do not survive every reader. memory

The domain is narrower than [J]: keys are ASCII snake_case, numbers are integers within +-(2^53 - 1) [I], strings hold no NUL
and no lone surrogate, and there is no null. Outside of it libraries differ (1e30, -0.0, NaN, 2^53), so nothing outside goes in:
a measured value is a scaled integer with its unit in the name (`temp_mc`), and what is absent is left out.

Inside it msgspec's writer gives the very bytes of [J], twenty times as fast as the `rfc8785` library, which reads like the standard and is
the measure in the tests. What comes in is read and written again by it; what is then found odd, by the standard library's, with care.
"""

import json
import re
from typing import Any, Final, NoReturn

import msgspec

from fettlebook.errors import Mendable

INTEGER_MOST: Final = 2**53 - 1  # [I]
DEPTH_MOST: Final = 8  # our own limit: an entry is a note, not a document
KEY: Final = re.compile(r"[a-z][a-z0-9_]{0,63}")
_UNSAFE: Final = re.compile("[\x00\ud800-\udfff]")
_WRITE: Final = json.JSONEncoder(sort_keys=True, ensure_ascii=False, separators=(",", ":"), allow_nan=False, check_circular=False).encode
_WRITE_QUICKLY: Final = msgspec.json.Encoder(order="sorted").encode
_READ_ANY: Final = msgspec.json.Decoder().decode
_KEYS: Final[set[str]] = set()  # keys that were found good
_KEYS_MOST: Final = 2000
_SURROGATES: Final = re.compile("[\ud800-\udfff]")


def encode(value: object, *, where: str = "value") -> bytes:
    """Return the canonical bytes of `value`.

    Parameters
    ----------
    value
        Mappings, sequences, strings, integers and booleans, at most eight deep.
    where
        Name of the value in messages.

    Raises
    ------
    Mendable
        Something in it is outside the domain; the message names its place, such as `entry.data.visits[3].chair`.
    """
    if _is_sound(value):
        return _WRITE_QUICKLY(value)
    _check(value, where, 1)
    return _WRITE(value).encode("utf-8")


def read(raw: bytes, *, where: str = "value", most_bytes: int = 64 * 1024) -> Any:
    """Return the value whose canonical spelling is exactly `raw`.

    The value is encoded again and the bytes are compared: this refuses doubled keys, white space, other escapes and 1.0 for 1,
    all at once. (Readers of JSON keep the last of two equal keys without a word.)

    Raises
    ------
    Mendable
        `raw` is too long, is no JSON, is outside the domain, or is another spelling of its value.
    """
    if len(raw) > most_bytes:
        raise Mendable(f"{len(raw):,} bytes, at most {most_bytes:,} are taken", where=where, mend="Send less in one entry.")
    try:
        if (quick := _read_quickly(raw)) is not None:
            return quick
        value = _READ_WITH_CARE(raw.decode("utf-8"))
    except RecursionError:
        raise Mendable("nested too deeply", where=where, mend=f"Nest at most {DEPTH_MOST} levels.") from None
    except ValueError as error:  # also UnicodeDecodeError and JSONDecodeError
        raise Mendable(f"not JSON of the book: {error}", where=where, mend="Send canonical JSON (RFC 8785) in UTF-8.") from None
    if encode(value, where=where) != raw:
        raise Mendable(
            "not in canonical spelling (RFC 8785), or a key stands in it twice",
            where=where,
            mend="Send keys once and sorted, without white space, with the shortest escapes.",
        )
    return value


def _read_quickly(raw: bytes) -> Any:
    """Return the value of canonical JSON, None for anything else: the slow way says what is wrong with it."""
    if b"\\u" in raw:
        return None  # without such an escape no string can hold NUL or half a character
    try:
        value = _READ_ANY(raw)
    except (ValueError, msgspec.MsgspecError):
        return None
    return value if _is_sound(value, as_read=True) and _WRITE_QUICKLY(value) == raw else None


def is_canonical(raw: bytes, value: object, open_part: dict[str, Any]) -> bool:
    """Tell whether `raw` is the canonical spelling of an object that was read from it by its type.

    The type holds keys, texts and numbers to the domain, but those of `open_part`, one of its fields.
    """
    return b"\\u" not in raw and _is_sound(open_part, 2, as_read=True) and _WRITE_QUICKLY(value) == raw


def _is_sound(value: Any, depth: int = 1, *, as_read: bool = False) -> bool:
    """Tell quickly whether a value is in the domain; `_check` says what is wrong where it isn't.

    `as_read`: it was read from bytes, so its strings are whole.
    """
    kind = type(value)
    if kind is dict:
        inner = value.values()
        if not _KEYS.issuperset(value) and not all(map(_is_key, value)):
            return False
    elif kind is list or kind is tuple:
        inner = value
    else:
        return False  # an entry is never a bare value: leave it to the slow way
    if depth > DEPTH_MOST:
        return False
    for one in inner:
        kind = type(one)
        if kind is str:
            if not as_read and _UNSAFE.search(one):
                return False
        elif kind is int:
            if not -INTEGER_MOST <= one <= INTEGER_MOST:
                return False
        elif kind is not bool and not _is_sound(one, depth + 1, as_read=as_read):
            return False
    return True


def _is_key(key: Any) -> bool:
    if not isinstance(key, str) or not KEY.fullmatch(key):
        return False
    if len(_KEYS) < _KEYS_MOST:  # a hostile sender must not fill the memory
        _KEYS.add(key)
    return True


def respell(raw: bytes, *, where: str = "value", most_bytes: int = 64 * 1024) -> bytes:
    """Return the canonical bytes of JSON in any spelling; what has no canonical spelling is refused, a key that stands twice too."""
    if len(raw) > most_bytes:
        raise Mendable(f"{len(raw):,} bytes, at most {most_bytes:,} are taken", where=where, mend="Send less in one entry.")
    try:
        value = json.loads(
            raw.decode("utf-8"), parse_float=_no_float, parse_constant=_no_float, parse_int=_integer, object_pairs_hook=each_key_once
        )
    except RecursionError:
        raise Mendable("nested too deeply", where=where, mend=f"Nest at most {DEPTH_MOST} levels.") from None
    except ValueError as error:
        raise Mendable(f"not JSON of the book: {error}", where=where, mend="Send one JSON object in UTF-8.") from None
    return encode(value, where=where)


def each_key_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return the pairs of an object as a mapping; a `ValueError` where a key stands in it twice."""
    if len(found := dict(pairs)) < len(pairs):
        raise ValueError("a key stands in it twice")
    return found


def _check(value: object, where: str, depth: int) -> None:
    if isinstance(value, str):
        if _UNSAFE.search(value):
            raise Mendable("a text with a NUL or half a character in it", where=where, mend="Send whole Unicode text without NUL.")
    elif isinstance(value, bool):
        pass
    elif isinstance(value, int):
        if abs(value) > INTEGER_MOST:
            raise Mendable(f"{value} is beyond +-{INTEGER_MOST}", where=where, mend="Send it as text.")
    elif isinstance(value, dict | list | tuple):
        if depth > DEPTH_MOST:
            raise Mendable("nested too deeply", where=where, mend=f"Nest at most {DEPTH_MOST} levels.")
        if isinstance(value, dict):
            for key, inner in value.items():
                if not isinstance(key, str) or not KEY.fullmatch(key):
                    shown = _SURROGATES.sub("\ufffd", str(key))
                    raise Mendable(f"the key {shown!r:.80}", where=where, mend="Write keys in ASCII snake_case, at most 64 characters.")
                _check(inner, f"{where}.{key}", depth + 1)
        else:
            for i, inner in enumerate(value):
                _check(inner, f"{where}[{i}]", depth + 1)
    elif value is None:
        raise Mendable("null", where=where, mend="Leave out what is absent.")
    else:
        mend = "Send whole numbers of a smaller unit (temp_mc), or text."
        raise Mendable(f"a {type(value).__name__}", where=where, mend=mend)


def _no_float(text: str) -> NoReturn:
    raise ValueError(f"the number {text:.40} is not a whole number; send whole numbers of a smaller unit")


def _integer(text: str) -> int:
    if len(text) > 17:  # longer than any integer of the domain; int() of millions of digits would take for ever
        raise ValueError(f"the number {text:.20}... is too large")
    if text == "-0":
        raise ValueError("the number -0")
    return int(text)


_READ_WITH_CARE: Final = json.JSONDecoder(parse_float=_no_float, parse_constant=_no_float, parse_int=_integer).decode
