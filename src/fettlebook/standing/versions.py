"""Which practice file and which rules held at a moment: those that the book holds, as entries, from then on.

A verdict about a past day stands on the file and the rulebook of that day, as far as they were known at the moment of knowledge. Where
the book begins later than the day that is asked about, its first version is the best there is; where it holds none, what was given is.
Rows of a rulebook hold from a day to a day, so one version can mean different rules on different days.
"""

from bisect import bisect_right
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date, timedelta
from typing import Final

from fettlebook.book.kinds import PRACTICE
from fettlebook.practice.load import read_practice
from fettlebook.practice.model import Practice
from fettlebook.rules.load import lay_packs
from fettlebook.rules.pack import Pack, read_pack
from fettlebook.rules.shelf import bundled_pack, order_layers
from fettlebook.said import said
from fettlebook.standing.basis import Basis
from fettlebook.standing.facts import FILE, RULES, FileHeld, RulesHeld
from fettlebook.standing.state import State
from fettlebook.standing.streams import NOTHING, Fact
from fettlebook.times.running import running_times

NO_FILE: Final = said("the practice file that held then can't be read by this program")
NO_RULES: Final = said("the rulebook that held then can't be read by this program")


@dataclass(frozen=True, slots=True)
class Held:
    """What held at a moment; `doubts` say what of it could not be read, so that nothing is fit by other rules than those."""

    basis: Basis
    doubts: tuple[str, ...] = ()


class Versions:
    """The practice files and rulebooks of a book, each read once.

    Parameters
    ----------
    given
        The basis that holds where the book names none.
    """

    def __init__(self, given: Basis) -> None:
        self.given = given
        self._files: dict[str, Practice | None] = {}
        self._packs: dict[str, Pack | None] = {}
        self._held: dict[tuple[str, str, int], Held] = {}
        self._edges: dict[tuple[str, str], list[date]] = {}

    def held(self, state: State, at: int, known_at: int) -> Held:
        """Return what held at `at`, by the versions received by `known_at` [ms since 1970 UTC]."""
        file, rules = _version(state, FILE, at, known_at), _version(state, RULES, at, known_at)
        if file is None and rules is None:
            return Held(self.given)
        day = self.given.day_of(at)
        names = (file.says.digest if file else "", rules.says.digest if rules else "")
        if names not in self._edges:
            self._edges[names] = _edges(*self._read(file, rules)[:2])
        key = (*names, bisect_right(self._edges[names], day))
        if key not in self._held:
            self._held[key] = self._lay(file, rules, day)
        return self._held[key]

    def _lay(self, file: Fact | None, rules: Fact | None, day: date) -> Held:
        practice, packs, doubts = self._read(file, rules)
        laid = lay_packs(practice, packs, day).rulebook
        if laid is None:
            return Held(self.given, (*doubts, NO_RULES))
        given = self.given
        if practice == given.practice and laid.duties == given.rulebook.duties and laid.limits == given.rulebook.limits:
            return Held(given, doubts)  # the same by another way: nothing is reckoned anew
        return Held(Basis.of(practice, laid, running_times(practice, laid)), doubts)

    def _read(self, file: Fact | None, rules: Fact | None) -> tuple[Practice, Sequence[Pack], tuple[str, ...]]:
        doubts: list[str] = []
        practice = self._practice(file.says) if file else self.given.practice
        if practice is None:
            practice = self.given.practice
            doubts.append(NO_FILE)
        packs = self._layers(rules.says) if rules else None
        if rules and packs is None:
            doubts.append(NO_RULES)
        return practice, _bundled(practice) if packs is None else packs, tuple(doubts)

    def _practice(self, file: FileHeld) -> Practice | None:
        if file.digest not in self._files:
            self._files[file.digest] = read_practice(file.text.encode("utf-8", "surrogatepass"), file.name).practice
        return self._files[file.digest]

    def _layers(self, rules: RulesHeld) -> list[Pack] | None:
        for layer in rules.layers:
            if layer.digest not in self._packs:
                self._packs[layer.digest] = read_pack(layer.text.encode("utf-8", "surrogatepass"), layer.name).pack
        found = [self._packs[layer.digest] for layer in rules.layers]
        whole = [pack for pack in found if pack is not None]
        return whole if whole and len(whole) == len(found) else None


def _version(state: State, sort: str, at: int, known_at: int) -> Fact | None:
    stream = state.stream(PRACTICE, sort)
    if stream is NOTHING:  # as in a book without: asked thousands of times for one page
        return None
    return stream.latest(at, known_at) or stream.first(at, known_at)


def _bundled(practice: Practice) -> list[Pack]:
    return [bundled_pack(name) for name in order_layers(practice.practice.rulebooks)]


def _edges(practice: Practice, packs: Iterable[Pack]) -> list[date]:
    """Return the days on which what holds may change, in order."""
    found = {rule.decided_on for rule in practice.own_rules if rule.decided_on is not None}
    for pack in packs:
        found |= {row.valid_from for row in pack.requirement if row.valid_from is not None}
        found |= {row.valid_to + timedelta(days=1) for row in pack.requirement if row.valid_to is not None}
    return sorted(found)
