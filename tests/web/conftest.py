"""A desk with an invented day on it, and a client of its pages."""

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from fastapi.testclient import TestClient

sys.path.insert(0, str(Path(__file__).parent))
import made_up_day

from fettlebook.web.app import create_app
from fettlebook.web.desk import Desk


@pytest.fixture
def hands() -> made_up_day.Hands:
    return made_up_day.Hands()


@pytest.fixture
def desk(hands: made_up_day.Hands) -> Iterator[Desk]:
    desk = Desk(hands, lambda: made_up_day.at(10, 42))
    yield desk
    hands.may_plan.set()
    assert desk.close(wait_s=10)


@pytest.fixture
def settled() -> Callable[[Callable[[], bool]], None]:
    """Wait until something holds, or fail."""

    def wait(holds: Callable[[], bool], most_s: float = 15) -> None:
        for _ in range(int(most_s / 0.02)):
            if holds():
                return
            time.sleep(0.02)
        pytest.fail("it never came to hold")

    return wait


@pytest.fixture
def client(desk: Desk, settled: Callable[[Callable[[], bool]], None]) -> TestClient:
    """A client of the pages, the made-up day planned."""
    desk.day(made_up_day.DAY)
    settled(lambda: desk.day(made_up_day.DAY).plan is not None)
    return TestClient(create_app(desk, made_up_day.DAY), base_url="http://127.0.0.1", follow_redirects=False)
