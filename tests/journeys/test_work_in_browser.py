"""My work in a real Chromium: the day from its start to its end, timers on every tablet, readings, keyboard, replanning, axe."""

import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest
from playwright.sync_api import Browser, Page, expect

sys.path.insert(0, str(Path(__file__).parent))
from real_page import DAY, SIZES, Served, start
from test_axe import violations

pytestmark = pytest.mark.invented
STEPS = "fetch('/work.json').then((answer) => answer.json()).then((data) => data.steps)"
FORWARD = """(minutes) => fetch("/training-clock", {method: "POST", redirect: "manual", body: new URLSearchParams(
  {token: document.querySelector("input[name=token]")?.value ?? "", minutes})}).then(() => 0)"""
SMALL = """[...document.querySelectorAll('main a, main button, main summary, main input, dialog button')]
  .filter(e => { const r = (e.closest('.tick') || e).getBoundingClientRect(); return r.height > 0 && r.height < 47.5 })
  .map(e => e.outerHTML.slice(0, 90))"""
THREE_DAYS_BEHIND = "(() => { const right = Date.now.bind(Date); Date.now = () => right() - 3 * 86_400_000; })()"
MAY_SLEEP = "(() => { const runs = performance.now.bind(performance); window.slept = 0; performance.now = () => runs() - window.slept; })()"


