"""A contact time without network, over reloads of the page: it can't be called done before it has passed, whatever the wall clock does."""

import re
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

sys.path.insert(0, str(Path(__file__).parent))
from real_page import DAY, Served, start

from fettlebook.book.kinds import StepDone
from fettlebook.book.stores import open_book
from fettlebook.demo import practice_text

pytestmark = pytest.mark.invented
STEPS = "fetch('/work.json').then((answer) => answer.json()).then((data) => data.steps)"
# The tablet's two clocks by hand. True time moves both; moving the wall clock moves one. A reload begins the forward clock anew.
CLOCKS = """(() => {
  const [date, run] = [Date.now.bind(Date), performance.now.bind(performance)];
  const held = (name) => { try { return Number(localStorage.getItem(name)) || 0; } catch { return 0; } };
  window.waited = 0;
  Date.now = () => date() + held("test passed") + held("test moved");
  performance.now = () => run() + window.waited;
  window.moveWall = (ms) => localStorage.setItem("test moved", held("test moved") + ms);
  window.wait = (ms) => { window.waited += ms; localStorage.setItem("test passed", held("test passed") + ms); };
})()"""
FORWARD = """(minutes) => fetch("/training-clock", {method: "POST", redirect: "manual", body: new URLSearchParams(
  {token: document.querySelector("input[name=token]")?.value ?? "", minutes})}).then(() => 0)"""
KEPT_TIME = "import('/static/queue.js').then((queue) => queue.keptTime()).then((kept) => Math.max(0, ...Object.values(kept.runs)))"


