"""What `fettlebook checks` prints: hoses with their chart's limits, care and wet times that aren't fit, shares of clean spots."""

from __future__ import annotations

import textwrap
from collections import Counter
from collections.abc import Iterator, Sequence
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import PRACTICE
from fettlebook.cli.standing_page import WIDTH, rule_words, sign
from fettlebook.standing.asking import name_of, said_at
from fettlebook.standing.basis import stamp
from fettlebook.standing.model import SHAPES, Verdict
from fettlebook.standing.parts import PartSays
from fettlebook.standing.rounds import ChairChecks
from fettlebook.standing.suction import HoseDraws, SuctionCare
from fettlebook.standing.surfaces import Share, WetTime
from fettlebook.times.words import clock

SHOWN: Final = 5  # of each chair's times that aren't fit, the newest
LAST: Final = (
    "A chart says only whether a hose draws as it did: the maker's figure decides. A share says how often spots were clean, "
    "not whose work it was: few checks say little, as the interval shows. Instructions for use and labels come first."
)


def checks_page(found: Sequence[ChairChecks], shares: Sequence[Share], days: int, zone: ZoneInfo) -> Iterator[str]:
    """Yield the lines of all chairs, then the checks of cleaning."""
    for one in found:
        yield f"{one.chair}, {days} days"
        for hose in one.hoses:
            yield from _wrap(f"{hose.hose}: {_hose(hose)}", "  ")
        if one.hoses:
            yield f"  suction care: {_tally([care.verdict for care in one.care])}"
            yield from _not_fit(one.care, zone)
        yield f"  surfaces wet: {_tally([wet.verdict for wet in one.wet])}"
        for wet in [wet for wet in one.wet if wet.verdict is not Verdict.FIT][-SHOWN:]:
            yield from _wrap(f"{sign(wet.verdict)} {stamp(wet.done_ms, zone)}: {wet.why}", "    ")
            yield from _wrap(f"rule {rule_words(wet.origin)}", "        ")
        yield ""
    yield "Spots checked after cleaning" if shares else "No check of cleaning in the book."
    for share in shares:
        yield f"  {share.place} ({share.method}), {share.round or 'all rounds'}: {_share(share)}"
    yield ""
    yield from _wrap(LAST, "")


def parts_page(parts: Sequence[PartSays]) -> Iterator[str]:
    """Yield the parts that last for so long, the next due first."""
    yield "Parts with a life" if parts else "No change of a filter, separator or bottle in the book."
    for one in parts:
        of = "building" if one.subject == PRACTICE else name_of(one.subject)
        yield from _wrap(f"{sign(one.verdict)} {one.words}, {of}: {one.why}", "  ")


def parts_data(parts: Sequence[PartSays], zone: ZoneInfo) -> list[dict[str, Any]]:
    """Return the parts for JSON."""
    return [
        {"subject": p.subject, "part": p.part, "name": p.name, "done": p.done, "when": said_at(p.changed_ms, zone), "lot": p.lot}
        | {"good_days": p.good_days, "due": said_at(p.due_ms, zone), "verdict": p.verdict.value, "why": p.why, "evidence": list(p.evidence)}
        for p in parts
    ]


def _hose(hose: HoseDraws) -> str:
    if hose.chart is None:
        return hose.says
    low, high = hose.chart.low, hose.chart.high
    return f"{hose.readings[-1]:.3g} {hose.unit}, {hose.says} (limits {max(0.0, low):.3g} to {high:.3g}, {len(hose.readings)} readings)"


def _tally(verdicts: Sequence[Verdict]) -> str:
    counts = Counter(verdicts)
    return ", ".join(f"{SHAPES[v]} {counts[v]} {v.value}" for v in Verdict if counts[v]) or "nothing in the book"


def _not_fit(care: Sequence[SuctionCare], zone: ZoneInfo) -> Iterator[str]:
    for one in [one for one in care if one.verdict is not Verdict.FIT][-SHOWN:]:
        ran = f", acted {clock(one.dwell_s)}" if one.dwell_s is not None else ""
        asked = f" of {clock(one.planned_s)}" if one.planned_s is not None and ran else ""
        yield f"    {sign(one.verdict)} {stamp(one.began_ms, zone)}{ran}{asked}"
        for part in one.reasons:
            yield from _wrap(f"{sign(part.verdict)}: {part.what}: {part.why}", "      ")
            yield from _wrap(f"rule {rule_words(part.origin)}", "        ")


def _share(share: Share) -> str:
    untold = f"; {share.untold} without a limit" if share.untold else ""
    if share.low is None or share.high is None:
        return f"nothing to tell{untold}"
    return f"{share.clean} of {share.of} clean, {share.low:.0%} to {share.high:.0%}{untold}"


def _wrap(text: str, lead: str) -> Iterator[str]:
    yield from textwrap.wrap(text, WIDTH, initial_indent=lead, subsequent_indent=lead + "  ")


def checks_data(found: Sequence[ChairChecks], shares: Sequence[Share], zone: ZoneInfo) -> dict[str, Any]:
    """Return suction, surfaces and shares for JSON."""
    return {
        "chairs": [
            {
                "chair": one.chair,
                "hoses": [_hose_data(hose, zone) for hose in one.hoses],
                "suction_care": [_care_data(care, zone) for care in one.care],
                "surfaces_wet": [_wet_data(wet, zone) for wet in one.wet],
            }
            for one in found
        ],
        "cleaning": [
            {"place": s.place, "method": s.method, "round": s.round, "clean": s.clean, "of": s.of}
            | {"low": s.low, "high": s.high, "without_limit": s.untold}
            for s in shares
        ],
    }


def _hose_data(hose: HoseDraws, zone: ZoneInfo) -> dict[str, Any]:
    drawn = hose.chart
    limits = None if drawn is None else {"centre": drawn.centre, "low": drawn.low, "high": drawn.high, "beyond": list(drawn.beyond)}
    readings = [{"at": said_at(at, zone), "value": value} for at, value in zip(hose.taken_ms, hose.readings, strict=True)]
    return {"hose": hose.hose, "unit": hose.unit, "says": hose.says, "chart": limits, "readings": readings}


def _care_data(care: SuctionCare, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "began": said_at(care.began_ms, zone),
        "verdict": care.verdict.value,
        "amount_ml": care.amount_ml,
        "planned_s": care.planned_s,
        "dwell_s": care.dwell_s,
        "reasons": [
            {"what": p.what, "verdict": p.verdict.value, "why": p.why, "rule": p.origin.rule_id, "source": p.origin.source}
            | {"sure": p.origin.sure, "evidence": list(p.evidence)}
            for p in care.reasons
        ],
    }


def _wet_data(wet: WetTime, zone: ZoneInfo) -> dict[str, Any]:
    return {
        "done": said_at(wet.done_ms, zone),
        "step": wet.step_id,
        "planned_s": wet.planned_s,
        "ran_s": wet.ran_s,
        "verdict": wet.verdict.value,
        "why": wet.why,
        "rule": wet.origin.rule_id,
        "source": wet.origin.source,
        "evidence": list(wet.evidence),
    }
