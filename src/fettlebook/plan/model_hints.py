"""A known plan as a hint for the exact model: one that is whole is taken at once as the first solution."""

from typing import Any

from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.model_loads import LoadsModel, Ride, SetItem
from fettlebook.plan.rows import starts_of
from fettlebook.plan.set_ways import MachineKind


class HintedModel(LoadsModel):
    """The exact model's way of being told a plan."""

    def __init__(self, day: Instance, *, late_limit: int | None = None) -> None:
        super().__init__(day, late_limit=late_limit)
        self.away_sizes: list[tuple[Any, str, SetItem | None]] = []
        self.ready_hints: dict[int, int] = {}

    def hint(self, plan: Plan) -> None:
        """Give the solver a known plan to begin with."""
        self.m.clear_hints()  # type: ignore[no-untyped-call]
        for row in self.rows:
            for n, s in zip(row.nodes, starts_of(plan, row), strict=True):
                self.m.add_hint(self.starts[n], s)
        self.hint_loads(plan)

    def hint_loads(self, plan: Plan) -> None:
        """Hint the loads, and within each type the sets inside in the order that the model keeps."""
        cleared: dict[str, int] = {}
        for row in self.rows:
            starts = starts_of(plan, row)
            cleared |= {v: starts[at] + after for v, (at, after) in row.cleared.items()}
        kind_of = {m.id: kind for kind, machines in self.ways.machines.items() for m in machines}
        place: dict[tuple[MachineKind, int], int] = {}
        rides: dict[tuple[MachineKind, str], list[Ride]] = {}  # by kind of machine and type, in order
        for b in sorted(plan.batches, key=lambda b: b.load_start):
            kind = kind_of[b.machine]
            groups = self.pools[kind]
            g = next(i for i, x in enumerate(groups) if any(m.id == b.machine for m in x.machines))
            at = place[kind, g] = place.get((kind, g), -1) + 1
            if at >= len(groups[g].loads):
                return
            load = groups[g].loads[at]
            out = b.unload_start if b.unload_start is not None else b.start
            self.m.add_hint(load.start, b.load_start)
            self.m.add_hint(load.unload, out)
            self.m.add_hint(load.size, out + self.day.reprocess.unload_minutes - b.load_start)
            self.m.add_hint(load.used, 1)
            for cycle, chosen in load.cycles.items():
                self.m.add_hint(chosen, cycle == b.cycle)
            for u in b.units:
                rides.setdefault((kind, u.rpartition("#")[0]), []).append((out, g, at))
        for kind, groups in self.pools.items():
            for g, group in enumerate(groups):
                for load in group.loads[place.get((kind, g), -1) + 1 :]:
                    self.m.add_hint(load.used, 0)
                    self.m.add_hint(load.start, load.unused_at)
                    self.m.add_hint(load.unload, load.unused_at + load.taken - self.day.reprocess.unload_minutes)
                    self.m.add_hint(load.size, load.taken)
        packs: dict[str, list[int]] = {}
        for k in sorted(plan.packs, key=lambda k: k.start):
            packs.setdefault(k.unit.rpartition("#")[0], []).append(k.start)
        for t in {i.kind for i in self.items}:
            own = sorted((i for i in self.items if i.kind == t), key=lambda i: cleared[i.visit])
            self.hint_items(own, {kind: rides.get((kind, t), []) for kind in self.kinds(t)}, packs.get(t, []))
        self.hint_sizes(plan)

    def hint_items(self, own: list[SetItem], known: dict[MachineKind, list[Ride]], packs: list[int]) -> None:
        """Hint which sets of a type come back, and by which loads."""
        for k, item in enumerate(own):
            back = k < min(len(packs), *(len(rides) for rides in known.values()))
            self.m.add_hint(item.back, back)
            self.m.add_hint(item.pack, packs[k] if back else min(self.day.day_end, item.earliest))
            r = self.day.reprocess
            ready = known["sterilize"][k][0] + r.unload_minutes + r.cool_minutes if back else self.day.day_end
            self.ready_hints[id(item)] = min(ready, self.day.day_end)
            self.m.add_hint(item.ready, self.ready_hints[id(item)])
            for kind, rides in known.items():
                for g, b, here in item.rides[kind]:
                    self.m.add_hint(here, back and (g, b) == rides[k][1:])

    def hint_sizes(self, plan: Plan) -> None:
        """Hint how long each set is away; a hint that is whole is taken at once."""
        start = {v.id: v.start for v in plan.visits}
        for size, visit, item in self.away_sizes:
            until = self.day.day_end + 1 if item is None else self.ready_hints[id(item)]
            self.m.add_hint(size, until - start[visit] + self.way_out[visit])
