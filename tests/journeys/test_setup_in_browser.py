"""The guided set-up as a person does it in the browser: the whole dialogue by keyboard and touch, counted, and looked at by axe."""

import os
import re
import selectors
import signal
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Page, expect
from real_page import SIZES
from test_axe import violations

sys.path.insert(0, str(Path(__file__).parents[1] / "cli"))
from setup_scenario import MOST_S, NOW, S_A_KEY, S_A_LINE, S_A_QUESTION, TYPED, calendar, counted, measuring_s

from fettlebook.exchange.setup.dialogue import Dialogue
from fettlebook.practice.load import read_practice_file

pytestmark = pytest.mark.invented
S_A_TOUCH = 1.0  # our own rule, as those of the scenario
DOCS = Path(__file__).parents[2] / "docs/assistant/setting-up.md"


def _start(folder: Path) -> tuple[subprocess.Popen[bytes], str]:
    command = [sys.executable, "-m", "fettlebook", "setup", str(folder), "--page", "--port", "0"]
    running = subprocess.Popen(command, stdout=subprocess.PIPE)
    assert running.stdout
    with selectors.DefaultSelector() as ready:
        ready.register(running.stdout, selectors.EVENT_READ)
        assert ready.select(60), "it did not tell its address"
    found = re.search(r"http://127\.0\.0\.1:\d+", running.stdout.readline().decode())
    assert found
    return running, found[0]


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "book.ics").write_bytes(calendar())
    return tmp_path


@pytest.fixture
def begun(folder: Path) -> Iterator[str]:
    running, address = _start(folder)
    yield address
    running.send_signal(signal.SIGINT)
    assert running.wait(20) in (0, 1)


def _answer(page: Page, name: str) -> tuple[int, int]:
    """Answer the question that is shown; return keys and touches."""
    typed, keys, touches = TYPED.get(name, ""), 0, 1
    if page.locator("#answer").count():
        page.locator("#answer").fill(typed)
        keys = len(typed)
    elif typed:
        tiles = page.locator("label.tile")
        words = [word.strip() for word in typed.split(",")]
        values = [tile.locator("input").get_attribute("value") for tile in tiles.all()]
        texts = [text.strip() for text in tiles.all_inner_texts()]
        wanted = {int(word) - 1 if word.isdigit() else values.index(word) if word in values else texts.index(word) for word in words}
        for n, tile in enumerate(tiles.all()):
            box = tile.locator("input")
            if box.is_checked() != (n in wanted) and (box.get_attribute("type") == "checkbox" or n in wanted):
                tile.click()
                touches += 1
    with page.expect_navigation():
        page.get_by_role("button", name="Next").click()
    return keys, touches


def test_a_three_chair_practice_is_set_up_on_pages_in_under_thirty_minutes(page: Page, folder: Path, begun: str) -> None:
    screens = lines = keys = touches = 0
    page.goto(begun)
    while page.locator("#ask").count():
        name = page.locator("input[name=question]").get_attribute("value") or ""
        if name in ("practice.name", "practice.country", "chair 1.outlets", "chair 1.usual", "chair 1.flow.turbine"):
            for size in ("tablet", "desk"):
                page.set_viewport_size({"width": SIZES[size][0], "height": SIZES[size][1]})
                assert violations(page) == []
        if name == "practice.coldest":  # a slip is explained, and what was typed stays in its field
            page.locator("#answer").fill("99")
            page.keyboard.press("Enter")
            page.locator("#wrong").wait_for()
            assert page.locator("#answer").input_value() == "99"
            assert violations(page) == []
        lines += page.locator(".sheet-lines .tile").count()
        more_keys, more_touches = _answer(page, name)
        screens, keys, touches = screens + 1, keys + more_keys, touches + more_touches
        assert screens < 150
    page.get_by_role("heading", name="The practice is set up").wait_for()
    assert violations(page) == []
    assert "Nobody Invented" not in page.content()
    loaded = read_practice_file(folder / "practice.toml")
    assert loaded.errors == ()
    assert loaded.practice is not None
    assert [o.flow_ml_min for o in loaded.practice.chairs[0].outlets] == [51.0, 59.0, 35.7, 109.3]
    assert [len(chair.outlets) for chair in loaded.practice.chairs] == [4, 4, 2]
    seconds = screens * S_A_QUESTION + lines * S_A_LINE + keys * S_A_KEY + touches * S_A_TOUCH
    assert seconds + measuring_s() < MOST_S
    told = counted(f"On pages: {screens} screens, {lines} lines, {keys} keys, {touches} touches at {S_A_TOUCH:g} s", seconds)
    kept = DOCS.read_text("utf-8")
    if os.environ.get("WRITE_DOCS"):  # pragma: no cover - by hand, after a change of the dialogue
        kept = re.sub(r"On pages: .*", told, kept)
        DOCS.write_text(kept, "utf-8")
    assert told in kept, "write it again: WRITE_DOCS=1 pytest tests/journeys/test_setup_in_browser.py"


def test_killed_and_begun_again_the_page_stands_where_it_stood_and_one_goes_back(page: Page, folder: Path) -> None:
    running, address = _start(folder)
    page.goto(address)
    for name in ("practice.name", "practice.country"):
        _answer(page, name)
    running.kill()
    running.wait(10)
    running, address = _start(folder)
    page.goto(address)
    page.get_by_role("heading", name="How cold does the water get").wait_for()
    with page.expect_navigation():
        page.get_by_role("button", name="One back").click()
    assert page.get_by_role("radio", name="United Kingdom").is_checked()
    # a second touch on an older page answers nothing
    stale = page.request.post(f"{address}/answer", form={"question": "practice.name", "answer": "x"}, headers={"Origin": address})
    assert stale.ok
    page.goto(address)
    page.get_by_role("heading", name="Under which rules do you work?").wait_for()
    assert page.request.post(f"{address}/answer", form={"answer": "x"}, headers={"Origin": "http://elsewhere.example"}).status == 403
    running.send_signal(signal.SIGTERM)
    running.wait(20)


def test_a_touch_starts_the_watch_beside_a_cup_and_only_the_ml_are_typed(page: Page, folder: Path) -> None:
    dialogue = Dialogue(folder, NOW.date, "Europe/London")
    while (question := dialogue.now().question) is not None and question.id != "chair 1.flow.syringe":
        assert dialogue.answer(TYPED.get(question.id, "")) is None
    running, address = _start(folder)
    page.clock.install(time=NOW)
    page.goto(address)
    page.get_by_role("button", name="Start the watch: 30 s").click()
    page.clock.run_for(12_000)
    expect(page.locator("#watch output")).to_have_text("18")
    page.clock.run_for(18_500)
    expect(page.locator("#watch [role=status]")).to_have_text("Take the cup away.")
    expect(page.locator("#answer")).to_be_focused()
    _answer(page, "chair 1.flow.syringe")
    expect(page.locator("input[name=question]")).to_have_value("machines.usual")
    running.send_signal(signal.SIGTERM)
    running.wait(20)
    kept = Dialogue(folder, NOW.date, "Europe/London").answers.taken["chair 1.flow.syringe"]
    assert kept.startswith("55/30 54/30 55/30 @")
