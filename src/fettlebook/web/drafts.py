"""A new plan of a running day that nobody has kept yet: the first answer at once, a better one from the background.

One draft a day. More may happen while a draft is open: all of it is planned for together. What a person keeps is exactly
what was shown: a better plan that arrives meanwhile has another number.
"""

import threading
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from functools import partial
from itertools import count
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.plan.basis import Basis
from fettlebook.plan.events import Event
from fettlebook.plan.follow import Course, course_of, going_on, kept
from fettlebook.plan.replan import Replanned
from fettlebook.said import said
from fettlebook.web.bench import Bench, Piece, Tell
from fettlebook.web.desk import DayState, Desk

IMPROVE_S: Final = 6.0


@dataclass(frozen=True, slots=True)
class Draft:
    """A new plan as it was first answered; `number` changes with everything that changes it."""

    number: int
    course: Course  # that it goes on from
    at: int
    events: tuple[Event, ...]
    told: tuple[str, ...]
    stay_min: int
    found: Replanned

    @property
    def key(self) -> str:
        """Under which its improvement goes on."""
        return f"new plan {self.number}"


@dataclass(frozen=True, slots=True)
class Proposal:
    """What a page shows of a draft: the best plan so far, and how the search goes."""

    draft: Draft
    found: Replanned
    better: bool  # than the first answer
    piece: Piece | None

    @property
    def mark(self) -> str:
        """Says which plan it is, so that another is never kept by mistake."""
        return f"{self.draft.number}{'b' if self.better else 'a'}"

    @property
    def course(self) -> Course:
        """The course once it is kept."""
        return kept(self.draft.course, self.found, self.draft.events, self.draft.told)


class Drafts:
    """The open drafts of all days."""

    def __init__(self, desk: Desk, bench: Bench) -> None:
        self._desk, self._bench = desk, bench
        self._lock = threading.RLock()
        self._open: dict[date, Draft] = {}
        self._numbers = count(1)

    def course(self, state: DayState, basis: Basis) -> Course:
        """Return how the day goes so far, by what was kept."""
        return state.kept.course if state.kept else course_of(basis)

    def look(self, day: date) -> Proposal | None:
        """Return the open draft of a day with the best plan so far."""
        with self._lock:
            draft = self._open.get(day)
        if draft is None:
            return None
        piece = self._bench.look(draft.key)
        best = piece.result if piece is not None and isinstance(piece.result, Replanned) else draft.found
        better = best is not draft.found and _rank(best) < _rank(draft.found)
        return Proposal(draft, best if better else draft.found, better, piece)

    def add(self, day: date, basis: Basis, course: Course, at: int, happened: tuple[Event, str]) -> None:
        """Plan the rest of a day again after one more happening; the first answer is there when this returns."""
        with self._lock:
            old = self._open.get(day)
            if old is not None and old.course != course:
                old = None  # something was kept meanwhile, or the day was planned anew
            before = tuple(zip(old.events, old.told, strict=True)) if old else ()
            self._plan(day, basis, course, max(at, old.at) if old else at, (*before, happened))

    def stay(self, day: date, basis: Basis, stay_min: int) -> None:
        """Plan the same again, but people may be asked to stay so long."""
        with self._lock:
            old = self._open.get(day)
            if old is None:
                raise _no_draft(day)
            self._plan(day, basis, old.course, old.at, tuple(zip(old.events, old.told, strict=True)), stay_min=stay_min)

    def _plan(self, day: date, basis: Basis, course: Course, at: int, happened: Sequence[tuple[Event, str]], *, stay_min: int = 0) -> None:
        events, told = tuple(event for event, _ in happened), tuple(words for _, words in happened)
        again = partial(going_on, course, at, events, minute=basis.words.minute, stay_min=stay_min)
        draft = Draft(next(self._numbers), course, at, events, told, stay_min, again(rounds=0))
        self._forget(day)
        self._open[day] = draft

        def better(tell: Tell) -> Replanned:
            tell.say(said("looking for a better plan"))
            return again(limit_s=IMPROVE_S, stop=tell.stopped)

        self._bench.start(draft.key, better, where="quick", group=f"new plan of {day}", instead_of=(f"what if {day}",))

    def stop(self, day: date) -> None:
        """Stop looking for a better plan; the best so far stays."""
        with self._lock:
            if draft := self._open.get(day):
                self._bench.stop(draft.key)

    def drop(self, day: date) -> None:
        """Forget the draft: the plan on the wall stays."""
        with self._lock:
            self._forget(day)

    def keep(self, day: date, mark: str) -> bool:
        """Keep the plan that was shown; returns False, and keeps nothing, where another has arrived since.

        Raises
        ------
        Mendable
            There is no draft any more, or the book refuses the entry; then nothing is kept.
        """
        with self._lock:
            proposal = self.look(day)
            if proposal is None:
                raise _no_draft(day)
            if proposal.mark != mark:
                return False
            state = self._desk.day(day)
            basis = state.first.basis if state.first else None
            if basis is None or self.course(state, basis) != proposal.draft.course:
                self._forget(day)
                raise Mendable(
                    said("the day was planned anew meanwhile"), where=str(day), mend=said("Look at it, then say again what happened.")
                )
            self._desk.keep(day, proposal.course, proposal.draft.events)
            self._forget(day)
            return True

    def _forget(self, day: date) -> None:
        if draft := self._open.pop(day, None):
            self._bench.forget(draft.key)


def _no_draft(day: date) -> Mendable:
    return Mendable(said("there is no new plan to keep"), where=str(day), mend=said("Say again what happened."))


def _rank(found: Replanned) -> tuple[int, int, int, int]:
    """Smaller is better: left out, minutes late, promises broken, end of the day; as the search itself ranks."""
    broken = sum(c.kind == "visit" for c in found.changes)
    return found.figures.weight_left_out, found.figures.weighted_minutes_late, broken, found.figures.end_of_day
