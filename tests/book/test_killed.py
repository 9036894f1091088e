"""kill -9 at random moments: every acknowledged entry is there afterwards, once, and the book takes more."""

import importlib.util
import random
import sys
from pathlib import Path
from types import ModuleType

import pytest

SOAK = Path(__file__).parents[2] / "benchmarks" / "soak_kill.py"
pytestmark = pytest.mark.invented


@pytest.fixture(scope="module")
def soak_kill() -> ModuleType:
    spec = importlib.util.spec_from_file_location("soak_kill", SOAK)
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    sys.modules["soak_kill"] = module
    spec.loader.exec_module(module)
    return module


def test_every_acknowledged_entry_survives_kill_minus_nine(tmp_path: Path, soak_kill: ModuleType) -> None:
    seen = soak_kill.soak(tmp_path / "book.sqlite", 50, random.Random(20260302))
    assert seen.rounds == 50
    assert seen.acknowledged > 500
    assert seen.verified == 2


def test_the_soak_would_see_a_lost_entry(tmp_path: Path, soak_kill: ModuleType, monkeypatch: pytest.MonkeyPatch) -> None:
    # What the soak says is worth something only if it fails where an acknowledged entry is not there.
    killed = soak_kill._killed

    def forgetful(*given: object) -> dict[int, int]:
        said: dict[int, int] = killed(*given)
        return said | {max(said, default=0) + 1000: 1}

    monkeypatch.setattr(soak_kill, "_killed", forgetful)
    with pytest.raises(AssertionError, match="missing"):
        soak_kill.soak(tmp_path / "book.sqlite", 1, random.Random(1))
