"""How long a day takes, and how late it is planned above what no plan can better, against three peers in the same run.

    python benchmarks/plan.py [--series] [seconds [day ...]]

A day is one of the six instances, or VISITS-plentiful, VISITS-scarce: invented, of any size. `--series` takes days of 30
to 600 visits and draws how the cost grows (docs/carry-on/plan-growth.svg).

Peers: our list scheduler in one pass; the exact model given to CP-SAT as it is (no bound, no first plan, no
neighbourhoods); and a general scheduling library on what it can express, a day without sets, whose optimum must be ours.
Seconds are those of the processor, since the machine is shared; the library knows only the wall's clock. Each day has a
process of its own, the solver is loaded before the stopwatch starts, and every plan is checked.
"""

import json
import math
import resource
import subprocess
import sys
import threading
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

from days import invented_day
from fettlebook.plan.bound import Search, circulation_bound
from fettlebook.plan.check import check_plan, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.model import ExactModel
from fettlebook.plan.rows import rows
from fettlebook.plan.solve import solve
from fettlebook.plan.stages import items
from growth import exponent, growth_svg
from machine import machine

HERE = Path(__file__).parent
INSTANCES = HERE.parent / "tests" / "plan" / "instances"
NAMES = ("tiny-1", "small-1", "smalltight-1", "medium-1", "mediumtight-1", "large-1", "270-scarce")
SIZES = (30, 75, 150, 300, 600)
DRAWING = HERE.parent / "docs" / "carry-on" / "plan-growth.svg"
AT_S = (1, 10, 20, 60)
BOUND_S = 10.0
MOST_PLAIN_ITEMS = 100  # beyond, building the plain model alone takes minutes; on the medium days it is asked, though it may find nothing


def day_of(name: str) -> Instance:
    """Return a day by name."""
    size, _, sets = name.partition("-")
    return invented_day(int(size), sets) if size.isdigit() else read_instance((INSTANCES / f"{name}.json").read_text(), name)


def until(seconds: float) -> Callable[[], bool]:
    """Return a stop that comes after so many seconds of the processor."""
    end = time.process_time() + seconds
    return lambda: time.process_time() >= end


def timed(job: Callable[[], Any]) -> tuple[Any, float]:
    """Return what a job gives, and the processor's seconds."""
    start = time.process_time()
    value = job()
    return value, time.process_time() - start


def one(name: str, limit_s: float, *, peers: bool) -> dict[str, Any]:
    """Measure one day."""
    import scipy.optimize  # noqa: F401 - loaded before anything is timed
    from ortools.sat.python import cp_model  # noqa: F401

    day = day_of(name)
    wall = time.perf_counter()
    plan, list_s = timed(lambda: dispatch(day))
    known = None if plan.left_out else figures(day, plan).weighted_minutes_late
    bound, bound_s = timed(lambda: circulation_bound(day, Search(1e6, workers=1, stop=until(BOUND_S)), known=known))
    out: dict[str, Any] = {"visits": len(day.visits), "items": items(day), "bound_s": bound_s, "bound_exact": bound.exact, "list_s": list_s}
    ours, ours_s = timed(lambda: solve(day, limit_s=limit_s, seed=1, workers=1, clock=time.process_time))
    low = max(bound.minutes, ours.bound)
    out |= {"bound": low, "list": above(day, plan, low), "ours": above(day, ours.plan, low), "ours_s": ours_s, "proven": ours.proven}
    out["by"] = ours.method
    for at in AT_S:
        then = [p for p in ours.progress if p.seconds <= at and not p.weight_left_out]
        out[f"at_{at}"] = min((p.weighted_minutes_late for p in then), default=math.inf) - low if at <= limit_s else None
    out["mb"] = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024
    if peers and items(day) <= MOST_PLAIN_ITEMS:
        exact, out["plain_s"] = timed(lambda: ExactModel(day).solve(Search(1e6, workers=1, stop=until(limit_s))))
        out["plain"] = above(day, exact.plan, low) if exact.plan is not None else None
    if peers:
        out |= without_sets(day, min(limit_s, 20.0))
    return out | {"wall_s": time.perf_counter() - wall}


def above(day: Instance, plan: Plan, low: int) -> int | None:
    """Return weighted minutes late above the bound, None where visits are left out; a broken plan stops the benchmark."""
    if broken := check_plan(day, plan):
        raise SystemExit(f"{day.name}: {broken[0]}")
    return None if plan.left_out else figures(day, plan).weighted_minutes_late - low


