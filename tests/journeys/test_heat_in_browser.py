"""The load bench in a browser: pack, run with an invented log, release; a failed cycle to its list; axe, targets, keyboard."""

import sys
from collections.abc import Iterator
from datetime import date, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import pytest
from playwright.sync_api import Page

sys.path.insert(0, str(Path(__file__).parent))
from real_page import DAY, SIZES, Served, start
from test_axe import violations

from fettlebook.book.kinds import to_ms
from fettlebook.book.stores import open_book
from fettlebook.demo import book_ics, practice_text
from fettlebook.demo.heat import as_csv, make_log
from fettlebook.demo.lived import live_into

pytestmark = pytest.mark.invented
SMALL = """[...document.querySelectorAll('main a, main button, main summary, main input:not([type=hidden]), main select')]
  .filter(e => { const t = e.closest('label.tile') || e; const r = t.getBoundingClientRect(); return r.height > 0 && r.height < 47.5 })
  .map(e => e.outerHTML.slice(0, 80))"""


@pytest.fixture(scope="module")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("heat")
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes(book_ics())
    for name, fault, seed in (("good.csv", "good", 3), ("short.csv", "short hold", 5)):
        (folder / name).write_text(as_csv(make_log(fault, seed)))
    until = to_ms(datetime.fromisoformat(f"{DAY}T10:42").replace(tzinfo=ZoneInfo("Europe/London")))
    with open_book(folder / "book.sqlite", "quayside") as store:
        live_into(store, practice_text(), date(2026, 11, 23), until)
    page = start(folder, "--date", DAY, "--at", f"{DAY}T10:42")
    page.folder = folder  # type: ignore[attr-defined]
    yield page
    assert page.stop(most_s=30) == 0  # how soon it stops is held in test_serve_process
    assert page.log.read_text() == ""


@pytest.fixture
def bench(page: Page, lived: Served) -> Page:
    """The load bench, once the book has been read."""
    page.goto(f"{lived.address}/loads")
    page.get_by_role("link", name="Pack a load").wait_for(timeout=60_000)
    return page


def pack(page: Page, *, machine: str = "sterilizer 1") -> str:
    """Pack two sets for the wrapped cycle; return the load's address."""
    page.get_by_role("link", name="Pack a load").click()
    page.locator(f"a.tile[href*='{machine.replace(' ', '%20')}&cycle=wrapped']").click()
    boxes = page.locator(".tiles.units label.tile")
    for n in range(2):
        boxes.nth(n).click()
    page.get_by_text("solid only", exact=True).click()
    page.locator("fieldset", has_text="An indicator in each pack?").get_by_text("yes", exact=True).click()
    page.get_by_text("Ana", exact=True).click()
    page.get_by_role("button", name="Packed").click()
    page.get_by_role("heading", name="Enter the run").wait_for()
    return page.url


def run(page: Page, log: Path) -> None:
    page.get_by_text("passed", exact=True).click()
    page.get_by_label("Its log (a CSV file)").set_input_files(log)
    page.locator("fieldset", has_text="Who enters it?").get_by_text("Ben", exact=True).click()
    page.get_by_role("button", name="Enter the run").click()
    page.locator(".verdict-of").wait_for()


def test_pack_run_with_a_log_and_release(bench: Page, lived: Served) -> None:
    pack(bench, machine="sterilizer 2")
    run(bench, lived.folder / "good.csv")  # type: ignore[attr-defined]
    assert "judged from its log: unfit" not in bench.content()
    bench.get_by_role("link", name="The cycle: graph and numbers").click()
    bench.locator("img.cycle-graph").wait_for()
    bench.evaluate("document.querySelector('img.cycle-graph').decode().then(() => true)")
    assert violations(bench) == []
    bench.go_back()
    form = bench.locator("form#release")
    form.get_by_text("all dry", exact=True).click()
    form.get_by_text("all turned", exact=True).click()
    form.locator("fieldset", has_text="Who releases it?").get_by_text("Ana", exact=True).click()
    form.locator("button[type=submit]").click()
    bench.get_by_text("released by ana").first.wait_for()


def test_a_failed_cycle_to_its_quarantine_and_the_list(bench: Page, lived: Served) -> None:
    load = pack(bench).rpartition("/")[2]
    run(bench, lived.folder / "short.csv")  # type: ignore[attr-defined]
    assert bench.locator("h1 .word").inner_text() == "unfit"
    assert "hold" in bench.locator(".missing").inner_text()
    bench.goto(f"{lived.address}/failures/sterilizer 1")
    failure = bench.locator("article", has_text="a cycle failed").first
    assert load in failure.inner_text()
    failure.locator("summary", has_text="Reject the load").click()
    failure.get_by_label("In a few words (no patients' names)").first.fill("short hold")
    failure.locator("form", has_text="Reject the load").get_by_text("Ana", exact=True).click()
    failure.get_by_role("button", name="Reject the load").click()
    bench.get_by_text("rejected by ana").first.wait_for()
    with bench.expect_download() as saved:
        bench.get_by_role("link", name="Save the lists (CSV)").first.click()
    assert Path(saved.value.path()).read_text().startswith("failure,failed,load")


def test_everything_goes_by_keyboard(bench: Page) -> None:
    bench.get_by_role("link", name="Pack a load").focus()
    bench.keyboard.press("Enter")
    bench.locator("a.tile").first.focus()
    bench.keyboard.press("Enter")
    box = bench.locator(".tiles.units input").first
    box.focus()
    bench.keyboard.press("Space")
    assert box.is_checked()
    who = bench.locator("input[name=by]").first
    who.focus()
    bench.keyboard.press("Space")
    bench.get_by_role("button", name="Packed").focus()
    bench.keyboard.press("Enter")
    bench.locator(".verdict-of").wait_for()


@pytest.mark.parametrize(
    "address",
    ["/loads", "/loads/pack", "/loads/pack?machine=sterilizer 1&cycle=wrapped 134", "/machines", "/machines/sterilizer 1", "/failures"],
)
def test_axe_finds_nothing_and_every_target_is_large_enough_for_a_gloved_finger(bench: Page, lived: Served, address: str) -> None:
    assert bench.goto(lived.address + address).status == 200
    bench.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    for size in SIZES.values():
        bench.set_viewport_size({"width": size[0], "height": size[1]})
        assert violations(bench) == []
        assert bench.evaluate(SMALL) == []
        assert bench.evaluate("document.documentElement.scrollWidth") <= size[0]


def test_axe_finds_nothing_on_a_load(bench: Page, lived: Served) -> None:
    pack(bench, machine="sterilizer 2")
    bench.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    for size in SIZES.values():
        bench.set_viewport_size({"width": size[0], "height": size[1]})
        assert violations(bench) == []
        assert bench.evaluate(SMALL) == []
