"""One language with its region, and the one that the request at hand is answered in.

Sources
-------
[C] Unicode CLDR as Babel carries it: plural rules, names of days and months, decimal signs. read
"""

from contextvars import ContextVar
from dataclasses import dataclass
from datetime import date, datetime
from functools import lru_cache
from gettext import GNUTranslations, NullTranslations
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from babel import Locale
from babel.dates import format_date, format_skeleton
from babel.localedata import exists
from babel.messages.mofile import write_mo
from babel.messages.pofile import read_po
from babel.numbers import get_decimal_symbol, get_group_symbol

from fettlebook.said import Form, Said

HERE: Final = Path(__file__).parent
LANGUAGES: Final = {"en": "English", "de": "Deutsch", "es": "Español", "fr": "Français"}  # each called by its own name
_HOME: Final = {"en": "en_GB", "de": "de_DE", "es": "es_ES", "fr": "fr_FR"}  # where the browser names no region
_SKELETONS: Final[dict[Form, str]] = {"day": "yMMMEd", "short day": "MMMEd", "moment": "yMMMEd", "short moment": "MMMEd", "clock": ""}
_IN_TABLES: Final[tuple[Form, ...]] = ("date", "date and clock")
_ENGLISH_DAYS: Final[dict[Form, str]] = {
    "day": "EEE d MMM y",
    "short day": "EEE d MMM",
    "moment": "EEE d MMM y",
    "short moment": "EEE d MMM",
}


@dataclass(frozen=True, slots=True)
class Tongue:
    """A language as a page speaks it."""

    language: str  # de
    region: str  # de_CH: whose days and decimals

    @property
    def locale(self) -> Locale:
        """What Babel knows of it."""
        return _locale(self.region)

    @property
    def texts(self) -> NullTranslations:
        """The catalog; English is what stands in the code."""
        return catalog(self.language)

    def look_up(self, template: str) -> str:
        """Return a template in this language; the English one where it has none."""
        return self.texts.gettext(template) if template else ""  # an empty one would give the catalog's head

    def look_up_count(self, one: str, many: str, n: int) -> str:
        """Return the template for so many in this language."""
        return self.texts.ngettext(one, many, n)

    def number(self, value: float, spec: str = "") -> str:
        """Return a number by a format of Python's, with this region's signs; whole numbers get no sign that the format didn't ask for."""
        text = format(value, spec)
        if self.language == "en" or not text[-1:].isdigit():
            return text
        return text.translate(_signs(self.region))

    def moment(self, moment: date, form: Form) -> str:
        """Return a day or a moment, on the clock that it carries: Wed 25 Nov 2026, Mi., 25. Nov. 2026, mié, 25 nov 2026."""
        clock = moment.strftime("%H:%M") if isinstance(moment, datetime) else ""
        if form == "clock":
            return clock
        if form in _IN_TABLES:  # short, and nobody reads its month as its day
            day = moment.strftime("%Y-%m-%d") if self.language == "en" else str(format_date(moment, "medium", self.locale))
        elif self.language == "en":  # the day before the month, its name in letters: nobody reads it as another day
            day = format_date(moment, _ENGLISH_DAYS[form], self.locale)
        else:
            day = str(format_skeleton(_SKELETONS[form], moment, locale=self.locale))
        return day if form in ("day", "short day", "date") else f"{day} {clock}"

    def say(self, value: Any) -> Any:
        """Return whatever a page shows, in this language if it is a text that can be said in it; moments as people write them."""
        return value.spoken(self) if isinstance(value, Said) else value


ENGLISH: Final = Tongue("en", "en_GB")
_now: ContextVar[Tongue] = ContextVar("tongue", default=ENGLISH)


def tongue() -> Tongue:
    """Return the language of the request at hand; outside of one, English."""
    return _now.get()


def speak_as(chosen: Tongue) -> None:
    """Answer the rest of this request in a language."""
    _now.set(chosen)


def tongue_of(language: str, preferred: str = "") -> Tongue:
    """Return a language with the region that the browser prefers for it.

    Parameters
    ----------
    language
        What the device keeps; empty or unknown: the first that the browser prefers and we have, else English.
    preferred
        The browser's Accept-Language.
    """
    wanted = _by_preference(preferred)
    if language not in LANGUAGES:
        language = next((name for name in (tag.partition("_")[0] for tag in wanted) if name in LANGUAGES), "en")
    region = next((tag for tag in wanted if tag.startswith(f"{language}_") and exists(tag)), _HOME[language])
    return Tongue(language, region)


@lru_cache(maxsize=256)
def _by_preference(header: str) -> tuple[str, ...]:
    """Return the tags of an Accept-Language, most wanted first: de_CH, de, en."""
    found: list[tuple[float, str]] = []
    for part in header[:500].split(","):
        tag, _, weight = part.partition(";")
        language, _, region = tag.strip().replace("-", "_").partition("_")
        try:
            share = float(weight.strip().removeprefix("q=")) if weight else 1.0
        except ValueError:
            continue
        if language.isalpha() and language.isascii() and 0 < share <= 1:
            found.append((-share, language.lower() + (f"_{region.upper()}" if len(region) == 2 and region.isalpha() else "")))
    return tuple(tag for _, tag in sorted(found, key=lambda pair: pair[0]))


@lru_cache(maxsize=64)
def _locale(region: str) -> Locale:
    return Locale.parse(region)


@lru_cache(maxsize=64)
def _signs(region: str) -> dict[int, str]:
    return {ord("."): get_decimal_symbol(region), ord(","): get_group_symbol(region)}


@lru_cache
def catalog(language: str) -> NullTranslations:
    """Return a language's texts, compiled from its `.po` file."""
    path = HERE / f"{language}.po"
    if not path.exists():
        return NullTranslations()
    with path.open("rb") as file:
        read = read_po(file, locale=language)
    compiled = BytesIO()
    write_mo(compiled, read)
    compiled.seek(0)
    return GNUTranslations(compiled)
