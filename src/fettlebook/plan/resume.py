"""The list scheduler taken up in the middle of a day: what was done stays, nothing new begins before now."""

from __future__ import annotations

from typing import TYPE_CHECKING, NamedTuple

from fettlebook.plan.day_state import NEVER, ChairState

if TYPE_CHECKING:
    from fettlebook.plan.dispatch import Run
    from fettlebook.plan.instance import PlannedStep, PlannedVisit, Procedure
    from fettlebook.plan.set_ways import MachineKind


_RUNNING: dict[str, MachineKind] = {"bathing": "bath", "washing": "wash", "sterilizing": "sterilize"}


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
    _tests_and_duties(run, now)
    stage: dict[str, tuple[int, str]] = {}  # unit -> the last stage it began, and when it ends
    begun: list[tuple[int, str, str, int]] = []
    for state in run.chairs:
        begun += _replay(run, state, now, known)
    for k in done.packs:
        way = run.ways.types[k.unit.rpartition("#")[0]]
        run.busy(k.person, k.start, way.pack)
        begun.append((k.start, k.unit, "packed", k.start + way.pack + run.ways.to_machines(run.ways.store, "sterilize")))
    for b in done.batches:
        run.busy(b.load_person, b.load_start, run.r.load_minutes)
        machine = next(m for m in run.machines if m.machine.id == b.machine)
        if b.unload_start is None:
            machine.batch = b
            running = {"bath": "bathing", "wash": "washing", "sterilize": "sterilizing"}[machine.kind]
            begun += [(b.load_start, u, running, machine.ends()) for u in b.units]
            run.wake(max(now, machine.ends()))
            continue
        out = b.unload_start + run.r.unload_minutes
        run.batches.append(b)
        run.busy(b.unload_person, b.unload_start, run.r.unload_minutes)
        machine.free = max(machine.free, out)
        after = {"bath": "bathed", "wash": "washed", "sterilize": "clean"}[machine.kind]
        begun += [(b.load_start, u, after, out + run.way_on(machine, u.rpartition("#")[0])) for u in b.units]
    for _, unit, what, end in sorted(begun):
        stage[unit] = (end, what)
    for unit, (end, what) in stage.items():
        kind, _, number = unit.rpartition("#")
        run.stock[kind].clean.remove(int(number))
        if what in _RUNNING:
            run.count_running(_RUNNING[what], kind, 1)
        elif what != "in use":
            # When a clean set came to the store counts: the way to a chair begins then, not now.
            run.arrive(end if what == "clean" else max(now, end), what, unit)


def _tests_and_duties(run: Run, now: int) -> None:
    """Take over which tests are done, and keep person and subject of a duty that still runs free for it."""
    assert run.day.done is not None
    run.tests += run.day.done.tests
    for t in sorted(run.day.done.tests, key=lambda t: t.index):
        state = next(m for m in run.machines if m.machine.id == t.machine)
        test = state.machine.tests[t.index]
        run.busy(t.person, t.start, test.attended_minutes)
        state.tested, state.free = t.index + 1, max(state.free, t.start + test.minutes)
        run.wake(max(now, state.free))
    duties = {d.id: d for d in run.day.duties}
    for planned in run.day.done.duties:
        duty = duties[planned.id]
        end = planned.start + duty.minutes
        for state in run.machines:
            if state.machine.id == duty.subject:
                state.free = max(state.free, end)
                run.wake(max(now, end))
        if duty.subject in run.taken:
            run.taken[duty.subject].append((planned.start, end))
        if planned.person is not None:
            for a, b in duty.hands(planned.start):
                run.windows[planned.person] = _without(run.windows[planned.person], a, b)
                run.worked[planned.person] += b - a
                run.wake(max(now, b))


def _without(windows: tuple[tuple[int, int], ...], a: int, b: int) -> tuple[tuple[int, int], ...]:
    """Return the stretches without one in which its person is taken."""
    cut = [part for x, y in windows for part in ((x, min(y, a)), (max(x, b), y))]
    return tuple((x, y) for x, y in cut if x < y)


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
                    for u in began[state.after].units:
                        on_the_way = run.ways.to_first_stage(state.chair.room, u.rpartition("#")[0])
                        begun.append((began[state.after].start, u, "dirty", state.ready + on_the_way))
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
