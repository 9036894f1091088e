"""What `fettlebook water --practice` prints beyond the table of chairs: every limit, treatments, high results, a rise of all."""

from collections.abc import Iterator
from typing import Any

from fettlebook.cli.water_book import say
from fettlebook.cli.water_page import as_data, percent, show
from fettlebook.exchange.laboratory.beside import Achieved, HighInARow, WaterBeside
from fettlebook.exchange.laboratory.from_book import BookWater, LimitToday
from fettlebook.exchange.laboratory.water_words import achieved_words, cause_words, high_words, rise_words
from fettlebook.rules.words import origin_in_words
from fettlebook.standing.asking import said_at
from fettlebook.standing.look import Look
from fettlebook.standing.water_history import WaterResult

SHOWN_A_CHAIR = 2  # the newest treatments of each chair; --json has all


def show_book(look: Look, water: BookWater, beside: WaterBeside) -> None:
    """Print the answer from a book."""
    show(water.judged, said=True)
    for limit in water.limits:
        say(f"Limit in force: {limit.value[-1]:g} {limit.unit} ({limit.role}), {origin_in_words(limit.origin)}.")
    if not water.limits:
        say("The rules in force name no limit for this count; 500 CFU/mL was asked about.")
    for chair in water.chairs:
        each = water.each_limit(chair.chair)
        if len(each) > 1 and water.today(chair.chair).proven and water.judged.trusted:
            told = "; ".join(f"over {one.cfu_ml:g} ({one.limit.role}) {percent(one.p_above)}" for one in each)
            say(f"{chair.chair}: {told}.")
    for line in evidence_lines(look, beside):
        say(line)


def evidence_lines(look: Look, beside: WaterBeside) -> Iterator[str]:
    """Yield what treatments achieved, high results in a row and a common rise, in words."""
    for number, one in enumerate(beside.achieved):
        later = sum(other.chair == one.chair for other in beside.achieved[number + 1 :])
        if later < SHOWN_A_CHAIR:
            yield achieved_words(look, one)
    for high in beside.high:
        yield high_words(look, high)
    yield rise_words(beside)
    yield from cause_words(beside)


def book_data(look: Look, water: BookWater, beside: WaterBeside) -> dict[str, Any]:
    """Return the answer for programs."""
    trusted = water.judged.trusted
    return as_data(water.judged) | {
        "limits": [
            {"id": m.id, "role": m.role, "value": list(m.value), "unit": m.unit, "rule": origin_in_words(m.origin)} for m in water.limits
        ],
        "each_limit": {
            c.chair: [_limit_data(one) if trusted else None for one in water.each_limit(c.chair)] for c in water.chairs
        },
        "results": [_result_data(look, r) for c in water.chairs for r in c.results],
        "treatments": [_achieved_data(look, one) for one in beside.achieved],
        "not_whole": [
            {"chair": c.chair, "done_at": said_at(t.done_ms, look.basis.zone), "why": t.why}
            for c in water.chairs
            for t in c.treatments
            if not t.whole
        ],
        "high_in_a_row": [_high_data(one) for one in beside.high],
        "common_rise": None
        if beside.rise is None
        else {
            "p_by_chance": beside.rise.p_by_chance,
            "chairs": beside.rise.chairs,
            "higher": beside.rise.higher,
            "suspected": beside.rise.suspected,
        },
        "no_common_rise_because": beside.no_rise,
        "shared_rise": None if beside.cause is None else _cause_data(beside),
    }  # fmt: skip


def _cause_data(beside: WaterBeside) -> dict[str, Any]:
    cause, sorts = beside.cause, {one.name: one.sort for one in beside.shared}
    assert cause is not None
    return {
        "probability": cause.probability, "told": cause.suspected, "named": list(cause.named.names) if cause.named is not None else None,
        "suspects": [
            {"names": list(s.names), "sorts": [sorts[name] for name in s.names], "chairs": list(s.chairs), "probability": s.probability}
            for s in cause.suspects
        ],
    }  # fmt: skip


def _limit_data(one: LimitToday) -> dict[str, Any]:
    return {
        "limit": one.limit.id,
        "cfu_per_ml": one.cfu_ml,
        "p_above": one.p_above,
        "p_next_sample_above": one.p_next_above,
        "passes_risk_on": str(one.passes_on) if one.passes_on else None,
    }


def _result_data(look: Look, r: WaterResult) -> dict[str, Any]:
    return {
        "chair": r.chair,
        "sample": r.sample,
        "outlets": list(r.outlets or ()),
        "taken_at": said_at(r.taken_ms, look.basis.zone),
        "cfu_per_ml": r.per_ml,
        "mark": r.mark,
        "colonies": r.seen.colonies if r.seen else None,
        "plated_ml": r.seen.volume_ml if r.seen else None,
        "verdict": r.verdict.value,
        "doubts": list(r.doubts),
        "entries": list(r.evidence),
    }


def _achieved_data(look: Look, one: Achieved) -> dict[str, Any]:
    r = one.reduction
    return {
        "chair": one.chair,
        "done_at": said_at(one.treatment.done_ms, look.basis.zone),
        "log10_reduction": None if r is None else {"low": r.low, "middle": r.middle, "high": r.high},
        "good_days": one.good_days,
        "over_after_days": one.over_after_days,
        "claim_log10": one.claim_log10,
    }


def _high_data(one: HighInARow) -> dict[str, Any]:
    return {"chair": one.chair, "in_a_row": len(one.results), "treated_between": one.treated, "limit": one.limit.id}
