"""How many sets, machines and hands some days need: what a bound proves, and what living the days through confirms.

Comes in: the instances of some days, how long visits truly take, a goal. Goes out: what is too little by proof, what to
buy first, one thing at a time, each confirmed in paired samples, and the share of visits on time that no purchase can
pass, because the bookings themselves leave too little time. The bound narrows what is tried; only the simulation says
what it brings.
"""

from collections.abc import Callable, Sequence
from dataclasses import dataclass

from fettlebook.errors import Mendable
from fettlebook.plan.bound import Search, circulation_bound
from fettlebook.plan.instance import Instance
from fettlebook.plan.overruns import Overruns, draw_minutes
from fettlebook.plan.policy import Lived, live
from fettlebook.plan.stress import LATE_MIN, share_on_time
from fettlebook.said import said

GOAL = 0.95
SAMPLES = 20
MOST_BUYS = 8
LEAST_GAIN = 0.01  # of all visits on time; less is not worth a line
MORE_BETWEEN_MIN = (5, 10, 15)
NEVER_MIN = 120  # a visit that is not served counts as so late
_KINDS = ("set type", "washer", "sterilizer", "person")


@dataclass(frozen=True, slots=True)
class Need:
    """What a bound says of one thing. `least`: with fewer, some visit can't start on time even if none runs over."""

    kind: str
    id: str
    owned: int
    least: int
    why: str
    day: str

    @property
    def short(self) -> int:
        """How many are missing by proof."""
        return max(0, self.least - self.owned)


@dataclass(frozen=True, slots=True)
class Buy:
    """One thing more, and what it brings: shares of visits on time before and after, in the same samples."""

    kind: str
    id: str
    owned: int  # before
    before: float
    after: float
    minutes_saved: float  # weighted minutes late a day
    bound_before: int  # weighted minutes late that no plan can better, all days, visits as booked; -1: not all can be served
    bound_after: int


@dataclass(frozen=True, slots=True)
class Capacity:
    """What some days need."""

    days: int
    visits: int
    samples: int
    goal: float
    overruns: Overruns
    on_time: float  # as it is
    never: float  # visits a day that are not served, as it is
    ceiling: float  # on time with more of everything than could ever be used
    turnover_minute: float  # share of visits on time that one minute less of each turnover would add
    between: tuple[tuple[int, float], ...]  # minutes more after each visit -> share on time, nothing bought
    needs: tuple[Need, ...]
    buys: tuple[Buy, ...]

    @property
    def reached(self) -> float:
        """The share on time after all purchases named."""
        return self.buys[-1].after if self.buys else self.on_time


def verdict_words(c: Capacity) -> str:
    """Return in one line whether there is enough, and how far what is named brings it."""
    goal, on_time = said("{goal:.0f} %", goal=100 * c.goal), said("{on_time:.0f} %", on_time=100 * c.on_time)
    if c.on_time >= c.goal:
        return said("Enough: {on_time} of the visits start at most {LATE_MIN} min late", on_time=on_time, LATE_MIN=LATE_MIN[0])
    if c.reached >= c.goal:
        return said(
            "{on_time} of the visits on time; {goal} with {buys} more {buys2}",
            on_time=on_time,
            goal=goal,
            buys=len(c.buys),
            buys2=said("thing") if len(c.buys) == 1 else said("things"),
        )
    if c.ceiling < c.goal:
        return said("{on_time} of the visits on time; nothing that can be bought brings {goal}", on_time=on_time, goal=goal)
    return said(
        "{on_time} of the visits on time; {reached:.0f} % with what is named, {goal} not reached",
        on_time=on_time,
        reached=100 * c.reached,
        goal=goal,
    )


class _StoppedError(Exception):
    """Somebody wants no more purchases tried."""


@dataclass(frozen=True, slots=True)
class _Seen:
    on_time: float
    never: float
    cost: float


