"""The pages in German and French in a real browser: the page says its language, axe finds nothing, long words break no layout."""

import pytest
from playwright.sync_api import Browser, Page, expect
from real_page import DAY, SIZES, Served
from test_axe import violations

pytestmark = pytest.mark.invented
PAGES = (f"/day/{DAY}", "/standing", "/standing/chair:chair%201", "/due", "/loads", "/water", "/times/chair%202", "/measure/chair%202/flow")
WIDER = "document.scrollingElement.scrollWidth - window.innerWidth"


@pytest.mark.parametrize("language", ["de", "fr"])
def test_a_page_in_another_language_is_whole(browser: Browser, served: Served, language: str) -> None:
    context = browser.new_context(locale=language)
    page = context.new_page()
    for width, height in (SIZES["tablet"], SIZES["desk"]):
        page.set_viewport_size({"width": width, "height": height})
        for address in PAGES:
            page.goto(served.address + address)
            if address.startswith("/day/"):
                page.locator(".verdict").wait_for(timeout=60_000)
            assert page.locator("html").get_attribute("lang") == language
            assert page.evaluate(WIDER) <= 0, f"{address} is wider than {width} px"
            if width == SIZES["tablet"][0]:
                # The bar at the foot lies over whatever stands at the edge until one scrolls: to axe a link cut short.
                page.evaluate("document.getElementById('sending')?.setAttribute('hidden', '')")
                assert violations(page) == [], address
    context.close()


def test_a_language_is_chosen_by_a_touch_and_kept_by_the_device(browser: Browser, served: Served) -> None:
    context = browser.new_context(locale="en-GB")
    page: Page = context.new_page()
    page.goto(f"{served.address}/due?at=2026-11-25T09:00")
    expect(page.locator("h1")).to_contain_text("What is due")
    page.get_by_role("button", name="Deutsch").click()
    expect(page.locator("h1")).to_contain_text("Was fällig ist")
    assert page.url.endswith("/due?at=2026-11-25T09:00")
    page.goto(f"{served.address}/standing")
    expect(page.locator("html")).to_have_attribute("lang", "de")
    context.close()


def test_a_decimal_comma_is_taken_as_it_is_typed(browser: Browser, served: Served) -> None:
    context = browser.new_context(locale="de-DE")
    page = context.new_page()
    page.goto(f"{served.address}/measure/chair%202/flow")
    for row in (1, 2, 3):
        page.fill(f"#f-ml{row}", "52,5")
        page.fill(f"#f-s{row}", "60")
    page.get_by_role("button", name="Durchfluss ausrechnen").click()
    expect(page.locator("main")).to_contain_text("52,5 mL/min")
    context.close()
