"""Work without network in a real Chromium: nothing that was noted is lost or comes twice, whatever breaks on the way."""

import re
import shutil
import signal
from collections.abc import Iterator
from pathlib import Path
from urllib.parse import urlsplit

import pytest
from playwright.sync_api import BrowserContext, Page, expect
from real_page import DAY, Served, start

import fettlebook
from fettlebook.book.received import Received
from fettlebook.book.stores.sqlite import open_book

pytestmark = pytest.mark.invented
NOTE = """async (data) => {
  const queue = await import("/static/queue.js");
  return queue.note("step.done", { duty: "chair.after", outcome: "done", ...data });
}"""
DAYS_3_MS = 3 * 86_400_000
CLOCK_OFF = f"(() => {{ const right = Date.now.bind(Date); window.clockOff = {DAYS_3_MS}; Date.now = () => right() + window.clockOff; }})()"


@pytest.fixture(scope="module")
def server(demo: Path, tmp_path_factory: pytest.TempPathFactory) -> Iterator[Served]:
    folder = tmp_path_factory.mktemp("offline")
    for name in ("practice.toml", "book.ics"):
        (folder / name).write_bytes((demo / name).read_bytes())
    served = start(folder, "--date", DAY)
    yield served
    served.process.kill()
    served.process.wait(10)


@pytest.fixture
def tablet(browser) -> Iterator[BrowserContext]:
    context = browser.new_context(viewport={"width": 800, "height": 1280})
    yield context
    context.close()


def sign_in(context: BrowserContext, address: str, who: str = "Ana") -> Page:
    page = context.new_page()
    page.goto(f"{address}/sign-in?next=/held")
    page.get_by_role("button", name=who, exact=True).click()
    page.wait_for_url("**/held")
    page.evaluate("navigator.serviceWorker.ready.then(() => 0)")
    expect(page.locator("#sending .word")).to_have_text("All sent")
    return page


def noted(page: Page, step: str, **more: str) -> str:
    return page.evaluate(NOTE, {"step": step, "chair": "chair 1", **more})


def waiting(page: Page) -> list[str]:
    return page.evaluate("import('/static/queue.js').then((queue) => queue.waiting()).then((all) => all.map((one) => one.id))")


def of_device(served: Served, ids: list[str]) -> list[Received]:
    with open_book(served.folder / "book.sqlite", "quayside", write=False) as store:
        found = [store.get(one) for one in ids]
        everything = [received.entry.id for received in store.read()]
    assert len(everything) == len(set(everything))
    return [one for one in found if one is not None]


def all_sent(page: Page) -> None:
    for _ in range(600):
        if waiting(page) == []:
            break
        page.wait_for_timeout(100)
    expect(page.locator("#sending .word")).to_have_text("All sent", timeout=30_000)
    assert waiting(page) == []


def test_a_turnover_goes_on_when_the_network_is_cut_the_page_reloaded_and_the_tab_killed(tablet, server):
    page = sign_in(tablet, server.address)
    ids = [noted(page, "after.wipe")]
    all_sent(page)
    tablet.set_offline(True)
    ids += [noted(page, "after.flush"), noted(page, "after.rinse")]
    expect(page.locator("#sending .word")).to_have_text("No network: 2 entries wait here")
    expect(page.locator("#sending .since")).to_have_text(re.compile(r"^the oldest since \d\d:\d\d$"))
    page.reload()
    expect(page.locator("#sending .word")).to_have_text("No network: 2 entries wait here")
    assert waiting(page) == ids[1:]
    page.close(run_before_unload=False)
    page = tablet.new_page()
    page.goto(f"{server.address}/held")
    expect(page.locator("#waiting li")).to_have_count(2)
    ids.append(noted(page, "after.lay out"))
    expect(page.locator("#sending")).to_have_attribute("data-shape", "peak")
    tablet.set_offline(False)
    all_sent(page)
    found = of_device(server, ids)
    assert [one.entry.data.step for one in found] == ["after.wipe", "after.flush", "after.rinse", "after.lay out"]
    assert [one.entry.n for one in found] == list(range(found[0].entry.n, found[0].entry.n + 4))
    assert [one.entry.at for one in found] == sorted(one.entry.at for one in found)
    assert all(one.entry.by == "ana" and one.via == one.entry.device for one in found)
    assert {one.entry.mono.session for one in found[:3]}, "each has a clock that only runs forward"


