"""One question's point of view: a state, a basis, the moment judged and the moment known.

Whatever makes verdicts asks the book and the clock through these methods and no other way: so a look that takes notes (`kept.py`) knows
what a verdict rests on, and from when on it may be another one.
"""

from collections.abc import Callable, Hashable, Iterator
from dataclasses import dataclass, field
from typing import Any, Final, TypeVar

from fettlebook.book.kinds import PRACTICE, from_ms
from fettlebook.practice.model import Machine
from fettlebook.said import Said, said_moment
from fettlebook.standing.basis import DAY_MS, Basis, stamp
from fettlebook.standing.facts import FILE, RULES
from fettlebook.standing.moved import Moved
from fettlebook.standing.state import NAMED, State
from fettlebook.standing.streams import EVER, Fact, Stream
from fettlebook.standing.versions import Versions

Made = TypeVar("Made")
MISSING: Final = "=missing"  # which missing entries touch a subject: no sort of fact is called so


@dataclass(frozen=True, slots=True)
class Look:
    """The book as known at `known_at`, asked about `moment` [ms since 1970 UTC]: received by the one, happened by the other."""

    state: State
    basis: Basis
    moment: int
    known_at: int
    versions: Versions | None = None  # left out: `basis` holds for all moments
    memo: dict[Hashable, Any] = field(default_factory=dict, repr=False, compare=False)  # what several subjects ask for

    @property
    def at(self) -> int:
        """The moment itself [ms]; what may rest on less than that asks `over`, `today`, `days` or `elapsed`."""
        return self.moment

    def over(self, end: int) -> bool:
        """Tell whether a moment has come [ms]."""
        return end <= self.moment

    @property
    def today(self) -> int:
        """When the local day began [ms]."""
        return self.basis.day_start(self.moment)

    def days(self, number: int) -> int:
        """Return when the local day begins that lies so many days after today; negative: before [ms]."""
        return self.basis.days_after(self.moment, number)

    def elapsed(self, since: int, unit_ms: int) -> int:
        """Return how many whole units have passed since a moment."""
        return (self.moment - since) // unit_ms

    def age_days(self, since: int) -> float:
        """Return the days since a moment, to be shown beside a verdict: none may rest on it."""
        return (self.moment - since) / DAY_MS

    def once(self, name: Hashable, make: Callable[[], Made]) -> Made:
        """Return what several ask for, made once."""
        if name not in self.memo:
            self.memo[name] = make()
        made: Made = self.memo[name]
        return made

    def rests_on(self, subject: str, sort: str) -> None:
        """Take note that what is being made rests on something about a subject; a plain look takes none."""

    def then(self, moment: int) -> Basis:
        """Return what held at another moment: who might release a load on its day, which machines there were."""
        if self.versions is None:
            return self.basis
        self.rests_on(PRACTICE, FILE)
        self.rests_on(PRACTICE, RULES)
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
        return self._stream(subject, sort).latest(self._end(until), self.known_at, since=since)

    def back(self, subject: str, sort: str, *, since: int = 0, until: int | None = None) -> Iterator[Fact]:
        """Yield the facts of a sort, newest first."""
        return self._stream(subject, sort).back(self._end(until), self.known_at, since=since)

    def first(self, subject: str, sort: str, *, since: int, until: int | None = None) -> Fact | None:
        """Return the oldest fact of a sort from `since` on."""
        return self._stream(subject, sort).first(since, self.known_at, until=self._end(until))

    def forward(self, subject: str, sort: str, *, since: int = 0, until: int | None = None) -> Iterator[Fact]:
        """Yield the facts of a sort, oldest first."""
        return self._stream(subject, sort).forward(since, self.known_at, until=self._end(until))

    def known(self, subject: str, sort: str) -> Iterator[Fact]:
        """Yield all known facts of a sort, newest first, whenever they happened: a later judgement tells what a thing was before, too."""
        return self._stream(subject, sort).back(EVER, self.known_at)

    def named(self, subject: str) -> bool:
        """Tell whether an entry named a subject, whenever it was received."""
        self.rests_on(subject, NAMED)
        return subject in self.state.subjects

    def moved(self, subject: str) -> Moved | None:
        """Return the bits of when water moved at a chair: they say no more than the streams that they were made of."""
        about = self.state.about(subject)
        return None if about is None else about.moved

    def when(self, ms: int) -> Said:
        """Return a moment as people write it; the time alone where it is of the day that is judged."""
        written: dict[int, Said] = self.memo.setdefault("when", {})
        if ms not in written:
            written[ms] = self._when(ms)
        return written[ms]

    def _when(self, ms: int) -> Said:
        text, moment = stamp(ms, self.basis.zone), from_ms(ms, str(self.basis.zone))
        if self.basis.day_of(ms) == self.basis.day_of(self.moment):
            return said_moment(moment, "clock", text[11:])
        near = moment.year == from_ms(self.moment, str(self.basis.zone)).year
        return said_moment(moment, "short moment" if near else "moment", text)

    def _stream(self, subject: str, sort: str) -> Stream:
        self.rests_on(subject, sort)
        return self.state.stream(subject, sort)

    def _end(self, until: int | None) -> int:
        return self.moment if until is None else min(until, self.moment)
