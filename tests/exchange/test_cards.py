"""The cards, read back with pypdf: steps in order, minutes, who set them, what to mind, and what is not known."""

from dataclasses import replace
from datetime import UTC, date, datetime
from importlib.resources import files
from io import BytesIO
from pathlib import Path

import pytest
from click.testing import CliRunner
from hypothesis import given
from hypothesis import strategies as st
from pypdf import PdfReader

from fettlebook.cli.cards import cards
from fettlebook.errors import Mendable
from fettlebook.exchange.paper.cards import cards_content, chair_cards
from fettlebook.exchange.paper.qr import CardCode, code_svg, read_code
from fettlebook.practice.load import load_practice
from fettlebook.rules.load import load_rulebook
from fettlebook.times.running import running_times
from fettlebook.times.words import clock

pytestmark = pytest.mark.invented

DEMO = Path(str(files("fettlebook.demo") / "practice.toml"))
ON = date(2026, 11, 25)
AT = datetime(2026, 11, 25, 8, 0, tzinfo=UTC)
IDS = st.from_regex(r"[A-Za-z0-9][A-Za-z0-9 ._-]{0,30}", fullmatch=True)


@pytest.fixture(scope="module")
def demo():
    practice = load_practice(DEMO)
    rulebook = load_rulebook(practice, on=ON)
    return practice, rulebook, running_times(practice, rulebook)


@pytest.fixture(scope="module")
def printed(demo):
    practice, rulebook, times = demo
    reader = PdfReader(BytesIO(chair_cards(practice, rulebook, times, on=ON, made_at=AT)))
    return reader, [" ".join(page.extract_text().split()) for page in reader.pages]


def test_the_sheets_are_a4_tagged_and_say_from_when_they_are(printed):
    reader, pages = printed
    assert {tuple(round(float(side)) for side in page.mediabox[2:]) for page in reader.pages} == {(842, 595)}
    assert reader.trailer["/Root"]["/MarkInfo"]["/Marked"]
    assert reader.trailer["/Root"]["/Lang"] == "en-GB"
    assert all("Printed 2026-11-25 08:00" in text and "invented data" in text and "releases nothing" in text for text in pages)


def test_each_chair_and_duty_has_its_card_with_every_step_in_order(demo, printed):
    _, _, times = demo
    _, pages = printed
    text = " ".join(pages[1:])
    duties = dict.fromkeys((t.chair, t.duty_name) for t in times)
    assert all(f"{chair}: {duty}" in text for chair, duty in duties)
    closing = [t for t in times if t.chair == "chair 1" and t.duty_id == "chair.close"]
    start = text.index("chair 1: End of the day, 1 of 2")
    places = [text.index(t.name, start) for t in closing]
    assert places == sorted(places)
    for t in closing:
        assert clock(t.seconds) in text[start:]
    assert "put in at least 150 mL of mixed solution" in text
    assert "meanwhile step 7 and 8" in text
    assert "cup filler 2:00" in text  # the groups of chair 4, each with its own time


def test_the_table_holds_every_chair_and_each_step_that_runs_alone_on_one_page(demo, printed):
    _, _, times = demo
    _, pages = printed
    assert pages[0].startswith("Running times of all chairs")
    assert not pages[1].startswith("Running times of all chairs")
    for t in times:
        if not t.attended:
            assert clock(t.seconds) in pages[0]


def test_forty_chairs_still_fit_one_page(demo):
    practice, rulebook, times = demo
    chairs = tuple(practice.chairs[n % 4].model_copy(update={"id": f"chair {n}"}) for n in range(40))
    many = practice.model_copy(update={"chairs": chairs})
    all_times = tuple(
        replace(t, chair=chair.id)
        for n, chair in enumerate(chairs)
        for t in times
        if t.chair == practice.chairs[n % 4].id and t.when == "end of day"
    )
    pages = [p.extract_text() for p in PdfReader(BytesIO(chair_cards(many, rulebook, all_times, on=ON, made_at=AT))).pages[:2]]
    assert all(f"chair {n}" in pages[0] for n in range(40))
    assert "chair 0: End of the day" in " ".join(pages[1].split())


def test_a_time_that_is_not_known_is_a_question_mark_with_its_mend_and_never_a_zero(demo):
    practice, rulebook, _ = demo
    cold = practice.model_copy(update={"practice": practice.practice.model_copy(update={"water_temperature_c": 4.0})})
    content = cards_content(cold, rulebook, running_times(cold, rulebook), on=ON, made_at=AT)
    steps = {s["name"]: s for c in content["cards"] for s in c["steps"]}
    fill = steps["Fill until the last outlet carries the feed strength"]
    assert (fill["time"], fill["set_by"]) == ("?", "not known")
    assert any("never take it as done" in note and "water_temperature_c" in note for note in fill["notes"])
    assert any("at least" in c["totals"] for c in content["cards"])


def test_the_same_data_give_the_same_bytes(demo):
    practice, rulebook, times = demo
    few = tuple(t for t in times if t.chair == "chair 3" and t.when == "between visits")
    assert chair_cards(practice, rulebook, few, on=ON, made_at=AT) == chair_cards(practice, rulebook, few, on=ON, made_at=AT)


@given(IDS, IDS, st.one_of(st.just(""), IDS))
def test_a_code_comes_back_as_it_went_in(chair, duty, step):
    code = CardCode(chair, duty, step)
    assert read_code(code.text()) == code
    assert code.text().isascii()
    assert " " not in code.text()


@pytest.mark.parametrize(
    "text", ["", "fettlebook:", "fettlebook:chair 1", "fettlebook:a/b/c/d", "fettlebook:a//c", "https://example.org/a/b"]
)
def test_what_is_no_code_of_a_card_is_refused(text):
    with pytest.raises(Mendable, match="no code of a card"):
        read_code(text)


def test_a_code_has_its_quiet_zone_and_needs_nothing_from_outside():
    svg = code_svg(CardCode("chair 1", "chair.close", "close.rinse"))
    assert svg.startswith("<svg")
    assert "href" not in svg
    size = int(svg.split('width="')[1].split('"')[0])
    assert (size - 8 - 17) % 4 == 0  # a QR code has 17 + 4 v modules a side; 4 more on each side are the quiet zone


def test_the_command_writes_the_cards_of_one_chair_and_says_how_many(tmp_path):
    target = tmp_path / "cards.pdf"
    done = CliRunner().invoke(cards, [str(DEMO), "-o", str(target), "--chair", "chair 3", "--duty", "close.rinse", "--on", "2026-11-25"])
    assert done.exit_code == 0, done.output
    text = " ".join(" ".join(p.extract_text().split()) for p in PdfReader(target).pages)
    assert "chair 3: End of the day" in text  # a step's id means its whole duty
    assert "chair 1" not in text
    assert [p.name for p in tmp_path.iterdir()] == ["cards.pdf"]


def test_a_folder_that_is_not_there_is_told_and_nothing_is_left_behind(tmp_path):
    done = CliRunner().invoke(cards, [str(DEMO), "-o", str(tmp_path / "no" / "cards.pdf"), "--chair", "chair 3", "--duty", "weekly"])
    assert isinstance(done.exception, Mendable)
    assert list(tmp_path.iterdir()) == []
