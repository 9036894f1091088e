"""The page of a chair's wash-out in a real browser: curves, the slider by keyboard, the way to the reasons and to paper."""

import re
from io import BytesIO

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from real_page import SIZES

pytestmark = pytest.mark.invented


@pytest.fixture
def chair(page, served):
    page.goto(f"{served.address}/chair/chair%201")
    expect(page.locator(".slide").first).to_be_visible()
    return page


def shares(section) -> list[float]:
    return [per_cent(text) for text in section.locator("td.at").all_inner_texts()]


def per_cent(text: str) -> float:
    part = re.match(r"1 part in ([\d,]+)", text)
    return 100 / float(part[1].replace(",", "")) if part else float(text.split(" ", maxsplit=1)[0])


def test_every_outlet_has_a_curve_on_each_picture_and_reaches_the_aim_at_its_time(chair):
    expect(chair.locator(".picture h2")).to_have_count(4)
    for section in chair.locator(".picture").all():
        expect(section.locator("polyline")).to_have_count(4)
        expect(section.locator("tbody th")).to_contain_text(["turbine", "motor", "scaler", "syringe"])
        expect(section.locator("td.at.reached")).to_have_count(4)  # the slider begins where the line is done


def test_the_slider_goes_by_keyboard_and_says_what_is_left_then(chair):
    section = chair.locator(".picture").first
    slider = section.get_by_role("slider")
    slider.focus()
    slider.press("Home")
    expect(section.locator("output")).to_have_text("0:00")
    assert shares(section) == [100.0] * 4
    expect(section.locator("td.at small")).to_have_text(["not yet"] * 4)
    for _ in range(20):
        slider.press("ArrowRight")
    expect(section.locator("output")).to_have_text("0:20")
    at_20 = shares(section)
    told = section.locator("tbody tr td.preset:nth-of-type(4)")  # after aim, slider, 0:10 comes 0:20
    assert at_20 == pytest.approx([per_cent(t) for t in told.all_inner_texts()], rel=0.02)
    slider.press("End")
    assert max(shares(section)) < min(at_20)
    assert slider.get_attribute("aria-valuetext") == section.locator("output").inner_text()


def test_the_rinse_speaks_of_milligrams_and_the_fill_of_strength_reached(chair):
    rinse = chair.locator("[data-what=rinse]")
    expect(rinse.locator("td.at").first).to_contain_text("mg/L")
    rinse.get_by_role("slider").press("Home")
    expect(rinse.locator("td.at").first).to_contain_text("30,000 mg/L")
    fill = chair.locator("[data-what=fill]")
    fill.get_by_role("slider").press("Home")
    expect(fill.locator("td.at").first).to_contain_text("0 %")


@pytest.mark.parametrize("size", SIZES)
def test_a_finger_finds_the_slider_and_nothing_runs_out_of_the_page(chair, size):
    width, height = SIZES[size]
    chair.set_viewport_size({"width": width, "height": height})
    for slider in chair.get_by_role("slider").all():
        assert slider.bounding_box()["height"] >= 48
    assert chair.evaluate("document.documentElement.scrollWidth") <= width


def test_from_a_time_to_its_reasons_and_back_to_the_chair(chair):
    chair.get_by_role("link", name="Rinse every outlet").first.click()
    expect(chair).to_have_url(re.compile(r"/times/chair%201#step-close-rinse"))
    expect(chair.locator("tbody:target")).to_be_visible()
    chair.get_by_role("link", name="How the lines of chair 1 clear").click()
    expect(chair.locator("h1")).to_have_text("How the lines clear, chair 1")


def test_the_cards_of_the_chair_come_as_a_pdf(chair):
    answer = chair.request.get(chair.url + "/cards.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    text = " ".join(PdfReader(BytesIO(answer.body())).pages[1].extract_text().split())
    assert "chair 1: Before the first visit" in text


def test_without_script_the_tables_say_the_same_at_set_times(browser, served):
    context = browser.new_context(java_script_enabled=False)
    page = context.new_page()
    page.goto(f"{served.address}/chair/chair%204")
    expect(page.locator(".slide").first).to_be_hidden()
    first = page.locator(".picture").first
    expect(first.locator("thead th:visible")).to_have_text(["Outlet", "Group", "aim 5 % after", "0:10", "0:20", "0:30", "1:00", "2:00"])
    expect(first.locator("tbody tr")).to_have_count(5)
    expect(page.get_by_role("img", name=re.compile("cup filler reaches it after")).first).to_be_visible()
    context.close()


def test_a_chair_that_is_not_there_is_not_found(page, served):
    assert page.request.get(f"{served.address}/chair/chair%209").status == 404
    assert page.request.get(f"{served.address}/chair/chair%209/curves.json").status == 404
