"""What the person sees who starts the page when something is wrong, and how the told way out works.

A taken port, a second server on the same book and wrong files: tests/journeys/test_serve_process.py.
"""

import subprocess
import sys
from datetime import timedelta
from pathlib import Path

import pytest

from fettlebook.demo import book_ics, practice_text
from fettlebook.web.tls.authority import folder_beside, make_authority, now_utc, read

pytestmark = pytest.mark.invented


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    (tmp_path / "practice.toml").write_bytes(practice_text())
    (tmp_path / "book.ics").write_bytes(book_ics())
    return tmp_path


def run(*arguments: str, cwd: Path) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "fettlebook", *arguments]
    return subprocess.run(command, cwd=cwd, capture_output=True, text=True, timeout=240, check=False)


def test_an_ended_certificate_is_said_at_the_start_and_renewing_it_is_the_way_out(folder: Path) -> None:
    at = folder_beside(folder / "book.sqlite")
    made = make_authority(at, "Quayside", ["practice.local"], ["192.168.1.20"], now_utc() - timedelta(days=420))
    assert made.until < now_utc()
    refused = run("serve", "practice.toml", "book.ics", "--host", "0.0.0.0", "--port", "0", cwd=folder)
    assert refused.returncode == 2
    assert refused.stdout == ""
    assert f"the certificate of this server ended on {made.until:%Y-%m-%d}" in refused.stderr
    assert "fettlebook certificate renew" in refused.stderr
    assert "Traceback" not in refused.stderr
    assert run("certificate", "renew", "practice.toml", cwd=folder).returncode == 0
    assert read(at).until > now_utc() + timedelta(days=300)
    assert read(at).authority_fingerprint == made.authority_fingerprint  # no tablet must trust anew
    again = run("serve", "practice.toml", "book.ics", "--host", "0.0.0.0", "--port", "0", cwd=folder)
    assert again.returncode == 2
    assert "certificate" not in again.stderr
    assert "PIN" in again.stderr  # the next thing that is missing, with what to do
