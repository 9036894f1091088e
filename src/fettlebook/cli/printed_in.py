"""The option of the commands that print: in which language."""

from __future__ import annotations

from typing import TYPE_CHECKING, get_args

import click

from fettlebook.practice.model import Language

if TYPE_CHECKING:
    from fettlebook.practice.model import Practice
    from fettlebook.web.languages.tongue import Tongue

language_option = click.option(
    "--language",
    type=click.Choice(get_args(Language)),
    help="Print in this language; left out: the practice file's, else that of its country.",
)


def printed_in(practice: Practice, language: str | None) -> Tongue:
    """Return the language to print a practice's papers in."""
    from fettlebook.web.languages.printed import tongue_printed  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    return tongue_printed(practice.practice, language)
