"""The evidence beside the counts' verdict in words, the same for command and pages."""

from typing import Final

from fettlebook.exchange.laboratory.beside import Achieved, HighInARow, WaterBeside
from fettlebook.exchange.laboratory.from_book import limit_cfu_ml
from fettlebook.science.trends.cause import NAMED, TOLD
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


def cause_words(beside: WaterBeside) -> tuple[str, ...]:
    """Return which of the things that chairs share fits their rise, what the counts can't tell apart, and what would tell."""
    cause = beside.cause
    if cause is None or not cause.suspects:
        return ()
    if not cause.suspected:
        chance, from_here = _chance(cause.probability), f"told from {100 * TOLD:g} % on"
        return (f"Nothing that several chairs share (mains, lot, laboratory) stands out: chance of a shared rise {chance}, {from_here}.",)
    lines = [f"Chairs that share something rose together with a chance of {_chance(cause.probability)}."]
    named = cause.named
    if named is None:
        told = "; ".join(f"{' or '.join(one.names)} {_chance(one.probability)}" for one in cause.suspects)
        lines.append(f"The counts can't tell which: {told}.")
        tied = tuple(name for one in cause.suspects if one.probability > 1 - NAMED for name in one.names)
    else:
        others = [f"{' or '.join(one.names)} {_chance(one.probability)}" for one in cause.suspects[1:]]
        against = f" Against it: {'; '.join(others)}." if others else ""
        lines.append(
            f"It fits {' or '.join(named.names)} with {_chance(named.probability)}: {', '.join(named.chairs)} rose together.{against}"
        )
        tied = named.names
    if len(tied) > 1 and named is not None:
        lines.append("These touch the same chairs, so no count of this round can tell them apart.")
    sorts = {one.name: one.sort for one in beside.shared}
    lines.extend(WOULD_TELL[sort] for sort in dict.fromkeys(sorts[name] for name in tied) if len(tied) > 1)
    return tuple(lines)


WOULD_TELL: Final[dict[str, str]] = {
    "laboratory": "The laboratory: send two bottles of one outlet, one to a second laboratory, and a field blank with each.",
    "supply": "The mains: sample the water before it enters a chair, and a chair that runs on its own bottle.",
    "lot": "The lot: treat one chair with another lot, and sample it beside the others.",
}


def _chance(share: float) -> str:
    return "under 1 %" if share < 0.01 else "over 99 %" if share > 0.99 else f"{100 * share:.0f} %"
