"""A measured flow in sentences, for every face: the result, how to get nearer, and how it stands to what times were promised on."""

from collections.abc import Iterable

from fettlebook.said import listed, said
from fettlebook.science.flow import ENOUGH, FEW_SCATTER, CupPlan, Flow, Tools, way_to_measure
from fettlebook.times.against import Meant, Place
from fettlebook.times.calibrated import known_now
from fettlebook.times.promised import Assumed
from fettlebook.times.sure import flow_share
from fettlebook.times.words import clock

AS_IN_USE = said("Measure with the outlets open that are open in use, handpieces as in use: else the flow is another one.")


def result_words(found: Flow) -> str:
    """Say the flow with its range."""
    cups = len(found.readings)
    return said(
        "Flow: {flow_ml_min:.3g} mL/min, from {low_ml_min:.3g} to {high_ml_min:.3g} (95 %, ±{expanded_share:.0f} %), {cups} cup{cups2}",
        flow_ml_min=found.flow_ml_min,
        low_ml_min=found.low_ml_min,
        high_ml_min=found.high_ml_min,
        expanded_share=found.expanded_share * 100,
        cups=cups,
        cups2="s" * (cups > 1),
    )


def aim_words(found: Flow, tools: Tools, aim_pct: float) -> str:
    """Say how to come as near as is aimed at; empty where the measurement is near enough."""
    if found.expanded_share * 100 <= aim_pct:
        return ""
    scatter = found.scatter_share if found.scatter_share is not None and len(found.readings) >= ENOUGH else FEW_SCATTER
    way = way_to_measure(aim_pct / 100, flow_ml_min=found.flow_ml_min, tools=tools, scatter_share=scatter)
    if way is None:
        return said(
            "±{aim_pct:g} % can't be reached with this cup and watch: use a cup with finer lines, or weigh the water.", aim_pct=aim_pct
        )
    return said(
        "For ±{aim_pct:g} %: {cups} cups of {seconds}, about {volume_ml:.0f} mL each.",
        aim_pct=aim_pct,
        cups=way.cups,
        seconds=clock(way.seconds),
        volume_ml=way.volume_ml,
    )


def way_words(way: CupPlan | None, about_ml_min: float, aim_pct: float) -> tuple[str, ...]:
    """Say how to measure, before anything was."""
    if way is None:
        return (
            said(
                "±{aim_pct:g} % can't be reached with this cup and watch at {about_ml_min:g} mL/min: use a cup with finer lines, or weigh.",
                aim_pct=aim_pct,
                about_ml_min=about_ml_min,
            ),
        )
    return (
        said(
            "For ±{aim_pct:g} % at about {about_ml_min:g} mL/min: {cups} cups of {seconds}, about {volume_ml:.0f} mL each.",
            aim_pct=aim_pct,
            about_ml_min=about_ml_min,
            cups=way.cups,
            seconds=clock(way.seconds),
            volume_ml=way.volume_ml,
        ),
        said("Fully open, 10 s into the bowl first, then the cup under it and the watch on together. Read at eye level."),
    )


def compared_words(found: Flow, place: Place) -> str:
    """Say how the measured flow stands to the file's."""
    outlet = place.outlet
    was = said("measured on {measured_on}", measured_on=outlet.measured_on) if outlet.measured_on else said("not measured")
    if not found.differs_from(outlet.flow_ml_min):
        return said(
            "The file says {flow_ml_min:g} mL/min ({was}): within the uncertainty of this measurement.",
            flow_ml_min=outlet.flow_ml_min,
            was=was,
        )
    off = found.flow_ml_min / outlet.flow_ml_min - 1
    amount = said("{off:.0f} % {off2}", off=abs(off) * 100, off2=said("more") if off > 0 else said("less"))
    return said(
        "The file says {flow_ml_min:g} mL/min ({was}); measured is {amount}, more than the uncertainty.",
        flow_ml_min=outlet.flow_ml_min,
        was=was,
        amount=amount,
    )


def promised_words(meant: Meant, *, by_name: bool = True) -> Iterable[str]:
    """Say on which value times were promised, how the measurement stands to it, and which times hold no more, by the steps' ids."""
    if meant.assumed:
        yield _assumed(meant.assumed)
    short = tuple(dict.fromkeys(p.step_id for p in meant.promises if not p.holds))
    count = len(meant.promises)
    if not count:
        yield said("No running time goes through this outlet.")
    elif not short:
        yield said("All {count} running times through this outlet are long enough.", count=count)
    else:
        holding = sum(p.holds for p in meant.promises)
        yield said(
            "{holding} of {count} running times through this outlet {holding2} long enough.",
            holding=holding or said("None"),
            count=count,
            holding2=said("is") if holding == 1 else said("are"),
        )
        if by_name:
            yield said("TOO SHORT by this measurement: {short}.", short=listed(short))


def _assumed(assumed: Assumed) -> str:
    ends = said("{low:.3g} to {high:.3g} mL/min", low=assumed.low, high=assumed.high)
    told = {
        "inside": said("the measurement lies inside"),
        "partly outside": said("the measurement lies partly outside"),
        "outside": said(
            "the measurement lies outside, {low}", low=said("slower") if assumed.measured_high < assumed.low else said("faster")
        ),
    }[assumed.stands]
    return said("Times were promised on {assumed:g} mL/min, taken as {ends}: {told}.", assumed=assumed.value, ends=ends, told=told)


def rests_words(place: Place) -> str:
    """Say on which flow the running times through an outlet rest, before it is measured again."""
    outlet = next(o for o in known_now(place.chair).outlets if o.id == place.outlet.id)
    share, flow = flow_share(outlet), outlet.flow_ml_min
    on = place.outlet.measured_on
    how = (
        said("measured on {on}", on=on)
        if outlet.measured_on
        else said("measured on {on}, before the lines were changed", on=on)
        if on
        else said("not measured")
    )
    return said(
        "Running times rest on {flow:g} mL/min ({how}), taken as {share:.3g} to {share2:.3g} mL/min.",
        flow=flow,
        how=how,
        share=flow * (1 - share),
        share2=flow * (1 + share),
    )


def open_together(place: Place) -> str:
    """Say which outlets are open while this one is measured."""
    return said("Open together as in use: {together}.", together=listed(place.together))