def needs_of(days: Sequence[Instance], minute: Callable[[int], str] = str) -> tuple[Need, ...]:
    """Return what each set type, machine and the people need at the least, by the day that needs most.

    A set is away for its visit, clearing and the shortest way back: if more are away at once than are owned, a visit
    must start late or wait. Machines and hands: minutes of work that must be done against the minutes there are.
    """
    out: list[Need] = []
    for t in dict.fromkeys(t for day in days for t in day.owned()):
        found = [(*_peak(day, t), day) for day in days if t in day.owned()]
        least, at, day = max(found, key=lambda x: x[0])
        why = said("at {minute}: {least} in use or on the shortest way back", minute=minute(at), least=least)
        out.append(Need("set type", t, day.owned()[t], least, why, day.name))
    for kind in ("washer", "sterilizer"):
        out.append(max((_machines(day, kind) for day in days), key=lambda n: n.least))
    out.append(max((_hands(day) for day in days), key=lambda n: n.least))
    return tuple(out)


def _peak(day: Instance, kind: str) -> tuple[int, int]:
    """Return how many units of a type are away at once at the most when all visits start as booked, and when."""
    way = day.shortest_way_back()
    changes: list[tuple[int, int]] = []
    for chair in day.chairs:
        own = day.visits_of(chair.id)
        for v in own:
            if n := v.needs().get(kind, 0):
                clear = (chair.closing if v is own[-1] else chair.turnover)[0].minutes
                changes += [(v.booked, n)] + ([(v.booked + v.minutes + clear + way, -n)] if way is not None else [])
    away, most, at = 0, 0, day.day_start
    for minute, n in sorted(changes):  # who comes back at a minute comes before who is needed at it
        away += n
        if away > most:
            most, at = away, minute
    return most, at


def _must_return(day: Instance) -> int:
    """Return how many places in machines the sets take that must go round for all uses to be served."""
    uses = {t: sum(v.needs().get(t, 0) for v in day.visits) for t in day.owned()}
    return sum(max(0, n - day.owned()[t]) * day.places()[t] for t, n in uses.items())


