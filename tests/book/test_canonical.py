import json
from pathlib import Path
from typing import Any

import pytest
import rfc8785
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book import canonical
from fettlebook.errors import Mendable

VECTORS = json.loads((Path(__file__).parent / "vectors/jcs.json").read_text("utf-8"))
JCS = "cyberphone/json-canonicalization, testdata, commit 19d51d7 (reference files of RFC 8785), Apache-2.0"
FILES = {f["name"]: (bytes.fromhex(f["input_hex"]), bytes.fromhex(f["canonical_hex"])) for f in VECTORS["files"]}

strings = st.text(st.characters(exclude_characters="\x00", exclude_categories=("Cs",)), max_size=12)
keys = st.from_regex(r"[a-z][a-z0-9_]{0,6}", fullmatch=True)
integers = st.integers(-canonical.INTEGER_MOST, canonical.INTEGER_MOST)
values: st.SearchStrategy[Any] = st.booleans() | integers | strings
for _ in range(3):  # four levels, well inside the limit
    values = values | st.lists(values, max_size=4) | st.dictionaries(keys, values, max_size=4)


@pytest.mark.published(source=JCS, sure="read")
@pytest.mark.parametrize("name", sorted(FILES))
def test_the_library_that_is_our_measure_gives_the_reference_files(name: str) -> None:
    given_bytes, canonical_bytes = FILES[name]
    assert rfc8785.dumps(json.loads(given_bytes)) == canonical_bytes


@pytest.mark.published(source=JCS, sure="read")
@pytest.mark.parametrize(
    ("name", "why"), [("values", "number"), ("structures", "key"), ("french", "key"), ("weird", "key"), ("arrays", "key|null")]
)
def test_reference_files_outside_the_narrow_domain_are_refused(name: str, why: str) -> None:
    with pytest.raises(Mendable, match=why):
        canonical.read(FILES[name][1])


@pytest.mark.published(source=JCS + "; strings of the files `weird`, `unicode` and `values` under snake_case keys", sure="read")
def test_strings_of_the_reference_files_are_spelled_as_there() -> None:
    texts = {
        "unicode": json.loads(FILES["unicode"][1])["Unnormalized Unicode"],
        "string": json.loads(FILES["values"][1])["string"],
        "weird": next(v for k, v in json.loads(FILES["weird"][1]).items() if "</script>" in str(v) or "script" in k),
    }
    ours = canonical.encode(texts)
    for text, file in zip(texts.values(), ("unicode", "values", "weird"), strict=True):
        spelled = ours[ours.index(rfc8785.dumps(text)) :][: len(rfc8785.dumps(text))]
        assert spelled in FILES[file][1]


@settings(max_examples=200)
@given(values)
def test_every_value_of_the_domain_comes_back_and_is_spelled_as_the_reference_library_does(value: Any) -> None:
    value = {"k": value}
    raw = canonical.encode(value)
    assert canonical.read(raw) == value
    assert raw == rfc8785.dumps(value)


@pytest.mark.parametrize(
    ("raw", "what"),
    [
        (b'{"a":1,"a":2}', "twice"),
        (b'{"b":1,"a":2}', "canonical"),
        (b'{"a": 1}', "canonical"),
        (b'{"a":"\\u0041"}', "canonical"),
        (b'{"a":1}\n', "canonical"),
        (b'{"a":1.0}', "whole number"),
        (b'{"a":1e3}', "whole number"),
        (b'{"a":NaN}', "whole number"),
        (b'{"a":-0}', "-0"),
        (b'{"a":9007199254740992}', "beyond"),
        (b'{"a":' + b"9" * 5000 + b"}", "too large"),
        (b'{"a":null}', "null"),
        (b'{"a":"\\u0000"}', "NUL"),
        (b'{"a":"\\ud800"}', "half a character"),
        (b'{"\\ud800":1}', "key"),
        (b'{"A":1}', "key"),
        (b'{"a b":1}', "key"),
        (b'\xef\xbb\xbf{"a":1}', "not JSON"),
        (b'{"a":"\xff"}', "not JSON"),
        (b"{", "not JSON"),
        (b"", "not JSON"),
        (b"[" * 50_000 + b"]" * 50_000, "bytes|deeply"),
        (b"[" * 20_000 + b"]" * 20_000, "deeply"),
        (b'{"a":"' + b"x" * 70_000 + b'"}', "70,008 bytes"),
    ],
    ids=lambda v: repr(v)[:30],
)
def test_any_other_spelling_is_refused_in_words(raw: bytes, what: str) -> None:
    with pytest.raises(Mendable, match=what) as caught:
        canonical.read(raw, where="entry")
    assert caught.value.where.startswith("entry")
    assert caught.value.mend
    caught.value.what.encode()  # printable even where the input held half a character


def test_every_character_alone_is_spelled_as_the_reference_library_does() -> None:
    points = [*range(1, 0x3000), *range(0xD7F0, 0xD800), *range(0xE000, 0xE010), *range(0xFFF0, 0x10010), 0x1F600, 0x10FFFF]
    text = {"t": [chr(point) for point in points]}
    assert canonical.encode(text) == rfc8785.dumps(text)


def test_a_message_names_the_place() -> None:
    with pytest.raises(Mendable) as caught:
        canonical.encode({"visits": [{"chair": "c1"}, {"chair": 1.5}]}, where="entry.data")
    assert caught.value.where == "entry.data.visits[1].chair"
    assert caught.value.what == "a float"
