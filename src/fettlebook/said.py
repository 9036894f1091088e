"""Texts that know how they were made: English as they stand, and sayable in another language by whoever shows them.

The lower floors speak in sentences ("rinsed 10:40, 3 min too short"). An f-string is English for good; a `Said` is the same English
text, a `str` like any other, and also keeps its template and what was put into it. A face hands it a `Speaker` (its language) and
gets it said anew, with the numbers, moments and the texts inside in that language too. Whatever turns it into plain text (an
f-string, a JSON file, a kept state) leaves the English: never an error, never half a sentence.

In: templates as literals, so that `scripts/languages` finds them. Out: texts. It never knows a language itself.
"""

from collections.abc import Iterable, Mapping
from datetime import date, datetime
from string import Formatter
from typing import Any, Literal, Protocol

Form = Literal["clock", "day", "short day", "moment", "short moment", "date", "date and clock"]


class Speaker(Protocol):
    """A language, as a face has it."""

    def look_up(self, template: str) -> str:
        """Return a template in this language; the English one where it has none."""

    def look_up_count(self, one: str, many: str, n: int) -> str:
        """Return the template for so many in this language; the English one where it has none."""

    def number(self, value: float, spec: str) -> str:
        """Return a number by a format of Python's, with this language's decimal sign."""

    def moment(self, moment: date, form: Form) -> str:
        """Return a day or a moment as people of this language write it."""


class Said(str):
    """An English text that can be said in another language."""

    __slots__ = ("_args", "_many", "_template")
    _template: str
    _many: str  # the template for several; empty: none
    _args: Mapping[str, Any]

    def __new__(cls, text: str, template: str = "", args: Mapping[str, Any] | None = None, many: str = "") -> "Said":
        """Keep a text with what made it; one without a template was made by nothing but itself."""
        self = super().__new__(cls, text)
        self._template, self._many, self._args = template or text, many, args or {}
        return self

    def spoken(self, speaker: Speaker) -> str:
        """Return the text in the speaker's language."""
        many = self._many
        template = speaker.look_up_count(self._template, many, self._args["n"]) if many else speaker.look_up(self._template)
        if not self._args:
            return template
        try:
            return _Speaking(speaker).vformat(template, (), self._args)
        except (KeyError, IndexError, ValueError):  # a translation that names what isn't there: English is better than nothing
            return str(self)

    def __add__(self, other: str) -> "Said":
        return joined("", (self, other))

    def __radd__(self, other: str) -> "Said":
        return joined("", (other, self))

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (str(self), self._template, dict(self._args), self._many)


class _Joined(Said):
    """Texts one after the other, each said by itself."""

    __slots__ = ("_parts", "_separator")
    _parts: tuple[str, ...]
    _separator: str

    def __new__(cls, separator: str, parts: tuple[str, ...]) -> "_Joined":
        self = super().__new__(cls, separator.join(map(str, parts)))
        assert isinstance(self, _Joined)
        self._parts, self._separator = parts, separator
        return self

    def spoken(self, speaker: Speaker) -> str:
        return speak(self._separator, speaker).join(speak(part, speaker) for part in self._parts)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self._separator, self._parts)


class _Moment(Said):
    """A day or a moment."""

    __slots__ = ("_form", "_moment")
    _moment: date
    _form: Form

    def __new__(cls, english: str, moment: date, form: Form) -> "_Moment":
        self = super().__new__(cls, english)
        assert isinstance(self, _Moment)
        self._moment, self._form = moment, form
        return self

    def spoken(self, speaker: Speaker) -> str:
        return speaker.moment(self._moment, self._form)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (str(self), self._moment, self._form)


class _Number(Said):
    """A number by itself, or with a unit that all languages share."""

    __slots__ = ("_spec", "_value")
    _value: float
    _spec: str

    def __new__(cls, value: float, spec: str) -> "_Number":
        self = super().__new__(cls, format(value, spec))
        assert isinstance(self, _Number)
        self._value, self._spec = value, spec
        return self

    def spoken(self, speaker: Speaker) -> str:
        return speaker.number(self._value, self._spec)

    def __reduce__(self) -> tuple[Any, ...]:
        return type(self), (self._value, self._spec)


def said(template: str, /, **args: Any) -> Said:
    """Return a text from a literal template, `{name:spec}` as in an f-string; what is put in may be said itself.

    Without anything to put in, the template is the text, braces and all.
    """
    self = str.__new__(
        Said, template.format_map(args) if args else template
    )  # as Said() would, without its calls: it is made by the thousand
    self._template, self._many, self._args = template, "", args
    return self


def said_count(one: str, many: str, /, n: int, **args: Any) -> Said:
    """Return a text about n things: `said_count("{n} cycle", "{n} cycles", n=2)`."""
    given = {"n": n, **args}
    return Said((one if n == 1 else many).format_map(given), one, given, many)


def term(text: str) -> Said:
    """Return a text that stands somewhere else as a literal: a word of an enumeration, a name in a bundled rulebook."""
    return text if isinstance(text, Said) else Said(text)


def joined(separator: str, parts: Iterable[str]) -> Said:
    """Return texts one after the other, as `separator.join(parts)` does; each is said by itself."""
    return _Joined(separator, tuple(parts))


def listed(parts: Iterable[str]) -> Said:
    """Return "a", "a and b", "a, b and c"."""
    *first, last = parts
    return said("{first} and {last}", first=joined(", ", first), last=last) if first else joined("", (last,))


def said_moment(moment: date | datetime, form: Form, english: str) -> Said:
    """Return a day or an aware moment: in English as given, elsewhere as people there write it."""
    return _Moment(english, moment, form)


def said_number(value: float, spec: str) -> Said:
    """Return a number by a format of Python's."""
    return _Number(value, spec)


def said_date(moment: date | datetime) -> Said:
    """Return a day, or a moment on the clock that it carries, as printed in tables: in English 2026-11-25, 2026-11-25 08:05."""
    if isinstance(moment, datetime):
        return _Moment(f"{moment:%Y-%m-%d %H:%M}", moment, "date and clock")
    return _Moment(moment.isoformat(), moment, "date")


def speak(value: str, speaker: Speaker) -> str:
    """Return a text in the speaker's language; a plain one as it is."""
    return value.spoken(speaker) if isinstance(value, Said) else value


class _Speaking(Formatter):
    """Puts values into a template: texts said anew, numbers with the language's decimal sign."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker

    def format_field(self, value: Any, format_spec: str) -> Any:
        if isinstance(value, Said):
            return format(value.spoken(self._speaker), format_spec)
        if isinstance(value, (int, float)) and not isinstance(value, bool):
            return self._speaker.number(value, format_spec)
        return super().format_field(value, format_spec)
