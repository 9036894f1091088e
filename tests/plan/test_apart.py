"""The search in a process of its own: the same answer, and an answer whatever becomes of that process."""

import json
import os
import signal
import sys
import time
from collections.abc import Sequence
from pathlib import Path

import pytest

from fettlebook.errors import Mendable
from fettlebook.plan.apart import COMMAND, as_message, solve_apart
from fettlebook.plan.check import check_plan
from fettlebook.plan.instance import Done, Instance, read_instance
from fettlebook.plan.solve import Progress, Solved, solve

INSTANCES = Path(__file__).with_name("instances")


def _day(name: str) -> Instance:
    return read_instance((INSTANCES / f"{name}.json").read_text(), name)


def _running(code: str) -> Sequence[str]:
    return (sys.executable, "-c", code)


def _holds(day: Instance, solved: Solved) -> None:
    assert check_plan(day, solved.plan) == ()
    assert solved.figures.rank <= solve(day, limit_s=0).figures.rank


@pytest.mark.invented
def test_the_answer_is_that_of_the_search_itself() -> None:
    day = _day("tiny-1")
    apart = solve_apart(day, limit_s=60, seed=5, deterministic=0.1)
    here = solve(day, limit_s=60, seed=5, deterministic=0.1)
    assert (apart.plan, apart.bound, apart.proven, apart.core) == (here.plan, here.bound, here.proven, here.core)


@pytest.mark.invented
@pytest.mark.parametrize(
    "code",
    [
        "raise SystemExit(3)",
        "import os, signal; os.kill(os.getpid(), signal.SIGSEGV)",
        "print('no JSON at all'); print('[]'); print('{\"solved\": {}}')",
        'import sys; sys.stdin.close(); print(\'{"progress": {"seconds": 1}}\')',
    ],
    ids=["ends", "crashes", "talks nonsense", "hangs up"],
)
def test_a_search_that_fails_leaves_the_list_schedulers_plan(code: str) -> None:
    day = _day("small-1")
    solved = solve_apart(day, limit_s=30, command=_running(code))
    _holds(day, solved)
    assert solved.plan.visits == solve(day, limit_s=0).plan.visits
    assert "ended early" in solved.method
    assert not solved.proven


@pytest.mark.invented
def test_a_plan_that_breaks_a_rule_is_not_taken_whoever_sends_it() -> None:
    day = _day("tiny-1")
    message = as_message(solve(day, limit_s=0))
    message["solved"]["plan"]["visits"][0]["start"] = 0
    solved = solve_apart(day, limit_s=30, command=_running(f"print({json.dumps(message)!r})"))
    _holds(day, solved)
    assert "ended early" in solved.method


@pytest.mark.invented
def test_a_search_that_hangs_is_ended_soon_after_its_limit(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("fettlebook.plan.apart.STUCK_S", 0.2)
    day = _day("tiny-1")
    solved = solve_apart(day, limit_s=2.0, command=_running("import time; time.sleep(600)"))
    _holds(day, solved)
    assert "ended early" in solved.method


@pytest.mark.invented
def test_a_program_that_is_not_there_is_said_and_the_first_plan_stands() -> None:
    day = _day("tiny-1")
    solved = solve_apart(day, limit_s=5, command=("/no/such/program",))
    _holds(day, solved)
    assert "could not be started" in solved.method


@pytest.mark.invented
def test_killed_in_the_middle_the_best_plan_that_had_come_is_the_answer(tmp_path: Path) -> None:
    day = _day("medium-1")
    number = tmp_path / "number"
    seen: list[Progress] = []

    def told(progress: Progress) -> None:
        seen.append(progress)
        if progress.by == "bound":
            os.kill(int(number.read_text()), signal.SIGKILL)

    command = ("/bin/sh", "-c", f'echo $$ > "{number}"; exec "$0" "$@"', *COMMAND)
    solved = solve_apart(day, limit_s=120, told=told, command=command)
    _holds(day, solved)
    assert "ended early" in solved.method
    assert solved.bound == max(p.bound for p in seen) > 0
    assert solved.bound <= solved.weighted_minutes_late


@pytest.mark.invented
def test_called_off_it_hands_in_what_it_has() -> None:
    day = _day("medium-1")
    seen: list[Progress] = []
    solved = solve_apart(day, limit_s=600, told=seen.append, stop=lambda: any(p.by == "bound" for p in seen))
    _holds(day, solved)
    assert not solved.proven


@pytest.mark.invented
def test_called_off_before_it_begins_it_still_answers() -> None:
    day = _day("small-1")
    _holds(day, solve_apart(day, limit_s=600, stop=lambda: True))
    _holds(day, solve(day, limit_s=600, stop=lambda: True))


@pytest.mark.invented
def test_called_off_in_the_middle_of_the_solver_the_best_plan_so_far_is_the_answer() -> None:
    day = _day("mediumtight-1")
    began: list[float] = []

    def told(progress: Progress) -> None:
        if progress.by == "bound":
            began.append(time.perf_counter())

    solved = solve(day, limit_s=600, told=told, stop=lambda: bool(began) and time.perf_counter() > began[0] + 0.5)
    assert check_plan(day, solved.plan) == ()


@pytest.mark.invented
def test_a_day_that_contradicts_itself_is_refused_by_both() -> None:
    day = _day("tiny-1")
    plan = solve(day, limit_s=0).plan
    late = plan.visits[0].model_copy(update={"start": day.visits[0].booked - 60})

    broken = day.model_copy(update={"now": day.day_end - 1, "done": Done(visits=(late,))})
    with pytest.raises(Mendable):
        solve_apart(broken, limit_s=5)