@pytest.fixture(scope="module")
def server(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("time offline")
    (folder / "practice.toml").write_bytes(practice_text())
    (folder / "book.ics").write_bytes((demo / "book.ics").read_bytes())
    served = start(folder, "--date", DAY, "--at", f"{DAY}T11:00")
    yield served
    assert served.stop(most_s=30) == 0


@pytest.fixture
def page(browser: Browser, server: Served) -> Iterator[Page]:
    context = browser.new_context(viewport={"width": 800, "height": 1280})
    context.add_init_script(CLOCKS)
    made = context.new_page()
    made.goto(f"{server.address}/sign-in?next=/work")
    made.get_by_role("button", name="Ana", exact=True).click()
    made.locator("#step-h").wait_for(timeout=90_000)
    made.evaluate("navigator.serviceWorker.ready.then(() => 0)")
    made.reload()  # so that the worker has the page
    made.locator("#step-h").wait_for()
    yield made
    context.close()


def open_contact(page: Page) -> dict[str, Any]:
    steps = page.evaluate(STEPS)
    return next(s for s in steps if s["contact"] and s["state"] == "open" and not s["passed"] and s["length_s"] >= 60)


def take(page: Page, step: dict[str, Any]) -> None:
    """Bring a step up as a hand does; one that is in hand already stays."""
    page.locator("#step-h").wait_for()
    card = page.locator(f'#card[data-step="{step["id"]}"]')
    if not card.count():
        page.evaluate("document.querySelectorAll('main details').forEach((box) => { box.open = true; })")
        page.locator(f'[data-key="{step["id"]}"], [data-key="run {step["id"]}"]').first.click()
    expect(card).to_be_visible()


def begin(page: Page, step: dict[str, Any]) -> None:
    take(page, step)
    page.locator("#do-start").click()
    expect(page.locator("#told")).to_contain_text("Begun")
    take(page, step)
    expect(page.locator(".counting")).to_have_text(re.compile(r"^\d+:\d\d$"))


def left_s(page: Page) -> int:
    minutes, seconds = page.locator(".counting").inner_text().split(":")
    return 60 * int(minutes) + int(seconds)


def refused_early(page: Page) -> None:
    done = page.locator("#do-done")
    expect(done).to_have_attribute("aria-disabled", "true")
    done.click(force=True)
    expect(page.locator(".counting")).to_have_text(re.compile(r"^\d+:\d\d$"))


def reload(page: Page, step: dict[str, Any]) -> None:
    page.reload()
    take(page, step)
    page.wait_for_timeout(500)  # what the earlier life of the page wrote down is read


def test_after_a_reload_offline_it_is_not_done_early_however_the_clock_is_moved_and_done_after_true_waiting(page: Page) -> None:
    step = open_contact(page)
    length = step["length_s"]
    page.context.set_offline(True)
    begin(page, step)
    page.evaluate("wait(20_000)")
    expect(page.locator(".counting")).to_have_text(re.compile(r"^\d+:\d\d$"))
    for _ in range(100):  # what has run is written down each second
        if page.evaluate(KEPT_TIME) >= 20_000:
            break
        page.wait_for_timeout(50)
    assert left_s(page) <= length - 20
    for moved in (3_600_000, -2 * 3_600_000, 86_400_000):
        page.evaluate("(ms) => moveWall(ms)", moved)
        refused_early(page)  # also without a reload
        reload(page, step)
        refused_early(page)
        # Not shorter than what is proven (20 s, and what passes here meanwhile), nor thrown back to the start.
        assert length - 60 < left_s(page) <= length - 20
    page.evaluate("wait(15_000)")
    refused_early(page)
    page.evaluate("(ms) => wait(ms)", 1000 * length)
    expect(page.locator(".counting")).to_have_text("Time is over")
    page.locator("#do-done").click()
    expect(page.locator("#told")).to_contain_text("Done")
    page.context.set_offline(False)


def test_a_tablet_that_was_off_meanwhile_counts_on_from_the_last_proven_point(page: Page) -> None:
    step = open_contact(page)
    page.context.set_offline(True)
    begin(page, step)
    before = left_s(page)
    address = page.url
    page.goto("about:blank")  # the page is gone, time passes unseen
    page.goto(address)
    page.evaluate("localStorage.setItem('test passed', Number(localStorage.getItem('test passed')) + 3_600_000)")
    reload(page, step)
    refused_early(page)
    assert before - 30 < left_s(page) <= before
    page.context.set_offline(False)


def test_a_step_that_the_server_has_still_runs_after_a_reload_offline(page: Page) -> None:
    step = open_contact(page)
    begin(page, step)
    expect(page.locator("#sending .word")).to_have_text("All sent")
    page.context.set_offline(True)
    page.evaluate("moveWall(3_600_000)")
    reload(page, step)
    refused_early(page)
    assert step["length_s"] - 60 < left_s(page) <= step["length_s"]
    page.context.set_offline(False)


def test_the_server_calls_unproven_what_two_lives_of_a_page_timed(page: Page, server: Served, browser: Browser) -> None:
    step = open_contact(page)
    assert step["length_s"] < 280
    other = browser.new_context().new_page()
    other.goto(f"{server.address}/sign-in?next=/work")
    other.get_by_role("button", name="Ben", exact=True).click()
    other.locator("#step-h").wait_for()
    page.context.set_offline(True)
    begin(page, step)
    reload(page, step)
    page.evaluate("wait(300_000)")
    other.evaluate(FORWARD, 5)  # true time passes everywhere
    other.context.close()
    expect(page.locator(".counting")).to_have_text("Time is over")
    page.locator("#do-done").click()
    expect(page.locator("#told")).to_contain_text("Done")
    page.context.set_offline(False)
    page.evaluate("import('/static/queue.js').then((queue) => queue.sendAll())")
    expect(page.locator("#sending .word")).to_have_text("All sent", timeout=30_000)
    with open_book(server.folder / "book.sqlite", "quayside", write=False) as store:
        last = store.latest(StepDone.KIND)
    assert last is not None
    assert isinstance(last.entry.data, StepDone)
    assert last.entry.data.step == step["step"]
    (now,) = [s for s in page.evaluate(STEPS) if s["id"] == step["id"]]
    assert "only one clock timed it, so its length is not proven" in now["why"]
