"""What a plan is worth when visits run over: three ways to carry the same day through, in paired samples.

    python benchmarks/stress.py [samples [instance ...]]

Visit lengths are lognormal, mean as booked, coefficient of variation 0.25 (invented). Every way lives through the same
days. Fixed order: the best plan of a short search, each person, machine and set kept in the plan's order, everything
shifted right; it ignores breaks and the end of shifts, which flatters it. Plain rule: chairs first, then instruments
as they came, deciding live. Ours: the list scheduler deciding live, in the manner that a rehearsal on other days chose,
guided by the loads of the same plan where that helps.
"""

import sys
import time
from collections import defaultdict
from collections.abc import Mapping
from pathlib import Path

from fettlebook.plan.instance import Instance, Plan, read_instance
from fettlebook.plan.manner import Manner
from fettlebook.plan.overruns import Overruns, draw_minutes
from fettlebook.plan.policy import Policy, live, rehearse
from fettlebook.plan.solve import solve
from fettlebook.plan.stress import quantile
from machine import machine

INSTANCES = Path(__file__).parents[1] / "tests" / "plan" / "instances"
NAMES = ("tiny-1", "small-1", "smalltight-1", "medium-1", "mediumtight-1", "large-1")
PLAIN = Manner(wash_share=0.01, sterilize_share=0.01, lead=0.0, own_order=False, calm=1e6, instruments=1e5)
SEED = 11


def shifted_right(day: Instance, plan: Plan, truly: Mapping[str, int]) -> int:
    """Return weighted minutes late when the plan is kept in its order and everything waits for what is before it."""
    r, chairs = day.reprocess, {c.id: c for c in day.chairs}
    visits = {v.id: v for v in day.visits}
    length = {m.id: m.minutes for m in (*day.washers, *day.sterilizers)}
    sterile = {m.id for m in day.sterilizers}
    jobs: list[tuple[int, str, int]] = [(v.start, "visit", i) for i, v in enumerate(plan.visits)]
    jobs += [(s.start, "step", i) for i, s in enumerate(plan.steps)]
    jobs += [(k.start, "pack", i) for i, k in enumerate(plan.packs)]
    jobs += [(b.load_start, "load", i) for i, b in enumerate(plan.batches)]
    jobs += [(b.unload_start or 0, "unload", i) for i, b in enumerate(plan.batches)]
    free: dict[str, int] = defaultdict(int)  # chair, person, machine or unit -> when what the plan put before it is over
    begun: dict[int, int] = {}
    late = 0
    for planned, kind, i in sorted(jobs):
        if kind == "visit":
            v = visits[plan.visits[i].id]
            start = max([v.booked, free[v.chair], *(free[u] for u in plan.visits[i].units)])
            late += v.weight * (start - v.booked)
            free[v.chair] = start + truly[v.id]
        elif kind == "step":
            s = plan.steps[i]
            start = max(free[s.chair], free[s.person] if s.person else 0, planned if s.after is None else 0)
            end = start + chairs[s.chair].procedure(s.procedure)[s.index].minutes
            free[s.chair] = end
            if s.person:
                free[s.person] = end
            if s.after is not None and s.index == 0:
                for u in next(v.units for v in plan.visits if v.id == s.after):
                    free[u] = end
        elif kind == "pack":
            k = plan.packs[i]
            free[k.unit] = free[k.person] = max(free[k.person], free[k.unit]) + r.pack_minutes
        elif kind == "load":
            b = plan.batches[i]
            m = next(m for m in (*day.washers, *day.sterilizers) if m.id == b.machine)
            start = max([m.not_before - r.load_minutes, free[b.machine], free[b.load_person], *(free[u] for u in b.units)])
            begun[i] = start + r.load_minutes
            free[b.load_person] = begun[i]
        else:
            b = plan.batches[i]
            assert b.unload_person is not None
            out = max(begun[i] + length[b.machine], free[b.unload_person]) + r.unload_minutes
            free[b.machine] = free[b.unload_person] = out
            for u in b.units:
                free[u] = out + (r.cool_minutes if b.machine in sterile else 0)
    return late


def main() -> None:
    """Print machine and versions, and a table: mean and 90th percentile of each way."""
    samples = int(sys.argv[1]) if len(sys.argv) > 1 else 60
    print(machine("ortools", "numpy"), f"{samples} paired days, coefficient of variation 0.25", sep="; ")
    print("weighted minutes late: mean (90th percentile); ours / fixed order and ours / plain rule are ratios of means")
    head = ("instance", "as planned", "fixed order", "plain rule", "list scheduler", "ours, rehearsed", "o/fixed", "o/plain", "s a day")
    print("".join(f"{h:>16}" for h in head))
    for name in sys.argv[2:] or NAMES:
        day = read_instance((INSTANCES / f"{name}.json").read_text(), name)
        solved = solve(day, limit_s=8, seed=1, clock=time.process_time)
        if solved.plan.left_out:
            print(f"{name:>16}  no plan with all visits in 8 s")
            continue
        days = draw_minutes(day, Overruns(), samples, SEED)
        ours = rehearse(day, draw_minutes(day, Overruns(), 40, SEED + 1), solved.plan)
        fixed = sorted(float(shifted_right(day, solved.plan, truly)) for truly in days)
        ways = [fixed]
        begun = time.perf_counter()
        for policy in (Policy(PLAIN), Policy(), ours):
            ways.append(sorted(float(live(day, policy, truly=truly).weighted_minutes_late) for truly in days))
        seconds = (time.perf_counter() - begun) / 3 / samples
        means = [sum(w) / len(w) for w in ways]
        cells = [f"{m:.0f} ({quantile(w, 0.9):.0f})" for m, w in zip(means, ways, strict=True)]
        ratios = [f"{means[3] / m:.2f}" if m else "-" for m in means[:2]]
        print("".join(f"{c:>16}" for c in (name, solved.weighted_minutes_late, *cells, *ratios, f"{seconds:.3f}")), flush=True)


if __name__ == "__main__":
    main()
