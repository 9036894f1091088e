"""The evidence beside the counts' verdict in words, the same for command and pages."""

from typing import Final

from fettlebook.exchange.laboratory.beside import Achieved, HighInARow, WaterBeside
from fettlebook.exchange.laboratory.from_book import limit_cfu_ml
from fettlebook.said import joined, said
from fettlebook.science.trends.cause import NAMED, TOLD
from fettlebook.science.trends.supply import FALSE_ALARM
from fettlebook.standing.look import Look


def achieved_words(look: Look, one: Achieved) -> str:
    """Return what a treatment took away, for how long, and what its label claims."""
    day = look.basis.day_of(one.treatment.done_ms)
    if one.reduction is None:
        missing = (
            said("no result before it")
            if one.before is None
            else said("no result after it")
            if one.after is None
            else said("the results are bounds")
        )
        told = said("{chair}, treated {day}: what it took away can't be said ({missing})", chair=one.chair, day=day, missing=missing)
    elif one.reduction.middle is None or one.reduction.high is None:
        least = (
            said("took away at least {low:.1f} log10", low=one.reduction.low)
            if one.reduction.low > 0
            else said("the results prove no reduction")
        )
        told = said("{chair}, treated {day}: {least}", chair=one.chair, day=day, least=least)
    else:
        low, middle, high = one.reduction.low, one.reduction.middle, one.reduction.high
        between = said("{low:.1f} to {high:.1f}", low=low, high=high)
        told = said(
            "{chair}, treated {day}: took away {middle:.1f} log10 ({between})", chair=one.chair, day=day, middle=middle, between=between
        )
        if high < 0:
            told = said(
                "{chair}, treated {day}: higher after it than before ({between} log10 taken away)",
                chair=one.chair,
                day=day,
                between=between,
            )
        elif low < 0:
            told = said(
                "{chair}, treated {day}: {middle:.1f} log10 ({between}), so it may have done nothing",
                chair=one.chair,
                day=day,
                middle=middle,
                between=between,
            )
    if one.reduction is not None and one.claim_log10 is not None:
        told += said("; the label claims {claim_log10:g} against germs afloat", claim_log10=one.claim_log10)
    if one.over_after_days is not None:
        told += said("; over the limit again after {over_after_days:.0f} days", over_after_days=one.over_after_days)
    elif one.good_days is not None:
        told += said("; last result until the next treatment: within the limit, {good_days:.0f} days on", good_days=one.good_days)
    return told + "."


def high_words(look: Look, one: HighInARow) -> str:
    """Return how often a chair was over the limit in a row, and what the rules ask for then."""
    limit = said("{one:g} CFU/mL", one=limit_cfu_ml(one.limit))
    last = look.basis.day_of(one.results[-1].taken_ms)
    if not one.repeats:
        told = said("{chair}: the last result ({last}) is over {it}", chair=one.chair, last=last, it=limit)
    else:
        between = (
            said(
                ", treated {treated} in between", treated=said("once") if one.treated == 1 else said("{treated} times", treated=one.treated)
            )
            if one.treated
            else said(", not treated in between")
        )
        told = said(
            "{chair}: {results} results in a row over {it}, the last of {last}{between}",
            chair=one.chair,
            results=len(one.results),
            it=limit,
            last=last,
            between=between,
        )
    return f"{told}. {'It repeats: ' if one.repeats else ''}{one.asked.topic if one.asked else 'ask who is responsible for the water'}."


def rise_words(beside: WaterBeside) -> str:
    """Return whether all chairs rose together, with what it rests on."""
    rise = beside.rise
    if rise is None:
        return said("Whether all chairs rose together can't be told: {no_rise}.", no_rise=beside.no_rise)
    chance = (
        said("under 1 in 1,000")
        if rise.p_by_chance < 0.001
        else said("{p_by_chance:.0f} %", p_by_chance=100 * rise.p_by_chance)
        if rise.p_by_chance >= 0.01
        else said("under 1 %")
    )
    held = said(
        "{higher} of {chairs} chairs lie above what was expected; by chance this high together in {chance} of rounds",
        higher=rise.higher,
        chairs=rise.chairs,
        chance=chance,
    )
    if rise.suspected:
        alarm = said("A false alarm comes in at most {FALSE_ALARM:g} % of rounds.", FALSE_ALARM=100 * FALSE_ALARM)
        return said(
            "All chairs rose together: look at what they share (supply, product's lot, laboratory). {held}. {alarm}", held=held, alarm=alarm
        )
    return said("No rise of all chairs together: {held}.", held=held)


def cause_words(beside: WaterBeside) -> tuple[str, ...]:
    """Return which of the things that chairs share fits their rise, what the counts can't tell apart, and what would tell."""
    cause = beside.cause
    if cause is None or not cause.suspects:
        return ()
    if not cause.suspected:
        chance, from_here = _chance(cause.probability), said("told from {TOLD:g} % on", TOLD=100 * TOLD)
        return (
            said(
                "Nothing that several chairs share (mains, lot, laboratory) stands out: chance of a shared rise {chance}, {from_here}.",
                chance=chance,
                from_here=from_here,
            ),
        )
    lines: list[str] = [
        said("Chairs that share something rose together with a chance of {probability}.", probability=_chance(cause.probability))
    ]
    named = cause.named
    if named is None:
        told = joined("; ", (f"{' or '.join(one.names)} {_chance(one.probability)}" for one in cause.suspects))
        lines.append(said("The counts can't tell which: {told}.", told=told))
        tied = tuple(name for one in cause.suspects if one.probability > 1 - NAMED for name in one.names)
    else:
        others = [f"{' or '.join(one.names)} {_chance(one.probability)}" for one in cause.suspects[1:]]
        against = said(" Against it: {others}.", others=joined("; ", others)) if others else ""
        lines.append(
            said(
                "It fits {names} with {probability}: {chairs} rose together.{against}",
                names=" or ".join(named.names),
                probability=_chance(named.probability),
                chairs=joined(", ", named.chairs),
                against=against,
            )
        )
        tied = named.names
    if len(tied) > 1 and named is not None:
        lines.append(said("These touch the same chairs, so no count of this round can tell them apart."))
    sorts = {one.name: one.sort for one in beside.shared}
    lines.extend(WOULD_TELL[sort] for sort in dict.fromkeys(sorts[name] for name in tied) if len(tied) > 1)
    return tuple(lines)


WOULD_TELL: Final[dict[str, str]] = {
    "laboratory": said("The laboratory: send two bottles of one outlet, one to a second laboratory, and a field blank with each."),
    "supply": said("The mains: sample the water before it enters a chair, and a chair that runs on its own bottle."),
    "lot": said("The lot: treat one chair with another lot, and sample it beside the others."),
}


def _chance(share: float) -> str:
    return said("under 1 %") if share < 0.01 else said("over 99 %") if share > 0.99 else said("{share:.0f} %", share=100 * share)
