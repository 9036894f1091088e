"""Entries of starts and ends made into attempts at a step, where two devices may have begun or ended the same one.

The rule: of several starts before one end the latest counts, of several ends after one start the earliest; so the length is never longer
than anybody saw. The other entries are kept and named as evidence too. Where one says broken off, it was.
"""

from collections.abc import Iterator
from dataclasses import dataclass, field

from fettlebook.standing.look import Look
from fettlebook.standing.streams import Fact


@dataclass(slots=True)
class Attempt:
    """One try at a step: its start and its end, each where there is an entry of it."""

    begun: Fact | None
    done: Fact | None
    doubled: list[Fact] = field(default_factory=list)  # further starts and ends of the same try

    @property
    def entries(self) -> tuple[str, ...]:
        """Ids of its entries, newest first."""
        facts = [fact for fact in (self.done, self.begun, *self.doubled) if fact is not None]
        return tuple(fact.entry for fact in sorted(facts, reverse=True))

    def rests_on(self, *, timed: bool) -> tuple[str, ...]:
        """Return the entries that a verdict rests on: where its length doesn't matter, that of its end alone."""
        return self.entries if timed or self.done is None else (self.done.entry,)

    @property
    def broken_off(self) -> bool:
        """Whether any of its ends says so."""
        return any(f is not None and f.says.outcome == "broken off" for f in (self.done, *self.doubled))

    @property
    def newest(self) -> Fact:
        """Its latest entry."""
        return max(fact for fact in (self.begun, self.done) if fact is not None)


def attempts(look: Look, subject: str, step: str, since: int, until: int | None = None) -> list[Attempt]:
    """Return the attempts at a step that were begun from `since` on, the newest last."""
    begun = look.back(subject, f"begun:{step}", since=since, until=until)
    done = look.back(subject, f"done:{step}", since=since, until=until)
    found: list[Attempt] = []
    for fact in _oldest_first(begun, done):
        if fact.says.outcome is None:
            _begin(found, fact)
        else:
            _end(found, fact)
    return sorted(found, key=lambda attempt: attempt.newest)


def _oldest_first(*streams: Iterator[Fact]) -> list[Fact]:
    # An end at the very moment of a start belongs behind it.
    return sorted((fact for stream in streams for fact in stream), key=lambda f: (f.happened, f.says.outcome is not None, f.seq))


def _begin(found: list[Attempt], fact: Fact) -> None:
    still_open = [attempt for attempt in found if attempt.done is None and _same_run(attempt, fact)]
    if still_open and _same_outlets(still_open[-1].begun, fact):
        attempt = still_open[-1]
        if attempt.begun is not None:
            attempt.doubled.append(attempt.begun)
        attempt.begun = fact
    else:
        found.append(Attempt(fact, None))


def _end(found: list[Attempt], fact: Fact) -> None:
    alone = fact.says.lasted != (None, None)  # one entry says it all
    fitting = [] if alone else [attempt for attempt in found if attempt.begun is not None and _same_run(attempt, fact)]
    still_open = [attempt for attempt in fitting if attempt.done is None]
    if still_open:
        still_open[-1].done = fact
    elif fitting:
        fitting[-1].doubled.append(fact)
    else:
        found.append(Attempt(None, fact))


def _same_run(attempt: Attempt, fact: Fact) -> bool:
    known = next((f.says.run for f in (attempt.begun, attempt.done) if f is not None and f.says.run is not None), None)
    return known is None or fact.says.run is None or known == fact.says.run


def _same_outlets(one: Fact | None, two: Fact) -> bool:
    return one is None or one.says.outlets == two.says.outlets
