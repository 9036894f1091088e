"""When a person is not at work, for the lanes by person."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo

from fettlebook.practice.model import Person
from fettlebook.said import said


@dataclass(frozen=True, slots=True)
class Away:
    """A stretch in which a person is not there."""

    start: datetime
    end: datetime
    word: str


def away_of(person: Person, day: date, zone: ZoneInfo) -> Iterable[Away]:
    """Return when a person is not at work on a day and the night after it, in order."""
    there: list[tuple[datetime, datetime]] = []
    breaks: list[Away] = []
    for shift in person.shifts:
        for back in (1, 0):  # yesterday's shift may end today
            on = day - timedelta(days=back)
            if on.strftime("%a").lower() not in shift.days or (back and not shift.over_midnight):
                continue
            begin = datetime.combine(on, shift.from_, zone)
            there.append((begin, datetime.combine(on + timedelta(days=shift.over_midnight), shift.to, zone)))
            for left, right in shift.breaks:
                late_left, late_right = (shift.over_midnight and moment < shift.from_ for moment in (left, right))
                breaks.append(
                    Away(
                        datetime.combine(on + timedelta(days=late_left), left, zone),
                        datetime.combine(on + timedelta(days=late_right), right, zone),
                        said("break"),
                    )
                )
    edge = datetime.combine(day, time(0), zone).astimezone(UTC)
    last = edge + timedelta(hours=48)
    for begin, end in sorted(there):
        if begin.astimezone(UTC) > edge:
            yield Away(edge, begin.astimezone(UTC), said("not here"))
        edge = max(edge, end.astimezone(UTC))
    yield from (Away(rest.start.astimezone(UTC), rest.end.astimezone(UTC), rest.word) for rest in breaks)
    if edge < last:
        yield Away(edge, last, said("not here"))
