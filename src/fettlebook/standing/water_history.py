"""A chair's water as the book tells it: every result with what it rests on, and every intensive treatment, whole or not.

Evidence beside the verdict, for whoever judges a trend; the verdict itself is made in `standing.water`.
"""

from dataclasses import dataclass
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.said import said
from fettlebook.science.plates import Plate
from fettlebook.science.trends import Sample
from fettlebook.science.trends.seen import Seen, seen_on
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.evidence import is_dosed
from fettlebook.standing.facts import Result
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.sample_checks import NL_PER_ML, sample_doubts
from fettlebook.standing.steps import AtChair
from fettlebook.standing.treatments import Treatment, treatments_of
from fettlebook.standing.water import PER_ML, Counted, binding_limits, counted_results, held_to_limits, intensive_duty

WATER_COUNT: Final = "water count"


@dataclass(frozen=True, slots=True)
class WaterResult:
    """One result. `doubts` say why it proves nothing; `per_ml` is None where its unit is none of a volume."""

    chair: str
    sample: str
    outlets: tuple[str, ...] | None
    taken_ms: int
    per_ml: float | None
    mark: str | None
    seen: Seen | None  # colonies on a volume; None: the book doesn't say
    method: str | None
    doubts: tuple[str, ...]
    verdict: Verdict
    why: str
    evidence: tuple[str, ...]
    laboratory: str | None = None  # where its entry names one

    def as_sample(self, days: float, volume_ml: float | None = None) -> Sample | None:
        """Return what the model takes; None where colonies and volume can't be said. `volume_ml`: where the book has no volume."""
        seen = self.seen
        if seen is None and volume_ml is not None and self.per_ml is not None:
            seen = seen_on((), self.per_ml, self.mark, volume_ml)
        return None if seen is None else Sample(self.chair, days, seen.kind, seen.colonies, seen.volume_ml)


@dataclass(frozen=True, slots=True)
class Intensive:
    """An intensive treatment: when it began and ended, whether all of it was as it must be, and if not, why."""

    began_ms: int
    done_ms: int
    whole: bool
    why: str
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class ChairWater:
    """A chair's results and treatments, oldest first."""

    chair: str
    results: tuple[WaterResult, ...]
    treatments: tuple[Intensive, ...]

    @property
    def whole(self) -> tuple[Intensive, ...]:
        """The treatments that count."""
        return tuple(one for one in self.treatments if one.whole)

    def days_since_intensive(self, at_ms: int) -> float | None:
        """Return the days from the last whole treatment to a moment; None where the book has none before it."""
        before = [one.done_ms for one in self.whole if one.done_ms <= at_ms]
        return (at_ms - before[-1]) / DAY_MS if before else None


def chair_water(look: Look, chair: Chair, quantity: str = WATER_COUNT) -> ChairWater:
    """Return a chair's results of a quantity and its intensive treatments, as the book has them at a look's moments."""
    at = AtChair(look, chair, 0, frozenset(outlet.id for outlet in chair.outlets))
    results = sorted((_result(at, one, quantity) for one in counted_results(at, quantity)), key=lambda one: (one.taken_ms, one.sample))
    duty = intensive_duty(look, chair)
    treated = treatments_of(look, chair, duty) if duty is not None else ()
    return ChairWater(chair.id, tuple(results), tuple(_intensive(one) for one in treated))


def _result(at: AtChair, one: Counted, quantity: str) -> WaterResult:
    result = one.result
    doubts = [why for why, _ in sample_doubts(at.look, at.chair, result, one.said, one.taken)]
    if not one.dated:
        doubts.append(said("when it was taken is not in the book"))
    if one.neutralised is not True and is_dosed(at.look, at.chair):
        doubts.append(said("not neutralised, so it may be too low"))
    limits = binding_limits(at.look, quantity)
    verdict, why, _ = held_to_limits(at, one, limits) if limits else (Verdict.UNPROVEN, said("no limit in force"), None)
    per_ml = result.value * PER_ML[result.unit] if result.unit in PER_ML else None
    seen = _seen(result, per_ml) if per_ml is not None else None
    return WaterResult(
        at.chair.id, result.sample, one.outlets, one.taken, per_ml, result.mark, seen, result.method, tuple(doubts), verdict, why,
        one.evidence, one.said.laboratory if one.said is not None else None,
    )  # fmt: skip


def _seen(result: Result, per_ml: float) -> Seen | None:
    """Return what the plates say; where only their volume is known, what the number says of it."""
    if not result.plates:
        return None
    colonies, nl, kind = result.plates[0]
    if colonies is None:
        return seen_on((), per_ml, result.mark, nl / NL_PER_ML)
    if kind == "below":
        return Seen("below", colonies, nl / NL_PER_ML)
    plates = [Plate(seen, plated / NL_PER_ML, sort == "above") for seen, plated, sort in result.plates if seen is not None]
    return seen_on(plates, per_ml, result.mark, 0.0)


def _intensive(one: Treatment) -> Intensive:
    """Return a treatment as the trend takes it: the verdict of the treatment's own record, whatever of it was wanting."""
    bad = next(iter(one.reasons), None)
    why = said("{what}: {why}", what=bad.what, why=bad.why) if bad is not None else said("done as asked")
    entries = tuple(dict.fromkeys(entry for part in one.parts for entry in part.evidence))
    return Intensive(one.began_ms, one.ended_ms, bad is None, why, entries)
