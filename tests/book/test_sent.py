"""Reading an entry at once takes nothing that reading it with care would refuse, and finds the same in it."""

import json
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st

from fettlebook.book.canonical import INTEGER_MOST
from fettlebook.book.entries import Entry, Moment, Mono, new_entry, read_entry
from fettlebook.book.kinds import DayPlanned, EntryWithdrawn, PracticeFileVersion, StepDone
from fettlebook.book.kinds.forms import YEAR_9999_MS
from fettlebook.book.sent import read_at_once
from fettlebook.errors import Mendable

pytestmark = pytest.mark.invented
NOW = 1_772_442_000_000
ID = "017f22e2-79b0-7cc3-98c4-dc0c0c07398f"
AT = Moment(1, "UTC")
STEP = StepDone(duty="chair.between", step="between.flush", chair="chair 1", outlets=("turbine",), outcome="done", readings={"flush_s": 30})
GOOD = [
    new_entry(STEP, moment=Moment(NOW, "Europe/Berlin", Mono(session="s1", ms=5)), device="tablet-3", n=7, by="ana"),
    new_entry(STEP, moment=Moment(NOW, "UTC"), device="t 1", n=INTEGER_MOST, by="p07").model_copy(update={"role_as_shown": "lead"}),
    new_entry(EntryWithdrawn(why="twice"), moment=Moment(0, "UTC"), device="t1", n=1, by="p07", refers_to=ID),
    new_entry(PracticeFileVersion.of("# ä\n" * 20_000), moment=Moment(YEAR_9999_MS, "UTC"), device="t1", n=1, by="program"),
    new_entry(DayPlanned(day="2026-03-02", instance_digest="ab" * 32, verdict="fits", line="ü"), moment=AT, device="t1", n=1, by="p"),
]  # fmt: skip
ODD = [
    *(
        "",
        "ana\n",
        "\nana",
        "a" * 60,
        "a" * 61,
        "ä",
        "１",
        "UTC\n",
        "chair:1\n",
        "chair:",
        ":1",
        "chair:" + "1" * 124,
        "chair:" + "1" * 125,
    ),
    *("step.done\n", "x.y", "step.done", "chair:\x7f", "017f22e2-79b0-7cc3-98c4-dc0c0c07398f", "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"),
    *("017f22e2-79b0-4cc3-98c4-dc0c0c07398f", 0, 1, -1, 2, True, False, None, 1.0, 1.5, 2**53 - 1, 2**53, 2**70, YEAR_9999_MS + 1),
    *([], ["chair:1"], ["chair:1", 1], ["chair:1", "chair:1"], {}, {"session": "s1", "ms": 1}, {"session": "s\n", "ms": 1}, {"x": None}),
    *({"session": "s1", "ms": 2**53}, {"session": "s1", "ms": 1, "more": 1}, {"a": {"b": {"c": {"d": {"e": {"f": {"g": {}}}}}}}}),
    *({"a": {"b": {"c": {"d": {"e": {"f": {"g": {"h": {}}}}}}}}}, {"Upper": 1}, {"a b": 1}, [[["x"]]], "\x00", "\ud800", "\\u0041"),
]
FIELDS = [*Entry.model_fields, "seq", "received", "offset", "via", "newer"]


def agree(raw: bytes) -> bool:
    """Hold one reading against the other; tell whether the quick one took it."""
    sent = read_at_once(raw)
    if sent is None:
        return False
    made = read_entry(raw)
    assert (sent.id, sent.kind, sent.device, sent.n, sent.subjects) == (made.id, made.kind, made.device, made.n, made.subjects)
    return True


@pytest.mark.parametrize("made", GOOD, ids=lambda one: one.kind)
def test_what_tablets_and_the_program_write_is_read_at_once(made: Entry) -> None:
    assert agree(made.encode())


@settings(max_examples=600, deadline=None)
@given(st.sampled_from(GOOD), st.lists(st.tuples(st.sampled_from(FIELDS), st.sampled_from(ODD)), max_size=2), st.booleans())
@example(GOOD[0], [("by", "ana\n")], False)
@example(GOOD[0], [("v", True)], False)
@example(GOOD[0], [("n", 1.0)], False)
@example(GOOD[2], [("refers_to", None)], True)
def test_odd_fields_are_taken_by_both_or_left_to_the_careful_one(made: Entry, odd: list[tuple[str, Any]], left_out: bool) -> None:
    fields = json.loads(made.encode()) | dict(odd)
    if left_out:
        fields = {name: value for name, value in fields.items() if value is not None}
    agree(json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode("utf-8", "surrogatepass"))


@settings(max_examples=600, deadline=None)
@given(st.sampled_from(GOOD[:2]), st.sampled_from(list(StepDone.model_fields)), st.sampled_from(ODD))
def test_odd_things_said_are_taken_by_both_or_left_to_the_careful_one(made: Entry, name: str, value: object) -> None:
    fields = json.loads(made.encode())
    fields["data"][name] = value
    agree(json.dumps(fields, sort_keys=True, separators=(",", ":"), ensure_ascii=False).encode("utf-8", "surrogatepass"))


@settings(max_examples=600, deadline=None)
@given(st.data(), st.sampled_from([GOOD[0], GOOD[1], GOOD[4]]))
def test_a_byte_more_or_less_or_other_is_taken_by_both_or_left_to_the_careful_one(data: st.DataObject, made: Entry) -> None:
    raw = bytearray(made.encode())
    at = data.draw(st.integers(0, len(raw) - 1))
    raw[at : at + data.draw(st.integers(0, 2))] = data.draw(
        st.sampled_from([b"", b" ", b"0", b"-", b"\n", b"\x00", b"\xff", b'"', b"1", b"\\", b",", b"a"])
    )
    agree(bytes(raw))


@pytest.mark.parametrize(
    "raw",
    [
        GOOD[0].encode().replace(b'"n":7,', b'"n":7,"n":7,'),
        GOOD[0].encode().replace(b'"n":7,', b'"n": 7,'),
        GOOD[0].encode().replace(b'{"at"', b'{"zone":"UTC","at"'),
        GOOD[0].encode().replace(b'"chair":"chair 1"', b'"chair":"chair 1","chair":"chair 1"'),
        GOOD[0].encode().replace(b"ana", b"\\u0061na"),
        b"[" * 100_000,
        b"",
    ],
)
def test_what_is_not_canonical_is_left_to_the_careful_one(raw: bytes) -> None:
    assert read_at_once(raw) is None
    with pytest.raises(Mendable):
        read_entry(raw)
