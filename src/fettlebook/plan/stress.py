"""How a day stands up when visits run over: the same day lived through many times by the live policy, in paired samples.

Comes in: an instance, how long visits truly take, a seed. Goes out: for each visit the share of days on which it starts
more than 5, 10, 15 minutes late or not at all; for the day weighted minutes late; and which slack matters, each tried
by living through the same days again with five minutes more after that visit. All of it is a forecast under the stated
spread, not a proof; what is proven is the bound of the booking itself.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass

from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.overruns import Overruns, draw_minutes
from fettlebook.plan.policy import Lived, Policy, live, rehearse

SAMPLES = 200
LATE_MIN = (5, 10, 15)
SLACK_MIN = 5
SLACKS_TRIED = 6
REHEARSED = 24
_REHEARSAL = 7_919  # seed of the rehearsal is another than that of the days judged


@dataclass(frozen=True, slots=True)
class VisitRisk:
    """One visit over all sampled days. `more_than`: share of days that start later than so many minutes, or never."""

    visit: str
    chair: str
    booked: int
    more_than: dict[int, float]
    never: float
    mean_late: float  # of the days on which it is served
    late_90: float


@dataclass(frozen=True, slots=True)
class Slack:
    """What `SLACK_MIN` more minutes after a visit save a day, in weighted minutes late; `error`: one standard error."""

    visit: str
    chair: str
    booked: int
    saves: float
    error: float


@dataclass(frozen=True, slots=True)
class Stress:
    """A day under overruns."""

    samples: int
    overruns: Overruns
    as_booked: int  # weighted minutes late when every visit takes what is booked, by the same policy
    mean: float
    late_90: float
    on_time: float  # share of visits that start at most 5 minutes late
    never: float  # visits a day that are not served
    after_hours: float  # minutes a day by which the last chair closes after the last shift's end
    visits: tuple[VisitRisk, ...]
    slack: tuple[Slack, ...]
    policy: Policy


def stress(
    day: Instance,
    overruns: Overruns,
    *,
    samples: int = SAMPLES,
    seed: int = 1,
    plan: Plan | None = None,
    policy: Policy | None = None,
    told: Callable[[int, int], bool] | None = None,
) -> Stress:
    """Return how the day stands up.

    Parameters
    ----------
    day
        The instance.
    overruns
        How long visits truly take.
    samples
        How many days to live through, at least 1.
    seed
        Same seed, same days.
    plan
        A plan of the day, to guide people.
    policy
        How people decide; left out, what a rehearsal on other days finds best.
    told
        Called with (done, of so many) now and then; False ends early with what is there.
    """
    policy = policy or rehearse(day, draw_minutes(day, overruns, REHEARSED, seed + _REHEARSAL), plan)
    days = draw_minutes(day, overruns, samples, seed)
    some = max(1, samples // 4)
    total = samples + SLACKS_TRIED * some
    lived: list[Lived] = []
    go_on = True
    try:
        for k, truly in enumerate(days):
            lived.append(live(day, policy, truly=truly))
            if told and not (go_on := told(k + 1, total)):
                break
        slack = _slack(day, policy, days[: min(some, len(lived))], lived, told) if go_on else ()
    except KeyboardInterrupt:  # the reader has seen enough: the days lived through so far are the answer
        slack = ()
        if not lived:
            raise
    return _judged(day, overruns, policy, lived, slack)


def _judged(day: Instance, overruns: Overruns, policy: Policy, lived: Sequence[Lived], slack: tuple[Slack, ...]) -> Stress:
    n = len(lived)
    visits = []
    for v in day.visits:
        late = [x.late.get(v.id) for x in lived]
        served = sorted(m for m in late if m is not None)
        more = {limit: sum(m is None or m > limit for m in late) / n for limit in LATE_MIN}
        mean = sum(served) / len(served) if served else 0.0
        visits.append(VisitRisk(v.id, v.chair, v.booked, more, 1 - len(served) / n, mean, quantile(served, 0.9)))
    weighted = sorted(float(x.weighted_minutes_late) for x in lived)
    hours = max((p.to for p in day.people), default=day.day_end)
    return Stress(
        samples=n,
        overruns=overruns,
        as_booked=live(day, policy).weighted_minutes_late,
        mean=sum(weighted) / n,
        late_90=quantile(weighted, 0.9),
        on_time=share_on_time(day, lived),
        never=sum(len(x.never) for x in lived) / n,
        after_hours=sum(max(0, x.closed - hours) for x in lived) / n,
        visits=tuple(sorted(visits, key=lambda v: (v.booked, v.chair))),
        slack=slack,
        policy=policy,
    )


def share_on_time(day: Instance, lived: Sequence[Lived], *, within_min: int = LATE_MIN[0]) -> float:
    """Return the share of visits that start at most so late; one never served is not on time. 1 without visits."""
    all_visits = len(day.visits) * len(lived)
    return sum(m <= within_min for x in lived for m in x.late.values()) / all_visits if all_visits else 1.0


def quantile(ordered: Sequence[float], share: float) -> float:
    """Return the smallest value that at least this share does not exceed; 0 for none."""
    return float(ordered[min(len(ordered) - 1, max(0, -int(-share * len(ordered) // 1) - 1))]) if ordered else 0.0


def _slack(
    day: Instance,
    policy: Policy,
    days: Sequence[Mapping[str, int]],
    lived: Sequence[Lived],
    told: Callable[[int, int], bool] | None,
) -> tuple[Slack, ...]:
    """Try five minutes more after the visits whose overruns the day's lateness follows most closely."""
    costs = [x.weighted_minutes_late for x in lived[: len(days)]]
    followed = {v.id: _slope([d[v.id] for d in days], costs) for v in day.visits}
    out: list[Slack] = []
    for v in sorted(day.visits, key=lambda v: -followed[v.id])[:SLACKS_TRIED]:
        # A visit that ends five minutes earlier is one with five minutes more until the next.
        saved = [
            float(cost - live(day, policy, truly={**truly, v.id: max(1, truly[v.id] - SLACK_MIN)}).weighted_minutes_late)
            for truly, cost in zip(days, costs, strict=True)
        ]
        mean = sum(saved) / len(saved)
        error = (sum((s - mean) ** 2 for s in saved) / max(1, len(saved) - 1) / len(saved)) ** 0.5
        out.append(Slack(v.id, v.chair, v.booked, mean, error))
        if told and not told(len(lived) + len(out) * len(days), len(lived) + SLACKS_TRIED * len(days)):
            break
    return tuple(sorted((s for s in out if s.saves > s.error), key=lambda s: -s.saves))


def _slope(x: Sequence[float], y: Sequence[float]) -> float:
    mean_x, mean_y = sum(x) / len(x), sum(y) / len(y)
    spread = sum((a - mean_x) ** 2 for a in x)
    return sum((a - mean_x) * (b - mean_y) for a, b in zip(x, y, strict=True)) / spread if spread else 0.0
