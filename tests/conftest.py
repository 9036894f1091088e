"""What every test shares: how properties are drawn, and that a `published` mark says its source and how sure it is."""

import pytest
from hypothesis import settings

# No deadline: the first call of a property may read a table, and the machine may be shared.
settings.register_profile("fettlebook", deadline=None, max_examples=50)
settings.load_profile("fettlebook")

SURE = {"read", "secondary", "memory", "computed"}


def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Refuse a `published` mark without source and sure: such a test would claim more than it shows."""
    for item in items:
        for mark in item.iter_markers("published"):
            source, sure = mark.kwargs.get("source"), mark.kwargs.get("sure")
            if not source or sure not in SURE or mark.args:
                raise pytest.UsageError(f"{item.nodeid}: published needs source=... and sure= one of {sorted(SURE)}, by name")
