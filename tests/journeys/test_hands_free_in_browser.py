"""Hands free in a real Chromium: a scanner that types, whatever the layout and the focus; the camera; the tone."""

import json
from collections.abc import Iterator

import pytest
from playwright.sync_api import Page, expect
from real_page import DAY

from fettlebook.book.kinds import KINDS, subjects_of
from fettlebook.exchange.paper.qr import CardCode, ThingCode, read_code

pytestmark = pytest.mark.invented
CODE = CardCode("chair 1", "chair.between", "between.flush").text()
HEAR = """() => { window.heard = []; document.addEventListener("scanned", (event) => {
  window.heard.push(event.detail); event.preventDefault(); }); }"""


@pytest.fixture
def held(page: Page, served) -> Iterator[Page]:
    page.goto(f"{served.address}/held")
    expect(page.locator("#sending .word")).to_be_visible()
    page.evaluate(HEAR)
    return page


PLACES = {":": ("Semicolon", 8), "/": ("Slash", 0), "%": ("Digit5", 8), ".": ("Period", 0), "=": ("Equal", 0), " ": ("Space", 0)}


def scan(page: Page, text: str, *, gap_ms: int = 5, typed: dict[str, str] | None = None) -> None:
    """Type as a scanner does: keys in their US places, so far apart by the keyboard's own clock, then Enter.

    `typed` says what some of the keys give on the tablet's layout.
    """
    client = page.context.new_cdp_session(page)
    at = page.evaluate("performance.timeOrigin + performance.now()") / 1000
    for sign in [*text, "Enter"]:
        at += gap_ms / 1000
        place, modifiers = PLACES.get(sign, (f"Key{sign.upper()}" if sign.isalpha() else f"Digit{sign}", 0))
        gives = (typed or {}).get(sign, sign)
        key = {"key": gives, "code": place, "text": gives, "modifiers": modifiers, "timestamp": at}
        if sign == "Enter":
            key |= {"code": "Enter", "text": "\r", "windowsVirtualKeyCode": 13}
        client.send("Input.dispatchKeyEvent", {"type": "keyDown", **key})
        client.send("Input.dispatchKeyEvent", {"type": "keyUp", **key})
    client.detach()


def heard(page: Page) -> list[dict]:
    return page.evaluate("window.heard")


def test_a_scanned_code_is_heard_wherever_the_focus_is(held):
    scan(held, CODE)
    (one,) = heard(held)
    assert {key: one[key] for key in ("kind", "chair", "duty", "step", "by")} == {
        "kind": "step", "chair": "chair 1", "duty": "chair.between", "step": "between.flush", "by": "scanner",
    }  # fmt: skip
    held.locator("footer button").first.focus()
    scan(held, ThingCode("set", "exam#3").text())
    assert heard(held)[1]["kind"] == "set"
    assert heard(held)[1]["id"] == "exam#3"
    assert held.url.endswith("/held"), "the button in focus was not pressed by the scanner's Enter"


def test_a_code_scanned_while_typing_leaves_the_field_as_it_was_and_typing_is_no_scan(page, served):
    page.goto(f"{served.address}/entries")
    expect(page.locator("#sending .word")).to_be_visible()
    page.evaluate(HEAR)
    field = page.locator("input[name=about]")
    field.fill("chair:")
    scan(page, CODE)
    assert len(heard(page)) == 1
    expect(field).to_have_value("chair:")
    field.press_sequentially("chair 1 ", delay=90)
    expect(field).to_have_value("chair:chair 1 ")
    field.fill("")
    scan(page, "0104012345678901")  # a package's code into the field for it: it stays there, and is sent as typed
    page.wait_for_url("**/entries?**about=0104012345678901*")


def test_slow_typing_outside_a_field_is_no_scan_and_a_faltering_scanner_is_one(held):
    scan(held, "hello there", gap_ms=120)
    assert heard(held) == []
    scan(held, CODE, gap_ms=60)
    assert [one["kind"] for one in heard(held)] == ["step"]


def test_a_scanner_set_to_another_layout_than_the_tablet_is_read_by_the_place_of_the_keys(held):
    # What a German tablet gets from a scanner set to US: the colon's key types Ö, the slash's a hyphen, y and z change places.
    code = CardCode("chair 1", "day", "fly").text()
    scan(held, code, typed={":": "Ö", "/": "-", "y": "z"})
    assert [(one["kind"], one["text"]) for one in heard(held)] == [("step", code)]


def test_our_codes_are_read_alike_on_paper_and_in_the_browser(held):
    codes = [
        CardCode("chair 1", "a/b"),
        CardCode("c 2", "d", "e%f"),
        *(ThingCode(t, "x #1/ä") for t in ("chair", "machine", "set", "badge")),
    ]
    for code in codes:
        seen = held.evaluate("(text) => import('/static/scan.js').then((scan) => scan.read(text))", code.text())
        assert read_code(code.text()) == code
        if isinstance(code, ThingCode):
            assert seen == {"kind": code.thing, "id": code.id}
        else:
            assert (seen["chair"], seen["duty"], seen.get("step", "")) == (code.chair, code.duty, code.step)
    for other in (
        "fettlebook:",
        "fettlebook:tooth=3",
        "fettlebook:a",
        "fettlebook:a//b",
        "fettlebook:set=%E0%A4%A",
        "https://example.org/a/b",
    ):
        assert held.evaluate("(text) => import('/static/scan.js').then((scan) => scan.read(text))", other) is None