@pytest.fixture(scope="module")
def server(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    """The invented practice before its day begins, with an empty book; its clock goes forward by hand."""
    folder = tmp_path_factory.mktemp("work")
    for name in ("practice.toml", "book.ics"):
        (folder / name).write_bytes((demo / name).read_bytes())
    served = start(folder, "--date", DAY, "--at", f"{DAY}T07:31")
    yield served
    assert served.stop(most_s=30) == 0
    assert served.log.read_text() == ""


@pytest.fixture(scope="module")
def tablets(browser: Browser, server: Served) -> Iterator[Any]:
    """Give a tablet, a browser of its own, on which somebody has signed in; the page is opened anew each time."""
    open_now: dict[tuple[str, str], Page] = {}
    complaints: list[str] = []

    def tablet(who: str = "Ana", script: str = "") -> Page:
        page = open_now.get((who, script))
        if page is None:
            page = browser.new_context(viewport={"width": 800, "height": 1280}).new_page()
            page.on("pageerror", lambda error: complaints.append(str(error)))
            if script:
                page.add_init_script(script)
            page.goto(f"{server.address}/sign-in?next=/work")
            page.get_by_role("button", name=who, exact=True).click()
            open_now[who, script] = page
        else:
            page.goto(f"{server.address}/work")
        page.locator("#step-h").wait_for(timeout=90_000)
        return page

    yield tablet
    for page in open_now.values():
        page.context.close()
    assert complaints == []


def go_to(page: Page, clock: str) -> None:
    """Put the clock forward to a time of the day, where it isn't later already, and open the page anew."""
    hours, minutes = map(int, clock.split(":"))
    now_h, now_m = map(int, page.locator("#work-clock").inner_text().split(":"))
    left = 60 * (hours - now_h) + minutes - now_m
    for step in (60, 30, 10, 5, 1):
        while left >= step:
            page.evaluate(FORWARD, step)
            left -= step
    page.reload()
    page.locator("#step-h").wait_for(timeout=90_000)


def find(page: Page, step: str, place: str | None = None) -> dict[str, Any]:
    steps = [s for s in page.evaluate(STEPS) if s["step"] == step and not s["passed"] and s["state"] in ("open", "running")]
    return next(s for s in steps if place in (None, s["place"]))


def take(page: Page, step: dict[str, Any]) -> None:
    """Take a step in hand, from whichever list it stands in."""
    if page.locator("#card").get_attribute("data-step") != step["id"]:
        page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
        page.locator(f'[data-key="{step["id"]}"], [data-key="run {step["id"]}"]').first.click()
    expect(page.locator("#card")).to_have_attribute("data-step", step["id"])


def state_of(page: Page, step: dict[str, Any]) -> str:
    return str(next(s["state"] for s in page.evaluate(STEPS) if s["id"] == step["id"]))


def kept(page: Page, step: dict[str, Any], state: str) -> None:
    """Wait until the server says so."""
    for _ in range(100):
        if state_of(page, step) == state:
            return
        page.wait_for_timeout(100)
    assert state_of(page, step) == state


def left_s(page: Page) -> int:
    minutes, seconds = page.locator(".counting").inner_text().split(":")
    return 60 * int(minutes) + int(seconds)


def test_the_day_begins_one_step_at_a_time_and_a_flush_is_not_done_before_its_time(tablets: Any) -> None:
    page = tablets()
    # An empty book proves nothing: what a chair owes after a long rest stands before its opening, or the opening itself.
    first = next(s for s in page.evaluate(STEPS) if s["mine"] and s["kind"] == "step")
    assert page.locator("#card").get_attribute("data-step") == first["id"]
    flush = next(s for s in page.evaluate(STEPS) if s["mine"] and s["contact"] and s["state"] == "open")
    take(page, flush)
    page.locator("#do-start").click()
    expect(page.locator("#told")).to_contain_text("Begun")
    kept(page, flush, "running")
    take(page, flush)
    done = page.locator("#do-done")
    expect(done).to_have_attribute("aria-disabled", "true")
    expect(page.locator("#not-before")).to_contain_text("Done can be said from")
    done.click(force=True)
    assert state_of(page, flush) == "running"
    for _ in range(2):
        page.evaluate(FORWARD, 10)
    page.reload()
    expect(page.locator("#card")).to_have_attribute("data-step", flush["id"])  # what is over comes first
    expect(page.locator(".counting")).to_have_text("Time is over")
    done.click()
    kept(page, flush, "done")


def test_the_same_time_is_left_after_a_reload_on_a_second_tablet_and_on_one_whose_clock_is_days_off(tablets: Any) -> None:
    page = tablets()
    go_to(page, "10:40")
    step = find(page, "between.wet")
    take(page, step)
    page.locator("#do-start").click()
    kept(page, step, "running")
    take(page, step)
    here = left_s(page)
    assert 0 < here <= step["length_s"]
    page.reload()
    take(page, step)
    assert here - 20 < left_s(page) <= here
    for other in (tablets("Ben"), tablets("Ben", THREE_DAYS_BEHIND)):
        take(other, step)
        take(page, step)
        assert abs(left_s(other) - left_s(page)) <= 1
        expect(other.locator("#do-done")).to_have_attribute("aria-disabled", "true")


def test_a_tablet_that_slept_shows_the_time_that_is_really_left(tablets: Any) -> None:
    page = tablets("Ana", MAY_SLEEP)
    go_to(page, "10:40")
    step = find(page, "between.wet")
    take(page, step)
    if step["state"] == "open":
        page.locator("#do-start").click()
        kept(page, step, "running")
    take(page, step)
    before = left_s(page)
    # While it slept its forward clock stood still; the server's went on by a minute.
    page.evaluate(FORWARD, 1)
    page.evaluate("window.slept = 60_000; document.dispatchEvent(new Event('visibilitychange'))")
    for _ in range(100):
        if not page.locator(".counting:not(.ended)").count() or left_s(page) <= before - 58:
            return
        page.wait_for_timeout(50)
    pytest.fail(f"{before} s were left before it slept a minute, {left_s(page)} s after")


def test_a_turnover_goes_by_keyboard_alone(tablets: Any) -> None:
    page = tablets("Ben")
    go_to(page, "10:40")
    own = [
        s
        for s in page.evaluate(STEPS)
        if s["mine"] and s["state"] == "open" and not s["passed"] and s["subject"].startswith("chair:") and s["attended"]
    ]
    step = own[0]
    take(page, step)
    expect(page.locator("#step-h")).to_be_focused()
    for _ in range(8):
        if page.evaluate("document.activeElement.id") == "do-done":
            break
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    kept(page, step, "done")
    expect(page.locator("#step-h")).to_be_focused()  # of the next step
    page.locator("#do-problem").focus()
    page.keyboard.press("Enter")
    expect(page.locator("#problem")).to_be_visible()
    page.keyboard.press("Escape")
    expect(page.locator("#problem")).to_be_hidden()
    expect(page.locator("#do-problem")).to_be_focused()


def test_without_network_the_timer_goes_on_and_what_was_noted_is_kept_later(tablets: Any) -> None:
    page = tablets()
    go_to(page, "11:00")
    page.evaluate("navigator.serviceWorker.ready.then(() => 0)")
    page.reload()  # so that the worker has the page
    page.locator("#step-h").wait_for()
    step = next(s for s in page.evaluate(STEPS) if s["contact"] and s["state"] == "open" and not s["passed"] and not s["owed"])
    page.context.set_offline(True)
    take(page, step)
    page.locator("#do-start").click()
    take(page, step)
    expect(page.locator("#do-done")).to_have_attribute("aria-disabled", "true")
    page.reload()
    take(page, step)
    assert 0 < left_s(page) <= step["length_s"]
    page.context.set_offline(False)
    kept(page, step, "running")


def test_a_problem_is_told_with_two_touches_and_leaves_the_list(tablets: Any) -> None:
    page = tablets()
    go_to(page, "11:00")
    step = next(
        s
        for s in page.evaluate(STEPS)
        if s["mine"] and s["state"] == "open" and not s["passed"] and s["subject"].startswith("chair:") and not s["owed"]
    )
    take(page, step)
    page.locator("#do-problem").click()
    page.get_by_role("button", name="Leave it out").click()
    page.get_by_role("button", name="no time before the next visit").click()
    kept(page, step, "problem")
    expect(page.locator("#wrong-rows")).to_contain_text("no time before the next visit")
    again = page.locator("#wrong-rows button").first
    again.click()
    expect(page.locator("#do-problem")).to_be_visible()


def test_a_failed_load_is_planned_around_and_the_steps_follow(tablets: Any) -> None:
    page = tablets()
    go_to(page, "11:10")
    page.get_by_role("link", name="A load failed").click()
    expect(page.locator("input[name=machine]:checked")).to_have_count(1)  # the newest load
    page.get_by_role("button", name="Plan the rest again").click()
    expect(page.get_by_role("heading", name="Loads that move")).to_be_visible()
    for _ in range(3):
        with page.expect_navigation():
            page.get_by_role("button", name="Keep this plan").click()
        if not page.url.endswith("#result"):
            break
    expect(page.get_by_role("heading", name="It goes otherwise than planned")).to_be_visible()
    page.goto(page.url.split("/day")[0] + "/work")
    page.locator("#step-h").wait_for()
    assert any(s["kind"] == "instruments" and s["state"] == "open" for s in page.evaluate(STEPS))


def test_the_end_of_the_day_with_a_treatment_of_the_lines(tablets: Any) -> None:
    page = tablets("Ben")
    go_to(page, "15:50")
    place = find(page, "close.empty")["place"]

    def do(step: str, **typed: str) -> dict[str, Any]:
        found = find(page, step, place)
        take(page, found)
        for field, text in typed.items():
            page.locator(f"#r-{field}").fill(text)
        page.locator("#do-done").click()
        return found

    def run(step: str, minutes: int) -> None:
        found = find(page, step, place)
        take(page, found)
        page.locator("#do-start").click()
        kept(page, found, "running")
        for _ in range(minutes // 10 or 1):
            page.evaluate(FORWARD, 10)
        page.reload()
        take(page, found)
        expect(page.locator(".counting")).to_have_text("Time is over")
        page.locator("#do-done").click()
        kept(page, found, "done")

    take(page, find(page, "close.empty", place))
    expect(page.locator("#card")).to_contain_text("gloves, eye protection")
    expect(page.locator("#card")).to_contain_text("mL of the mixed solution")
    kept(page, do("close.empty", filled_ml="140"), "done")
    run("close.fill", 1)
    feed = do("close.strip_feed")
    expect(page.locator("#r-strip_mg_l-said")).to_contain_text("Read it first")
    page.locator("#r-strip_mg_l").fill("1000")
    page.locator("label", has_text="scale ends there").click()
    page.locator("#do-done").click()
    kept(page, feed, "done")
    run("close.contact", 10)
    kept(page, do("close.rinse_start"), "done")
    run("close.rinse", 10)
    clear = do("close.strip_rinse", strip_mg_l="12,5")  # a decimal comma, over the label's residual
    expect(page.locator("#r-strip_mg_l-said")).to_contain_text("12.5 is more than 10")
    page.locator("#r-strip_mg_l").fill("4,5")
    page.locator("#do-done").click()
    kept(page, clear, "done")


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_and_every_target_is_large(tablets: Any, size: str) -> None:
    page = tablets()
    page.set_viewport_size(dict(zip(("width", "height"), SIZES[size], strict=True)))
    page.evaluate("document.querySelectorAll('details').forEach((fold) => { fold.open = true; })")
    assert violations(page) == []
    assert page.evaluate(SMALL) == []
    page.locator("#do-problem").click()
    page.locator("#problem").wait_for()
    assert violations(page) == []
    assert page.evaluate(SMALL) == []
    assert page.evaluate("document.documentElement.scrollWidth <= innerWidth")


def test_a_visit_begins_and_ends_with_a_touch_and_the_book_has_its_sets(server: Served, tablets: Any) -> None:
    page = tablets()
    page.goto(f"{server.address}/visits")
    assert violations(page) == []
    section = page.locator("section.visit-of").first
    section.locator("summary").click() if section.locator("details:not([open])").count() else None
    chair = section.locator("form").get_attribute("data-chair")
    visit = section.locator("form").get_attribute("data-visit")
    section.get_by_role("button", name="The visit begins").click()
    running = page.locator(f'form[data-kind="visit.ended"][data-visit="{visit}"]')
    running.wait_for(timeout=60_000)
    assert page.evaluate(SMALL) == []
    running.get_by_role("button", name="The visit is over").click()
    page.locator(".visits-over li", has_text=str(chair)).first.wait_for(timeout=60_000, state="attached")
    page.locator(".visits-over summary").click()
    assert violations(page) == []
    kinds = page.evaluate("fetch('/entries.csv').then((answer) => answer.text())")
    assert "visit" in kinds
