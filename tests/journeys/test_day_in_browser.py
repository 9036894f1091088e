"""A dental assistant's way through the day's page, in a real browser on the invented practice."""

import re
import subprocess
from io import BytesIO

import pytest
from playwright.sync_api import expect
from pypdf import PdfReader
from real_page import DAY, SIZES

pytestmark = pytest.mark.invented


def test_the_first_address_opens_the_day_with_verdict_and_present_moment(page, served):
    page.goto(served.address)
    expect(page).to_have_url(re.compile(f"/day/{DAY}$"))
    expect(page.locator(".verdict .word")).to_have_text(re.compile("Fits|Late|Does not fit"), timeout=60_000)
    expect(page.locator("#clock")).to_have_text(re.compile("10:4|10:5"))
    expect(page.locator(".now:visible")).to_have_count(1)


def test_the_line_of_the_present_moves_by_the_servers_clock(day):
    before = day.locator(".now:visible").evaluate("line => line.className")
    day.evaluate("document.body.dataset.now = Number(document.body.dataset.now) + 61 * 60000")
    expect(day.locator("#clock")).to_have_text(re.compile("11:4|11:5"), timeout=10_000)
    assert day.locator(".now:visible").evaluate("line => line.className") != before


def test_who_does_what_now_is_taken_from_the_server_each_minute(day):
    people = day.locator("#hands h3")
    expect(people).to_have_text(["Ana", "Ben", "Chloe", "Dev"])
    day.evaluate("document.querySelector('#hands ul').textContent = 'old'")
    expect(people).to_have_count(0)
    day.evaluate("document.body.dataset.now = Number(document.body.dataset.now) + 60000")
    expect(people).to_have_text(["Ana", "Ben", "Chloe", "Dev"], timeout=15_000)


def test_everything_is_reached_without_a_mouse(day):
    day.keyboard.press("Tab")
    expect(day.locator(".skip")).to_be_focused()
    day.keyboard.press("Enter")
    for _ in range(40):
        day.keyboard.press("Tab")
        if day.evaluate("document.activeElement.closest('.piece') !== null"):
            break
    block = day.evaluate("document.activeElement.id")
    assert block.startswith("at-")
    day.keyboard.press("Enter")
    details = day.locator(f"#{block.removeprefix('at-')}")
    expect(details).to_be_visible()
    expect(details).to_be_focused()
    day.keyboard.press("Tab")
    expect(details.locator(".close")).to_be_focused()
    day.keyboard.press("Enter")
    expect(details).to_be_hidden()
    expect(day.locator(f"#{block}")).to_be_focused()
    day.keyboard.press("Enter")
    expect(details).to_be_visible()
    day.keyboard.press("Escape")
    expect(details).to_be_hidden()
    expect(day.locator(f"#{block}")).to_be_focused()


def test_the_lanes_switch_between_chairs_people_and_machines(day):
    for word, lane in (("People", "Ana"), ("Machines", "washer 1"), ("Chairs", "chair 1")):
        day.get_by_role("navigation", name="Lanes of the day").get_by_role("link", name=word).click()
        expect(day.locator(".lane h4").first).to_contain_text(lane)
        expect(day.get_by_role("navigation", name="Lanes of the day").locator("[aria-current]")).to_have_text(word)


def test_from_a_turnover_to_the_reasons_of_its_running_time(day):
    day.locator(".piece.chair-work a").nth(4).click()
    details = day.locator(".details:target")
    details.get_by_role("link", name="Why so long?").first.click()
    expect(day).to_have_url(re.compile(r"/times/chair.*#step-"))
    step = day.locator("tbody:target")
    expect(step).to_be_visible()
    step.locator("summary").click()
    expect(step.locator(".because")).to_contain_text(re.compile("rule|label|line"))


def test_why_tells_the_whole_derivation_with_outlets_and_cautions(page, served):
    from datetime import date

    from fettlebook.practice.load import load_practice
    from fettlebook.rules.load import load_rulebook
    from fettlebook.times.running import running_times

    practice = load_practice(served.folder / "practice.toml")
    times = running_times(practice, load_rulebook(practice, on=date.fromisoformat(DAY)))
    time = next(t for t in times if (t.chair, t.step_id) == ("chair 2", "first.flush"))
    page.goto(f"{served.address}/times/chair%202")
    step = page.locator("#step-first-flush")
    expect(step.locator(".because")).to_be_hidden()
    step.locator("summary").focus()
    page.keyboard.press("Enter")
    expect(step.locator(".derivation li")).to_have_text(list(time.derivation))
    expect(step.locator(".caution")).to_have_count(len(time.cautions))
    expect(step.locator(".outlets tbody th")).to_have_text([outlet.outlet for outlet in time.outlets])
    expect(step.locator(".outlets tbody")).to_contain_text("not measured")


