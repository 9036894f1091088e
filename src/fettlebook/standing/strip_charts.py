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
from fettlebook.science.charts import FIRST_READINGS, Chart, chart_says
from fettlebook.standing.evidence import AFTER_RINSE, AT_FEED, AT_LEAST, is_dosed, strip_moment, strip_readings, strip_says
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact
from fettlebook.times.dosing import Level, dosed_level
from fettlebook.times.targets import FILL_MISSING, share_or_default

DOSE: Final = "dose"
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
    return tuple(_series(look, chair, moment, found[moment]) for moment in MOMENTS if found.get(moment))


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
        return Verdict.UNPROVEN, f"strip {seen} mg/L; what the label asks for can't be said from the practice file"
    return (Verdict.FIT if seen >= asked else Verdict.UNFIT), f"strip {seen} mg/L, the label asks for {asked:g} mg/L"


def _asked(look: Look, chair: Chair, moment: str) -> float | None:
    if moment == DOSE:
        level = dosed_level(look.basis.practice, chair, share_or_default(look.basis.rulebook, FILL_MISSING))
        return level.asked_mg_l if isinstance(level, Level) else None
    return strip_says(look, moment, None)[2]


def _series(look: Look, chair: Chair, moment: str, strips: Sequence[Strip]) -> StripSeries:
    ordered = tuple(sorted(strips, key=lambda one: one.read_ms))
    drawn, says = chart_says([float(one.mg_l) for one in ordered], FIRST_READINGS)
    return StripSeries(chair.id, moment, ordered, _asked(look, chair, moment), drawn, says)
