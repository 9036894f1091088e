"""Whether a sample can prove anything: on its way too long or too warm, a field blank that grew, a neutraliser that stops something else.

An invalid sample is no good news: within the limit it leaves the water unproven. A count over the limit is acted on all the same.
"""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Origin
from fettlebook.rules.neutraliser import neutraliser, stops
from fettlebook.said import said, said_count
from fettlebook.science.plates import Plate
from fettlebook.science.trends.seen import seen_on
from fettlebook.standing.basis import BOOK, HOUR_MS
from fettlebook.standing.evidence import is_dosed
from fettlebook.standing.facts import Result, Taken
from fettlebook.standing.look import Look

HOLD: Final = "all.sample.hold"
ARRIVAL: Final = "all.sample.temp"
NL_PER_ML: Final = 1e6
ROUNDED: Final = 0.06  # a report has two digits: 5 % at most, and a little for halves


def sample_doubts(look: Look, chair: Chair, result: Result, taken: Taken | None, taken_ms: int) -> Iterator[tuple[str, Origin]]:
    """Yield each reason why a result proves nothing, with the rule that says so; what the book doesn't tell is no reason.

    Parameters
    ----------
    chair
        The chair it was taken at.
    result, taken, taken_ms
        The result, what was said when the sample was taken, and when that was.
    """
    if result.not_valid is not None:
        yield said("the laboratory says it is not valid: {not_valid}", not_valid=result.not_valid), BOOK
    yield from _on_the_way(look, result, taken_ms)
    if result.blank_colonies:
        grown = said_count("{n} colony", "{n} colonies", n=result.blank_colonies)
        yield said("its field blank grew {grown}: what was counted may not be this water's", grown=grown), BOOK
    yield from _neutralised_with(look, chair, taken)
    yield from _plates_agree(result)


def _on_the_way(look: Look, result: Result, taken_ms: int) -> Iterator[tuple[str, Origin]]:
    hold, arrival = look.basis.rulebook.limit(HOLD), look.basis.rulebook.limit(ARRIVAL)
    if result.received_ms is not None:
        hours = (result.received_ms - taken_ms) / HOUR_MS
        if hours < 0:
            yield said("the laboratory had it before it was taken"), BOOK
        elif hold is not None and hours > max(hold.value):
            yield said("begun after {hours:.1f} h, at most {hold:g} h are asked for", hours=hours, hold=max(hold.value)), hold.origin
    if result.received_mc is not None and arrival is not None:
        arrived = result.received_mc / 1000
        if not min(arrival.value) <= arrived <= max(arrival.value):
            asked = said("{arrival:g} to {arrival2:g} degC", arrival=min(arrival.value), arrival2=max(arrival.value))
            yield said("it arrived at {arrived:g} degC, {asked} is asked for", arrived=arrived, asked=asked), arrival.origin


def _neutralised_with(look: Look, chair: Chair, taken: Taken | None) -> Iterator[tuple[str, Origin]]:
    """Hold the neutraliser that was in the bottle against the product that stands in the chair's water all day."""
    if taken is None or taken.neutraliser is None or not is_dosed(look, chair):
        return
    in_use = look.basis.practice.in_use.line_continuous
    active = next((product.active for product in look.basis.practice.products if product.id == in_use), None)
    row = neutraliser(active, look.basis.rulebook) if active is not None else None
    if row is not None and active is not None and not stops(taken.neutraliser, row):
        yield (
            said("{neutraliser} does not stop {active}: the count may be too low", neutraliser=taken.neutraliser, active=active),
            row.origin,
        )


def _plates_agree(result: Result) -> Iterator[tuple[str, Origin]]:
    """Hold the plates against each other, and the number of the report against them where all were counted."""
    known = [(colonies, plated, kind) for colonies, plated, kind in result.plates if colonies is not None]
    plates = [Plate(colonies, plated / NL_PER_ML, kind == "above") for colonies, plated, kind in known if kind != "below"]
    if plates and seen_on(plates, result.value, result.mark, 0.0) is None:
        yield said("its plates don't go together: some are too many to count, others say few"), BOOK
    counted = [plate for plate in plates if not plate.too_many]
    if result.mark is not None or len(counted) != len(result.plates) or not counted or result.unit != "CFU/mL":
        return
    per_ml = sum(plate.colonies for plate in counted) / sum(plate.volume_ml for plate in counted)
    if abs(per_ml - result.value) > max(1.0, ROUNDED * max(per_ml, result.value)):
        yield said("its plates say {per_ml:.3g} CFU/mL: ask the laboratory which number holds", per_ml=per_ml), BOOK
