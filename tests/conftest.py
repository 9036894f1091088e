"""What every test shares: how properties are drawn, that a `published` mark says its source and how sure it is, and who runs with whom."""

import os
from pathlib import Path

import pytest
from hypothesis import settings

# Before numpy is there, here and in the processes that tests start: matrices are small, and where another worker holds the second
# core, threads that wait for each other take five times as long as one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

# No deadline: the first call of a property may read a table, and the machine may be shared.
settings.register_profile("fettlebook", deadline=None, max_examples=50)
settings.load_profile("fettlebook")

HERE = Path(__file__).parent
SURE = {"read", "secondary", "memory", "computed"}


@pytest.hookimpl(tryfirst=True)  # before xdist looks at the groups
def pytest_collection_modifyitems(items: list[pytest.Item]) -> None:
    """Say what runs together, and refuse a `published` mark without source and sure: such a test would claim more than it shows."""
    for item in items:
        # `pytest -n 2 --dist loadgroup`: a file stays with one worker, so that its fixtures are made once; all journeys share
        # one worker, with one browser and one server of the demo, and begin first because they are most.
        place = item.path.relative_to(HERE)
        item.add_marker(pytest.mark.xdist_group("journeys" if place.parts[0] == "journeys" else place.as_posix()))
        for mark in item.iter_markers("published"):
            source, sure = mark.kwargs.get("source"), mark.kwargs.get("sure")
            if not source or sure not in SURE or mark.args:
                raise pytest.UsageError(f"{item.nodeid}: published needs source=... and sure= one of {sorted(SURE)}, by name")
