"""The tour in a real browser: its eight steps lead somewhere, what was done is remembered, and axe finds nothing."""

import pytest
from real_page import SIZES
from test_axe import violations

pytestmark = pytest.mark.invented


def test_the_tour_is_walked_and_remembered(page, served):
    page.goto(f"{served.address}/tour")
    stops = page.locator(".stop")
    assert stops.count() == 8
    for width, height in SIZES.values():
        page.set_viewport_size({"width": width, "height": height})
        assert violations(page) == []
        for target in page.locator(".stop .button, .stop-tick").all():
            box = target.bounding_box()
            assert box
            assert min(box["width"], box["height"]) >= 48
    page.locator("#stop-1 input").check()
    page.locator("#stop-3 input").check()
    page.reload()
    assert page.locator("#tour-so-far").inner_text().startswith("2 of 8")
    assert page.locator("#stop-1 input").is_checked()
    assert not page.locator("#stop-2 input").is_checked()
    assert page.locator("#stop-2 .button.main").count() == page.locator(".stop .button.main").count() == 1
    page.locator("#tour-anew").click()
    assert page.locator("#tour-so-far").is_hidden()
    for href in [link.get_attribute("href") for link in page.locator(".stop-do a").all()]:
        page.goto(served.address + href)
        assert page.locator("main h1").first.is_visible()
