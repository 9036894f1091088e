"""Measuring in a real browser: by keyboard alone, with fingers in gloves, on a tablet; written only by its own button."""

import pytest
from playwright.sync_api import expect
from real_page import DAY, SIZES
from test_axe import violations

from fettlebook.practice.load import read_practice

pytestmark = pytest.mark.invented
CUPS = (("52", "60"), ("51", "1:00"), ("52", "61"))


def fill_cups(page) -> None:
    for row, (ml, seconds) in enumerate(CUPS, start=1):
        page.get_by_role("group", name=f"Cup {row}").get_by_label("Amount").fill(ml)
        page.get_by_role("group", name=f"Cup {row}").get_by_label("Time").fill(seconds)


def test_three_cups_by_keyboard_alone_become_a_flow(page, served):
    page.goto(f"{served.address}/measure/chair%202/flow?outlet=motor")
    page.get_by_role("group", name="Cup 1").get_by_label("Amount").focus()
    for typed in (text for cup in CUPS for text in cup):
        page.keyboard.type(typed)
        page.keyboard.press("Tab")
    page.keyboard.press("Enter")
    expect(page.get_by_role("heading", name="51.4 mL/min")).to_be_in_viewport()
    expect(page.get_by_text("no, too short")).to_have_count(2)
    assert violations(page) == []


@pytest.mark.parametrize("tab", ["flow", "strips", "mix"])
@pytest.mark.parametrize("size", SIZES)
def test_a_gloved_finger_finds_every_field_and_button_and_nothing_runs_out_of_the_page(page, served, tab, size):
    width, height = SIZES[size]
    page.set_viewport_size({"width": width, "height": height})
    page.goto(f"{served.address}/measure/chair%201/{tab}")
    for fold in page.locator("summary").all():
        fold.click()
    for target in page.locator("main").locator("button, a, summary, select, input:not([type=radio]):not([type=hidden]), .tick label").all():
        assert target.bounding_box()["height"] >= 48, target.evaluate("e => e.outerHTML")[:120]
    for field in page.locator(".ask input").all():
        assert field.bounding_box()["width"] >= 80
    assert page.evaluate("document.documentElement.scrollWidth") <= width


def test_a_fault_stands_at_its_field_and_is_seen_at_once(page, served):
    page.set_viewport_size({"width": 800, "height": 1280})
    page.goto(f"{served.address}/measure/chair%202/flow?outlet=motor")
    fill_cups(page)
    page.get_by_role("group", name="Cup 2").get_by_label("Time").fill("")
    page.get_by_role("button", name="Work out the flow").click()
    expect(page.get_by_role("alert")).to_be_in_viewport()
    wrong = page.get_by_role("group", name="Cup 2").get_by_label("Time")
    expect(wrong).to_have_attribute("aria-invalid", "true")
    assert "the time is missing" in page.locator(f"#{wrong.get_attribute('aria-describedby')}").inner_text()
    expect(page.get_by_role("group", name="Cup 3").get_by_label("Amount")).to_have_value("52")
    assert violations(page) == []


def test_the_flow_is_written_by_its_own_button_and_the_running_times_follow(page, serve, waited):
    served = serve("--date", DAY, "--at", f"{DAY}T10:42")
    page.goto(f"{served.address}/measure/chair%202/flow?outlet=motor")
    fill_cups(page)
    page.get_by_role("button", name="Work out the flow").click()
    page.get_by_role("button", name="Write into the practice file").click()
    expect(page.get_by_role("heading", name="Written")).to_be_visible()
    assert violations(page) == []
    outlet = read_practice((served.folder / "practice.toml").read_bytes(), "practice.toml").practice.chairs[1].outlets[1]
    assert (outlet.flow_ml_min, str(outlet.measured_on)) == (51.4, DAY)

    def follows() -> bool:
        page.goto(f"{served.address}/times/chair%202")
        return "29 s" in page.locator("#step-close-fill").inner_text()

    waited(follows)


def test_strips_and_a_mix_are_clean_under_axe_with_their_answers(page, served):
    page.goto(f"{served.address}/measure/chair%201/strips")
    page.get_by_label("Colours of the strip").fill("0, 1, 3, 10, 30, 100")
    for row, (at, seen) in enumerate((("30", ">100"), ("40", "30"), ("45", "3-10"), ("50", "3"), ("60", "0")), start=1):
        page.get_by_role("group", name=f"Strip {row}").get_by_label("Dipped after").fill(at)
        page.get_by_role("group", name=f"Strip {row}").get_by_label("It showed").fill(seen)
    page.get_by_role("button", name="Hold them against the line").click()
    expect(page.get_by_role("heading", name="The readings fit this line")).to_be_in_viewport()
    assert violations(page) == []
    page.goto(f"{served.address}/measure/chair%201/mix")
    page.get_by_label("Finished solution").fill("2")
    page.get_by_role("button", name="Work out the mix").click()
    expect(page.get_by_text("Wear gloves and eye protection.")).to_be_visible()
    assert violations(page) == []
