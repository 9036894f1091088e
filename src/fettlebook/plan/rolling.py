"""The next hours of a running day made better: neighbourhoods from now to a few hours ahead, all the rest as it is.

Comes in: the rest of a day as the list scheduler plans it, what was promised, which machines are out. Goes out: a plan
that is less late, or as late with fewer minutes of broken promises; else the one given.
"""

import threading
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from fettlebook.plan.check import check_plan
from fettlebook.plan.improve import Improving, improved, searchable
from fettlebook.plan.instance import Instance, Machine, Plan

WINDOW_MIN = 180  # what lies further ahead is planned again when it comes nearer


@dataclass(frozen=True, slots=True)
class Rolling:
    """Limits: seconds, or counted work instead; `promised`: visit -> start; `blocked`: machine -> minute until which it is out."""

    seconds_left: Callable[[], float]
    promised: Mapping[str, int]
    blocked: Mapping[str, int]
    seed: int = 0
    counted: float | None = None
    stop: Callable[[], bool] | None = None


def next_hours_better(day: Instance, plan: Plan, how: Rolling) -> Plan:
    """Return a plan no worse than the one given, from `day.now` on.

    Parameters
    ----------
    day
        The instance with `now` and `done`.
    plan
        A valid plan of it; visits that it leaves out stay left out.
    how
        Limits.
    """
    assert day.now is not None
    left_out = plan.left_out

    def valid(found: Plan) -> bool:
        return not check_plan(day, found.model_copy(update={"left_out": left_out}))

    served = _blocked(day.without(left_out), how.blocked)
    begin = plan.model_copy(update={"left_out": ()})
    if not searchable(served, begin) or not served.visits:
        return plan
    search = Improving(
        seconds_left=how.seconds_left,
        seed=how.seed,
        counted=how.counted,
        stop=how.stop,
        first=day.now,
        last=day.now + WINDOW_MIN,
        promised=how.promised,
        valid=valid,
    )
    return improved(served, begin, search).model_copy(update={"left_out": left_out})


def _blocked(day: Instance, blocked: Mapping[str, int]) -> Instance:
    """Return the day with machines that are out taking no load before they are back."""
    hands = day.reprocess.load_minutes

    def later(machines: tuple[Machine, ...]) -> tuple[Machine, ...]:
        return tuple(
            m.model_copy(update={"not_before": max(m.not_before, blocked[m.id] + hands)}) if m.id in blocked else m for m in machines
        )

    return day.model_copy(update={"washers": later(day.washers), "sterilizers": later(day.sterilizers)})


def load_the_solver() -> None:
    """Load the solver beside other work: it takes about a second, and a replan has two."""

    def load() -> None:
        from ortools.sat.python import cp_model  # noqa: F401, PLC0415 - loading is all that is wanted

    threading.Thread(target=load, daemon=True).start()