def test_what_no_page_takes_leads_to_its_page_and_a_code_that_is_none_is_said(page, served):
    page.goto(f"{served.address}/held")
    expect(page.locator("#sending .word")).to_be_visible()
    scan(page, ThingCode("machine", "sterilizer 1").text())
    page.wait_for_url("**/machines/sterilizer%201")
    expect(page.locator("#sending .word")).to_be_visible()
    scan(page, "4012345678901")
    expect(page.locator("#sending .age")).to_contain_text("not one of fettlebook's cards")
    assert page.goto(f"{served.address}/scan?code=%3Cscript%3E").status == 422


def test_a_sets_code_is_ticked_where_its_load_is_packed(page, served):
    page.goto(f"{served.address}/held")
    expect(page.locator("#sending .word")).to_be_visible()
    scan(page, ThingCode("set", "exam#3").text())
    page.wait_for_url("**/loads/pack?**")
    page.locator("a.tile[href*='sterilizer']").first.click()
    expect(page.locator("input[name=unit][value='exam#3']")).to_be_checked()
    scan(page, ThingCode("set", "exam#4").text())
    expect(page.locator("input[name=unit][value='exam#4']")).to_be_checked()
    expect(page.locator("input[name=unit]:checked")).to_have_count(2)


def test_the_camera_reads_a_code_where_the_browser_can(browser, served):
    context = browser.new_context()
    seen = """
      window.BarcodeDetector = class {
        static async getSupportedFormats() { return ["qr_code"]; }
        async detect() { return [{ rawValue: "SEEN" }]; }
      };
      navigator.mediaDevices.getUserMedia = async () => document.createElement("canvas").captureStream();
      HTMLMediaElement.prototype.play = async () => {};
    """
    context.add_init_script(seen.replace("SEEN", CODE))
    page = context.new_page()
    page.goto(f"{served.address}/held")
    page.evaluate(HEAR)
    page.get_by_role("button", name="Scan with the camera").click()
    page.wait_for_function("() => window.heard.length === 1")
    assert heard(page)[0]["by"] == "camera"
    expect(page.locator("#camera")).to_be_hidden()
    context.close()


def test_the_tone_is_off_until_it_is_switched_on_and_stays_so_on_this_device(held):
    chimes = "() => { window.chimes = 0; document.addEventListener('chimed', () => { window.chimes += 1; }); }"
    over = "() => document.dispatchEvent(new CustomEvent('timer-over'))"
    held.evaluate(chimes)
    held.evaluate(over)
    assert held.evaluate("window.chimes") == 0
    held.evaluate("import('/static/tone.js').then((tone) => tone.setTone(true))")
    held.evaluate(over)
    assert held.evaluate("window.chimes") == 1
    held.reload()
    assert held.evaluate("import('/static/tone.js').then((tone) => tone.toneOn())")
    held.evaluate("import('/static/tone.js').then((tone) => tone.setTone(false))")


SAID = {
    "step.done": {
        "duty": "d", "step": "s", "chair": "c", "outlets": ["a", "b"], "suction": ["high"], "product": "p", "lot": "L", "visit": "v",
        "outcome": "done",
    },
    "load.packed": {"load": "L1", "machine": "m", "items": [{"unit": "exam#1", "pack": "P1"}, {"unit": "exam#2"}]},
    "visit.ended": {"visit": "v", "chair": "c", "units": ["exam#1"], "packs": ["P1"]},
    "duty.skipped": {"duty": "d", "reason": "r"},
    "stock.counted": {"product": "p", "packages": 1},
    "solution.mixed": {"solution": "s", "product": "p", "chair": "c"},
    "sample.taken": {"sample": "W1", "what": "water", "chair": "c", "outlets": ["a"]},
    "fault.reported": {"fault": "f", "what": "w", "stops_use": True, "units": ["exam#1"]},
}  # fmt: skip


@pytest.mark.parametrize("kind", SAID)
def test_the_tablet_names_the_same_subjects_as_the_book(held, kind):
    expected = list(subjects_of(KINDS[kind].model_validate_json(json.dumps(SAID[kind]))))
    assert held.evaluate("(data) => import('/static/subjects.js').then((one) => one.subjectsOf(data))", SAID[kind]) == expected


def test_on_my_work_a_steps_code_does_it_and_a_chairs_code_shows_it(browser, serve, waited):
    served = serve("--date", DAY, "--at", f"{DAY}T10:42")
    context = browser.new_context(viewport={"width": 800, "height": 1280})
    page = context.new_page()
    page.goto(f"{served.address}/sign-in?next=/work")
    page.get_by_role("button", name="Ana", exact=True).click()
    waited(lambda: (answer := page.goto(f"{served.address}/work")) is not None and answer.status == 200)
    steps = json.loads(page.locator("#steps").text_content())["steps"]
    step = next(
        one for one in steps if one["mine"] and one["state"] == "open" and not one["passed"] and one["attended"] and one["kind"] == "step"
    )
    expect(page.locator("#sending .word")).to_have_text("All sent")
    scan(page, ThingCode("chair", step["place"]).text())
    expect(page.locator("#card")).to_contain_text(step["place"])
    scan(page, CardCode(step["place"], step["duty"], step["step"]).text())
    expect(page.locator("#told")).to_contain_text(step["name"])
    expect(page.locator("#sending .word")).to_have_text("All sent")
    scan(page, CardCode("chair 9", "no.such", "step").text())
    expect(page.locator("#told")).to_contain_text("chair 9")
    context.close()
