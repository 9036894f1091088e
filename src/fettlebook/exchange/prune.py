"""Pruning a book after its term, asked first: what do verdicts of today rest on?

Old evidence seldom carries a verdict, but a stop that nobody ended, a package still open, or the last treatment of a line does. What
verdicts name as evidence stays. Then the book is folded as it would be, and where anything would still be judged otherwise, nothing is
pruned and the subjects are named.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Final

from fettlebook.book.entries import PROGRAM, Moment
from fettlebook.book.received import Receipt, Received
from fettlebook.book.stores import Prunable, Store
from fettlebook.book.stores.pruning import KEPT
from fettlebook.errors import Mendable
from fettlebook.exchange.kept_state import KeptFold
from fettlebook.standing.basis import Basis
from fettlebook.standing.standings import Standings, View
from fettlebook.standing.state import State

NAMED_MOST: Final = 12


@dataclass(frozen=True, slots=True)
class Asked:
    """What would be pruned; which entries of it stay as evidence; which subjects would still be judged otherwise (none: it may go)."""

    prunable: Prunable
    evidence: frozenset[str]
    rests_on: tuple[str, ...]


def ask(store: Store, basis: Basis, *, before: int, now: int) -> Asked:
    """Return what was received before a moment, and which verdicts rest on it [ms since 1970 UTC]. Nothing is changed."""
    last = store.prunable(before).last
    whole = KeptFold(store, kept=False).state
    as_it_is = Standings(whole, basis).as_of(now, max(whole.received, now))
    evidence = frozenset(entry for standing in as_it_is.all() for condition in standing.conditions for entry in condition.evidence)

    def stays(received: Received) -> bool:
        return received.seq > last or received.entry.kind in KEPT or received.entry.id in evidence

    def original(entry_id: str) -> Received | None:
        found = store.get(entry_id)
        return found if found is not None and stays(found) else None

    rest = State(original)
    for received in store.read():
        if stays(received):
            rest.add(received)
    # What is told of a device's numbers is a matter of receipt alone: as it is now, so it stays.
    rest.devices, rest.received = whole.devices, whole.received
    as_it_would_be = Standings(rest, basis).as_of(now, max(whole.received, now))
    return Asked(store.prunable_up_to(last, evidence), evidence, tuple(sorted(_otherwise(as_it_is, as_it_would_be))))


def prune(
    store: Store,
    basis: Basis,
    *,
    before: int,
    rule: str,
    moment: Moment,
    by: str = PROGRAM,
    drop: Callable[[frozenset[str]], object] | None = None,
) -> Receipt | None:
    """Prune what was received before a moment, but what verdicts rest on; None where nothing would go.

    Parameters
    ----------
    drop
        Drops the bodies once it has been noted, all but those of these ids: of a group's database, whose owner alone may.

    Raises
    ------
    Mendable
        Verdicts rest on what can't be told apart, or this store may not change rows; nothing was changed.
    """
    asked = ask(store, basis, before=before, now=moment.at)
    if asked.rests_on and asked.prunable.goes:
        more = f" and {len(asked.rests_on) - NAMED_MOST} more" if len(asked.rests_on) > NAMED_MOST else ""
        told = ", ".join(asked.rests_on[:NAMED_MOST]) + more
        mend = "Prune up to an earlier day, or settle these first (end the stop, use or reprocess the pack, take out the unit)."
        raise Mendable(f"verdicts of today rest on entries that would go: {told}", where="--before", mend=mend)
    receipt = store.prune(asked.prunable.last, keep=asked.evidence, rule=rule, moment=moment, by=by)
    if receipt is not None:
        if drop is not None:
            drop(asked.evidence)
        KeptFold(store, afresh=True)  # what was kept of the book still told of what went
    return receipt


def _otherwise(before: View, after: View) -> set[str]:
    """Return the subjects that would be judged otherwise: another verdict, or another reason."""
    return {subject for subject in {*before.subjects(), *after.subjects()} if _said(before, subject) != _said(after, subject)}


def _said(view: View, subject: str) -> object:
    try:
        standing = view.standing(subject)
    except Mendable:
        return None  # nothing names it then
    return standing.verdict, [(c.what, c.verdict, c.evidence) for c in standing.conditions]
