"""The addresses under /api against their own OpenAPI document, by schemathesis: every check, on a running page."""

import json
import subprocess
import sys
import urllib.parse
import urllib.request
from http.cookiejar import CookieJar
from pathlib import Path

import pytest
from real_page import DAY

pytestmark = pytest.mark.invented


def test_what_the_document_says_is_what_the_api_does(serve, tmp_path):
    served = serve("--date", DAY)
    cookies = CookieJar()
    browser = urllib.request.build_opener(urllib.request.HTTPCookieProcessor(cookies))
    fields = urllib.parse.urlencode({"person": "ana", "next": "/held"}).encode()
    browser.open(urllib.request.Request(f"{served.address}/sign-in", data=fields, headers={"Origin": served.address}), timeout=20)
    with browser.open(f"{served.address}/api/who", timeout=20) as answer:
        who = json.load(answer)
    held = "; ".join(f"{cookie.name}={cookie.value}" for cookie in cookies)
    command = [
        str(Path(sys.executable).with_name("st")), "run", f"{served.address}/api/openapi.json", "--checks", "all", "--max-examples", "30",
        "--seed", "7", "--no-color", "-H", f"Cookie: {held}", "-H", f"X-Fettlebook-Token: {who['token']}",
    ]  # fmt: skip
    done = subprocess.run(command, capture_output=True, text=True, timeout=300, check=False, cwd=tmp_path)
    assert done.returncode == 0, done.stdout[-6000:]
    assert "2 selected / 2 total" in done.stdout
    assert " fault " not in served.log.read_text()
