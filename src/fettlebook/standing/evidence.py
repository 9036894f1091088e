"""What a step's own readings prove: strips at the feed, after the rinse and of the dose, and the mL that came out of the outlets."""

from typing import Final

from fettlebook.practice.model import Chair, ProductUse, SupplyKind
from fettlebook.rules.model import Computed, Duty, Step
from fettlebook.said import said
from fettlebook.standing.attempts import Attempt
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact
from fettlebook.times.dosing import Level, dosed_level
from fettlebook.times.label import Gap, feed_strength_mg_l, label_for
from fettlebook.times.model import RunningTime
from fettlebook.times.targets import FILL_MISSING, share_or_default

CONTINUOUS: Final = "line continuous"  # as the rulebook names the product of a step
AT_FEED, AFTER_RINSE = "feed", "after the rinse"
AT_LEAST: Final = "_at_least_mg_l"  # a strip at the end of its scale: so much or more
USUAL_WITHIN_PCT: Final = 10.0  # as far as a measured flow may be off where the practice file doesn't say


def is_dosed(look: Look, chair: Chair) -> bool:
    """Tell whether a product is dosed into a chair's water all day."""
    return chair.supply.kind is SupplyKind.DOSING or look.basis.practice.in_use.line_continuous is not None


def strip_moment(duty: Duty, step: Step) -> str | None:
    """Return when a treatment's strip is read: `AT_FEED` before the contact, `AFTER_RINSE`; None where the step has none of either."""
    order = [one.id for one in duty.steps]
    contact = next((n for n, one in enumerate(duty.steps) if one.computes is Computed.CONTACT), None)
    if contact is None or "strip reading" not in step.evidence or step.product == CONTINUOUS or step.id not in order:
        return None
    return AFTER_RINSE if order.index(step.id) > contact else AT_FEED


def strip_says(look: Look, moment: str, done: Fact | None) -> tuple[Verdict, str, float | None]:
    """Return verdict, words and the strength asked for [mg/L]: at the feed at least the label's, after the rinse at most its residual.

    A strip at the end of its scale (`..._at_least_mg_l`) can't show that there is little.
    """
    held, values = label_for(look.basis.practice, ProductUse.LINE_INTENSIVE), strip_readings(done)
    if moment == AT_FEED:
        feed = held if isinstance(held, Gap) else feed_strength_mg_l(held)
        if isinstance(feed, Gap):
            return Verdict.UNPROVEN, feed.why, None
        return _at_feed(values, feed * (1 - share_or_default(look.basis.rulebook, FILL_MISSING)))
    return _after_rinse(values, None if isinstance(held, Gap) else held.use.residual_limit_mg_l)


def _at_feed(values: dict[str, int], asked: float) -> tuple[Verdict, str, float | None]:
    lowest = min(values.values(), default=None)
    if lowest is None:
        return Verdict.UNPROVEN, said("no strip reading; at least {asked:g} mg/L is asked for at the last outlet", asked=asked), asked
    if lowest < asked and _at_scale_end(values):
        return (
            Verdict.UNPROVEN,
            said("the strip's scale ends at {lowest} mg/L; {asked:g} mg/L is asked for", lowest=lowest, asked=asked),
            asked,
        )
    told = said("strip {lowest} mg/L, at least {asked:g} mg/L is asked for at the last outlet", lowest=lowest, asked=asked)
    return (Verdict.FIT if lowest >= asked else Verdict.UNFIT), told, asked


def _after_rinse(values: dict[str, int], limit: float | None) -> tuple[Verdict, str, float | None]:
    highest = max(values.values(), default=None)
    if highest is None:
        return (
            Verdict.UNPROVEN,
            said("no strip reading") + (said("; the label allows {it:g} mg/L", it=limit) if limit is not None else ""),
            limit,
        )
    if limit is None:
        return Verdict.UNPROVEN, said("strip {highest} mg/L; the label's residual is not in the practice file", highest=highest), None
    if highest <= limit and _at_scale_end(values):
        return Verdict.UNPROVEN, said("the strip's scale ends at {highest} mg/L: it may be more", highest=highest), limit
    return (
        (Verdict.FIT if highest <= limit else Verdict.UNFIT),
        said("strip {highest} mg/L, the label allows {it:g} mg/L", highest=highest, it=limit),
        limit,
    )


def strip_readings(done: Fact | None) -> dict[str, int]:
    """Return the strips that an entry holds [mg/L]."""
    said = (done.says.readings or {}) if done is not None else {}
    return {name: value for name, value in said.items() if name.endswith("_mg_l")}


def _at_scale_end(values: dict[str, int]) -> bool:
    return any(name.endswith(AT_LEAST) for name in values)


def dose_says(look: Look, chair: Chair, attempt: Attempt) -> tuple[Verdict, str]:
    """Hold the strip of a dose check to what the label asks for at the outlet."""
    level = dosed_level(look.basis.practice, chair, 0.0)
    if not isinstance(level, Level):
        return Verdict.UNPROVEN, level.why if level is not None else said("nothing is dosed into this chair's water by the practice file")
    values = strip_readings(attempt.done)
    strips = list(values.values())
    if not strips:
        return Verdict.UNPROVEN, said("no strip reading; the label asks for {asked_mg_l:g} mg/L", asked_mg_l=level.asked_mg_l)
    seen = min(strips)
    if seen < level.asked_mg_l and _at_scale_end(values):
        return Verdict.UNPROVEN, said(
            "the strip's scale ends at {lowest} mg/L; {asked:g} mg/L is asked for", lowest=seen, asked=level.asked_mg_l
        )
    return (Verdict.FIT if seen >= level.asked_mg_l else Verdict.UNFIT), said(
        "strip {seen} mg/L, the label asks for {asked_mg_l:g} mg/L", seen=seen, asked_mg_l=level.asked_mg_l
    )


def amount_says(chair: Chair, time: RunningTime, attempt: Attempt) -> str | None:
    """Return in words how much too little came out, by a reading in mL; None where it is enough, or nobody measured it.

    A line that gives less than the practice file says needs longer than the time that was reckoned from it.
    """
    assert attempt.done is not None
    poured = [value for name, value in (attempt.done.says.readings or {}).items() if name.endswith("_ml")]
    ran = attempt.done.says.outlets
    if not poured or not time.outlets:
        return None
    seconds = {group.group: group.seconds for group in time.groups}
    within = {outlet.id: outlet.flow_within_pct or USUAL_WITHIN_PCT for outlet in chair.outlets}
    needed = sum(
        one.flow_ml_min * seconds.get(one.group, time.seconds or 0) / 60 * (1 - within.get(one.outlet, USUAL_WITHIN_PCT) / 100)
        for one in time.outlets
        if ran is None or one.outlet in ran
    )
    if sum(poured) >= needed:
        return None
    return said("{poured} mL came out, at least {needed:.0f} mL must: measure the flow again", poured=sum(poured), needed=needed)
