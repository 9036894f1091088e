"""The language of what is printed: asked for, else the practice's own, else that of its country.

Sources
-------
[C] Unicode CLDR as Babel carries it: which country a time zone lies in, and its official languages. read
"""

from typing import Final

from babel.core import get_global
from babel.languages import get_official_languages
from babel.localedata import exists

from fettlebook.practice.model import PracticeHead
from fettlebook.web.languages.tongue import ENGLISH, LANGUAGES, Tongue, tongue_of

_PACKS: Final = {"au": "AU", "ca": "CA", "de": "DE", "pl": "PL", "uk": "GB", "us": "US"}  # rulebook -> its country


def tongue_printed(head: PracticeHead, asked: str | None = None) -> Tongue:
    """Return the language that a practice's papers are printed in, with the region that gives days and decimals.

    Parameters
    ----------
    asked
        A language that was asked for this time; None: the practice file's, else the only one of ours that is official in
        its country (told by its rulebooks, else by its time zone), else English.
    """
    country = next((_PACKS[pack] for pack in reversed(head.rulebooks) if pack in _PACKS), None)
    country = country or get_global("zone_territories").get(head.time_zone, "")
    language = asked or head.language
    if language is None:
        ours = [name for name in get_official_languages(country, de_facto=True) if name in LANGUAGES] if country else []
        language = ours[0] if len(ours) == 1 else "en"
    if language == "en":
        return ENGLISH
    region = f"{language}_{country}"
    return Tongue(language, region) if exists(region) else tongue_of(language)
