import json
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from fettlebook.book import canonical
from fettlebook.book.entries import Entry, Moment, Mono, is_id, new_entry, new_id, read_entry
from fettlebook.book.kinds import (
    BookImported,
    DayPlanned,
    DayReplanned,
    EntryCorrected,
    EntryWithdrawn,
    Frozen,
    Happened,
    ImportedVisit,
    NotLoaded,
    OtherData,
    PracticeFileVersion,
    RulebookLayer,
    RulebookVersion,
    from_ms,
    to_ms,
)
from fettlebook.errors import Mendable
from fettlebook.practice.visit import Visit

pytestmark = pytest.mark.invented
BERLIN = ZoneInfo("Europe/Berlin")
NINE = datetime(2026, 3, 2, 9, 0, tzinfo=BERLIN)
MOMENT = Moment(to_ms(NINE), "Europe/Berlin", Mono(session="s1", ms=42))
DIGEST = "ab" * 32
NAIVE = st.datetimes(datetime(1970, 1, 2), datetime(2100, 1, 1))  # noqa: DTZ001 - hypothesis asks for bounds without a zone
UUIDV7 = json.loads((Path(__file__).parent / "vectors/small.json").read_text("utf-8"))["uuidv7"]


def entry_from(data: Any, **more: Any) -> Entry:
    return new_entry(data, moment=MOMENT, device="tablet-3", n=7, by="p07", subjects=("chair:2",), **more)


def sent(**changed: Any) -> bytes:
    fields = json.loads(entry_from(DayPlanned(day="2026-03-02", instance_digest=DIGEST, verdict="fits", line="All fits.")).encode())
    fields |= changed
    return canonical.encode({k: v for k, v in fields.items() if v is not None})


EVERY_KIND = [
    PracticeFileVersion.of('zone = "Europe/Berlin"\n', name="practice.toml"),
    PracticeFileVersion.of(""),
    RulebookVersion(layers=(RulebookLayer.of("general", "[duty]\n"), RulebookLayer.of("own", "# ä\n"))),
    BookImported.of(
        day="2026-03-02",
        calendar=b"BEGIN:VCALENDAR",
        visits=[Visit("ABCDEFGHIJKLMNOPQRSTUVWXYZ", "2", "filling", NINE, NINE.replace(minute=45))],
        counts={"events": 3, "left_out": 2},
    ),
    DayPlanned(day="2026-03-02", instance_digest=DIGEST, verdict="late", line="2 visits late", method="list"),
    DayReplanned(day="2026-03-02", of_digest=DIGEST, happened=(), line="The plan of the files holds again."),
    DayReplanned(
        day="2026-03-02",
        of_digest=DIGEST,
        happened=(Happened(what="washer 1 is out of service", minute=642),),
        line="from 10:42: all 9 visits served",
        assumed=("p07 stays 15 min longer",),
        instance="{}",
        plan="{}",
        not_loaded=(NotLoaded(machine="washer 1", until_minute=4000),),
        shut=("2",),
    ),
]


@pytest.mark.parametrize("data", EVERY_KIND, ids=lambda d: d.KIND)
def test_each_kind_comes_back_from_its_bytes_equal_and_to_the_same_bytes(data: Any) -> None:
    entry = entry_from(data)
    raw = entry.encode()
    again = read_entry(raw)
    assert again == entry
    assert type(again.data) is type(data)
    assert again.encode() == raw


def test_a_correction_and_a_withdrawal_refer_to_the_entry_that_they_mend() -> None:
    first = entry_from(EVERY_KIND[4])
    fixed = entry_from(EntryCorrected(field="data.line", was="2 visits late", now="3 visits late", why="miscounted"), refers_to=first.id)
    assert json.loads(fixed.encode())["data"] == {"field": "data.line", "was": "2 visits late", "now": "3 visits late", "why": "miscounted"}
    assert read_entry(fixed.encode()) == fixed
    assert read_entry(entry_from(EntryWithdrawn(why="wrong day"), refers_to=first.id).encode()).refers_to == first.id
    with pytest.raises(Mendable, match="needs refers_to"):
        entry_from(EntryWithdrawn(why="wrong day"))


@settings(max_examples=40)
@given(
    st.dictionaries(
        st.from_regex(r"x_[a-z0-9_]{0,6}", fullmatch=True), st.integers(0, 9) | st.text("äb", max_size=3) | st.booleans(), max_size=3
    ),
    st.dictionaries(st.from_regex(r"x_[a-z0-9_]{0,6}", fullmatch=True), st.lists(st.integers(0, 9), max_size=3), max_size=3),
)
def test_unknown_kinds_and_fields_of_a_newer_program_survive(top: dict[str, Any], inner: dict[str, Any]) -> None:
    raw = sent(kind="machine.dreamt", data=inner, **top)
    entry = read_entry(raw)
    assert type(entry.data) is OtherData
    assert entry.encode() == raw
    known = sent(**top, data={"day": "2026-03-02", "instance_digest": DIGEST, "verdict": "fits", "line": "x", **inner})
    assert read_entry(known).encode() == known


def test_unknown_fields_inside_a_visit_survive() -> None:
    visit = {"ref": "R1", "chair": "2", "visit_kind": "filling", "start_ms": 1, "minutes": 30, "x_room": "blue"}
    raw = sent(kind="book.imported", data={"day": "2026-03-02", "calendar_digest": DIGEST, "visits": [visit], "counts": {}})
    assert read_entry(raw).encode() == raw


