"""How moments and lengths are written on pages and sheets: one way, everywhere."""

from datetime import date, datetime
from zoneinfo import ZoneInfo

from fettlebook.plan.day import DayVerdict
from fettlebook.said import Said, said, said_moment, said_number

# A shape and a word for each verdict: colour is never the only sign.
VERDICT_SHAPE = {
    DayVerdict.FITS: "full",
    DayVerdict.LATE: "notched",
    DayVerdict.DOES_NOT_FIT: "broken",
    DayVerdict.NOTHING_BOOKED: "empty",
}
VERDICT_WORD = {
    DayVerdict.FITS: said("Fits"),
    DayVerdict.LATE: said("Late"),
    DayVerdict.DOES_NOT_FIT: said("Does not fit"),
    DayVerdict.NOTHING_BOOKED: said("Nothing booked"),
}


def clock(moment: datetime, zone: ZoneInfo) -> str:
    """Return the time of day on the practice's wall clock, as 08:05."""
    return moment.astimezone(zone).strftime("%H:%M")


def long_day(day: date) -> Said:
    """Return a day as people say it, as Wed 25 Nov 2026."""
    return said_moment(day, "day", f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]} {day.year}")


def short_day(day: date) -> Said:
    """Return a day without its year, as Wed 25 Nov."""
    return said_moment(day, "short day", f"{_DAYS[day.weekday()]} {day.day} {_MONTHS[day.month - 1]}")


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


def number(value: float) -> Said:
    """Return a number without needless zeros and without an exponent: 0.5, 12, 100, 0.0012."""
    if abs(value) >= 1:
        return said_number(value, ".6g")
    decimals = len(f"{value:.4f}".rstrip("0").partition(".")[2])
    return said_number(value, f".{decimals}f")


_DAYS = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
_MONTHS = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
