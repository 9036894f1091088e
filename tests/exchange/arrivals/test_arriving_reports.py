"""Reports that come in by themselves: CSV, JSON and FHIR give the same results; all of a report or nothing."""

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from arriving_book import ArrivingBook, arriving_book

from fettlebook.book.kinds import SampleResult
from fettlebook.errors import Mendable
from fettlebook.exchange.arrivals.reports import as_table

pytestmark = pytest.mark.invented
CSV = b"chair;sample date;result (CFU/mL);volume_ml;report\nchair 1;2026-11-18;23;1;R-1\nchair 2;2026-11-18;<1;1;R-2\n"
JSON = json.dumps(
    {
        "results": [
            {"chair": "chair 1", "sample date": "2026-11-18", "result (CFU/mL)": 23, "volume_ml": 1, "report": "R-1"},
            {"chair": "chair 2", "sample date": "2026-11-18", "result (CFU/mL)": "<1", "volume_ml": 1, "report": "R-2"},
        ]
    }
).encode()


def observation(chair: str, value: float, report: str, **more: Any) -> dict[str, Any]:
    quantity = {"value": value, "unit": "CFU/mL", "system": "http://unitsofmeasure.org", "code": "{CFU}/mL"}
    return {
        "resourceType": "Observation", "status": "final", "code": {"text": "heterotrophic plate count"},
        "identifier": [{"value": report}], "subject": {"identifier": {"value": chair}},
        "effectiveDateTime": "2026-11-18T07:40:00+00:00", "valueQuantity": quantity,
        "component": [{"code": {"text": "volume plated"}, "valueQuantity": {"value": 1, "unit": "mL"}}],
    } | more  # fmt: skip


def below(one: dict[str, Any]) -> dict[str, Any]:
    return one | {"valueQuantity": one["valueQuantity"] | {"comparator": "<"}}


def bundle(*resources: dict[str, Any]) -> bytes:
    return json.dumps({"resourceType": "Bundle", "type": "collection", "entry": [{"resource": one} for one in resources]}).encode()


FHIR = bundle(observation("chair 1", 23, "R-1"), below(observation("chair 2", 1, "R-2")))


@pytest.fixture
def book(tmp_path: Path) -> Iterator[ArrivingBook]:
    with arriving_book(tmp_path) as found:
        yield found


@pytest.mark.parametrize("report", [CSV, JSON, FHIR], ids=["csv", "json", "fhir"])
def test_each_form_gives_the_same_results(book: ArrivingBook, report: bytes) -> None:
    found = book.take(report, "laboratory", name="report")
    assert found.became == "kept", found
    said = [received.entry.data for one in found.entries if (received := book.store.get(one)) is not None]
    assert [(d.chair, d.value, d.mark, d.colonies, d.plated_nl, d.report_number) for d in said if isinstance(d, SampleResult)] == [
        ("chair 1", 23, None, 23, 1_000_000, "R-1"),
        ("chair 2", 1, "below", 0, 1_000_000, "R-2"),
    ]
    size = book.size()
    for again in (CSV, JSON, FHIR):
        assert book.take(again, "laboratory", name="again").became == "known"
    assert book.size() == size


@pytest.mark.parametrize(
    ("report", "said"),
    [
        (CSV + b"chair 9;2026-11-18;5;1;R-3\n", "no such chair: chair 9"),
        (CSV + b"chair 1;2027-11-18;5;1;R-3\n", "2027"),
        (b'{"results": [', "no whole JSON"),
        (b'{"results": 5}', "holds no results"),
        (bundle(observation("chair 1", 5, "R-9", status="preliminary")), "its status is preliminary"),
        (bundle(observation("chair 1", 5, "R-9", valueQuantity={"value": 5, "unit": "mg/L"})), "is not CFU per mL"),
        (bundle(observation("chair 1", 5, "R-9", effectiveDateTime="soon")), "effectiveDateTime"),
        (bundle(observation("", 5, "R-9", subject={"reference": "Device/1"})), "no chair is named"),
        (bundle(observation("chair 1", 5, "R-9", component=[])), "no volume"),
    ],
)
def test_one_bad_line_keeps_the_whole_report_out_and_says_where(book: ArrivingBook, report: bytes, said: str) -> None:
    size = book.size()
    found = book.take(report, "laboratory", name="report.x")
    assert found.became == "put aside"
    assert said in " ".join(str(one) for one in found.findings), found.findings
    assert book.size() == size
    assert len(book.put_aside()) == 2


def test_the_laboratory_s_own_names_are_in_the_practice_file(tmp_path: Path) -> None:
    names = 'chairs = { "DU-1" = "chair 1" }\ncolumns = { chair = "Messstelle", result = "KBE je ml" }'
    own = f'[laboratory]\nvolume_ml = 1.0\ndecimal = "comma"\n{names}\n\n[in_use]'
    with arriving_book(tmp_path, lambda text: text.replace("[in_use]", own, 1)) as book:
        found = book.take(b"Messstelle;Datum;KBE je ml\nDU-1;18.11.2026;12\n", "laboratory", name="r.csv")
        assert found.became == "kept", found


def test_a_report_that_is_no_text_is_told() -> None:
    with pytest.raises(Mendable, match="PDF"):
        as_table(b"%PDF-1.7", "r.pdf")
    assert as_table(CSV, "r.csv").table == CSV
