"""Which chair and outlet is sampled next and when, what the plan in force can tell, and the cheapest plan that tells enough."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.exchange.laboratory.beside import AFTER_HIGH, WaterBeside
from fettlebook.exchange.laboratory.from_book import BookWater, limit_cfu_ml
from fettlebook.practice.model import Chair
from fettlebook.rules.model import Origin, Requirement
from fettlebook.said import said, said_date
from fettlebook.science.sampling import Plan, cheapest_plan, pass_probability, plan
from fettlebook.science.trends import regrowth_x
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import ChairWater

YEAR_DAYS: Final = 365
MOST_FALSE: Final = 0.2  # years in which a good bottle may be over, at most


@dataclass(frozen=True, slots=True)
class DueSample:
    """A sample to take: `due` is the day by which (today or earlier: now), `from_day` the first day on which it makes sense."""

    chair: str
    outlet: str
    due: date
    from_day: date | None
    why: str
    origin: Origin | None
    value: float  # by how much it lowers the expected loss; most worth first where several are due
    p_above: float | None


@dataclass(frozen=True, slots=True)
class PlanTold:
    """What sampling can tell in a year: of a chair at `multiple` times the limit."""

    multiple: float
    limit_cfu_ml: float
    sd_log10: float
    sd_known: bool  # from this practice's own results; else what is believed before any
    every_days: int | None
    asked: Requirement | None
    passes_once: float
    passes_a_year: float | None
    power: float
    singly: Plan | None  # the fewest rounds a year that find it with this power, each chair in a bottle of its own
    cheapest: Plan | None  # the fewest bottles, pooled where that does
    no_plan: str


def due_samples(look: Look, water: BookWater, beside: WaterBeside) -> tuple[DueSample, ...]:
    """Return the samples to take, the earliest due first, of those due together the one most worth."""
    chairs = {chair.id: chair for chair in look.basis.practice.chairs if not chair.out_of_service}
    found = [one for c in water.chairs if c.chair in chairs for one in _of_chair(look, water, beside, c, chairs[c.chair])]
    today = water.judged.today
    return tuple(sorted(found, key=lambda one: (max(one.due, today), -one.value, one.chair)))


def _of_chair(look: Look, water: BookWater, beside: WaterBeside, history: ChairWater, chair: Chair) -> Iterator[DueSample]:
    today, now = water.today(chair.id), water.judged.today
    valid = [r for r in history.results if not r.doubts]
    outlet, p = _next_outlet(history, chair), (today.p_above_limit if today.proven and water.judged.trusted else None)
    high = next((one for one in beside.high if one.chair == chair.id), None)
    interval = min(look.basis.intervals, key=lambda one: one[0], default=None)
    origin = interval[2].origin if interval else None
    if high is not None:
        outlet = (high.results[-1].outlets or (outlet,))[0]
        treated = [t for t in history.whole if t.done_ms > high.results[-1].taken_ms]
        asked, window = look.basis.asks(AFTER_HIGH), look.basis.limit_of(AFTER_HIGH)
        if not treated:
            why = said("the last result is over the limit: treat intensively first, then sample again")
            yield DueSample(chair.id, outlet, now, None, why, asked.origin if asked else None, today.value_of_one_sample, p)
            return
        days = (min(window.value), max(window.value)) if window is not None else (0.0, 0.0)
        day = look.basis.day_of(treated[0].done_ms)
        why = said(
            "again after the high result, treated {day}: {days:g} to {days2:g} days later", day=said_date(day), days=days[0], days2=days[1]
        )
        first, last = day + timedelta(days=int(days[0])), day + timedelta(days=int(days[1]))
        yield DueSample(chair.id, outlet, last, first, why, asked.origin if asked else None, today.value_of_one_sample, p)
    elif not valid:
        why = said("no valid sample in the book") if not history.results else said("the samples so far prove nothing")
        yield DueSample(chair.id, outlet, now, None, why, origin, today.value_of_one_sample, p)
    elif interval is not None:
        last_day = look.basis.day_of(valid[-1].taken_ms)
        why = said("last valid sample {last_day}; a result holds {interval} days", last_day=said_date(last_day), interval=interval[0])
        yield DueSample(chair.id, outlet, last_day + timedelta(days=interval[0]), None, why, origin, today.value_of_one_sample, p)


def _next_outlet(history: ChairWater, chair: Chair) -> str:
    """Return the outlet whose last sample is the longest ago; one never sampled first."""
    last = {outlet: result.taken_ms for result in history.results for outlet in result.outlets or ()}
    return min((outlet.id for outlet in chair.outlets), key=lambda name: last.get(name, 0))


def plan_told(look: Look, water: BookWater, *, multiple: float = 3.0, power: float = 0.9) -> PlanTold:
    """Return what the plan in force tells of a chair at `multiple` times the limit, and what would find it with chance `power`."""
    trend = water.judged.trend
    sd, known = trend.shared["s"][0], len(water.judged.used) > 1
    limit = limit_cfu_ml(water.limits[0]) if water.limits else water.judged.limit_cfu_ml
    interval = min(look.basis.intervals, key=lambda one: one[0], default=None)
    every = interval[0] if interval else None
    once = pass_probability(multiple, sd)
    rounds = max(1, round(YEAR_DAYS / every)) if every else None
    chairs = sum(not chair.out_of_service for chair in look.basis.practice.chairs)
    usual = trend.shared["mu"][0] + trend.shared["beta"][0] * float(regrowth_x(_usual_days(water)))
    setting = {"chairs": max(1, chairs), "limit_cfu_ml": limit, "bad_multiple": multiple, "sd_log10": sd, "usual_log10": usual}
    singly: Plan | None = None
    cheapest: Plan | None = None
    no_plan: str = ""
    try:
        cheapest = cheapest_plan(power=power, most_false=MOST_FALSE, **setting)  # type: ignore[arg-type]
    except Mendable as error:
        no_plan = said("{why}. {mend}", why=error.what, mend=error.mend)
    found = next((n for n in range(1, YEAR_DAYS) if 1.0 - once**n >= power), None)
    if found is not None:
        singly = plan(rounds=found, pooled=1, **setting)  # type: ignore[arg-type]
    year = pass_probability(multiple, sd, rounds) if rounds else None
    asked = interval[2] if interval else None
    return PlanTold(multiple, limit, sd, known, every, asked, once, year, power, singly, cheapest, no_plan)


def _usual_days(water: BookWater) -> float:
    """Return the middle of the chairs' days since their last treatment; four weeks where none is known."""
    days = sorted(one.days for one in water.judged.chairs if one.days is not None)
    return float(days[len(days) // 2]) if days else 28.0


def plan_words(told: PlanTold) -> tuple[str, ...]:
    """Return in sentences what the plan in force can tell, and what would tell enough."""
    times = said("{multiple:g} times the limit ({limit_cfu_ml:g} CFU/mL)", multiple=told.multiple, limit_cfu_ml=told.limit_cfu_ml)
    scatter = said("this practice's own results") if told.sd_known else said("what is usual; this book has too few results")
    lines = [said("Single samples of a chair scatter by {sd_log10:.2f} log10 (by {scatter}).", sd_log10=told.sd_log10, scatter=scatter)]
    if told.every_days is not None and told.passes_a_year is not None:
        rounds = max(1, round(YEAR_DAYS / told.every_days))
        year = (
            said("all {rounds} of a year with {passes_a_year}", rounds=rounds, passes_a_year=_chance(told.passes_a_year))
            if rounds > 1
            else said("and it is the only one of the year")
        )
        each = said("With one sample every {every_days} days a chair truly at {times} passes", every_days=told.every_days, times=times)
        lines.append(
            said("{each} a sample with chance {passes_once}, {year}.", each=each, passes_once=_chance(told.passes_once), year=year)
        )
    else:
        lines.append(
            said(
                "The rules in force name no interval. A chair truly at {times} passes a single sample with {passes_once}.",
                times=times,
                passes_once=_chance(told.passes_once),
            )
        )
    goal = said("find such a chair within a year with {power}", power=_chance(told.power))
    if told.singly is not None:
        lines.append(
            said(
                "To {goal}: each chair {rounds} a year, {bottles} bottles.",
                goal=goal,
                rounds=_times(told.singly.rounds),
                bottles=told.singly.bottles,
            )
        )
    if told.cheapest is not None and told.cheapest.pooled > 1:
        c = told.cheapest
        lines.append(
            said(
                "Fewest bottles: {pooled} chairs to a bottle, {rounds} a year, {bottles} bottles, each held against "
                "{bottle_limit_cfu_ml:.3g} CFU/mL; a good bottle is over in {false_alarm} of years. Where rules ask for a "
                "sample of each chair, a pool is none.",
                pooled=c.pooled,
                rounds=_times(c.rounds),
                bottles=c.bottles,
                bottle_limit_cfu_ml=c.bottle_limit_cfu_ml,
                false_alarm=_chance(c.false_alarm),
            )
        )
    if told.no_plan:
        lines.append(
            said("With false alarms in at most {MOST_FALSE:g} % of years: {no_plan}", MOST_FALSE=100 * MOST_FALSE, no_plan=told.no_plan)
        )
    return tuple(lines)


def _times(rounds: int) -> str:
    return said("once") if rounds == 1 else said("{rounds} times", rounds=rounds)


def _chance(share: float) -> str:
    return said("under 1 %") if share < 0.01 else said("over 99 %") if share > 0.99 else said("{share:.0f} %", share=100 * share)
