"""How moments and lengths are written on pages and sheets: one way, everywhere."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from fettlebook.plan.day import DayVerdict

# A shape and a word for each verdict: colour is never the only sign.
VERDICT_SHAPE = {
    DayVerdict.FITS: "full",
    DayVerdict.LATE: "notched",
    DayVerdict.DOES_NOT_FIT: "broken",
    DayVerdict.NOTHING_BOOKED: "empty",
}
VERDICT_WORD = {
    DayVerdict.FITS: "Fits",
    DayVerdict.LATE: "Late",
    DayVerdict.DOES_NOT_FIT: "Does not fit",
    DayVerdict.NOTHING_BOOKED: "Nothing booked",
}


def clock(moment: datetime, zone: ZoneInfo) -> str:
    """Return the time of day on the practice's wall clock, as 08:05."""
    return moment.astimezone(zone).strftime("%H:%M")


def long_day(day: date) -> str:
    """Return a day as people say it, as Wed 25 Nov 2026."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}"


def short_day(day: date) -> str:
    """Return a day without its year, as Wed 25 Nov."""
    return f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}"


def length(seconds: float) -> str:
    """Return a length of time with its unit: 45 s, 2 min, 2 min 30 s, 1 h 5 min."""
    whole = round(seconds)
    hours, rest = divmod(whole, 3600)
    minutes, left = divmod(rest, 60)
    parts = [f"{hours} h"] if hours else []
    if minutes:
        parts.append(f"{minutes} min")
    if left or not parts:
        parts.append(f"{left} s")
    return " ".join(parts)


def unit(name: str) -> str:
    """Return one set as people say it: exam 4 for the plan's exam#4."""
    return name.replace("#", " ")


def number(value: float) -> str:
    """Return a number without needless zeros and without an exponent: 0.5, 12, 100, 0.0012."""
    return f"{value:.4f}".rstrip("0").rstrip(".") if abs(value) < 1 else f"{value:.6g}"


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
