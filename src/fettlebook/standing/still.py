"""Standing still: when water last moved in a chair's lines, and the last rest that was long enough to owe a duty.

The longest rests are found by hops: from a movement, back to the first one less than the threshold before it, so the search costs one
look-up per threshold of time passed and none per movement.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fettlebook.rules.model import Computed
from fettlebook.standing.basis import Basis
from fettlebook.standing.look import Look
from fettlebook.standing.streams import Fact

Sorts = Sequence[str]


@dataclass(frozen=True, slots=True)
class Rest:
    """A stretch without movement: its begin, None where the book doesn't reach back so far; its end, None while it lasts."""

    began: int | None
    ended: int | None


def moving_sorts(basis: Basis) -> tuple[str, ...]:
    """Return the streams of a chair whose facts mean that water moved."""
    moving = (Computed.FLUSH, Computed.RINSE, Computed.FILL)
    return ("visit", *(f"done:{step.id}" for _, step in basis.steps.values() if step.computes in moving))


def last_moved(look: Look, subject: str, sorts: Sorts, until: int, only: str | None) -> int | None:
    """Return when water last moved up to `until`."""
    found = [next((f.happened for f in look.back(subject, sort, until=until) if _moves(f, only)), None) for sort in sorts]
    return max((moment for moment in found if moment is not None), default=None)


def last_rest(look: Look, subject: str, sorts: Sorts, at_least_ms: int, only: str | None = None) -> Rest:
    """Return the last rest of at least so long: the present one, an earlier one, or the one before the book began."""
    moved = last_moved(look, subject, sorts, look.at, only)
    if moved is None:
        return Rest(None, None)
    if look.at - moved >= at_least_ms:
        return Rest(moved, None)
    # Of what is known now, an earlier search is taken up where nothing before it was changed since: only newer facts came at the end.
    key, now = (subject, only, at_least_ms, tuple(sorts)), look.known_at >= look.state.received
    mark = tuple((sort, look.state.stream(subject, sort).rewritten) for sort in sorts)
    held: Search | None = look.state.found.get(key) if now else None
    known = held if held is not None and held.mark == mark and held.moved <= moved else None
    rest = _search(_Water(look, subject, sorts, only), at_least_ms, moved, known)
    if now:
        look.state.found[key] = Search(mark, moved, rest)
    return rest


@dataclass(frozen=True, slots=True)
class Search:
    """What a search from `moved` backwards found, while the streams are as `mark` says. Kept with a state: over years it takes long."""

    mark: tuple[tuple[str, int], ...]
    moved: int
    rest: Rest


@dataclass(frozen=True, slots=True)
class _Water:
    look: Look
    subject: str
    sorts: Sorts
    only: str | None


def _search(water: _Water, at_least_ms: int, moved: int, held: Search | None) -> Rest:
    look, subject, sorts, only = water.look, water.subject, water.sorts, water.only
    while True:
        if held is not None and moved <= held.moved:
            return held.rest
        ended = _first_moved(look, subject, sorts, moved - at_least_ms + 1, only) or moved
        before = last_moved(look, subject, sorts, ended - 1, only)
        if before is None:
            return Rest(None, ended)
        if ended - before >= at_least_ms:
            return Rest(before, ended)
        moved = before


def _first_moved(look: Look, subject: str, sorts: Sorts, since: int, only: str | None) -> int | None:
    found = [next((f.happened for f in look.forward(subject, sort, since=since) if _moves(f, only)), None) for sort in sorts]
    return min((moment for moment in found if moment is not None), default=None)


def _moves(fact: Fact, only: str | None) -> bool:
    outlets = fact.says.outlets
    if hasattr(fact.says, "outcome"):
        return fact.says.outcome == "done" and outlets is not None and (only is None or only in outlets)
    return only is None or outlets is None or only in outlets
