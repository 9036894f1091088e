"""A practice that has lived some weeks, with its book."""

import subprocess
import sys
from pathlib import Path

import pytest


@pytest.fixture(scope="session")
def lived(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("lived")
    subprocess.run([sys.executable, "-m", "fettlebook", "demo", str(folder), "--lived", "14"], check=True, capture_output=True)
    text = (folder / "practice.toml").read_text()
    (folder / "elm.toml").write_text(text.replace('id = "quayside"', 'id = "elm"', 1))
    return folder
