"""The evidence file by page: asked, made in the background, taken away; and the look-back pack as PDF."""

import io
import subprocess
import sys
import time
import zipfile
from pathlib import Path

import pytest
from fastapi.testclient import TestClient
from test_standing_pages import book, client  # noqa: F401 - fixtures

pytestmark = pytest.mark.invented
OURS = {"origin": "http://127.0.0.1"}


def ask(client: TestClient, **fields: str) -> object:  # noqa: F811
    return client.post("/evidence", data={"first": "2026-11-18", "last": "2026-11-25", **fields}, headers=OURS)


def made(client: TestClient, address: str) -> str:  # noqa: F811
    for _ in range(600):
        page = client.get(address).text
        if "It is being made" not in page:
            return page
        assert client.get(f"{address}/progress").status_code == 200
        time.sleep(0.1)
    pytest.fail("it was never made")


def test_it_is_made_shown_and_taken_away_and_the_bundle_is_the_commands_own(client: TestClient, tmp_path: Path) -> None:  # noqa: F811
    begun = ask(client)
    assert begun.status_code == 303
    address = begun.headers["location"]
    page = made(client, address)
    assert "Open the PDF" in page
    for area in ("Deviations", "Duties", "Water", "The book"):
        assert area in page
    assert "Nothing here is signed" in page  # no key lies beside this book
    pdf = client.get(f"{address}/report.pdf")
    assert pdf.headers["content-type"] == "application/pdf"
    assert pdf.content.startswith(b"%PDF-")
    packed = client.get(f"{address}/bundle.zip")
    zipfile.ZipFile(io.BytesIO(packed.content)).extractall(tmp_path)
    assert (tmp_path / "report.pdf").read_bytes() == pdf.content
    ran = subprocess.run([sys.executable, tmp_path / "check.py"], capture_output=True, text=True, check=False)
    assert ran.stderr == ""
    assert "signed by none" in ran.stdout or "no signed note" in ran.stdout
    assert address in client.get("/evidence").text
    assert ask(client).headers["location"] == address  # the same days of the same book are made once


@pytest.mark.parametrize(
    ("fields", "said"),
    [
        ({"first": "2026-11-25", "last": "2026-11-18"}, "lies before"),
        ({"first": "2027-01-01", "last": "2027-01-02"}, "lies ahead"),
        ({"first": ""}, "From"),
        ({"last": "never"}, "never"),
    ],
)
def test_days_that_can_not_be_are_said_beside_the_fields(client: TestClient, fields: dict[str, str], said: str) -> None:  # noqa: F811
    page = ask(client, **fields)
    assert said in page.text
    assert "Make it" in page.text


def test_days_without_an_entry_end_on_a_page_that_says_so(client: TestClient) -> None:  # noqa: F811
    begun = ask(client, first="2020-01-01", last="2020-01-02")
    assert "no entry of 2020-01-01" in made(client, begun.headers["location"])


def test_nothing_is_made_for_another_site_and_unknown_marks_are_no_page(client: TestClient) -> None:  # noqa: F811
    assert client.post("/evidence", data={"first": "2026-11-18"}).status_code == 403
    for mark in ("0" * 16, "..%2f..%2fetc", "x"):
        assert client.get(f"/evidence/{mark}").status_code == 404
        assert client.get(f"/evidence/{mark}/report.pdf").status_code == 404


def test_the_look_back_pack_is_one_touch_from_the_look_back(client: TestClient) -> None:  # noqa: F811
    page = client.get("/trace").text
    address = next(part.split('"')[0] for part in page.split('href="')[1:] if part.startswith("/look-back/machine"))
    assert "Look-back pack" in client.get(address).text
    pdf = client.get(f"{address}.pdf")
    assert pdf.content.startswith(b"%PDF-")
    assert client.get("/look-back/machine:oven.pdf").status_code in (404, 422)
