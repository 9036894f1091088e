"""Which days and chairs an evidence file is about, as a person asks for them."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import to_ms
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.model import Practice
from fettlebook.said import said, said_date

EARLIEST = date(2000, 1, 1)


@dataclass(frozen=True, slots=True)
class Span:
    """Local days `first` to `last`, both included; `chairs` empty: all. `since` to before `until` in ms since 1970 UTC."""

    first: date
    last: date
    since: int
    until: int
    chairs: tuple[str, ...] = ()

    @property
    def words(self) -> str:
        """The days as they are printed."""
        return said("{first} to {last}", first=said_date(self.first), last=said_date(self.last))


def span_of(practice: Practice, first: date, last: date, today: date, chairs: Sequence[str] = ()) -> Span:
    """Return the stretch of these local days.

    Raises
    ------
    Mendable
        The last day lies before the first, the first lies ahead, or a chair is not in the practice file; all of it is named.
    """
    found: list[Finding] = []
    if last < first:
        found.append(Finding(f"{last} lies before {first}", "--to", "Give the earlier day first."))
    if first > today:
        found.append(Finding(f"{first} lies ahead: today is {today}", "--from", "Give a day that has been."))
    if first < EARLIEST or last.year > 2099:
        found.append(Finding(f"{first} to {last}", "--from, --to", "Give days of the years 2000 to 2099."))
    known = [chair.id for chair in practice.chairs]
    for chair in chairs:
        if chair not in known:
            found.append(Finding(f'nothing is called "{chair:.60}"', "--chair", f"Choose from: {', '.join(known)}."))
    if found:
        raise Mendable.of(found)
    zone = ZoneInfo(practice.practice.time_zone)
    since, until = (to_ms(datetime.combine(day, time(0), tzinfo=zone)) for day in (first, last + timedelta(days=1)))
    return Span(first, last, since, until, tuple(dict.fromkeys(chairs)))