def test_neighbouring_days_are_one_step_away(day, served):
    day.get_by_role("link", name="Thu 26 Nov").click()
    expect(day.locator("h1")).to_have_text("Thu 26 Nov 2026")
    day.locator(".verdict").wait_for(timeout=60_000)
    expect(day.locator(".now")).to_have_count(0)


def test_the_table_holds_every_task_of_the_day(day, served, chromium):
    day.locator("summary", has_text="Show all").click()
    rows = day.locator(".scroll tbody tr")
    data = chromium.request.get(f"{served.address}/day/{DAY}/plan.json").json()
    csv = chromium.request.get(f"{served.address}/day/{DAY}/plan.csv").text().splitlines()
    assert rows.count() == len(data["tasks"]) == len(csv) - 1 > 100


def test_the_day_sheet_is_a_pdf_whose_pages_have_ink(served, day, chromium, tmp_path):
    answer = chromium.request.get(f"{served.address}/day/{DAY}/sheet.pdf")
    assert answer.headers["content-type"] == "application/pdf"
    pages = PdfReader(BytesIO(answer.body())).pages
    assert len(pages) >= 4
    assert "Quayside Dental Rooms" in pages[0].extract_text()
    (tmp_path / "sheet.pdf").write_bytes(answer.body())
    subprocess.run(["pdftoppm", "-r", "30", "-gray", str(tmp_path / "sheet.pdf"), str(tmp_path / "p")], check=True)
    pictures = sorted(tmp_path.glob("p-*.pgm"))
    assert len(pictures) == len(pages)
    for picture in pictures:
        raw = picture.read_bytes()
        width, height = (int(n) for n in raw.split(b"\n", 3)[1].split())
        ink = sum(value < 128 for value in raw[-width * height :]) / (width * height)
        assert 0.001 < ink < 0.3, picture.name


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("by", ["chair", "person", "machine"])
def test_no_label_is_cut_and_nothing_is_wider_than_the_screen(day, served, size, by):
    width, height = SIZES[size]
    day.set_viewport_size({"width": width, "height": height})
    day.goto(f"{served.address}/day/{DAY}?by={by}")
    assert day.evaluate("document.documentElement.scrollWidth") <= width
    cut = day.evaluate("""() => [...document.querySelectorAll('.piece .when, .piece .mins, .piece .plus')]
        .filter(label => getComputedStyle(label).clipPath === 'none')
        .filter(label => { const box = label.closest('a').getBoundingClientRect(), text = label.getBoundingClientRect();
            return text.right > box.right + 1 || text.bottom > box.bottom + 1
                || label.scrollWidth > label.clientWidth + 1 && label.clientWidth; })
        .map(label => label.textContent)""")
    assert cut == []


@pytest.mark.parametrize("size", SIZES)
def test_what_is_touched_is_large_enough(day, size):
    width, height = SIZES[size]
    day.set_viewport_size({"width": width, "height": height})
    small = day.evaluate("""() => [...document.querySelectorAll('a, button, summary')]
        .filter(target => target.offsetParent && !target.closest('.skip, .details'))
        .map(target => [target.getBoundingClientRect(), target])
        .filter(([box, target]) => box.height < 47.5 || (!target.closest('.piece') && box.width < 47.5) || box.width < 24)
        .map(([box, target]) => `${target.textContent.trim()} ${box.width} x ${box.height}`)""")
    assert small == []


def test_the_page_works_without_script(served, day, browser):
    bare = browser.new_context(java_script_enabled=False)
    page = bare.new_page()
    page.goto(f"{served.address}/day/{DAY}")
    page.get_by_role("link", name="People").click()
    page.locator(".piece a").first.click()
    expect(page.locator(".details:target")).to_be_visible()
    page.locator(".details:target .close").click()
    expect(page.locator(".details:target")).to_have_count(0)
    bare.close()


def test_the_day_prints_without_buttons(day):
    day.emulate_media(media="print")
    expect(day.locator(".acts")).to_be_hidden()
    expect(day.locator(".band").first).to_be_visible()
    day.emulate_media(media="screen")


def test_a_waiting_page_opens_the_plan_by_itself(page, served):
    page.goto(f"{served.address}/day/2026-11-27")
    expect(page.locator(".verdict")).to_be_visible(timeout=60_000)
    expect(page.locator("h1")).to_have_text("Fri 27 Nov 2026")


def test_the_band_of_the_present_is_one_touch_away(day):
    day.set_viewport_size({"width": 800, "height": 600})
    day.get_by_role("link", name="To now").click()
    expect(day.locator(".now:visible")).to_be_in_viewport()


def test_a_page_left_open_goes_on_to_the_new_day(day):
    day.evaluate("document.body.dataset.now = Number(document.body.dataset.now) + 24 * 3600000")
    expect(day).to_have_url(re.compile("/day/2026-11-26"), timeout=15_000)
