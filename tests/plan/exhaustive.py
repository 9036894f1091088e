"""The least lateness of a tiny day by trying every order of all work: slow, and nothing of fettlebook's scheduling.

Lateness never falls when something ends later, so some best plan starts each piece of work as early as the pieces
before it allow. Trying the pieces in every order of start, each with every person and every content of a load, meets it.
"""

from dataclasses import dataclass, replace

from fettlebook.plan.instance import Instance


@dataclass(frozen=True)
class State:
    """How far a day has come. `at`: no later piece starts before this; chairs: (place in its row, free from)."""

    at: int
    chairs: tuple[tuple[int, int], ...]
    people: tuple[int, ...]
    clean: tuple[tuple[str, int], ...]  # type, ready
    dirty: tuple[tuple[str, int], ...]
    washer: tuple[int, tuple[str, ...]] | None  # done at, content
    washed: tuple[tuple[str, int], ...]
    packed: tuple[tuple[str, int], ...]
    sterilizer: tuple[int, tuple[str, ...]] | None
    washer_free: int
    sterilizer_free: int
    late: int


MOST_STATES = 25_000


class TooManyError(Exception):
    """More orders than are worth trying."""


def least_lateness(day: Instance, below: int = 10**9) -> int | None:
    """Return the least weighted lateness under `below` of a plan that serves every visit; None where there is none.

    Sets that no visit to come can need are not washed: work for nothing makes nothing earlier.
    """
    rows = []
    for c in day.chairs:
        own = day.visits_of(c.id)
        if not own:
            continue
        row: list[tuple[str, object]] = [("step", s) for s in c.opening]
        for v in own:
            row.append(("visit", v))
            row += [("step" if i else "clear", s) for i, s in enumerate(c.closing if v is own[-1] else c.turnover)]
        rows.append(row)
    windows = [p.windows() for p in day.people]
    best: list[int | None] = [None]
    seen: set[State] = set()
    r = day.reprocess
    washer = day.washers[0] if day.washers else None
    sterilizer = day.sterilizers[0] if day.sterilizers else None

    def begin(person: int, free: int, earliest: int, minutes: int) -> int | None:
        for a, b in windows[person]:
            t = max(a, free, earliest)
            if t + minutes <= b:
                return t
        return None

    def hands(s: State, earliest: int, minutes: int) -> list[tuple[int, int]]:
        out = []
        for p in range(len(windows)):
            t = begin(p, s.people[p], max(earliest, s.at), minutes)
            if t is not None:
                out.append((p, t))
        return out

    def took(s: State, p: int, until: int) -> tuple[int, ...]:
        return tuple(until if i == p else f for i, f in enumerate(s.people))

    def subsets(items: tuple[tuple[str, int], ...], room: int) -> list[tuple[tuple[str, int], ...]]:
        out = []
        for mask in range(1, 1 << len(items)):
            chosen = tuple(x for i, x in enumerate(items) if mask >> i & 1)
            if len(chosen) <= room:
                out.append(chosen)
        return out

    def without(items: tuple[tuple[str, int], ...], gone: tuple[tuple[str, int], ...]) -> tuple[tuple[str, int], ...]:
        left = list(items)
        for x in gone:
            left.remove(x)
        return tuple(left)

    def go(s: State) -> None:
        if s in seen or s.late >= (below if best[0] is None else best[0]):
            return
        if len(seen) > MOST_STATES:
            raise TooManyError
        seen.add(s)
        if all(at == len(row) for (at, _), row in zip(s.chairs, rows, strict=True)):
            best[0] = s.late
            return
        for c, row in enumerate(rows):
            at, free = s.chairs[c]
            if at < len(row):
                advance(s, c, at, free, row[at])
        machines(s)

    def advance(s: State, c: int, at: int, free: int, piece: tuple[str, object]) -> None:
        kind, what = piece

        def moved(until: int) -> tuple[tuple[int, int], ...]:
            return tuple((at + 1, until) if i == c else x for i, x in enumerate(s.chairs))

        if kind == "visit":
            v = what
            ready = max(free, v.booked, s.at)  # type: ignore[attr-defined]
            clean = sorted(s.clean, key=lambda x: x[1])
            for t, n in v.needs().items():  # type: ignore[attr-defined]
                have = [x for x in clean if x[0] == t]
                if len(have) < n:
                    return
                ready = max(ready, have[n - 1][1])
                for x in have[:n]:
                    clean.remove(x)
            late = s.late + v.weight * (ready - v.booked)  # type: ignore[attr-defined]
            if v.latest is not None and ready > v.latest:  # type: ignore[attr-defined]
                return
            go(replace(s, at=ready, chairs=moved(ready + v.minutes), clean=tuple(sorted(clean)), late=late))  # type: ignore[attr-defined]
            return
        step = what
        minutes = step.minutes  # type: ignore[attr-defined]
        starts = [(max(free, s.at), s.people)]
        if step.attended:  # type: ignore[attr-defined]
            starts = [(t, took(s, p, t + minutes)) for p, t in hands(s, free, minutes)]
        for t, people in starts:
            if t + minutes > day.day_end:
                continue
            dirty = s.dirty
            if kind == "clear":
                v = rows[c][at - 1][1]
                dirty = tuple(sorted((*dirty, *((k, t + minutes) for k, n in v.needs().items() for _ in range(n)))))  # type: ignore[attr-defined]
            go(replace(s, at=t, chairs=moved(t + minutes), people=people, dirty=dirty))

    def wanted(s: State) -> tuple[tuple[str, int], ...]:
        out = []
        for kind in {k for k, _ in s.dirty}:
            to_come = sum(
                v.needs().get(kind, 0) for (at, _), row in zip(s.chairs, rows, strict=True) for what, v in row[at:] if what == "visit"
            )  # type: ignore[attr-defined]
            on_the_way = [k for k, _ in (*s.clean, *s.washed, *s.packed)]
            on_the_way += [k for m in (s.washer, s.sterilizer) if m for k in m[1]]
            out += [x for x in s.dirty if x[0] == kind][: max(0, to_come - on_the_way.count(kind))]
        return tuple(sorted(out))

    def machines(s: State) -> None:
        if washer and s.washer is None and (useful := wanted(s)):
            for load in subsets(useful, washer.capacity):
                earliest = max(s.washer_free, washer.not_before - r.load_minutes, *(t for _, t in load))
                for p, t in hands(s, earliest, r.load_minutes):
                    running = (t + r.load_minutes + washer.minutes, tuple(k for k, _ in load))
                    go(replace(s, at=t, people=took(s, p, t + r.load_minutes), dirty=without(s.dirty, load), washer=running))
        if s.washer is not None:
            for p, t in hands(s, s.washer[0], r.unload_minutes):
                out = t + r.unload_minutes
                washed = tuple(sorted((*s.washed, *((k, out) for k in s.washer[1]))))
                go(replace(s, at=t, people=took(s, p, out), washer=None, washer_free=out, washed=washed))
        for x in dict.fromkeys(s.washed):
            for p, t in hands(s, x[1], r.pack_minutes):
                out = t + r.pack_minutes
                go(replace(s, at=t, people=took(s, p, out), washed=without(s.washed, (x,)), packed=tuple(sorted((*s.packed, (x[0], out))))))
        if sterilizer and s.sterilizer is None and s.packed:
            for load in subsets(s.packed, sterilizer.capacity):
                earliest = max(s.sterilizer_free, sterilizer.not_before - r.load_minutes, *(t for _, t in load))
                for p, t in hands(s, earliest, r.load_minutes):
                    running = (t + r.load_minutes + sterilizer.minutes, tuple(k for k, _ in load))
                    go(replace(s, at=t, people=took(s, p, t + r.load_minutes), packed=without(s.packed, load), sterilizer=running))
        if s.sterilizer is not None:
            for p, t in hands(s, s.sterilizer[0], r.unload_minutes):
                out = t + r.unload_minutes
                clean = tuple(sorted((*s.clean, *((k, out + r.cool_minutes) for k in s.sterilizer[1]))))
                go(replace(s, at=t, people=took(s, p, out), sterilizer=None, sterilizer_free=out, clean=clean))

    go(
        State(
            at=day.day_start,
            chairs=tuple((0, day.day_start) for _ in rows),
            people=tuple(0 for _ in day.people),
            clean=tuple(sorted((t.id, day.day_start) for t in day.set_types for _ in range(t.owned))),
            dirty=(),
            washer=None,
            washed=(),
            packed=(),
            sterilizer=None,
            washer_free=day.day_start,
            sterilizer_free=day.day_start,
            late=0,
        )
    )
    return best[0]
