"""Connections by which entries are added: few for many practices, named before use, and none that failed is used again."""

import threading
from concurrent.futures import ThreadPoolExecutor

import pytest

from fettlebook.book.stores import lines
from fettlebook.book.stores.lines import Lines
from fettlebook.errors import AwayError

pytestmark = pytest.mark.invented


class Connection:
    """What is opened: it knows whom it serves."""

    def __init__(self) -> None:
        self.named, self.open, self.users = "", True, 0

    def execute(self, _: str, values: tuple[str]) -> None:
        self.named = values[0]

    def close(self) -> None:
        self.open = False


@pytest.fixture
def opened() -> list[Connection]:
    return []


def several(opened: list[Connection], most: int) -> Lines:
    def one() -> Connection:
        opened.append(Connection())
        return opened[-1]

    return Lines(one, most=most)


def test_many_practices_take_turns_on_a_few_and_each_is_named(opened: list[Connection]) -> None:
    these = several(opened, 3)
    alone = threading.Lock()

    def add(n: int) -> None:
        practice = f"p{n % 20}"
        with these.turn(practice), these.of(practice, harmless=()) as driver:
            with alone:
                driver.users += 1
                assert driver.users == 1
            assert driver.named == practice
            with alone:
                driver.users -= 1

    with ThreadPoolExecutor(12) as workers:
        list(workers.map(add, range(2_000)))
    assert 1 <= len(opened) <= 3
    these.close()
    assert not any(one.open for one in opened)


def test_a_practice_that_comes_again_finds_its_own(opened: list[Connection]) -> None:
    these = several(opened, 2)
    for practice in ("a", "b", "a", "b"):
        with these.of(practice, harmless=()) as driver:
            assert driver is opened["ab".index(practice)]


def test_after_a_failure_it_is_closed_and_its_place_is_free(opened: list[Connection]) -> None:
    these = several(opened, 1)
    with pytest.raises(KeyError), these.of("a", harmless=(ValueError,)):
        raise KeyError
    with pytest.raises(ValueError, match="refused"), these.of("a", harmless=(ValueError,)):
        raise ValueError("refused")
    with these.of("a", harmless=()) as driver:
        assert driver is opened[1]
    assert [one.open for one in opened] == [False, True]


def test_one_that_can_not_be_opened_takes_no_place() -> None:
    tries = iter([OSError("away"), None])

    def one() -> Connection:
        if (error := next(tries)) is not None:
            raise error
        return Connection()

    these = Lines(one, most=1)
    with pytest.raises(OSError, match="away"), these.of("a", harmless=()):
        pass
    with these.of("a", harmless=()) as driver:
        assert driver.named == "a"


def test_where_none_is_free_in_time_it_is_said(opened: list[Connection], monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(lines, "WAIT_S", 0.05)
    these = several(opened, 1)
    with these.of("a", harmless=()), pytest.raises(AwayError, match="busy"), these.of("b", harmless=()):
        pass
