"""The catalogs as files: every text of the pages found in the code, the `.po` files kept in step with it.

Only `scripts/languages` and the tests come here; a running server reads the files by `tongue`.
"""

import os
from collections.abc import Iterator
from io import BytesIO
from pathlib import Path
from typing import Any, Final

from babel.messages.catalog import Catalog
from babel.messages.extract import extract_from_file
from babel.messages.pofile import read_po, write_po

from fettlebook.web.languages.tongue import HERE, LANGUAGES
from fettlebook.web.languages.words import words_shown

PACKAGE: Final = Path(__file__).parents[2]
LANGUAGES_KEPT: Final = tuple(name for name in LANGUAGES if name != "en")
_PYTHON: Final[dict[str, Any]] = {"said": None, "said_count": (1, 2)}
_TEMPLATE: Final[dict[str, Any]] = {"_": None, "gettext": None, "ngettext": (1, 2)}
_OPTIONS: Final = {"newstyle_gettext": "true", "trim_blocks": "true", "lstrip_blocks": "true", "silent": "false"}


def texts() -> Catalog:
    """Return every text that a page can show, with where it stands."""
    found = Catalog(project="fettlebook", charset="utf-8")
    for path in sorted(PACKAGE.rglob("*.py")):
        if path.name != "said.py" and "from fettlebook.said import" not in path.read_text("utf-8"):
            continue
        place = path.relative_to(PACKAGE).as_posix()
        for _, message, comments, _ in extract_from_file("python", path, _PYTHON, ("Translators:",)):
            found.add(message, locations=[(place, 0)], auto_comments=comments, flags=_flags(message))
    for path in sorted((PACKAGE / "web/templates").glob("*.html")):
        place = f"web/templates/{path.name}"
        for _, message, comments, _ in extract_from_file("jinja2.ext:babel_extract", path, _TEMPLATE, ("Translators:",), dict(_OPTIONS)):
            found.add(message, locations=[(place, 0)], auto_comments=comments, flags=["python-format"] if "%" in str(message) else ())
    for word, place in words_shown():
        found.add(word, auto_comments=[place])
    return found


def _flags(message: Any) -> tuple[str, ...]:
    return ("python-brace-format",) if "{" in str(message) else ()


def kept(language: str) -> Catalog:
    """Return a language's catalog as it stands in the file; an empty one where there is none."""
    path = HERE / f"{language}.po"
    if not path.exists():
        return Catalog(locale=language, project="fettlebook", charset="utf-8", fuzzy=False)
    with path.open("rb") as file:
        return read_po(file, locale=language)


def renew() -> dict[str, tuple[int, int]]:
    """Put every text into each catalog and take out what no page shows any more; return texts and untranslated ones of each."""
    found, counts = texts(), {}
    for language in LANGUAGES_KEPT:
        catalog = kept(language)
        catalog.update(found, no_fuzzy_matching=True)
        _write(language, catalog)
        counts[language] = len(catalog), sum(1 for _ in _lacking(catalog))
    return counts


def missing(language: str) -> str:
    """Return what a language lacks, as a `.po` file to fill in."""
    return "".join(f"{_entry(message)}\n" for message in _lacking(kept(language)))


def fill(language: str, path: Path) -> None:
    """Put the translations of a filled-in file into a language's catalog; a text that the catalog doesn't know is left out."""
    catalog = kept(language)
    with path.open("rb") as file:
        for message in read_po(file, locale=language):
            if message.id and message.id in catalog and message.string:
                catalog[message.id].string = message.string
    _write(language, catalog)


def _lacking(catalog: Catalog) -> Iterator[Any]:
    for message in catalog:
        strings = message.string if isinstance(message.string, tuple) else (message.string,)
        if message.id and not all(strings):
            yield message


def _entry(message: Any) -> str:
    one = Catalog()
    one.add(message.id, locations=message.locations, auto_comments=message.auto_comments)
    return _as_text(one, omit_header=True)


def _as_text(catalog: Catalog, **how: Any) -> str:
    out = BytesIO()
    write_po(out, catalog, width=130, include_lineno=False, ignore_obsolete=True, **how)
    return out.getvalue().decode()


def _write(language: str, catalog: Catalog) -> None:
    """Write a catalog at once or not at all, with nothing in its head that changes by itself."""
    head = (
        'msgid ""\nmsgstr ""\n'
        f'"Language: {language}\\n"\n"MIME-Version: 1.0\\n"\n"Content-Type: text/plain; charset=utf-8\\n"\n'
        f'"Content-Transfer-Encoding: 8bit\\n"\n"Plural-Forms: {catalog.plural_forms}\\n"\n\n'
    )
    told = f"# fettlebook in {LANGUAGES[language]}. By the authors, after docs/assistant/glossary.md; not reviewed by a translator.\n"
    path = HERE / f"{language}.po"
    draft = path.with_suffix(".po.new")
    draft.write_text(told + head + _as_text(catalog, omit_header=True, sort_output=True), "utf-8")
    os.replace(draft, path)
