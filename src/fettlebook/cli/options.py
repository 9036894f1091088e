"""Options that many commands share, each written once: the same name, the same words everywhere."""

from collections.abc import Callable
from typing import Any, Final, TypeVar

import click

Command = TypeVar("Command", bound=Callable[..., Any])

PRACTICE: Final = click.option(
    "--practice", "practice_file", required=True, metavar="PRACTICE.toml", type=click.Path(path_type=str), help="The practice file."
)
DATA: Final = click.option("--data", metavar="BOOK.sqlite", help="The book of entries; beside the practice file if left out.")
AT: Final = click.option("--at", metavar="DATETHH:MM", help="The moment that is asked about, on the practice's clock; now if left out.")
KNOWN_AT: Final = click.option(
    "--known-at", metavar="DATETHH:MM", help='By what had been received at this moment; as --at if left out; "now": by all there is.'
)
JSON: Final = click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
JSON_WITH_PLAN: Final = click.option(
    "--json", "as_json", is_flag=True, help="Print JSON and nothing else; with the plan, if it is not written to a file."
)
SEED: Final = click.option(
    "--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Another seed searches in another order."
)


def limit_s(usual: float, most: float, words: str = "Seconds to search; 0: the first answer.") -> Callable[[Command], Command]:
    """Return the option `--limit`: how long is searched."""
    return click.option("--limit", "limit_s", type=click.FloatRange(0, most), default=usual, show_default=True, help=words)