def test_a_page_that_needs_the_server_says_so_and_a_form_keeps_what_was_typed(tablet, server):
    page = sign_in(tablet, server.address)
    page.goto(f"{server.address}/measure/chair%201/strips")
    tablet.set_offline(True)
    form = page.locator("main form[method=post]").first
    form.evaluate("form => form.requestSubmit()")
    expect(form.get_by_role("alert")).to_contain_text("nothing was sent")
    page.goto(f"{server.address}/rules")
    expect(page.get_by_role("heading", level=1)).to_have_text("This page needs the server")
    tablet.set_offline(False)


def test_killed_after_the_write_and_before_the_answer_the_entry_is_there_once(tablet, demo, tmp_path):
    for name in ("practice.toml", "book.ics"):
        (tmp_path / name).write_bytes((demo / name).read_bytes())
    served = start(tmp_path, "--date", DAY)
    page = sign_in(tablet, served.address)

    def write_then_die(route) -> None:
        answer = route.fetch()
        assert [one["outcome"] for one in answer.json()["results"]] == ["kept"]
        served.process.send_signal(signal.SIGKILL)
        served.process.wait(10)
        route.abort()

    page.route("**/api/entries", write_then_die, times=1)
    entry = noted(page, "after.wipe")
    expect(page.locator("#sending .word")).to_have_text("No network: 1 entry waits here")
    second = noted(page, "after.flush")
    again = start(tmp_path, "--date", DAY, "--port", str(urlsplit(served.address).port))
    try:
        page.goto(f"{again.address}/sign-in?next=/held")
        page.get_by_role("button", name="Ana", exact=True).click()
        all_sent(page)
        assert [one.entry.id for one in of_device(again, [entry, second])] == [entry, second]
    finally:
        again.process.kill()
        again.process.wait(10)


def test_a_session_that_ends_in_between_keeps_the_entries_until_somebody_signs_in(tablet, server):
    page = sign_in(tablet, server.address)
    tablet.clear_cookies(name="fettlebook-session")
    entry = noted(page, "after.wipe")
    expect(page.locator("#sending .word")).to_have_text("Sign in to send: 1 entry waits here")
    page.locator("#sending .state").click()
    page.get_by_role("button", name="Ben", exact=True).click()
    page.wait_for_url("**/held")
    all_sent(page)
    (found,) = of_device(server, [entry])
    assert found.entry.by == "ana", "who noted it, not who signed in to send it"


def test_a_clock_three_days_off_is_put_right_and_both_times_stand_there(tablet, server):
    tablet.add_init_script(CLOCK_OFF)
    page = sign_in(tablet, server.address)
    first = noted(page, "after.wipe")
    all_sent(page)
    tablet.set_offline(True)
    second = noted(page, "after.flush")
    page.evaluate("window.clockOff = 0")  # the tablet hears the right time before it sends
    tablet.set_offline(False)
    page.evaluate("import('/static/queue.js').then((queue) => queue.sendAll())")
    all_sent(page)
    for one in of_device(server, [first, second]):
        assert one.entry.at - one.received > DAYS_3_MS - 60_000
        assert abs(one.entry.at + one.offset - one.received) < 60_000


def test_two_pages_of_one_tablet_number_without_gap_and_send_each_once(tablet, server):
    one = sign_in(tablet, server.address)
    other = tablet.new_page()
    other.goto(f"{server.address}/held")
    tablet.set_offline(True)
    many = """() => import("/static/queue.js").then((queue) => Promise.all(Array.from({ length: 20 }, (_, i) =>
      queue.note("step.done", { duty: "chair.after", step: `s${i}`, chair: "chair 1", outcome: "done" }))))"""
    ids = one.evaluate(many) + other.evaluate(many)
    tablet.set_offline(False)
    all_sent(one)
    all_sent(other)
    numbers = [entry.entry.n for entry in of_device(server, ids)]
    assert len(numbers) == 40
    assert sorted(numbers) == list(range(min(numbers), min(numbers) + 40))


