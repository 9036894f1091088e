"""The list scheduler taken up in the middle of a day: what was done stays, nothing new begins before now."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from fettlebook.plan.day_state import NEVER, ChairState

if TYPE_CHECKING:
    from fettlebook.plan.dispatch import Run
    from fettlebook.plan.instance import PlannedStep, PlannedVisit, Procedure


class _Known(NamedTuple):
    """What was done, by visit and by step."""

    began: dict[str, PlannedVisit]
    steps: dict[tuple[str, Procedure, str | None, int], PlannedStep]


def take_over(run: Run, now: int) -> None:
    """Take over what was done; nothing new begins before `now`."""
    done = run.day.done
    if done is None:
        return
    run.clock = [max(now, t) for t in run.clock]
    known = _Known({v.id: v for v in done.visits}, {(s.chair, s.procedure, s.after, s.index): s for s in done.steps})
    run.visits += done.visits
    run.steps += done.steps
    run.packs += done.packs
    for who in run.free:
        run.free[who] = max(run.free[who], now)
    for s in done.steps:
        run.busy(s.person, s.start, run.chair_of(s.chair).procedure(s.procedure)[s.index].minutes)
    stage: dict[str, tuple[int, str]] = {}  # unit -> the last stage it began, and when it ends
    begun: list[tuple[int, str, str, int]] = []
    for state in run.chairs:
        begun += _replay(run, state, now, known)
    for k in done.packs:
        run.busy(k.person, k.start, run.r.pack_minutes)
        begun.append((k.start, k.unit, "packed", k.start + run.r.pack_minutes))
    for b in done.batches:
        run.busy(b.load_person, b.load_start, run.r.load_minutes)
        machine = next(m for m in run.machines if m.machine.id == b.machine)
        if b.unload_start is None:
            machine.batch = b
            running = "washing" if machine.kind == "wash" else "sterilizing"
            begun += [(b.load_start, u, running, b.start + machine.machine.minutes) for u in b.units]
            run.wake(max(now, b.start + machine.machine.minutes))
            continue
        out = b.unload_start + run.r.unload_minutes
        run.batches.append(b)
        run.busy(b.unload_person, b.unload_start, run.r.unload_minutes)
        machine.free = max(machine.free, out)
        after, ready = ("washed", out) if machine.kind == "wash" else ("clean", out + run.r.cool_minutes)
        begun += [(b.load_start, u, after, ready) for u in b.units]
    for _, unit, what, end in sorted(begun):
        stage[unit] = (end, what)
    for unit, (end, what) in stage.items():
        kind, _, number = unit.rpartition("#")
        stock = run.stock[kind]
        stock.clean.remove(int(number))
        if what == "washing":
            stock.washing += 1
        elif what == "sterilizing":
            stock.sterilizing += 1
        elif what != "in use":
            run.arrive(max(now, end), what, unit)


def _replay(run: Run, state: ChairState, now: int, known: _Known) -> list[tuple[int, str, str, int]]:
    """Bring a chair to where the day has brought it; returns what its sets are at: (begun, unit, stage, end)."""
    began, step_start = known
    begun: list[tuple[int, str, str, int]] = []
    while True:
        if state.procedure is not None:
            done_step = step_start.get((state.chair.id, state.procedure, state.after, state.index))
            if state.index < len(state.steps()) and done_step is None:
                break
            if state.index < len(state.steps()) and done_step is not None:
                state.ready = done_step.start + state.steps()[state.index].minutes
                if state.index == 0 and state.after is not None:
                    begun += [(began[state.after].start, u, "dirty", state.ready) for u in began[state.after].units]
                state.index += 1
                continue
            run.finish_procedure(state)
            if state.closed:
                return begun
        if state.at == len(state.visits) or (v := state.visits[state.at]).id not in began:
            break
        for t, n in v.needs().items():
            for _ in range(n):
                run.stock[t].wanted.remove(v.booked)
        state.at += 1
        state.after, state.index = v.id, 0
        state.procedure = "closing" if state.at == len(state.visits) else "turnover"
        state.ready = began[v.id].start + v.minutes
        if (state.chair.id, state.procedure, v.id, 0) not in step_start:
            begun += [(began[v.id].start, u, "in use", NEVER) for u in began[v.id].units]
    state.ready = max(state.ready, now)
    run.skip_unattended(state)
    run.wake(state.ready)
    return begun
