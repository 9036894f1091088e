"""The axis of days under a drawing: where a moment lies, months with their names, and where now is."""

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import date, timedelta
from html import escape
from typing import Any, Final

from fettlebook.said import Said, Speaker, joined, said, said_moment, speak
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.look import Look

INK: Final = "#1b2a30"
SOFT: Final = "#4a5a60"
MOST_MARKS: Final = 8
FEW_DAYS: Final = 70  # under so many, days are named instead of months


@dataclass(frozen=True, slots=True)
class TimeAxis:
    """Moments from `first` to `last` [ms] between two edges of a drawing; its line lies at `floor`, `height` is that of the drawing."""

    look: Look
    first: float
    last: float
    left: float
    right: float
    top: float
    floor: float
    height: float

    def x(self, ms: float) -> float:
        """Return the x of a moment."""
        return self.left + (self.right - self.left) * (ms - self.first) / (self.last - self.first)

    def svg(self) -> Iterator[str]:
        """Yield the marks under the drawing, and a line at the moment that is looked from."""
        for day, words in self._marks():
            x = self.x(self.look.basis.day_begins(day))
            if self.left <= x <= self.right:
                yield f'<line x1="{x:.1f}" x2="{x:.1f}" y1="{self.floor}" y2="{self.floor + 5}" stroke="{SOFT}"/>'
                yield text(x, self.floor + 20, words, "middle")
        now = self.x(self.look.at)
        if now < self.right:
            yield f'<line x1="{now:.1f}" x2="{now:.1f}" y1="{self.top}" y2="{self.floor}" stroke="{SOFT}" stroke-dasharray="2 3"/>'
        yield text(min(now, self.right), self.height - 8, said("now"), "end" if now >= self.right else "middle")

    def _marks(self) -> Iterator[tuple[date, str]]:
        begin, end = (self.look.basis.day_of(round(ms)) for ms in (self.first, self.last))
        if self.last - self.first < FEW_DAYS * DAY_MS:
            every = max(1, -(-(end - begin).days // MOST_MARKS))
            for number in range(0, (end - begin).days + 1, every):
                day = begin + timedelta(days=number)
                yield day, day_words(day)
            return
        months = (end.year - begin.year) * 12 + end.month - begin.month
        every = max(1, -(-months // MOST_MARKS))
        day = date(begin.year + begin.month // 12, begin.month % 12 + 1, 1)
        number = 0
        while day <= end:
            if number % every == 0:
                yield day, f"{day:%b %Y}"
            number += 1
            day = (day + timedelta(days=32)).replace(day=1)


class _InMarkup(Said):
    """Words between tags or in an attribute: said first, then escaped, so that no language and no name can break the drawing."""

    __slots__ = ("_words",)
    _words: str

    def __new__(cls, words: str) -> "_InMarkup":
        self = super().__new__(cls, escape(words))
        assert isinstance(self, _InMarkup)
        self._words = words
        return self

    def spoken(self, speaker: Speaker) -> str:
        return escape(speak(self._words, speaker))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self._words,)


def in_markup(words: str) -> Said:
    """Return words for between tags or in an attribute of a drawing, escaped in whichever language they are said."""
    return _InMarkup(words)


def day_words(day: date) -> Said:
    """Return a day without its weekday, as 25 Nov; elsewhere as people there write a short day."""
    return said_moment(day, "short day", f"{day.day} {day:%b}")


def text(x: float, y: float, words: str, anchor: str, colour: str = INK) -> Said:
    """Return words in a drawing, with a white edge so that lines don't run through them."""
    halo = 'paint-order="stroke" stroke="white" stroke-width="3"'
    head = f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="14" fill="{colour}" {halo}>'
    return joined("", (head, in_markup(words), "</text>"))
