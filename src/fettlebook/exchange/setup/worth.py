"""What is worth measuring first: each value that nobody measured, and the minutes a day that this costs.

A time must hold although a value is typical; were the same value measured, less would be enough. The difference, over all the times
that a step runs in a day, is the cost. It assumes that the measurement bears the typical value out; a rule's or label's longer time
hides it, and then the cost is nothing.
"""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from datetime import date
from typing import Final

from fettlebook.practice.model import Chair, Practice
from fettlebook.rules.model import Rulebook, When
from fettlebook.said import said
from fettlebook.times.running import running_times

# how often a duty runs on a chair in a day; between visits: as often as visits are booked
A_DAY: Final[Mapping[When, float]] = {
    When.BEFORE_FIRST_VISIT: 1.0, When.END_OF_SESSION: 1.0, When.END_OF_DAY: 1.0, When.WEEKLY: 0.2,
}  # fmt: skip
OFTEN: Final = 0.05  # a measured flow within 5 %: three cups of a minute


@dataclass(frozen=True, slots=True)
class Worth:
    """A value of a chair that nobody measured, what it costs, and how to end that."""

    chair: str
    what: str
    seconds_a_day: float
    how: str

    @property
    def words(self) -> str:
        """The cost in words."""
        if self.seconds_a_day < 0.5:
            return said("nothing now: a rule or label asks for longer anyway")
        if self.seconds_a_day < 60:
            return said("{n:.0f} s a day", n=self.seconds_a_day)
        return said("{n:.1f} min a day", n=self.seconds_a_day / 60)


def worth_measuring(practice: Practice, rulebook: Rulebook, on: date, visits_a_day: Mapping[str, float]) -> tuple[Worth, ...]:
    """Return each value that nobody measured, the costliest first; `visits_a_day` of each chair, by its id."""
    found: list[Worth] = []
    for chair in practice.chairs:
        often = dict(A_DAY) | {When.BETWEEN_VISITS: visits_a_day[chair.id]}
        now = _seconds(practice, rulebook, chair, often)
        found += [Worth(chair.id, what, now - _seconds(practice, rulebook, as_if, often), how) for what, as_if, how in _as_if(chair, on)]
        if len(all_of := list(_as_if(chair, on))) > 1:
            whole = now - _seconds(practice, rulebook, _all_measured(chair, on), often)
            if whole >= 0.5:
                found.append(
                    Worth(chair.id, said("all {n} of them together", n=len(all_of)), whole, said("What each saves alone is less."))
                )
    return tuple(sorted(found, key=lambda one: -one.seconds_a_day))


def _seconds(practice: Practice, rulebook: Rulebook, chair: Chair, often: Mapping[When, float]) -> float:
    times = running_times(practice.model_copy(update={"chairs": (chair,)}), rulebook)
    return sum((t.seconds or 0) * often.get(t.when, 0.0) for t in times)


def _as_if(chair: Chair, on: date) -> Iterator[tuple[str, Chair, str]]:
    for outlet in chair.outlets:
        if outlet.measured_on is None:
            measured = tuple(o.model_copy(update=_measured(on)) if o is outlet else o for o in chair.outlets)
            how = said("Cup and watch, three cups of a minute.")
            yield said("flow of {outlet}", outlet=outlet.id), chair.model_copy(update={"outlets": measured}), how
    if any(part.typical for part in chair.segments):
        known = tuple(part.model_copy(update={"typical": False}) for part in chair.segments)
        how = said("Ask whoever services the chair for bores and lengths.")
        yield said("bores and lengths of its hoses"), chair.model_copy(update={"segments": known}), how


def _all_measured(chair: Chair, on: date) -> Chair:
    outlets = tuple(o if o.measured_on else o.model_copy(update=_measured(on)) for o in chair.outlets)
    return chair.model_copy(
        update={"outlets": outlets, "segments": tuple(part.model_copy(update={"typical": False}) for part in chair.segments)}
    )


def _measured(on: date) -> dict[str, object]:
    return {"measured_on": on, "flow_within_pct": OFTEN * 100, "typical": False}
