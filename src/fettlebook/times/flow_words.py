"""A measured flow in sentences, for every face: the result, how to get nearer, and how it stands to what times were promised on."""

from collections.abc import Iterable

from fettlebook.science.flow import ENOUGH, FEW_SCATTER, CupPlan, Flow, Tools, way_to_measure
from fettlebook.times.against import Meant, Place
from fettlebook.times.calibrated import known_now
from fettlebook.times.promised import Assumed
from fettlebook.times.sure import flow_share
from fettlebook.times.words import clock, listed

AS_IN_USE = "Measure with the outlets open that are open in use, handpieces as in use: else the flow is another one."


def result_words(found: Flow) -> str:
    """Say the flow with its range."""
    cups = len(found.readings)
    return (
        f"Flow: {found.flow_ml_min:.3g} mL/min, from {found.low_ml_min:.3g} to {found.high_ml_min:.3g} "
        f"(95 %, ±{found.expanded_share * 100:.0f} %), {cups} cup{'s' * (cups > 1)}"
    )


def aim_words(found: Flow, tools: Tools, aim_pct: float) -> str:
    """Say how to come as near as is aimed at; empty where the measurement is near enough."""
    if found.expanded_share * 100 <= aim_pct:
        return ""
    scatter = found.scatter_share if found.scatter_share is not None and len(found.readings) >= ENOUGH else FEW_SCATTER
    way = way_to_measure(aim_pct / 100, flow_ml_min=found.flow_ml_min, tools=tools, scatter_share=scatter)
    if way is None:
        return f"±{aim_pct:g} % can't be reached with this cup and watch: use a cup with finer lines, or weigh the water."
    return f"For ±{aim_pct:g} %: {way.cups} cups of {clock(way.seconds)}, about {way.volume_ml:.0f} mL each."


def way_words(way: CupPlan | None, about_ml_min: float, aim_pct: float) -> tuple[str, ...]:
    """Say how to measure, before anything was."""
    if way is None:
        return (
            f"±{aim_pct:g} % can't be reached with this cup and watch at {about_ml_min:g} mL/min: use a cup with finer lines, or weigh.",
        )
    return (
        f"For ±{aim_pct:g} % at about {about_ml_min:g} mL/min: {way.cups} cups of {clock(way.seconds)}, about {way.volume_ml:.0f} mL each.",
        "Fully open, 10 s into the bowl first, then the cup under it and the watch on together. Read at eye level.",
    )


def compared_words(found: Flow, place: Place) -> str:
    """Say how the measured flow stands to the file's."""
    outlet = place.outlet
    was = f"measured on {outlet.measured_on}" if outlet.measured_on else "not measured"
    if not found.differs_from(outlet.flow_ml_min):
        return f"The file says {outlet.flow_ml_min:g} mL/min ({was}): within the uncertainty of this measurement."
    off = found.flow_ml_min / outlet.flow_ml_min - 1
    amount = f"{abs(off) * 100:.0f} % {'more' if off > 0 else 'less'}"
    return f"The file says {outlet.flow_ml_min:g} mL/min ({was}); measured is {amount}, more than the uncertainty."


def promised_words(meant: Meant, *, by_name: bool = True) -> Iterable[str]:
    """Say on which value times were promised, how the measurement stands to it, and which times hold no more, by the steps' ids."""
    if meant.assumed:
        yield _assumed(meant.assumed)
    short = tuple(dict.fromkeys(p.step_id for p in meant.promises if not p.holds))
    count = len(meant.promises)
    if not count:
        yield "No running time goes through this outlet."
    elif not short:
        yield f"All {count} running times through this outlet are long enough."
    else:
        holding = sum(p.holds for p in meant.promises)
        yield f"{holding or 'None'} of {count} running times through this outlet {'is' if holding == 1 else 'are'} long enough."
        if by_name:
            yield f"TOO SHORT by this measurement: {listed(short)}."


def _assumed(assumed: Assumed) -> str:
    ends = f"{assumed.low:.3g} to {assumed.high:.3g} mL/min"
    told = {
        "inside": "the measurement lies inside",
        "partly outside": "the measurement lies partly outside",
        "outside": f"the measurement lies outside, {'slower' if assumed.measured_high < assumed.low else 'faster'}",
    }[assumed.stands]
    return f"Times were promised on {assumed.value:g} mL/min, taken as {ends}: {told}."


def rests_words(place: Place) -> str:
    """Say on which flow the running times through an outlet rest, before it is measured again."""
    outlet = next(o for o in known_now(place.chair).outlets if o.id == place.outlet.id)
    share, flow = flow_share(outlet), outlet.flow_ml_min
    on = place.outlet.measured_on
    how = f"measured on {on}" if outlet.measured_on else f"measured on {on}, before the lines were changed" if on else "not measured"
    return f"Running times rest on {flow:g} mL/min ({how}), taken as {flow * (1 - share):.3g} to {flow * (1 + share):.3g} mL/min."


def open_together(place: Place) -> str:
    """Say which outlets are open while this one is measured."""
    return f"Open together as in use: {listed(place.together)}."