def without_sets(day: Instance, limit_s: float) -> dict[str, Any]:
    """Give chairs and people alone to the library and to our bound, which is then exact."""
    from pyjobshop import Model

    bare = day.model_copy(update={"visits": tuple(v.model_copy(update={"uses": {}}) for v in day.visits), "set_types": ()})
    ours, ours_s = timed(lambda: circulation_bound(bare, Search(1e6, workers=1, stop=until(limit_s))))
    model, visits, end = Model(), {v.id: v for v in bare.visits}, bare.day_end
    people = [
        model.add_machine(
            breaks=[(0, p.from_), *sorted(p.breaks), (p.to, end + 600)] if p.from_ else [*sorted(p.breaks), (p.to, end + 600)]
        )
        for p in bare.people
    ]
    for row in rows(bare):
        chair, before = model.add_machine(), None
        for node in row.nodes:
            visit = visits.get(node.visit or "") if node.procedure is None else None
            if visit is not None:
                job = model.add_job(weight=visit.weight, due_date=visit.booked + visit.minutes)
                task = model.add_task(job, earliest_start=node.earliest, latest_end=end)
                model.add_mode(task, chair, node.minutes)
            else:
                task = model.add_task(earliest_start=node.earliest, latest_start=node.latest)
                for person in people:
                    model.add_mode(task, person, node.minutes)
            if before is not None:
                model.add_end_before_start(before[0], task, before[1])
            before = task, node.gap
    model.set_objective(weight_total_tardiness=1)
    found, seconds = timed(lambda: model.solve(time_limit=limit_s, display=False, num_workers=1))
    late = int(found.objective) if found.status.value in {"Optimal", "Feasible"} else None
    return {"library": late, "library_s": seconds, "bare": ours.minutes, "bare_exact": ours.exact, "bare_s": ours_s}


def apart(name: str, limit_s: float, *, peers: bool) -> dict[str, Any]:
    """Measure one day in a process of its own, so that its memory is its own."""
    command = [sys.executable, __file__, "--one", name, str(limit_s), "peers" if peers else "alone"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    if done.returncode:
        raise SystemExit(f"{name}: {done.stderr.strip().splitlines()[-1] if done.stderr.strip() else done.returncode}")
    return dict(json.loads(done.stdout.splitlines()[-1]))


def shown(value: Any) -> str:
    """Return a figure for the table; `-` where there is none."""
    if value is None or value in {math.inf, -math.inf}:
        return "-"
    return f"{value:.2f}" if isinstance(value, float) else str(value)


COLUMNS = (
    ("day", 14, None),
    ("visits", 7, "visits"),
    ("bound", 7, "bound"),
    ("s", 7, "bound_s"),
    ("list", 7, "list"),
    ("s", 6, "list_s"),
    *((f"{at} s", 7, f"at_{at}") for at in AT_S),
    ("end", 7, "ours"),
    ("of list", 8, "share"),
    ("plain", 7, "plain"),
    ("library", 8, "library"),
    ("s", 7, "library_s"),
    ("ours", 6, "bare"),
    ("s", 6, "bare_s"),
    ("MB", 6, "mb"),
    ("wall s", 8, "wall_s"),
)


def row_of(name: str, r: dict[str, Any]) -> str:
    """Return a day's line of the table."""
    r["mb"] = round(r["mb"])
    r["share"] = r["ours"] / r["list"] if r["ours"] is not None and r["list"] else None
    cells = [name, *(shown(r.get(key)) for _, _, key in COLUMNS[1:] if key)]
    line = "".join(f"{cell:>{width}}" for cell, (_, width, _) in zip(cells, COLUMNS, strict=True))
    return f"{line}  {r['by']}{', proven' if r['proven'] else ''}"


def series(limit_s: float) -> None:
    """Print and draw how the cost grows from 30 to 600 visits."""
    cost: dict[str, list[tuple[float, float]]] = {}
    for sets in ("plentiful", "scarce"):
        for size in SIZES:
            r = apart(f"{size}-{sets}", limit_s, peers=False)
            print(row_of(f"{size}-{sets}", r), flush=True)
            cost.setdefault(f"first plan, {sets}", []).append((r["visits"], r["list_s"]))
            if r["bound_exact"]:
                cost.setdefault(f"bound, {sets}", []).append((r["visits"], r["bound_s"]))
    for name, points in cost.items():
        print(f"{name}: grows as visits^{exponent(points):.2f}")
    DRAWING.write_text(growth_svg("What a day's size costs", "visits", "processor seconds", cost), encoding="utf-8")
    print(f"drawn: {DRAWING.relative_to(HERE.parent)}")


def main() -> None:
    """Print machine and versions, and a line for each day."""
    words = sys.argv[1:]
    if words[:1] == ["--one"]:
        threading.excepthook = lambda _: None
        print(json.dumps(one(words[1], float(words[2]), peers=words[3] == "peers")))
        return
    drawn = "--series" in words
    words = [w for w in words if w != "--series"]
    limit_s = float(words[0]) if words else 10.0
    print(machine("ortools", "pyjobshop"), f"limit {limit_s:g} s of the processor", sep="; ")
    print("weighted minutes late above the bound: one pass of the list scheduler, ours after so many seconds, ours at the end (and its")
    print(
        "share of the list scheduler's), the plain model; without sets, in all: the library's, ours. -: none with all visits, or not asked"
    )
    print("".join(f"{name:>{width}}" for name, width, _ in COLUMNS))
    if drawn:
        series(limit_s)
        return
    for name in words[1:] or NAMES:
        print(row_of(name, apart(name, limit_s, peers=True)), flush=True)


if __name__ == "__main__":
    main()
