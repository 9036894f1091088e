"""A page on the invented practice, and a real Chromium."""

import subprocess
import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from playwright.sync_api import Browser, BrowserContext, Page, Playwright, expect, sync_playwright

sys.path.insert(0, str(Path(__file__).parent))
from real_page import ARGUMENTS, CHROMIUM, DAY, Served, start

expect.set_options(timeout=45_000)  # a loaded machine is waited for: no journey asserts how soon


@pytest.fixture(scope="session")
def demo(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("demo")
    subprocess.run([sys.executable, "-m", "fettlebook", "demo", str(folder)], check=True, capture_output=True)
    return folder


@pytest.fixture(scope="session")
def served(demo: Path) -> Iterator[Served]:
    page = start(demo, "--date", DAY, "--at", f"{DAY}T10:42")
    yield page
    assert page.stop() == 0
    assert page.log.read_text() == ""


@pytest.fixture
def serve(demo: Path, tmp_path: Path) -> Iterator[Callable[..., Served]]:
    """Start pages of a test's own, on copies of the demo's files."""
    started: list[Served] = []

    def begin(*more: str, **names: str) -> Served:
        for name in ("practice.toml", "book.ics"):
            if not (tmp_path / name).exists():
                (tmp_path / name).write_bytes((demo / name).read_bytes())
        started.append(start(tmp_path, *more, **names))
        return started[-1]

    yield begin
    for page in started:
        if page.process.poll() is None:
            page.process.kill()
        page.process.wait(10)


@pytest.fixture(scope="session")
def play() -> Iterator[Playwright]:
    """The driver of browsers: one for all journeys; a second one in the same process, or an event loop beside it, is refused."""
    with sync_playwright() as driver:
        yield driver


@pytest.fixture(scope="session")
def browser(play: Playwright) -> Iterator[Browser]:
    browser = play.chromium.launch(executable_path=CHROMIUM, headless=True, args=ARGUMENTS)
    yield browser
    browser.close()


@pytest.fixture(scope="session")
def chromium(browser: Browser) -> Iterator[BrowserContext]:
    context = browser.new_context()
    context.set_default_timeout(60_000)
    yield context
    context.close()


@pytest.fixture
def page(chromium: BrowserContext) -> Iterator[Page]:
    """A page whose console stays empty: a refused style or script is a failure."""
    page = chromium.new_page()
    page.set_viewport_size({"width": 1280, "height": 800})
    complaints: list[str] = []
    page.on("console", lambda message: complaints.append(message.text) if message.type in ("error", "warning") else None)
    page.on("pageerror", lambda error: complaints.append(str(error)))
    yield page
    page.close()
    assert [text for text in complaints if "status of 4" not in text and "net::ERR" not in text] == []


@pytest.fixture
def day(page: Page, served: Served) -> Page:
    """The day's page, planned."""
    page.goto(f"{served.address}/day/{DAY}")
    page.locator(".verdict").wait_for(timeout=60_000)
    return page


@pytest.fixture
def waited() -> Callable[[Callable[[], bool]], None]:
    """Wait until something holds, or fail."""

    def wait(holds: Callable[[], bool], most_s: float = 60) -> None:
        for _ in range(int(most_s / 0.1)):
            if holds():
                return
            time.sleep(0.1)
        pytest.fail("it never came to hold")

    return wait
