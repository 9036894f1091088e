"""A laboratory's table into the book and the answer out of it: looked through first, whole or not at all, each result once."""

import json
from pathlib import Path

import icalendar
import pytest
from click.testing import CliRunner

from fettlebook.book.kinds import SampleResult
from fettlebook.book.stores import open_book
from fettlebook.cli.book import book
from fettlebook.cli.note import note
from fettlebook.cli.sampling import sampling
from fettlebook.cli.water import water
from fettlebook.errors import Mendable

TABLE = """chair,sampled_on,colonies,volume_ml,report
chair 1,2026-11-03,4,0.1,A-1
chair 2,2026-11-03,0,0.1,A-2
Chair 3,2026-11-03,61,0.1,A-3
"""


CHAIR = """
[[chairs]]
id = "chair {number}"
room = "room 1"
supply = {{ kind = "bottle", bottle_ml = 1500.0 }}
segments = [{{ id = "hose", bore_mm = 1.6, length_m = 2.0 }}]
outlets = [{{ id = "turbine", kind = "turbine", from = "hose", flow_ml_min = 60.0, measured_on = 2026-01-02 }}]
"""
PRACTICE = (
    """
schema = 1
opening = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 08:30:00, to = 17:30:00 }]
rooms = [{ id = "room 1", name = "Treatment room 1" }]
visit_kinds = [{ id = "exam", name = "Examination", uses = {} }]

[practice]
id = "small"
name = "Small practice (invented)"
time_zone = "Europe/London"
rulebooks = ["general", "uk"]
water_temperature_c = 12.0
invented = true
"""
    + "".join(CHAIR.format(number=number) for number in (1, 2, 3, 4))
    + """
[reprocessing]
load_minutes = 3
unload_minutes = 3
pack_minutes = 3
cool_minutes = 12

[[people]]
id = "ana"
name = "Ana"
skills = ["chairs", "lead"]
shifts = [{ days = ["mon", "tue", "wed", "thu", "fri"], from = 07:30:00, to = 16:30:00 }]

[in_use]

[calendar]
default_visit_kind = "exam"
rules = [{ property = "location", equals = "Treatment room 1", chair = "chair 1" }]
"""
)


