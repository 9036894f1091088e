"""Signing in at a tablet in a real browser: let in, lock, go on at the same place; and over TLS by the practice's own authority."""

import os
import re
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from playwright.sync_api import Browser, Page, Playwright, expect
from real_page import ARGUMENTS, CHROMIUM, DAY, Served
from test_axe import violations

PIN = "271828"


def fettlebook(folder: Path, *words: str, typed: str = "") -> str:
    done = subprocess.run(
        [sys.executable, "-m", "fettlebook", *words], input=typed, capture_output=True, text=True, cwd=folder, check=False, timeout=120
    )
    assert done.returncode in (0, 1), done.stderr
    return done.stdout


def with_files(demo: Path, folder: Path) -> Path:
    for name in ("practice.toml", "book.ics"):
        (folder / name).write_bytes((demo / name).read_bytes())
    return folder


def let_in(page: Page, address: str, folder: Path) -> None:
    code = fettlebook(folder, "people", "code", "practice.toml", "tablet of room 1").strip()
    page.goto(f"{address}/enrol#{code.replace(' ', '')}")
    page.get_by_role("button", name="Let this device in").click()
    page.get_by_role("link", name="Ana").click()
    for digit in PIN:
        page.locator(f"[data-key='{digit}']").click()
    page.get_by_role("button", name="Sign in", exact=True).click()
    expect(page.locator(".top nav")).to_contain_text("Ana")


def test_a_tablet_is_let_in_locks_and_goes_on_with_its_half_filled_form(
    demo: Path, tmp_path: Path, serve: Callable[..., Served], browser: Browser
) -> None:
    fettlebook(with_files(demo, tmp_path), "people", "pin", "practice.toml", "ana", typed=f"{PIN}\n{PIN}\n")
    served = serve("--date", DAY, "--at", f"{DAY}T10:42")
    context = browser.new_context(viewport={"width": 800, "height": 1280})
    page, other = context.new_page(), context.new_page()
    try:
        let_in(page, served.address, tmp_path)
        for place in ("/me", "/people", "/people/ben", "/devices", "/trust"):
            page.goto(f"{served.address}{place}")
            assert violations(page) == []
        page.goto(f"{served.address}/water/enter")
        page.locator("#f-count").fill("42")
        other.goto(f"{served.address}/rules")
        sheet = page.locator("#lock-sheet")
        context.set_offline(True)
        page.evaluate("localStorage.setItem('touched', '1')")
        page.evaluate("new Promise((done) => setTimeout(done, 2500))")  # two looks at the clock: nothing may happen
        expect(sheet).to_be_hidden()  # without network nobody could open it again
        context.set_offline(False)
        expect(sheet).to_be_visible(timeout=15_000)
        expect(other.locator("#lock-sheet")).to_be_visible(timeout=15_000)
        expect(page.locator("main")).to_be_hidden()
        assert violations(page) == []
        page.keyboard.press("Escape")
        page.keyboard.press("Escape")
        expect(sheet).to_be_visible()
        page.locator("#f-lock").fill("999999")
        page.keyboard.press("Enter")
        expect(sheet.locator(".fault")).to_have_text("That is not the PIN of this person.")
        page.locator("#f-lock").fill(PIN)
        page.keyboard.press("Enter")
        expect(sheet).to_be_hidden()
        expect(other.locator("#lock-sheet")).to_be_hidden()
        assert page.locator("#f-count").input_value() == "42"
        page.get_by_role("button", name="Enter it in the book").click()
        page.wait_for_url(re.compile("written="))
        page.goto(f"{served.address}/entries?kind=sample.result")
        expect(page.locator("main")).to_contain_text("Ana")
        page.goto(f"{served.address}/me")
        with page.expect_navigation():
            page.get_by_role("button", name="Sign out").click()
        other.goto(f"{served.address}/rules")
        assert "/sign-in" in other.url
    finally:
        context.close()
    assert served.stop(most_s=30) == 0


def test_in_the_house_the_pages_start_their_worker_once_the_authority_is_trusted(demo: Path, tmp_path: Path, play: Playwright) -> None:
    folder = with_files(demo, tmp_path)
    fettlebook(folder, "certificate", "make", "practice.toml", "--name", "practice.local", "--address", "127.0.0.1")
    command = [
        sys.executable,
        "-m",
        "fettlebook",
        "serve",
        "practice.toml",
        "book.ics",
        "--port",
        "0",
        "--host",
        "0.0.0.0",
        "--at",
        f"{DAY}T10:42",
    ]
    early = subprocess.run(command, capture_output=True, text=True, cwd=folder, check=False, timeout=120)
    assert (early.returncode, "nobody who leads has a PIN yet" in early.stderr) == (2, True), early.stderr
    fettlebook(folder, "people", "pin", "practice.toml", "ana", typed=f"{PIN}\n{PIN}\n")

    home = tmp_path / "home"
    store = home / ".pki" / "nssdb"
    store.mkdir(parents=True)
    subprocess.run(["certutil", "-d", f"sql:{store}", "-N", "--empty-password"], check=True)
    authority = folder / "book.sqlite.tls" / "authority.pem"
    arguments = [*ARGUMENTS, "--host-resolver-rules=MAP practice.local 127.0.0.1"]
    process = subprocess.Popen(command, stdout=subprocess.PIPE, text=True, cwd=folder)
    try:
        assert process.stdout
        said = "".join(process.stdout.readline() for _ in range(3))
        address, plain = re.findall(r"(https?://practice\.local:\d+)/", said)
        fingerprint = re.search(r"(?:[0-9A-F]{2}:){31}[0-9A-F]{2}", said)
        assert fingerprint
        for trusted in (False, True):
            if trusted:
                add = ["certutil", "-d", f"sql:{store}", "-A", "-t", "C,,", "-n", "practice", "-i", str(authority)]
                subprocess.run(add, check=True)
            browser = play.chromium.launch(
                executable_path=CHROMIUM,
                headless=True,
                args=arguments,
                env={**os.environ, "HOME": str(home)},  # type: ignore[dict-item]
            )
            page = browser.new_page()
            if not trusted:
                with pytest.raises(Exception, match="ERR_CERT_AUTHORITY_INVALID"):
                    page.goto(address)
                page = browser.new_page()  # the refused one is still busy with the browser's own warning
                page.goto(plain)
                expect(page.locator(".fingerprint")).to_have_text(fingerprint[0])
                assert violations(page) == []
                with page.expect_download() as saved:
                    page.get_by_role("link", name="Save the certificate").click()
                assert saved.value.suggested_filename == "fettlebook-authority.crt"
                assert page.goto(f"{plain}/entries").status == 404  # type: ignore[union-attr]
            else:
                let_in(page, address, folder)
                assert page.evaluate("navigator.serviceWorker.ready.then(() => window.isSecureContext)") is True
                names = {cookie["name"]: cookie for cookie in page.context.cookies()}
                for name in ("__Host-fettlebook-device", "__Host-fettlebook-session"):
                    assert (names[name]["secure"], names[name]["httpOnly"], names[name]["sameSite"]) == (True, True, "Strict")
            browser.close()
    finally:
        process.terminate()
        assert process.wait(30) == 0
