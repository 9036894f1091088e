"""How long `day` takes, and how late the day is planned above what no plan can better, against two peers in the same run.

    python benchmarks/plan.py [seconds [instance ...]]

Peers, on the same instances: a plain greedy scheduler (chairs first by urgency, then machines and packing in the order
in which things came; a load starts with whatever waits; no look-ahead to the visit that needs a set), and our list
scheduler in one pass. Every plan is checked.
"""

import sys
import time
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

from fettlebook.plan.bound import Search, circulation_bound
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.day_state import Job
from fettlebook.plan.dispatch import Run, dispatch
from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.manner import Manner
from fettlebook.plan.solve import solve
from machine import machine

INSTANCES = Path(__file__).parents[1] / "tests" / "plan" / "instances"
NAMES = ("tiny-1", "small-1", "smalltight-1", "medium-1", "mediumtight-1", "large-1")

EAGER = Manner(wash_share=0.01, sterilize_share=0.01, lead=0.0, own_order=False, calm=1e6)


class Greedy(Run):
    """Chairs first; everything around instruments in the order in which it came."""

    def instrument_jobs(self, t: int, tie: int) -> Iterator[Job]:
        for job in super().instrument_jobs(t, tie):
            yield job._replace(latest=1e6 + job.tie)


def greedy(day: Instance) -> Plan:
    """Return the plain greedy plan; where it gets stuck, visits are left out one by one."""
    left: list[str] = []
    while True:
        run = Greedy(day.without(left), EAGER)
        run.live()
        if not (stuck := run.stuck()):
            return run.plan().model_copy(update={"left_out": tuple(left)})
        left.append(stuck[0])


def timed(job: Callable[[], Any]) -> tuple[Any, float]:
    """Return what a job gives, and its seconds."""
    start = time.perf_counter()
    value = job()
    return value, time.perf_counter() - start


def one(name: str, limit_s: float) -> dict[str, Any]:
    """Measure one instance."""
    day = read_instance((INSTANCES / f"{name}.json").read_text(), name)
    bound, bound_s = timed(lambda: circulation_bound(day, Search(10.0)))
    rows: dict[str, Any] = {"visits": len(day.visits), "bound": bound.minutes, "bound_s": round(bound_s, 2)}
    peers: tuple[tuple[str, Callable[[Instance], Plan]], ...] = (("greedy", greedy), ("list", dispatch))
    for label, peer in peers:
        begun = time.perf_counter()
        plan = peer(day)
        rows |= judged(label, day, plan, bound.minutes, time.perf_counter() - begun)
    solved, seconds = timed(lambda: solve(day, limit_s=limit_s, seed=1))
    rows |= judged("solve", day, solved.plan, solved.bound, seconds)
    rows |= {"proven": solved.proven, "by": solved.method, "solve_bound": solved.bound}
    return rows


def judged(label: str, day: Instance, plan: Any, bound: int, seconds: float) -> dict[str, Any]:
    """Return the figures of a plan; a broken one stops the benchmark."""
    if broken := check_plan(day, plan):
        raise SystemExit(f"{label}: {broken[0]}")
    f = figures(day, plan)
    late: int | None = f.weighted_minutes_late - bound if not plan.left_out else None
    return {f"{label}_left_out": len(plan.left_out), f"{label}_above": late, f"{label}_s": round(seconds, 2)}


def demo(limit_s: float) -> dict[str, Any]:
    """Measure the day of the invented practice, whole: files to timetable."""
    from datetime import date

    from fettlebook.demo import book_ics, practice_text
    from fettlebook.exchange.calendar import read_book
    from fettlebook.plan.whole_day import plan_day
    from fettlebook.practice.load import read_practice
    from fettlebook.rules.load import load_rulebook
    from fettlebook.times.running import running_times

    day = date(2026, 11, 25)
    out: dict[str, Any] = {}
    start = time.perf_counter()
    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    times = running_times(practice, load_rulebook(practice, day))
    out["files_and_times_s"] = round(time.perf_counter() - start, 2)
    book, seconds = timed(lambda: read_book(book_ics(), "book.ics", practice, day, b"k" * 32))
    out["book_s"] = round(seconds, 2)
    plan, seconds = timed(lambda: plan_day(practice, times, book.visits, day, limit_s=limit_s, seed=1))
    out |= {"plan_s": round(seconds, 2), "line": plan.line, "method": plan.method}
    return out


COLUMNS = (
    ("instance", 14),
    ("visits", 7),
    ("bound", 7),
    ("s", 6),
    ("greedy", 8),
    ("s", 6),
    ("list", 7),
    ("s", 6),
    ("solve", 7),
    ("s", 6),
    ("of greedy", 10),
)


def main() -> None:
    """Print machine and versions, a line for each instance, and the invented practice's day."""
    limit_s = float(sys.argv[1]) if len(sys.argv) > 1 else 10.0
    print(machine("ortools"), f"limit {limit_s:g} s", sep="; ")
    print("weighted minutes late above the bound; -n: n visits left out")
    print("".join(f"{name:>{width}}" for name, width in COLUMNS))
    for name in sys.argv[2:] or NAMES:
        r = one(name, limit_s)
        above = {p: f"-{r[f'{p}_left_out']}" if r[f"{p}_left_out"] else str(r[f"{p}_above"]) for p in ("greedy", "list", "solve")}
        ratio = f"{r['solve_above'] / r['greedy_above']:.2f}" if r["greedy_above"] and r["solve_above"] is not None else "-"
        cells = [name, r["visits"], r["bound"], r["bound_s"]]
        for peer, text in above.items():
            cells += [text, r[f"{peer}_s"]]
        row = "".join(f"{cell!s:>{width}}" for cell, (_, width) in zip([*cells, ratio], COLUMNS, strict=True))
        print(f"{row}  {r['by']}{', proven' if r['proven'] else ''}", flush=True)
    print("the invented practice's day:", demo(limit_s))


if __name__ == "__main__":
    main()
