"""A day that goes otherwise, in a real browser: waiting chains, sets, happenings, what if, and how the day stands up."""

import re
from contextlib import suppress

import pytest
from playwright.sync_api import Error as PlaywrightError
from playwright.sync_api import expect
from real_page import DAY, SIZES
from test_axe import violations

pytestmark = pytest.mark.invented
PAGES = {
    "chain": f"/day/{DAY}?waits=first",
    "sets": f"/day/{DAY}/sets",
    "otherwise": f"/day/{DAY}/otherwise",
    "over": f"/day/{DAY}/otherwise/over",
    "urgent": f"/day/{DAY}/otherwise/urgent",
    "chair out": f"/day/{DAY}/otherwise/chair",
    "what if": f"/day/{DAY}/what-if",
    "tried": f"/day/{DAY}/what-if?set.exam=-3&hands=30",
    "not to be": f"/day/{DAY}/what-if?visit=chair+1%2C+09%3A05&chair=chair+2&moved=0",
    "stands up": f"/day/{DAY}/stands-up",
}
SMALL = """() => {
    const targets = 'main a, main button, main summary, main label.tile, main input:not([type=hidden]), main select';
    return [...document.querySelectorAll(targets)]
        .filter(target => target.offsetParent && !target.closest('.details, .piece'))
        .filter(target => !(target.matches('input') && target.closest('label.tile')))
        .map(target => [target.getBoundingClientRect(), target])
        .filter(([box]) => box.height < 47.5 || box.width < 47.5)
        .map(([box, target]) => `${target.outerHTML.slice(0, 60)} ${box.width} x ${box.height}`);
}"""


def tell(page, served, what, **choices):
    page.goto(f"{served.address}/day/{DAY}/otherwise/{what}")
    for name, value in choices.items():
        page.locator(f'input[name="{name}"][value="{value}"]').check()
    page.get_by_role("button", name="Plan the rest again").click()
    expect(page.get_by_role("button", name="Keep this plan")).to_be_visible()


def drop(page, served):
    page.goto(f"{served.address}/day/{DAY}/otherwise")
    if page.get_by_role("button", name="Drop it").count():
        page.get_by_role("button", name="Drop it").click()
        expect(page.get_by_role("button", name="Drop it")).to_have_count(0)


@pytest.mark.parametrize("size", SIZES)
def test_axe_finds_nothing_and_all_is_large_enough_and_nothing_too_wide(day, served, size):
    width, height = SIZES[size]
    day.set_viewport_size({"width": width, "height": height})
    for name, address in PAGES.items():
        day.goto(served.address + address)
        day.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
        assert violations(day) == [], name
        assert day.evaluate("document.documentElement.scrollWidth") <= width, name
        assert day.evaluate(SMALL) == [], name
    tell(day, served, "machine", machine="sterilizer 1", until="")
    day.evaluate("document.querySelectorAll('details').forEach(fold => fold.open = true)")
    assert violations(day) == []
    assert day.evaluate("document.documentElement.scrollWidth") <= width
    assert day.evaluate(SMALL) == []
    drop(day, served)


@pytest.mark.parametrize("size", SIZES)
def test_the_top_stays_in_one_row(day, size):
    width, height = SIZES[size]
    day.set_viewport_size({"width": width, "height": height})
    tops = day.evaluate("[...document.querySelectorAll('.top nav a')].map(link => link.getBoundingClientRect().top)")
    assert len(tops) >= 3
    assert len({round(top) for top in tops}) == 1
    assert day.evaluate("document.querySelector('.top').getBoundingClientRect().height") < 70


def test_a_late_visit_lights_its_chain_by_chair_person_and_machine(day):
    day.get_by_role("link", name=re.compile("^Its waiting chain")).first.click()
    chain = day.locator("section.chain")
    expect(chain.locator("details")).to_have_attribute("open", "")
    numbers = chain.locator(".links .badge").all_inner_texts()
    assert numbers == [str(n) for n in range(1, len(numbers) + 1)]
    assert len(numbers) >= 2
    for word in ("People", "Machines", "Chairs"):
        day.get_by_role("navigation", name="Lanes of the day").get_by_role("link", name=word).click()
        expect(chain.locator(".links li")).to_have_count(len(numbers))
        hidden = chain.get_by_text("not in this view").count()
        shown = set(day.locator(".piece.lit .badge").all_inner_texts())
        assert shown <= set(numbers)
        assert len(shown) <= len(numbers) - hidden
    lit = day.locator(".piece.lit a").first
    assert "of the waiting chain" in lit.text_content()
    day.get_by_role("link", name="Hide the chain").click()
    expect(day.locator(".piece.lit")).to_have_count(0)


def test_a_happening_is_told_planned_for_and_dropped_with_the_keyboard_alone(day, served):
    def reach(name):
        for _ in range(120):
            day.keyboard.press("Tab")
            if name in (day.evaluate("document.activeElement.textContent") or day.evaluate("document.activeElement.value ?? ''")):
                return
        pytest.fail(f"{name} is not reached")

    reach("It goes otherwise")
    day.keyboard.press("Enter")
    expect(day.locator("h2").first).to_have_text("What happened?")
    reach("A machine is out")
    day.keyboard.press("Enter")
    expect(day.locator("h2").first).to_have_text("A machine is out")
    for _ in range(60):
        day.keyboard.press("Tab")
        if day.evaluate("document.activeElement.name") == "machine":
            break
    day.keyboard.press("Space")
    day.keyboard.press("ArrowDown")  # the next machine
    chosen = day.evaluate("document.activeElement.value")
    day.keyboard.press("Enter")
    expect(day.locator("#result .told")).to_contain_text(chosen, ignore_case=True)
    expect(day.locator("#result")).to_contain_text("Nothing changes until you keep it", ignore_case=True)
    reach("Drop it")
    day.keyboard.press("Enter")
    expect(day.get_by_role("button", name="Keep this plan")).to_have_count(0)
    expect(day.locator("h2").first).to_have_text("What happened?")


