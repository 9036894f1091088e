"""What a step's own readings prove: strips after the rinse and of the dose, and the millilitres that came out of the outlets."""

from typing import Final

from fettlebook.practice.model import Chair, SupplyKind
from fettlebook.standing.attempts import Attempt
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.times.dosing import Level, dosed_level
from fettlebook.times.model import RunningTime

USUAL_WITHIN_PCT: Final = 10.0  # as far as a measured flow may be off where the practice file doesn't say


def is_dosed(look: Look, chair: Chair) -> bool:
    """Tell whether a product is dosed into a chair's water all day."""
    return chair.supply.kind is SupplyKind.DOSING or look.basis.practice.in_use.line_continuous is not None


def residual_says(look: Look, attempt: Attempt) -> tuple[Verdict, str]:
    """Hold the strip after the rinse to the label's residual, where the label names one."""
    assert attempt.done is not None
    in_use = look.basis.practice.in_use.line_intensive
    uses = [u for p in look.basis.practice.products if p.id == in_use for u in p.uses if u.use.value == "line intensive"]
    limit = next((u.residual_limit_mg_l for u in uses if u.residual_limit_mg_l is not None), None)
    if limit is None:
        return Verdict.FIT, f"done {look.when(attempt.done.happened)}"
    strips = _strips(attempt)
    if not strips:
        return Verdict.UNPROVEN, f"no strip reading; the label allows {limit:g} mg/L"
    seen = max(strips)
    return (Verdict.FIT if seen <= limit else Verdict.UNFIT), f"strip {seen} mg/L, the label allows {limit:g} mg/L"


def dose_says(look: Look, chair: Chair, attempt: Attempt) -> tuple[Verdict, str]:
    """Hold the strip of a dose check to what the label asks for at the outlet."""
    level = dosed_level(look.basis.practice, chair, 0.0)
    if not isinstance(level, Level):
        return Verdict.UNPROVEN, level.why if level is not None else "nothing is dosed into this chair's water by the practice file"
    strips = _strips(attempt)
    if not strips:
        return Verdict.UNPROVEN, f"no strip reading; the label asks for {level.asked_mg_l:g} mg/L"
    seen = min(strips)
    return (Verdict.FIT if seen >= level.asked_mg_l else Verdict.UNFIT), f"strip {seen} mg/L, the label asks for {level.asked_mg_l:g} mg/L"


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
    return f"{sum(poured)} mL came out, at least {needed:.0f} mL must: measure the flow again"


def _strips(attempt: Attempt) -> list[int]:
    assert attempt.done is not None
    return [value for name, value in (attempt.done.says.readings or {}).items() if name.endswith("_mg_l")]
