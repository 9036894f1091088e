"""The pages of docs/ build into a site without a warning; every link leads somewhere, and nothing is loaded from elsewhere."""

import subprocess
import sys
from pathlib import Path

import pytest

ROOT = Path(__file__).parents[2]


@pytest.fixture(scope="module")
def site(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Build the site as `scripts/docs` does."""
    to = tmp_path_factory.mktemp("site")
    done = subprocess.run([ROOT / "scripts/docs", str(to)], capture_output=True, text=True, check=False)
    assert done.returncode == 0, f"{done.stdout}{done.stderr}"
    return to


def test_every_page_is_in_the_site_and_in_the_print(site: Path) -> None:
    printed = (site / "print" / "index.html").read_text("utf-8")
    for page in (ROOT / "docs").rglob("*.md"):
        assert (site / page.relative_to(ROOT / "docs").with_suffix(".html")).is_file(), page
        assert page.read_text("utf-8").partition("\n")[0].startswith("# "), f"{page} has no title"
    assert "A power cut" in printed
    assert (site / "searchindex.js").is_file()
    assert "@media print" in (site / "_static" / "house.css").read_text("utf-8")


def test_the_check_of_links_sees_what_is_wrong(tmp_path: Path) -> None:
    (tmp_path / "index.html").write_text(
        '<a href="gone.html">x</a><a href="other.html#nowhere">x</a><a href="other.html#here">x</a><a href="https://example.org">x</a>'
        '<script src="https://example.org/x.js"></script><img src="gone.png">'
    )
    (tmp_path / "other.html").write_text('<p id="here">x</p>')
    (tmp_path / "x.css").write_text("@font-face { src: url(https://example.org/f.woff2) }")
    done = subprocess.run([sys.executable, ROOT / "scripts/docs_links.py", str(tmp_path)], capture_output=True, text=True, check=False)
    assert done.returncode == 1
    assert done.stdout.splitlines() == [
        "index.html loads https://example.org/x.js",
        "index.html: gone.html leads nowhere",
        "index.html: no such place on the page: other.html#nowhere",
        "index.html: gone.png leads nowhere",
        "x.css loads https://example.org/f.woff2",
    ]