def _machines(day: Instance, kind: str) -> Need:
    own = day.washers if kind == "washer" else day.sterilizers
    r, places = day.reprocess, _must_return(day)
    if not own or not day.visits:
        return Need(kind, kind, len(own), 1 if places else 0, said("{places} places must go round", places=places), day.name)
    best, largest = min(m.minutes for m in own), max(m.capacity for m in own)
    loads = -(-places // largest)
    work = loads * (r.load_minutes + best + r.unload_minutes)
    time = max(1, max(v.booked for v in day.visits) - min(v.booked + v.minutes for v in day.visits))
    return Need(
        kind,
        kind,
        len(own),
        -(-work // time),
        said("{loads} loads of {work} min in all, in {time} min", loads=loads, work=work, time=time),
        day.name,
    )


def _hands(day: Instance) -> Need:
    work = 0
    for chair in day.chairs:
        if own := day.visits_of(chair.id):
            steps = [*chair.opening, *chair.closing, *(len(own) - 1) * chair.turnover]
            work += sum(s.minutes for s in steps if s.attended)
    owned, pack = day.owned(), day.pack_minutes()
    for t in owned:
        work += max(0, sum(v.needs().get(t, 0) for v in day.visits) - owned[t]) * pack[t]
    longest = max((sum(b - a for a, b in p.windows()) for p in day.people), default=1)
    return Need(
        "person",
        "person",
        len(day.people),
        -(-work // max(1, longest)),
        said("{work} min of work, {longest} min a person", work=work, longest=longest),
        day.name,
    )


def capacity(
    days: Sequence[Instance],
    overruns: Overruns,
    *,
    goal: float = GOAL,
    samples: int = SAMPLES,
    seed: int = 1,
    most: int = MOST_BUYS,
    minute: Callable[[int], str] = str,
    told: Callable[[str], None] | None = None,
    stop: Callable[[], bool] | None = None,
) -> Capacity:
    """Return what some days need for a share of the visits to start on time (at most 5 minutes late).

    Parameters
    ----------
    days
        The instances, at least one, of the same practice.
    overruns
        How long visits truly take.
    goal
        Share of visits on time.
    samples
        How often each day is lived through.
    seed
        Same seed, same samples, for every purchase that is tried.
    most
        How many purchases to name at the most.
    minute
        How to say a minute.
    told
        Called with what is being tried. Interrupted, what is known so far is the answer.
    stop
        Asked before each trial; once it is true, the purchases found so far are the answer.

    Raises
    ------
    Mendable
        It was stopped before the days as they are had been lived through.
    """
    drawn = [draw_minutes(day, overruns, samples, seed) for day in days]

    def seen(now: Sequence[Instance]) -> _Seen:
        return _lived_through(now, drawn)

    def tell(what: str) -> None:
        if stop is not None and stop():
            raise Mendable(
                said("stopped before anything was known"), where="what to buy first", mend=said("Start it again, with fewer days.")
            )
        if told is not None:
            told(what)

    tell(said("as it is"))
    at = seen(days)
    first = at
    tell(said("with more of everything"))
    ceiling = seen([_ample(day) for day in days]).on_time
    tell(said("with shorter turnovers"))
    shorter = seen([_shorter(day) for day in days]).on_time
    tell(said("with more time between visits"))
    between = [(more, _lived_through(days, _ending_earlier(drawn, more)).on_time) for more in MORE_BETWEEN_MIN]
    buys: list[Buy] = []
    now = list(days)
    bound = _bounds(now)
    try:
        while at.on_time < goal and len(buys) < most and at.on_time < ceiling - LEAST_GAIN:
            tried = []
            for kind, name in _worth_trying(now):
                if stop is not None and stop():
                    raise _StoppedError
                tell(said("{buys}: one more {name}", buys=len(buys) + 1, name=name))
                tried.append((kind, name, seen([more_of(day, kind, name) for day in now])))
            best = _choose(at, tried)
            if best is None:
                break
            kind, name, then = best
            owned = _count(now[0], kind, name)
            now = [more_of(day, kind, name) for day in now]
            after = _bounds(now)
            buys.append(Buy(kind, name, owned, at.on_time, then.on_time, at.cost - then.cost, bound, after))
            at, bound = then, after
    except (KeyboardInterrupt, _StoppedError):  # the reader has waited long enough: what was found so far is the answer
        pass
    return Capacity(
        days=len(days),
        visits=sum(len(day.visits) for day in days),
        samples=samples,
        goal=goal,
        overruns=overruns,
        on_time=first.on_time,
        never=first.never,
        ceiling=max(ceiling, at.on_time),
        turnover_minute=shorter - first.on_time,
        between=tuple(between),
        needs=needs_of(days, minute),
        buys=tuple(buys),
    )


def _lived_through(days: Sequence[Instance], drawn: Sequence[Sequence[dict[str, int]]]) -> _Seen:
    shares, never, cost, n = 0.0, 0, 0.0, 0
    visits = sum(len(day.visits) for day in days)
    for day, samples in zip(days, drawn, strict=True):
        weight = {v.id: v.weight for v in day.visits}
        lived: list[Lived] = [live(day, truly=truly) for truly in samples]
        shares += share_on_time(day, lived, within_min=LATE_MIN[0]) * len(day.visits)
        never += sum(len(x.never) for x in lived)
        cost += sum(x.weighted_minutes_late + NEVER_MIN * sum(weight[v] for v in x.never) for x in lived)
        n += len(lived)
    return _Seen(shares / visits if visits else 1.0, never / max(1, n), cost / max(1, n))


def _ending_earlier(drawn: Sequence[Sequence[dict[str, int]]], minutes: int) -> list[list[dict[str, int]]]:
    """Return the samples with each visit over earlier: what more time until the next one does."""
    return [[{v: max(1, m - minutes) for v, m in truly.items()} for truly in samples] for samples in drawn]


def _bounds(days: Sequence[Instance]) -> int:
    found = [circulation_bound(day, Search(2.0, workers=1, deterministic=0.5)) for day in days]
    return -1 if any(b.possible is False for b in found) else sum(b.minutes for b in found)


def _worth_trying(days: Sequence[Instance]) -> list[tuple[str, str]]:
    """Return what could be short: types of which nearly all are away at once some time, machines, hands."""
    out: list[tuple[str, str]] = []
    for t in days[0].owned():
        uses = max(sum(v.needs().get(t, 0) for v in day.visits) for day in days)
        owned = days[0].owned()[t]
        if owned < uses and max(_peak(day, t)[0] for day in days) >= owned:
            out.append(("set type", t))
    if any(_must_return(day) for day in days):
        out += [(k, k) for k in ("washer", "sterilizer") if (days[0].washers if k == "washer" else days[0].sterilizers)]
    return [*out, *([("person", "person")] if days[0].people else [])]


def _choose(at: _Seen, tried: Sequence[tuple[str, str, _Seen]]) -> tuple[str, str, _Seen] | None:
    """Return the purchase that saves most; a set goes before a machine before a person unless the dearer saves twice as much."""
    good = [x for x in tried if x[2].on_time - at.on_time >= LEAST_GAIN and x[2].cost < at.cost]
    if not good:
        return None
    return max(good, key=lambda x: (at.cost - x[2].cost) / 2 ** min(2, _KINDS.index(x[0])))


def _count(day: Instance, kind: str, name: str) -> int:
    return {
        "set type": day.owned().get(name, 0),
        "washer": len(day.washers),
        "sterilizer": len(day.sterilizers),
        "person": len(day.people),
    }[kind]


def more_of(day: Instance, kind: str, name: str, n: int = 1) -> Instance:
    """Return the day with more of one thing: a set, a machine like the quickest, a person with the longest shift."""
    if kind == "set type":
        types = tuple(t.model_copy(update={"owned": t.owned + n}) if t.id == name else t for t in day.set_types)
        return day.model_copy(update={"set_types": types})
    if kind == "person":
        if not day.people:
            return day
        like = max(day.people, key=lambda p: (len(p.does), sum(b - a for a, b in p.windows())))
        people = tuple(like.model_copy(update={"id": f"{like.id}, {len(day.people) + k + 1}th"}) for k in range(n))
        return day.model_copy(update={"people": day.people + people})
    own = day.washers if kind == "washer" else day.sterilizers
    if not own:
        return day
    quickest = min(own, key=lambda m: (m.minutes, -m.capacity))
    machines = tuple(quickest.model_copy(update={"id": f"{quickest.id}, {len(own) + k + 1}th"}) for k in range(n))
    return day.model_copy(update={f"{kind}s": own + machines})


def _ample(day: Instance) -> Instance:
    types = tuple(t.model_copy(update={"owned": t.owned + sum(v.needs().get(t.id, 0) for v in day.visits)}) for t in day.set_types)
    day = day.model_copy(update={"set_types": types})
    for kind in ("washer", "sterilizer", "person"):
        day = more_of(day, kind, kind, 5)
    return day


def _shorter(day: Instance) -> Instance:
    """Return the day with each turnover one minute shorter, in its longest step; to see what a minute is worth, never as advice."""
    chairs = []
    for c in day.chairs:
        k = max(range(len(c.turnover)), key=lambda i: c.turnover[i].minutes)
        step = c.turnover[k]
        steps = tuple(s.model_copy(update={"minutes": max(1, s.minutes - 1)}) if s is step else s for s in c.turnover)
        chairs.append(c.model_copy(update={"turnover": steps}))
    return day.model_copy(update={"chairs": tuple(chairs)})
