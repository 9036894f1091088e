"""The evidence beside the counts' verdict in words, the same for command and pages."""

from fettlebook.exchange.laboratory.beside import Achieved, HighInARow, WaterBeside
from fettlebook.exchange.laboratory.from_book import limit_cfu_ml
from fettlebook.science.trends.supply import FALSE_ALARM
from fettlebook.standing.look import Look


def achieved_words(look: Look, one: Achieved) -> str:
    """Return what a treatment took away, for how long, and what its label claims."""
    day = look.basis.day_of(one.treatment.done_ms)
    if one.reduction is None:
        missing = "no result before it" if one.before is None else "no result after it" if one.after is None else "the results are bounds"
        told = f"{one.chair}, treated {day}: what it took away can't be said ({missing})"
    elif one.reduction.middle is None or one.reduction.high is None:
        least = f"took away at least {one.reduction.low:.1f} log10" if one.reduction.low > 0 else "the results prove no reduction"
        told = f"{one.chair}, treated {day}: {least}"
    else:
        low, middle, high = one.reduction.low, one.reduction.middle, one.reduction.high
        between = f"{low:.1f} to {high:.1f}"
        told = f"{one.chair}, treated {day}: took away {middle:.1f} log10 ({between})"
        if high < 0:
            told = f"{one.chair}, treated {day}: higher after it than before ({between} log10 taken away)"
        elif low < 0:
            told = f"{one.chair}, treated {day}: {middle:.1f} log10 ({between}), so it may have done nothing"
    if one.reduction is not None and one.claim_log10 is not None:
        told += f"; the label claims {one.claim_log10:g} against germs afloat"
    if one.over_after_days is not None:
        told += f"; over the limit again after {one.over_after_days:.0f} days"
    elif one.good_days is not None:
        told += f"; last result until the next treatment: within the limit, {one.good_days:.0f} days on"
    return f"{told}."


def high_words(look: Look, one: HighInARow) -> str:
    """Return how often a chair was over the limit in a row, and what the rules ask for then."""
    limit = f"{limit_cfu_ml(one.limit):g} CFU/mL"
    last = look.basis.day_of(one.results[-1].taken_ms)
    if not one.repeats:
        told = f"{one.chair}: the last result ({last}) is over {limit}"
    else:
        between = (
            f", treated {'once' if one.treated == 1 else f'{one.treated} times'} in between" if one.treated else ", not treated in between"
        )
        told = f"{one.chair}: {len(one.results)} results in a row over {limit}, the last of {last}{between}"
    return f"{told}. {'It repeats: ' if one.repeats else ''}{one.asked.topic if one.asked else 'ask who is responsible for the water'}."


def rise_words(beside: WaterBeside) -> str:
    """Return whether all chairs rose together, with what it rests on."""
    rise = beside.rise
    if rise is None:
        return f"Whether all chairs rose together can't be told: {beside.no_rise}."
    chance = (
        "under 1 in 1,000" if rise.p_by_chance < 0.001 else f"{100 * rise.p_by_chance:.0f} %" if rise.p_by_chance >= 0.01 else "under 1 %"
    )
    held = f"{rise.higher} of {rise.chairs} chairs lie above what was expected; by chance this high together in {chance} of rounds"
    if rise.suspected:
        alarm = f"A false alarm comes in at most {100 * FALSE_ALARM:g} % of rounds."
        return f"All chairs rose together: look at what they share (supply, product's lot, laboratory). {held}. {alarm}"
    return f"No rise of all chairs together: {held}."
