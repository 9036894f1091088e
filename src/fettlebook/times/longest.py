"""The longest wins, in each group of outlets; and which of the candidates really set the sum."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.times.model import SetBy
from fettlebook.times.words import whole_s

# Where two are equal the one that no practice may shorten is named first; for a contact the label is the authority.
PRECEDENCE: Final[tuple[SetBy, ...]] = ("label", "rule", "line", "fixed", "measured", "usual")


@dataclass(frozen=True, slots=True)
class Longest:
    """The sum of each group's longest candidate, and what set it."""

    seconds: int
    set_by: SetBy
    margin_s: int | None
    runner_up: SetBy | None
    groups: tuple[tuple[int, SetBy], ...]


def longest(groups: Sequence[Mapping[SetBy, float]]) -> Longest:
    """Return the time that satisfies every candidate in every group, one group after the other.

    Parameters
    ----------
    groups
        For each group the seconds that each candidate asks, at least one group and one candidate a group [s].

    Notes
    -----
    What set a sum over groups is the candidate without which the sum would fall most; with one group that is simply
    the largest. The margin is that fall, and the runner-up is what would set the sum then.
    """
    winners = tuple(_winner(g) for g in groups)
    total = sum(s for s, _ in winners)
    kinds = [k for k in PRECEDENCE if any(k in g for g in groups)]
    falls = {k: total - _total_without(groups, k) for k in kinds}
    reaching = [k for k in kinds if k in {w for _, w in winners}]
    set_by = max(reaching, key=lambda k: falls[k])  # the first of equals: PRECEDENCE
    rest = [{k: s for k, s in g.items() if k != set_by} for g in groups]
    if any(not g for g in rest):  # nobody else asks for anything
        return Longest(total, set_by, None, None, winners)
    return Longest(total, set_by, falls[set_by], longest(rest).set_by, winners)


def _winner(group: Mapping[SetBy, float]) -> tuple[int, SetBy]:
    seconds = max(group.values())
    return whole_s(seconds), next(k for k in PRECEDENCE if k in group and whole_s(group[k]) == whole_s(seconds))


def _total_without(groups: Sequence[Mapping[SetBy, float]], kind: SetBy) -> int:
    return sum(whole_s(max((s for k, s in g.items() if k != kind), default=0.0)) for g in groups)
