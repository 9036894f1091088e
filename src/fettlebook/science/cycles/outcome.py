"""What judging says: one outcome for each criterion, and the judgement that they make together."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Final, Literal

from fettlebook.science.cycles.criteria import Limit, Sure
from fettlebook.science.cycles.meaning import MEANING

Verdict = Literal["fit", "unfit", "unproven"]
_RANK: Final[Mapping[Verdict, int]] = {"fit": 0, "unproven": 1, "unfit": 2}
OURS: Final = "fettlebook's own rule of evidence"


@dataclass(frozen=True, slots=True)
class Outcome:
    """One criterion held against the log.

    Parameters
    ----------
    id, name, unit
        Which criterion, in words, and the unit of its numbers.
    verdict
        `unproven` where the value lies within the sensors' uncertainty of the limit, or can't be told.
    value, limit, compare
        What the log says, what is asked, and how; None where there is no number.
    margin
        How far the value is on the good side of the limit; negative on the bad side.
    uncertainty
        How far the value may be out.
    source, sure
        Who asks for it, and how sure that is: "memory" shows as unchecked.
    moment_s
        Where on the graph to look, in the log's time [s].
    why
        What was seen, in words; empty where it is fit and there is nothing to say.
    """

    id: str
    name: str
    unit: str
    verdict: Verdict
    value: float | None
    limit: float | None
    compare: str
    margin: float | None
    uncertainty: float | None
    source: str
    sure: Sure
    moment_s: float | None = None
    why: str = ""


@dataclass(frozen=True, slots=True)
class Phase:
    """A part of the cycle, in the log's time [s]."""

    name: str
    from_s: float
    to_s: float


@dataclass(frozen=True, slots=True)
class Judgement:
    """A cycle judged. `values` have their unit in the name; `cannot_show` is what no log of this kind can prove."""

    criteria_id: str
    criteria_name: str
    outcomes: tuple[Outcome, ...]
    values: Mapping[str, float]
    phases: tuple[Phase, ...] = ()
    remarks: tuple[str, ...] = ()
    cannot_show: tuple[str, ...] = ()

    @property
    def verdict(self) -> Verdict:
        """The worst of the outcomes; of none, unproven."""
        return worst(outcome.verdict for outcome in self.outcomes)

    @property
    def reasons(self) -> tuple[str, ...]:
        """Why it is not fit, the worst first; empty where it is fit."""
        bad = [o for o in self.outcomes if o.verdict != "fit"]
        return tuple(f"{o.name}: {o.why}" for o in sorted(bad, key=lambda o: -_RANK[o.verdict]))


def worst(verdicts: Iterable[Verdict]) -> Verdict:
    """Return `unfit` where any is, else `unproven` where any is, else `fit`; of nothing, `unproven`."""
    return max(verdicts, key=_RANK.__getitem__, default="unproven")


def weigh(
    limit: Limit,
    value: float,
    low: float,
    high: float,
    *,
    moment_s: float | None = None,
    why: str = "",
    may_change: bool = False,
    as_far_as: str = "the log does not show all of it",
) -> Outcome:
    """Hold a value, which may truly lie anywhere from `low` to `high`, against a limit.

    `fit` only where all of the range is on the good side, `unfit` only where none of it is. `may_change`: the log doesn't show all of
    it, so a value on the bad side is `unproven` too, because `as_far_as`. `why` is told where it isn't fit, before the numbers.
    """
    most = MEANING[limit.id][2] == "<="
    bound = limit.value[0]
    sure = high <= bound if most else low >= bound
    never = low > bound if most else high < bound
    verdict: Verdict = "fit" if sure else "unfit" if never and not may_change else "unproven"
    margin = bound - value if most else value - bound
    out = max(value - low, high - value)
    unit = f" {limit.unit}" if limit.unit else ""
    numbers = f"{value:.4g}{unit}, asked: {'at most' if most else 'at least'} {bound:.4g}{unit}"
    if verdict == "unproven":
        close = "within the sensors' uncertainty of it" if not never else as_far_as
        numbers += f"; {close} (± {out:.2g}{unit})" if not never else f"; {close}"
    told = "" if verdict == "fit" else f"{why}; {numbers}" if why else numbers
    return Outcome(
        limit.id, limit.name, limit.unit, verdict, value, bound, "<=" if most else ">=", margin, out,
        limit.source, limit.sure, moment_s, told,
    )  # fmt: skip


def evidence(
    key: str,
    name: str,
    why: str = "",
    *,
    verdict: Verdict = "unproven",
    moment_s: float | None = None,
    count: float | None = None,
    source: str = OURS,
    sure: Sure = "practice",
) -> Outcome:
    """Return an outcome on the evidence itself: fit without a reason, else `verdict`."""
    return Outcome(key, name, "", verdict if why else "fit", count, None, "", None, None, source, sure, moment_s, why)


def times(count: int) -> str:
    """Return a count in words: once, 3 times."""
    return "once" if count == 1 else f"{count} times"


def in_doubt(outcomes: Iterable[Outcome]) -> tuple[Outcome, ...]:
    """Return the outcomes with none of them unfit: evidence that is itself in doubt proves nothing, the bad as little as the good."""
    return tuple(
        replace(o, verdict="unproven", why=f"{o.why} (the log itself is in doubt)") if o.verdict == "unfit" else o for o in outcomes
    )
