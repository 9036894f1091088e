"""Standing still: when water last moved in a chair's lines, and the last rest that was long enough to owe a duty.

Rests are found by hops: from a movement, back to the first one less than the threshold before it. Years without a rest are passed over by
the bits of when water moved (`moved.py`), so the search costs the same in a book of ten years, at any past moment, and after late entries.
"""

from collections.abc import Sequence
from dataclasses import dataclass

from fettlebook.rules.model import Computed
from fettlebook.standing.basis import Basis
from fettlebook.standing.look import Look
from fettlebook.standing.moved import PIECE_MS, PROMPT_MS, Pieces, where_moved
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


def last_moved(look: Look, subject: str, sorts: Sorts, only: str | None) -> int | None:
    """Return when water last moved."""
    # Every rule about rests asks it.
    return look.once(("last moved", subject, tuple(sorts), only), lambda: _last_moved(look, subject, sorts, None, only))


def _last_moved(look: Look, subject: str, sorts: Sorts, until: int | None, only: str | None) -> int | None:
    newest: int | None = None
    for sort in sorts:  # each looks back no further than the newest so far
        since = 0 if newest is None else newest + 1
        newest = next((f.happened for f in look.back(subject, sort, since=since, until=until) if _moves(f, only)), newest)
    return newest


def last_rest(look: Look, subject: str, sorts: Sorts, at_least_ms: int, only: str | None = None) -> Rest:
    """Return the last rest of at least so long: the present one, an earlier one, or the one before the book began."""
    moved = last_moved(look, subject, sorts, only)
    if moved is None:
        return Rest(None, None)
    if look.over(moved + at_least_ms):
        return Rest(moved, None)
    water = _Water(look, subject, sorts, only)
    pieces = _pieces(water) if at_least_ms >= 2 * PIECE_MS else None  # of so short a rest they tell nothing
    while True:
        if pieces is not None and moved < look.known_at - PROMPT_MS:  # after that, not all that sets bits need be known yet
            moved = _first_moved(water, pieces.since_rest(moved, at_least_ms), moved)
        ended = _first_moved(water, moved - at_least_ms + 1, moved)
        before = _last_moved(look, subject, sorts, ended - 1, only)
        if before is None:
            return Rest(None, ended)
        if ended - before >= at_least_ms:
            return Rest(before, ended)
        moved = before


@dataclass(frozen=True, slots=True)
class _Water:
    look: Look
    subject: str
    sorts: Sorts
    only: str | None


def _pieces(water: _Water) -> Pieces | None:
    moved = water.look.moved(water.subject)
    return None if moved is None else moved.together(water.sorts, water.only)


def _first_moved(water: _Water, since: int, until: int) -> int:
    """Return when water first moved from `since` on; `until` is such a movement."""
    for sort in water.sorts:
        facts = water.look.forward(water.subject, sort, since=since, until=until - 1)
        until = next((f.happened for f in facts if _moves(f, water.only)), until)
    return until


def _moves(fact: Fact, only: str | None) -> bool:
    where = where_moved(fact.says)
    return where if isinstance(where, bool) else only is None or only in where
