"""Between the wall clock and the minutes of a plan: elapsed minutes since the day's own midnight.

On the two days of the clock change an hour is missing or stands twice; elapsed minutes don't know that, and the wall
clock is only put on again when something is shown.
"""

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from zoneinfo import ZoneInfo


@dataclass(frozen=True, slots=True)
class DayClock:
    """One day in one zone."""

    day: date
    zone: ZoneInfo

    @property
    def midnight(self) -> datetime:
        """The moment at which the day begins, in UTC."""
        return datetime.combine(self.day, time(0), self.zone).astimezone(UTC)

    def minute_up(self, moment: datetime) -> int:
        """Return the first whole minute at or after a moment: a start is never planned before it is booked."""
        return -int(-(moment.astimezone(UTC) - self.midnight).total_seconds() // 60)

    def wall(self, at: time, *, days_on: int = 0) -> int:
        """Return the minute at which a wall clock on this day (or days later) shows `at`.

        A time that the clock jumps over is the moment an hour later; one that it shows twice is the first.
        """
        moment = datetime.combine(self.day + timedelta(days=days_on), at, self.zone)
        return round((moment.astimezone(UTC) - self.midnight).total_seconds() / 60)

    def moment(self, minute: int, *, second: int = 0) -> datetime:
        """Return the moment of a minute, in the practice's zone."""
        return (self.midnight + timedelta(minutes=minute, seconds=second)).astimezone(self.zone)

    def shown(self, minute: int) -> str:
        """Return a minute as the wall clock shows it; a later day is named."""
        at = self.moment(minute)
        days_on = (at.date() - self.day).days
        return f"{at:%H:%M}" + (f" (+{days_on} d)" if days_on else "")
