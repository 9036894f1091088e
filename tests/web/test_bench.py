"""The bench: work under one key is done once, says how far it is, can be stopped, and never takes the worker down."""

import threading

import pytest

from fettlebook.errors import Mendable
from fettlebook.web.bench import Bench, Tell

pytestmark = pytest.mark.invented


@pytest.fixture
def bench():
    bench = Bench()
    yield bench
    assert bench.close(wait_s=10)


def test_work_is_done_once_under_its_key_and_its_result_stays(bench, settled):
    done = []
    for _ in range(3):
        bench.start("a", lambda tell: done.append(1) or 42, where="quick")
    settled(lambda: bench.look("a").ended)
    bench.start("a", lambda tell: done.append(1) or 43, where="quick")
    assert (bench.look("a").result, done) == (42, [1])


def test_work_says_how_far_it_is_and_stops_with_what_it_has(bench, settled):
    def count(tell: Tell) -> int:
        n = 0
        while tell.say("counting", n, 1000):
            n += 1
        return n

    bench.start("a", count, where="long")
    settled(lambda: bench.look("a").done > 3)
    assert (bench.look("a").stage, bench.look("a").of) == ("counting", 1000)
    assert bench.stop("a")
    settled(lambda: bench.look("a").ended)
    assert bench.look("a").stopped
    assert bench.look("a").result > 3
    assert not bench.stop("b")


def test_newer_work_of_a_group_stops_the_older(bench, settled):
    def until_told(tell: Tell) -> str:
        while not tell.stopped():
            pass
        return "stopped"

    bench.start("old", until_told, where="quick", group="group")
    bench.start("new", lambda tell: "there", where="quick", group="group")
    settled(lambda: bench.look("new").ended)
    assert (bench.look("old").result, bench.look("new").result) == ("stopped", "there")


def test_what_cannot_wait_stops_work_of_the_groups_it_names(bench, settled):
    def until_told(tell: Tell) -> str:
        while not tell.stopped():
            pass
        return "the best so far"

    bench.start("trial", until_told, where="quick", group="what if")
    bench.start("other", lambda tell: "not told to stop", where="quick", group="elsewhere")
    bench.start("plan", lambda tell: "there", where="quick", group="new plan", instead_of=("what if",))
    settled(lambda: bench.look("plan").ended)
    assert [bench.look(key).result for key in ("trial", "other", "plan")] == ["the best so far", "not told to stop", "there"]


def test_trouble_is_told_and_the_next_work_is_done(bench, settled, caplog):
    def mend(tell: Tell) -> None:
        raise Mendable("no such set", where="sets", mend="Name one.")

    bench.start("mend", mend, where="quick")
    bench.start("fault", lambda tell: 1 / 0, where="quick")
    bench.start("good", lambda tell: 1, where="quick")
    settled(lambda: bench.look("good").ended)
    assert bench.look("mend").trouble[0].what == "no such set"
    assert "number" in bench.look("fault").trouble[0].what
    bench.start("mend", lambda tell: 7, where="quick")  # after trouble the same may be tried again
    settled(lambda: bench.look("mend").ended)
    assert bench.look("mend").result == 7


def test_forgotten_work_never_comes_back(bench, settled):
    go = threading.Event()
    bench.start("a", lambda tell: go.wait(10) and "old", where="quick")
    bench.forget("a")
    bench.start("a", lambda tell: "new", where="quick")
    go.set()
    settled(lambda: bench.look("a").ended)
    assert bench.look("a").result == "new"


def test_a_long_reckoning_does_not_keep_a_quick_one_waiting(bench, settled):
    go = threading.Event()
    bench.start("long", lambda tell: go.wait(20), where="long")
    bench.start("quick", lambda tell: "there", where="quick")
    settled(lambda: bench.look("quick").ended)
    assert not bench.look("long").ended
    go.set()
