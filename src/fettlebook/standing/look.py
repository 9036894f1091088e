"""One question's point of view: a state, a basis, the moment judged and the moment known."""

from collections.abc import Iterator
from dataclasses import dataclass, field
from typing import Any

from fettlebook.book.kinds import from_ms
from fettlebook.practice.model import Machine
from fettlebook.said import Said, said_moment
from fettlebook.standing.basis import Basis, stamp
from fettlebook.standing.state import State
from fettlebook.standing.streams import Fact
from fettlebook.standing.versions import Versions


@dataclass(frozen=True, slots=True)
class Look:
    """The book as known at `known_at`, asked about `at` [ms since 1970 UTC]: what had happened by the one and was received by the other."""

    state: State
    basis: Basis
    at: int
    known_at: int
    versions: Versions | None = None  # left out: `basis` holds for all moments
    memo: dict[str, Any] = field(default_factory=dict, repr=False, compare=False)  # what several subjects ask for

    def then(self, moment: int) -> Basis:
        """Return what held at another moment: who might release a load on its day, which machines there were."""
        if self.versions is None:
            return self.basis
        held: dict[int, Basis] = self.memo.setdefault("then", {})
        if moment not in held:
            held[moment] = self.versions.held(self.state, moment, self.known_at).basis
        return held[moment]

    def machine(self, subject: str, moment: int) -> Machine | None:
        """Return a machine (`machine:steam`) as the practice file of a moment has it; as today's has it where that one doesn't."""
        name = subject.removeprefix("machine:")
        return self.then(moment).machines.get(name) or self.basis.machines.get(name)

    def latest(self, subject: str, sort: str, *, since: int = 0, until: int | None = None) -> Fact | None:
        """Return the newest fact of a sort from `since` to `until` (left out: the moment judged)."""
        return self.state.stream(subject, sort).latest(self._end(until), self.known_at, since=since)

    def back(self, subject: str, sort: str, *, since: int = 0, until: int | None = None) -> Iterator[Fact]:
        """Yield the facts of a sort, newest first."""
        return self.state.stream(subject, sort).back(self._end(until), self.known_at, since=since)

    def first(self, subject: str, sort: str, *, since: int, until: int | None = None) -> Fact | None:
        """Return the oldest fact of a sort from `since` on."""
        return self.state.stream(subject, sort).first(since, self.known_at, until=self._end(until))

    def forward(self, subject: str, sort: str, *, since: int = 0, until: int | None = None) -> Iterator[Fact]:
        """Yield the facts of a sort, oldest first."""
        return self.state.stream(subject, sort).forward(since, self.known_at, until=self._end(until))

    def when(self, ms: int) -> Said:
        """Return a moment as people write it; the time alone where it is of the day that is judged."""
        written: dict[int, Said] = self.memo.setdefault("when", {})
        if ms not in written:
            written[ms] = self._when(ms)
        return written[ms]

    def _when(self, ms: int) -> Said:
        text, moment = stamp(ms, self.basis.zone), from_ms(ms, str(self.basis.zone))
        if self.basis.day_of(ms) == self.basis.day_of(self.at):
            return said_moment(moment, "clock", text[11:])
        near = moment.year == from_ms(self.at, str(self.basis.zone)).year
        return said_moment(moment, "short moment" if near else "moment", text)

    def _end(self, until: int | None) -> int:
        return self.at if until is None else min(until, self.at)