def test_a_refused_entry_stays_in_the_tablet_is_shown_and_can_be_laid_aside(tablet, server):
    page = sign_in(tablet, server.address)
    entry = noted(page, "after.wipe", chair="chair 99")
    expect(page.locator("#sending .word")).to_have_text("1 entry was refused: look")
    expect(page.locator("#refused li")).to_contain_text("no chair 'chair 99'")
    page.reload()
    expect(page.locator("#refused li")).to_have_count(1)
    page.get_by_role("button", name="Lay aside").click()
    all_sent(page)
    with open_book(server.folder / "book.sqlite", "quayside", write=False) as store:
        laid = store.latest("entry.laid_aside")
        assert store.get(entry) is None
        assert laid.entry.data.laid == entry
        assert laid.entry.by == "ana"
        assert store.missing_of(laid.entry.device) is None, "its number is accounted for"


def test_a_book_that_was_put_back_from_a_backup_gets_again_what_it_lost(tablet, demo, tmp_path):
    for name in ("practice.toml", "book.ics"):
        (tmp_path / name).write_bytes((demo / name).read_bytes())
    served = start(tmp_path, "--date", DAY)
    page = sign_in(tablet, served.address)
    kept = noted(page, "after.wipe")
    all_sent(page)
    assert served.stop(most_s=30) == 0
    backup = {path: path.read_bytes() for path in tmp_path.glob("book.sqlite*")}
    port = str(urlsplit(served.address).port)
    again = start(tmp_path, "--date", DAY, "--port", port)
    page = sign_in(tablet, again.address)
    lost = [noted(page, "after.flush"), noted(page, "after.rinse")]
    all_sent(page)
    assert again.stop(most_s=30) == 0
    for path in tmp_path.glob("book.sqlite*"):
        path.unlink()
    for path, content in backup.items():
        path.write_bytes(content)
    restored = start(tmp_path, "--date", DAY, "--port", port)
    try:
        assert of_device(restored, lost) == []
        page = sign_in(tablet, restored.address)
        new = noted(page, "after.lay out")
        all_sent(page)
        assert {one.entry.data.step for one in of_device(restored, [kept, *lost, new])} == {
            "after.wipe", "after.flush", "after.rinse", "after.lay out",
        }  # fmt: skip
    finally:
        restored.process.kill()
        restored.process.wait(10)


def test_after_an_upgrade_no_page_runs_on_the_old_program(tablet, demo, tmp_path, monkeypatch):
    for name in ("practice.toml", "book.ics"):
        (tmp_path / name).write_bytes((demo / name).read_bytes())
    served = start(tmp_path, "--date", DAY)
    page = sign_in(tablet, served.address)
    old = page.evaluate("caches.keys()")
    served.process.kill()
    served.process.wait(10)
    copied = tmp_path / "newer"
    shutil.copytree(Path(fettlebook.__file__).parent, copied / "fettlebook", ignore=shutil.ignore_patterns("__pycache__"))
    style = copied / "fettlebook/web/static/tablet.css"
    style.write_text(style.read_text() + "\n#sending .word { letter-spacing: 3px; }\n")
    monkeypatch.setenv("PYTHONPATH", str(copied))
    again = start(tmp_path, "--date", DAY, "--port", str(urlsplit(served.address).port))
    try:
        page.goto(f"{again.address}/held")
        expect(page.locator("#sending .word")).to_have_css("letter-spacing", "3px")
        kept = page.evaluate(
            """async (old) => {
              for (let i = 0; i < 300; i += 1) {
                const names = await caches.keys();
                if (names.length && names.every((name) => !old.includes(name))) return names;
                await new Promise((resolve) => { setTimeout(resolve, 100); });
              }
              return caches.keys();
            }""",
            old,
        )
        assert not set(kept) & set(old), "the old program is gone from the tablet"
        tablet.set_offline(True)
        page.reload()
        expect(page.locator("#sending .word")).to_have_css("letter-spacing", "3px")
    finally:
        again.process.kill()
        again.process.wait(10)