@pytest.mark.parametrize(
    ("changed", "where", "what"),
    [
        ({"v": 2}, "entry.v", "version 2"),
        ({"v": True}, "entry.v", "integer"),
        ({"v": None}, "entry.v", "required"),
        ({"seq": 9}, "entry.seq", "sets seq"),
        ({"received": 9, "via": "tablet-3"}, "entry.received", "received, via"),
        ({"id": "not-an-id"}, "entry.id", "pattern"),
        ({"id": "017F22E2-79B0-7CC3-98C4-DC0C0C07398F"}, "entry.id", "pattern"),
        ({"id": "017f22e2-79b0-4cc3-98c4-dc0c0c07398f"}, "entry.id", "pattern"),
        ({"id": "017f22e279b07cc398c4dc0c0c07398f"}, "entry.id", "pattern"),
        ({"id": "017f22e2-79b0-7cc3-98c4-dc0c0c07398f\n"}, "entry.id", "pattern"),
        ({"kind": "planned"}, "entry.kind", "pattern"),
        ({"at": -1}, "entry.at", "greater"),
        ({"at": 253_402_300_800_000}, "entry.at", "less"),
        ({"n": 0}, "entry.n", "greater"),
        ({"by": ""}, "entry.by", "at least 1"),
        ({"subjects": "chair:2"}, "entry.subjects", "tuple"),
        ({"subjects": ["2"]}, "entry.subjects[0]", "pattern"),
        ({"zone": "../../etc/passwd"}, "entry.zone", "pattern"),
        ({"data": {"day": "2026-03-02"}}, "entry.data.instance_digest", "required"),
        ({"data": {"day": "2 March", "instance_digest": DIGEST, "verdict": "fits", "line": "x"}}, "entry.data.day", "pattern"),
        ({"kind": "practice_file.version", "data": {"digest": DIGEST, "text": "x"}}, "entry.data", "digest is not that of the text"),
        ({"kind": "entry.withdrawn", "data": {"why": "x"}}, "entry", "needs refers_to"),
        (
            {"data": {"day": "2026-03-02", "instance_digest": DIGEST, "verdict": "fits", "line": "x", "x_long": "y" * 66_000}},
            "entry",
            "bytes",
        ),
    ],
    ids=lambda v: str(v)[:40],
)
def test_what_an_entry_can_not_hold_is_named_with_its_place(changed: dict[str, Any], where: str, what: str) -> None:
    with pytest.raises(Mendable) as caught:
        read_entry(sent(**changed))
    assert caught.value.where == where
    assert what in caught.value.what
    assert caught.value.mend


def test_all_that_is_wrong_is_found_at_once() -> None:
    with pytest.raises(Mendable) as caught:
        read_entry(sent(at=-1, n=0, by=""))
    assert [f.where for f in caught.value.findings] == ["entry.at", "entry.n", "entry.by"]


@pytest.mark.published(source="RFC 9562 appendix A.6: example of a UUIDv7", sure="secondary")
def test_the_standard_example_of_an_id_is_one() -> None:
    assert is_id(UUIDV7["uuid"])
    assert int(UUIDV7["uuid"].replace("-", "")[:12], 16) == UUIDV7["unix_ms"]
    assert not is_id(UUIDV7["uuid"].upper())
    assert not is_id(UUIDV7["uuid"] + "\n")


def test_new_ids_are_ids_all_different_and_begin_with_their_time() -> None:
    made = [new_id(UUIDV7["unix_ms"]) for _ in range(500)]
    assert all(map(is_id, made))
    assert len(set(made)) == 500
    assert {m[:13] for m in made} == {UUIDV7["uuid"][:13]}


@settings(max_examples=50)
@given(NAIVE, st.sampled_from(["UTC", "Europe/Berlin", "America/New_York"]), st.booleans())
def test_a_moment_survives_as_milliseconds_also_in_the_hour_that_comes_twice(naive: datetime, zone: str, second: bool) -> None:
    moment = naive.replace(tzinfo=ZoneInfo(zone), fold=int(second), microsecond=naive.microsecond // 1000 * 1000)
    ms = to_ms(moment)
    assert ms == round(moment.timestamp() * 1000)
    assert to_ms(from_ms(ms, zone)) == ms


def test_a_visit_keeps_its_length_over_the_clock_change() -> None:
    start = datetime(2026, 3, 29, 0, 30, tzinfo=ZoneInfo("UTC")).astimezone(BERLIN)
    end = datetime(2026, 3, 29, 1, 30, tzinfo=ZoneInfo("UTC")).astimezone(BERLIN)
    held = ImportedVisit.of(Visit("R1", "2", "filling", start, end))
    assert held.minutes == 60
    assert held.visit("Europe/Berlin") == Visit("R1", "2", "filling", start, end)


def test_no_field_of_an_entry_could_be_written_otherwise_than_it_was_sealed() -> None:
    models = [Frozen]
    for model in models:
        models += model.__subclasses__()
        for name, field in model.model_fields.items():
            assert field.alias is None
            assert field.is_required() or field.default is None, f"{model.__name__}.{name}"
    assert {Entry, DayPlanned, ImportedVisit} <= set(models)