@pytest.fixture
def place(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_text(PRACTICE)
    made = CliRunner().invoke(book, ["init", str(tmp_path / "book.sqlite"), str(tmp_path / "practice.toml")])
    assert made.exit_code == 0, made.output
    return tmp_path


def asked(place: Path, *words: str, table: str | None = None) -> tuple[int, dict[str, object]]:
    if table is not None:
        (place / "lab.csv").write_text(table)
    start = [str(place / "lab.csv")] if table is not None else []
    done = CliRunner().invoke(water, [*start, "--practice", str(place / "practice.toml"), "--json", *words], catch_exceptions=False)
    return done.exit_code, json.loads(done.stdout)


def results(place: Path) -> list[SampleResult]:
    with open_book(place / "book.sqlite", "small", write=False) as store:
        return [one.entry.data for one in store.read(kinds=["sample.result"])]  # type: ignore[misc]


def test_a_table_is_looked_through_first_and_then_written_once(place: Path) -> None:
    assert asked(place, table=TABLE)[1]["written"] == 0
    assert results(place) == []
    status, told = asked(place, "--write", "--by", "ana", table=TABLE)
    assert (status, told["written"]) == (0, 3)
    found = results(place)
    assert [(one.chair, one.value, one.colonies, one.plated_nl) for one in found] == [
        ("chair 1", 40, 4, 100_000), ("chair 2", 0, 0, 100_000), ("chair 3", 610, 61, 100_000),
    ]  # fmt: skip
    assert found[0].report is not None
    again = asked(place, "--write", "--by", "ana", table=TABLE + "chair 4,2026-11-03,7,0.1,A-4\n")[1]
    assert again["known"] == [2, 3, 4]
    assert again["written"] == 1
    assert len(results(place)) == 4


@pytest.mark.parametrize(
    ("line", "said"),
    [
        ("chair 9,2026-11-03,7,0.1,A-9\n", "no such chair: chair 9"),
        ("chair 4,2026-11-03,n.d.,0.1,A-9\n", "none detected"),
        ("chair 4,2026-11-03,7,,A-9\n", "no volume"),
        ("chair 4,2062-11-03,7,0.1,A-9\n", "sampled on 2062-11-03"),
    ],
)
def test_one_bad_line_keeps_the_whole_table_out(place: Path, line: str, said: str) -> None:
    status, told = asked(place, "--write", "--by", "ana", table=TABLE + line)
    assert status == 1
    assert said in json.dumps(told["findings"])
    assert results(place) == []


def test_another_result_under_a_known_report_is_named_not_written(place: Path) -> None:
    asked(place, "--write", "--by", "ana", table=TABLE)
    status, told = asked(place, "--write", "--by", "ana", table=TABLE.replace("61,0.1,A-3", "16,0.1,A-3"))
    assert status == 1
    assert "the book has report A-3 with another result" in json.dumps(told["findings"])
    assert len(results(place)) == 3


def test_a_chair_of_another_name_is_said(place: Path) -> None:
    table = TABLE.replace("chair 2", "Stuhl B")
    assert asked(place, table=table)[0] == 1
    assert asked(place, "--rename", "Stuhl B=chair 2", "--write", "--by", "ana", table=table)[1]["written"] == 3


def test_nobody_unknown_writes(place: Path) -> None:
    with pytest.raises(Mendable, match="nobody is called 'zoe'"):
        asked(place, "--write", "--by", "zoe", table=TABLE)
    with pytest.raises(Mendable, match="not given"):
        asked(place, "--write", table=TABLE)
    assert results(place) == []


def test_a_result_answers_the_sample_that_waits(place: Path) -> None:
    fields = ["sample=W7", "what=water", "chair=chair 1", "outlets=turbine", "neutralised=yes"]
    noted = CliRunner().invoke(
        note, ["sample.taken", "--book", str(place / "book.sqlite"), "--by", "ana", "--at", "2026-11-03T07:20", *fields]
    )
    assert noted.exit_code == 0, noted.output
    told = asked(place, "--write", "--by", "ana", table=TABLE)[1]
    assert [one["waited"] for one in told["to_write"]] == [True, False, False]  # type: ignore[attr-defined]
    assert results(place)[0].sample == "W7"


def test_the_book_answers_with_every_limit_and_what_it_does_not_know(place: Path) -> None:
    asked(place, "--write", "--by", "ana", table=TABLE)
    status, told = asked(place)
    assert status == 1
    chairs = {one["chair"]: one for one in told["chairs"]}  # type: ignore[attr-defined]
    assert chairs["chair 4"]["verdict"] == "unproven"  # no sample: the others' spread proves nothing
    assert chairs["chair 3"]["verdict"] == "unfit"
    assert chairs["chair 1"]["samples"] == 1
    assert len(told["results"]) == 3  # type: ignore[arg-type]
    assert told["common_rise"] is None
    assert told["high_in_a_row"] == [{"chair": "chair 3", "in_a_row": 1, "treated_between": 0, "limit": "uk.water.tvc_aim"}]
    words = CliRunner().invoke(water, ["--practice", str(place / "practice.toml")], catch_exceptions=False).stdout
    assert "chair 3: the last result (2026-11-03) is over 200 CFU/mL" in words
    assert "Whether all chairs rose together can't be told" in words


def test_neither_table_nor_book_is_said() -> None:
    with pytest.raises(Mendable, match="neither a table nor a book"):
        CliRunner().invoke(water, [], catch_exceptions=False)


def test_the_next_samples_and_what_the_plan_tells_come_from_the_book_with_a_sheet(place: Path) -> None:
    asked(place, "--write", "--by", "ana", table=TABLE)
    sheet = place / "round.pdf"
    words = ["--practice", str(place / "practice.toml"), "--sheet", str(sheet), "--ics", str(place / "s.ics"), "--json"]
    done = CliRunner().invoke(sampling, words, catch_exceptions=False)
    assert done.exit_code == 1
    told = json.loads(done.stdout)
    why = {one["chair"]: one["why"] for one in told["due"]}
    assert why["chair 4"] == "no valid sample in the book"
    assert why["chair 3"].startswith("the last result is over the limit: treat")
    assert sheet.read_bytes().startswith(b"%PDF")
    events = icalendar.Calendar.from_ical((place / "s.ics").read_bytes()).walk("VEVENT")
    assert sorted(str(one["location"]) for one in events) == sorted(one["chair"] for one in told["due"])
    assert 0 < told["plan"]["passes_once"] < 0.5
