"""A small practice, read from its own TOML text."""

from collections.abc import Callable

import pytest
from small_practice import small_practice_text

from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice


@pytest.fixture
def small() -> Callable[..., Practice]:
    """Read a small practice."""

    def practice(*packs: str, **changes: str) -> Practice:
        loaded = read_practice(small_practice_text(*packs, **changes).encode(), "practice.toml")
        assert loaded.practice is not None, [str(finding) for finding in loaded.errors]
        return loaded.practice

    return practice
