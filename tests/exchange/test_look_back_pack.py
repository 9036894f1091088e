"""The look-back pack of worked histories: what is concerned, what is open, and no word about a patient."""

import sys
from io import BytesIO
from pathlib import Path

import pytest
from pypdf import PdfReader

sys.path.insert(0, str(Path(__file__).parents[1] / "standing"))
sys.path.insert(0, str(Path(__file__).parents[1] / "web"))
from small_book import READY, Book
from test_failure import FAILED
from test_instruments_standing import ALL
from test_printed_languages import TONGUES, left_in_english

from fettlebook.errors import Mendable
from fettlebook.exchange.csv_table import STARTS_A_FORMULA
from fettlebook.exchange.look_back_pack import Pack, csv_pack, letter_of, pack_of, pdf_pack, rows_of
from fettlebook.web.languages.tongue import Tongue

pytestmark = pytest.mark.invented
DAILY = '2026-03-10 07:00 ana machine.test {machine="steam", test="daily", outcome="failed"} = bad\n'
RECALL = '2026-03-10 07:30 ana load.rejected {load="s1", meaning="recalled", reason="test failed"}\n'
PASSED = '2026-03-10 08:00 ana machine.test {machine="steam", test="daily", outcome="passed"}\n'
HIGH = """
2026-03-10 06:00 ana sample.taken {sample="W2", what="water", chair="1", outlets=["turbine"], neutralised=true}
2026-03-17 09:00 ana sample.result {sample="W2", quantity="water count", value=9000, value_unit="CFU/mL", chair="1", outlets=["turbine"]}
2026-03-10 09:00 ana visit.started {visit="v_5", chair="1"}
2026-03-10 09:30 ana visit.ended {visit="v_5", chair="1", units=[]}
"""


def pack(text: str, subject: str, at: str = "2026-03-18 12:00") -> Pack:
    return pack_of(Book(text).now(at).look, subject)


def test_after_a_failed_test_each_load_since_the_last_good_one_is_open_until_decided() -> None:
    found = pack(ALL + DAILY, "machine:steam")
    assert found.undecided == ("s1",)
    assert any("load s1" in one for one in found.open)
    assert any("closes it" in one for one in found.open)
    done = pack(ALL + DAILY + RECALL + PASSED, "machine:steam")
    assert done.undecided == ()
    assert not any("load s1" in one for one in done.open)
    assert [f.what for f in done.deviation.followed if f.entry] if done.deviation else [] == []


def test_a_failed_cycle_concerns_its_own_load_alone() -> None:
    found = pack(FAILED, "load:s1")
    assert [load.load for load in found.back.loads] == ["s1"]
    assert found.back.last_good_ms is None
    with pytest.raises(Mendable, match="was good"):
        pack(ALL, "load:s1")


def test_a_count_over_the_limit_concerns_the_visits_since_the_last_good_one() -> None:
    found = pack(READY + HIGH, "chair:1")
    assert [visit for visit, _, _ in found.back.visits] == ["v_5"]
    assert "water" in letter_of(found)
    assert any("later count" in one for one in found.open)


def test_nothing_bad_and_nothing_known_are_refused_with_what_to_do() -> None:
    for subject in ("machine:steam", "chair:1"):
        with pytest.raises(Mendable, match="nothing bad"):
            pack(ALL, subject)
    for subject in ("machine:oven", "visit:v_5", "load:none", "chair:../../etc"):
        with pytest.raises(Mendable, match="nothing to look back on"):
            pack(ALL, subject)


def test_the_lists_are_a_table_without_formulas_and_the_letter_has_blanks_only() -> None:
    found = pack(ALL + DAILY.replace("failed", "failed") + RECALL.replace("test failed", "=1+1"), "machine:steam")
    rows = rows_of(found)
    assert {row["what"] for row in rows} >= {"load", "set"}
    cells = [cell for line in csv_pack(found).splitlines()[1:] for cell in line.split(",")]
    assert not any(cell.startswith(STARTS_A_FORMULA) for cell in cells)
    letter = letter_of(found)
    assert "Dear ____" in letter
    assert "v_" not in letter
    assert letter.startswith("INVENTED PRACTICE: do not send.")


def test_the_same_look_gives_the_same_pdf() -> None:
    found = pack(ALL + DAILY, "machine:steam")
    first = pdf_pack(found)
    assert first == pdf_pack(found)
    assert b"/StructTreeRoot" in first


def test_words_of_people_are_set_as_they_are_never_run() -> None:
    hostile = RECALL.replace("test failed", "#panic(1) $x$ *b* <script> \\\\u{1F600} @x")
    assert pdf_pack(pack(ALL + DAILY + hostile, "machine:steam")).startswith(b"%PDF-")


@pytest.mark.parametrize("tongue", TONGUES, ids=lambda tongue: tongue.language)
@pytest.mark.parametrize(("text", "subject"), [(ALL + DAILY + RECALL + PASSED, "machine:steam"), (READY + HIGH, "chair:1")])
def test_the_pack_and_its_letter_are_in_the_language_asked_for(text: str, subject: str, tongue: Tongue) -> None:
    found = pack(text, subject)
    reader = PdfReader(BytesIO(pdf_pack(found, tongue)))
    assert reader.trailer["/Root"]["/Lang"] == tongue.region.replace("_", "-")
    letter = letter_of(found, tongue)
    assert not list(left_in_english(" ".join(page.extract_text() for page in reader.pages) + letter, tongue))
    assert "2026-03-10" not in letter