def test_a_better_plan_arrives_by_itself_and_looking_can_be_stopped(page, served, day):
    tell(page, served, "machine", machine="sterilizer 1", until="")
    expect(page.locator("#progress")).to_contain_text("looking for a better plan")
    page.get_by_role("button", name="Stop looking").click()
    expect(page.get_by_role("button", name="Stop looking")).to_have_count(0, timeout=20_000)
    expect(page.get_by_role("button", name="Keep this plan")).to_be_visible()
    drop(page, served)


def test_a_kept_plan_is_on_the_day_and_there_again_after_a_restart(page, serve, waited):
    served = serve("--date", DAY, "--at", f"{DAY}T10:42")
    page.goto(f"{served.address}/day/{DAY}")
    page.locator(".verdict").wait_for(timeout=60_000)
    tell(page, served, "missing", person="Chloe", until="")
    for _ in range(5):
        with page.expect_navigation():
            page.get_by_role("button", name="Keep this plan").click()
        if "/otherwise" not in page.url:
            break
    expect(page.locator(".kept")).to_contain_text("Chloe is missing for the rest of the day")
    line = page.locator(".verdict .line").inner_text()
    page.goto("about:blank")
    assert served.stop() == 0
    again = serve("--date", DAY, "--at", f"{DAY}T10:50")
    page.goto(f"{again.address}/day/{DAY}")
    page.locator(".verdict").wait_for(timeout=60_000)
    expect(page.locator(".kept")).to_contain_text("Chloe is missing for the rest of the day")
    assert page.locator(".verdict .line").inner_text() == line
    assert violations(page) == []
    page.goto(f"{again.address}/day/{DAY}/otherwise")
    page.get_by_role("button", name="Go back to the plan of the files").click()
    expect(page.locator(".kept")).to_have_count(0)


def test_sliders_plan_again_with_the_arrow_keys_and_the_address_keeps_them(day, served):
    day.goto(f"{served.address}/day/{DAY}/what-if")
    slider = day.get_by_label("Examination set")
    slider.focus()
    for _ in range(3):
        day.keyboard.press("ArrowLeft")
    expect(day.locator("#result .word")).to_be_visible(timeout=20_000)
    expect(day).to_have_url(re.compile(r"what-if\?set\.exam=-3$"))
    expect(day.locator("#result")).to_contain_text("3 fewer Examination set")
    assert day.evaluate("document.activeElement.name") == "set.exam"
    day.reload()
    expect(day.get_by_label("Examination set")).to_have_value("-3")
    expect(day.locator('output[for="s-set.exam"]')).to_have_text("-3")
    day.get_by_role("link", name="All back to nothing").click()
    expect(day.locator("#result")).to_contain_text("Nothing is tried yet")
    assert "owned = 14" in (served.folder / "practice.toml").read_text()


def test_the_day_is_lived_through_with_progress_and_drawn(day, served):
    day.goto(f"{served.address}/day/{DAY}/stands-up?cv=0.4")
    day.get_by_role("button", name="Live the day through").click()
    expect(day.locator("#progress")).to_contain_text(re.compile(r"days lived through, \d+ of \d+|Done"), timeout=180_000)
    with suppress(PlaywrightError):  # all days may have been lived through meanwhile: then there is nothing to stop
        day.get_by_role("button", name="Stop living through").click(timeout=5_000)
    expect(day.locator("#said-late")).to_have_count(1, timeout=60_000)
    expect(day.locator("svg .bar-0").first).to_be_attached()
    assert violations(day) == []
    with day.expect_download() as saved:
        day.get_by_role("link", name="Save as CSV").first.click()
    assert saved.value.suggested_filename == f"late-{DAY}.csv"


def test_all_of_it_works_without_script(served, day, browser):
    bare = browser.new_context(java_script_enabled=False)
    page = bare.new_page()
    page.goto(f"{served.address}/day/{DAY}/what-if")
    with page.expect_navigation():
        page.get_by_role("button", name="Plan it so").click()
    page.goto(f"{served.address}/day/{DAY}/what-if?set.exam=-2")
    expect(page.locator("#result .word")).to_be_visible()
    page.goto(f"{served.address}/day/{DAY}/otherwise/urgent")
    page.get_by_role("button", name="Plan the rest again").click()
    expect(page.get_by_role("button", name="Keep this plan")).to_be_visible()
    page.get_by_role("button", name="Drop it").click()
    expect(page.get_by_role("button", name="Keep this plan")).to_have_count(0)
    bare.close()


def test_the_sets_of_the_day_are_drawn_with_their_tables(day, served):
    day.goto(f"{served.address}/day/{DAY}/sets")
    pictures = day.locator(".picture")
    assert pictures.count() == 5
    pictures.first.locator("summary").focus()
    day.keyboard.press("Enter")
    expect(pictures.first.locator("tbody tr").nth(5)).to_be_attached()
    with day.expect_download() as saved:
        day.get_by_role("link", name="Save as CSV").click()
    assert saved.value.suggested_filename == f"sets-{DAY}.csv"
