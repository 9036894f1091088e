"""Strips read at a chair as series with a control chart: the dose in its water, the feed of a treatment, what was left after the rinse.

Verdicts come from `standing.evidence`; the chart says only whether readings stay as they were. Its rules:
- one reading beyond centre +/- 3 SD, SD from the mean moving range of two over 1.128 (individuals chart, W. A. Shewhart; textbook, memory);
- the EWMA of weight 0.2 beyond 2.962 of its SD (J. M. Lucas, M. S. Saccucci, Technometrics 32 (1990) 1; run lengths computed here).
Strips have coarse fields: readings that never leave one field give no spread, and then no chart.
"""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Duty, Step, Subject
from fettlebook.said import said
from fettlebook.science.charts import FIRST_READINGS, Chart, chart_says
from fettlebook.standing.evidence import AFTER_RINSE, AT_FEED, AT_LEAST, is_dosed, strip_moment, strip_readings, strip_says
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact
from fettlebook.times.dosing import Level, dosed_level
from fettlebook.times.label import Gap, feed_strength_mg_l, label_of
from fettlebook.times.targets import FILL_MISSING, share_or_default

DOSE: Final = "dose"
MIXED: Final = "solution mixed"
MOMENTS: Final = (DOSE, AT_FEED, AFTER_RINSE)


@dataclass(frozen=True, slots=True)
class Strip:
    """One entry's strip [mg/L]: the lowest of the dose and the feed, the highest after the rinse; `at_least`: its scale ended there."""

    read_ms: int
    mg_l: int
    at_least: bool
    verdict: Verdict
    why: str
    entry: str


@dataclass(frozen=True, slots=True)
class StripSeries:
    """The strips of one chair and moment (dose, feed, after the rinse), oldest first, with what is asked for today [mg/L]."""

    chair: str
    moment: str
    strips: tuple[Strip, ...]
    asked_mg_l: float | None
    chart: Chart | None
    says: str  # steady, drifting, beyond its limits, or why nothing can be said
    product: str | None = None  # of a mixed solution: what was mixed

    @property
    def at_most(self) -> bool:
        """Whether what is asked for is the most that may be there, not the least."""
        return self.moment == AFTER_RINSE


def strip_series(look: Look, chair: Chair, since: int = 0) -> tuple[StripSeries, ...]:
    """Return the strips of a chair from `since` [ms] on by what they were dipped for; nothing of what was never read."""
    found: dict[str, list[Strip]] = {}
    for duty in look.basis.rulebook.duties:
        if duty.subject is Subject.CHAIR:
            for step in duty.steps_on(chair):
                moment = _moment(look, chair, duty, step)
                if moment is not None:
                    for fact in look.forward(f"chair:{chair.id}", f"done:{step.id}", since=since):
                        found.setdefault(moment, []).extend(_strip(look, chair, moment, fact))
    of_steps = (_series(chair, moment, found[moment], _asked(look, chair, moment)) for moment in MOMENTS if found.get(moment))
    return (*of_steps, *_mixed(look, chair, since))


def _mixed(look: Look, chair: Chair, since: int) -> Iterator[StripSeries]:
    """Yield the strips of solutions that were mixed for a chair, product by product, held to the label's strength."""
    found: dict[str, list[Fact]] = {}
    for fact in look.forward(f"chair:{chair.id}", "mix strip", since=since):
        found.setdefault(fact.says.product, []).append(fact)
    for product, facts in found.items():
        asked = _asked_mixed(look, product)
        strips = [strip for fact in facts for strip in _mix_strip(fact, asked)]
        if strips:
            yield _series(chair, MIXED, strips, asked, product)


def _mix_strip(fact: Fact, asked: float | None) -> Iterator[Strip]:
    values = strip_readings(fact)
    if values:
        seen, ended = min(values.values()), any(name.endswith(AT_LEAST) for name in values)
        if asked is None:
            verdict, why = Verdict.UNPROVEN, said("strip {seen} mg/L; the practice file names no one strength for it", seen=seen)
        else:
            good = Verdict.FIT if seen >= asked else Verdict.UNPROVEN if ended else Verdict.UNFIT
            verdict, why = good, said("strip {seen} mg/L, the label asks for {asked:g} mg/L", seen=seen, asked=asked)
        yield Strip(fact.happened, seen, ended, verdict, why, fact.entry)


def _asked_mixed(look: Look, product: str) -> float | None:
    """Return the strength that the label asks for [mg/L]; None where it names none, or several for different uses."""
    practice = look.basis.practice
    uses = next((p.uses for p in practice.products if p.id == product), ())
    asked = {
        feed_strength_mg_l(held) for use in uses if not isinstance(held := label_of(practice, product, use.use, field="products"), Gap)
    }
    one = asked.pop() if len(asked) == 1 else None
    return None if isinstance(one, Gap) else one


def dose_checks(look: Look, chair: Chair) -> tuple[tuple[Duty, Step], ...]:
    """Return the steps that are done by one strip of the dose in a chair's water; none where nothing is dosed."""
    return tuple(
        (duty, step)
        for duty in look.basis.rulebook.duties
        if duty.subject is Subject.CHAIR
        for step in duty.steps_on(chair)
        if tuple(step.evidence) == ("strip reading",) and _moment(look, chair, duty, step) == DOSE
    )


def _moment(look: Look, chair: Chair, duty: Duty, step: Step) -> str | None:
    if (moment := strip_moment(duty, step)) is not None:
        return moment
    return DOSE if "strip reading" in step.evidence and is_dosed(look, chair) else None


def _strip(look: Look, chair: Chair, moment: str, done: Fact) -> Iterator[Strip]:
    values = strip_readings(done)
    if values:
        verdict, why = _dose_says(look, chair, values) if moment == DOSE else strip_says(look, moment, done)[:2]
        value = max(values.values()) if moment == AFTER_RINSE else min(values.values())
        yield Strip(done.happened, value, any(name.endswith(AT_LEAST) for name in values), verdict, why, done.entry)


def _dose_says(look: Look, chair: Chair, values: dict[str, int]) -> tuple[Verdict, str]:
    asked, seen = _asked(look, chair, DOSE), min(values.values())
    if asked is None:
        return Verdict.UNPROVEN, said("strip {seen} mg/L; what the label asks for can't be said from the practice file", seen=seen)
    if seen < asked and any(name.endswith(AT_LEAST) for name in values):
        return Verdict.UNPROVEN, said("the strip's scale ends at {lowest} mg/L; {asked:g} mg/L is asked for", lowest=seen, asked=asked)
    told = said("strip {seen} mg/L, the label asks for {asked:g} mg/L", seen=seen, asked=asked)
    return (Verdict.FIT if seen >= asked else Verdict.UNFIT), told


def _asked(look: Look, chair: Chair, moment: str) -> float | None:
    if moment == DOSE:
        level = dosed_level(look.basis.practice, chair, share_or_default(look.basis.rulebook, FILL_MISSING))
        return level.asked_mg_l if isinstance(level, Level) else None
    return strip_says(look, moment, None)[2]


def _series(chair: Chair, moment: str, strips: Sequence[Strip], asked: float | None, product: str | None = None) -> StripSeries:
    ordered = tuple(sorted(strips, key=lambda one: one.read_ms))
    drawn, says = chart_says([float(one.mg_l) for one in ordered], FIRST_READINGS)
    return StripSeries(chair.id, moment, ordered, asked, drawn, says, product)
