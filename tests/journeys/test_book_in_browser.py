"""The pages of the book on a practice that lived three weeks: axe at three sizes, touch targets, keyboard, from a verdict to its entry."""

import sys
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Page, expect

sys.path.insert(0, str(Path(__file__).parent))
from real_page import DAY, SIZES, Served, start
from test_axe import violations

from fettlebook.book.kinds import to_ms
from fettlebook.book.stores import open_book
from fettlebook.demo import book_ics, practice_text
from fettlebook.demo.lived import live_into

pytestmark = pytest.mark.invented
PAGES = {
    "board": "/standing",
    "chair": "/standing/chair:chair 1",
    "set at a past moment": "/standing/unit:exam%233?at=2026-11-10T12:00",
    "due": "/due",
    "traces": "/trace",
    "trace": "/trace/visit:v_00000200",
    "look-back": "/look-back/machine:sterilizer 1",
    "entries": "/entries",
    "evidence": "/evidence",
    "water": "/water",
    "water of a chair": "/water/of/chair%202",
    "sampling diary": "/water/diary",
    "a result": "/water/enter",
    "treatments": "/water/treatments?days=31",
    "treatments of a chair": "/water/treatments/of/chair%202?days=31",
    "suction": "/water/suction?days=31",
    "suction of a chair": "/water/suction/of/chair%202?days=31",
    "strips": "/water/strips?days=31",
    "strips of a chair": "/water/strips/of/chair%202?days=31",
    "taps": "/water/taps",
    "filters": "/water/parts",
    "stock": "/water/stock",
    "entering a temperature": "/water/enter/temperature",
    "entering a strip of a treatment": "/water/enter/treatment-strip",
    "entering a package": "/water/enter/opened",
}
SMALL = """[...document.querySelectorAll('main a, main button, main summary, main input:not([type=hidden]), main select')]
  .filter(e => { const r = e.getBoundingClientRect(); return r.height > 0 && r.height < 47.5 }).map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("lived")
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes(book_ics())
    until = to_ms(datetime.fromisoformat(f"{DAY}T10:42").replace(tzinfo=ZoneInfo("Europe/London")))
    with open_book(folder / "book.sqlite", "quayside") as store:
        live_into(store, practice_text(), date(2026, 11, 4), until)
    page = start(folder, "--date", DAY, "--at", f"{DAY}T10:42")
    yield page
    assert page.stop() == 0
    assert page.log.read_text() == ""


@pytest.fixture
def book(page: Page, lived: Served) -> Page:
    """The board, once the book has been read."""
    page.goto(f"{lived.address}/standing")
    page.locator(".card-of").first.wait_for(timeout=60_000)
    return page


@pytest.mark.parametrize("name", PAGES)
def test_axe_finds_nothing_and_every_target_is_large_enough_for_a_finger(book: Page, lived: Served, name: str) -> None:
    assert book.goto(lived.address + PAGES[name]).status == 200
    book.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    for size in SIZES.values():
        book.set_viewport_size({"width": size[0], "height": size[1]})
        assert violations(book) == []
        assert book.evaluate(SMALL) == []
        assert book.evaluate("document.documentElement.scrollWidth") <= size[0]
    assert "invented data" in book.locator(".practice").inner_text()


def test_from_the_board_to_the_reason_the_rule_and_the_entry(book: Page) -> None:
    chair = book.locator(".card-of", has_text="chair 1,").first
    word = chair.locator(".word").inner_text()
    chair.locator("a").first.click()
    expect(book.locator("h1 .word")).to_have_text(word)
    expect(book.locator(".conditions tbody tr").nth(4)).to_be_visible()
    book.locator(".conditions a.entry").first.click()
    book.wait_for_url("**/entries/*")
    assert book.locator("h1").inner_text().startswith("Entry ")
    expect(book.get_by_text("Hash of its leaf")).to_have_count(1)


def test_another_moment_is_asked_with_the_keyboard_alone(book: Page) -> None:
    book.locator("summary", has_text="Ask about another moment").focus()
    book.keyboard.press("Enter")
    book.get_by_label("at", exact=True).fill("2026-11-10T08:30")
    book.get_by_label("at", exact=True).focus()
    book.keyboard.press("Enter")
    book.wait_for_url("**/standing?at=2026-11-10T08*")
    assert "Tue 10 Nov 2026 08:30, by what had been received by then" in book.locator("summary").first.inner_text()
    book.get_by_role("link", name="Back to now").click()
    book.wait_for_url("**/standing")


def test_a_trace_is_asked_as_people_call_things(book: Page, lived: Served) -> None:
    book.goto(f"{lived.address}/trace")
    book.get_by_label("a visit, set, pack").fill("exam#3")
    book.keyboard.press("Enter")
    book.locator("table.trace").wait_for()
    assert book.locator("h1").inner_text() == "Trace of unit:exam#3"
    with book.expect_download() as saved:
        book.get_by_role("link", name="Save as a table (CSV)").click()
    assert Path(saved.value.path()).read_text().startswith("depth,of,to,how,at,entry")


def test_a_subject_that_nobody_has_says_what_there_is(book: Page, lived: Served) -> None:
    book.goto(f"{lived.address}/trace")
    book.get_by_label("a visit, set, pack").fill("chair 9")
    book.keyboard.press("Enter")
    book.locator(".finding").wait_for()
    assert "chair:chair 1" in book.locator(".finding .mend").inner_text()


def test_strips_before_and_after_a_treatment_are_entered_by_touch_and_stand_on_their_page(book: Page, lived: Served) -> None:
    book.goto(f"{lived.address}/water/treatments")
    book.get_by_role("link", name="Enter a strip of a treatment").click()
    expect(book.get_by_role("heading", level=1)).to_have_text("Strip of a treatment")
    expect(book.get_by_text("After the rinse: at most 10 mg/L.")).to_be_visible()
    expect(book.locator(".caution.line")).to_contain_text("No patient before every outlet is clear")
    book.get_by_label("Chair, and when it was dipped").select_option("chair 3/chair.close/close.strip_rinse")
    book.get_by_label("Who enters it").select_option("ana")
    book.get_by_label("The strip shows").fill("30")
    book.get_by_role("button", name="Enter it in the book", exact=True).click()
    expect(book.locator(".fault").first).to_contain_text("30 mg/L is more than the label allows (10 mg/L)")
    book.get_by_label("The strip shows").fill("3")
    book.get_by_role("button", name="Enter it in the book", exact=True).click()
    expect(book.get_by_text("Entered in the book.")).to_be_visible()
    book.get_by_role("link", name="Look at the entry").click()
    expect(book.get_by_role("heading", level=1)).to_contain_text("Entry ")
    expect(book.get_by_role("main")).to_contain_text("close.strip_rinse")
    book.goto(f"{lived.address}/water/strips/of/chair%203")
    expect(book.get_by_text("left after the rinse").first).to_be_visible()


def test_a_high_count_bars_the_chair_names_the_way_back_and_a_good_sample_after_a_treatment_frees_it(book: Page, lived: Served) -> None:
    """The last test of this file: it writes into the book that all of them look at."""

    def result(count: str, sampled: str) -> None:
        book.goto(f"{lived.address}/water/enter?chair=chair%203")
        book.get_by_label("Taken on").fill(sampled)
        book.get_by_label("The laboratory's number").fill(count)
        book.get_by_label("Who enters it").select_option("ana")
        book.get_by_role("button", name="Enter it in the book").click()
        book.wait_for_url("**/water?written=*")

    def chair() -> str:
        book.goto(f"{lived.address}/standing/chair:chair%203")
        return book.locator("h1 .word").inner_text()

    before = chair()
    water = book.locator(".conditions tbody tr", has_text="water count within the limit")
    assert water.locator(".word").first.inner_text() == "fit"

    result("900", "2026-11-20")
    assert "chair 3: the last result" in book.locator("main").inner_text()
    assert chair() == "unfit"
    assert water.locator(".word").first.inner_text() == "unfit"
    assert "900 CFU/mL" in water.inner_text()
    assert "treat the lines intensively, then a new sample" in book.locator(".way").inner_text()
    book.goto(f"{lived.address}/board")
    assert "chair 3" in book.locator("main").inner_text()

    book.goto(f"{lived.address}/water/treatments/of/chair%203?days=31")
    rows = book.locator("tbody tr").all_inner_texts()
    assert any("23 Nov" in row and "fit" in row for row in rows)  # treated since, and whole
    assert chair() == "unfit"  # a treatment alone frees nothing

    result("5", "2026-11-24")
    assert chair() == before
    assert water.locator(".word").first.inner_text() == "fit"
