"""Options that many commands share, each written once: the same name, the same words everywhere."""

from typing import Final

import click

PRACTICE: Final = click.option(
    "--practice", "practice_file", required=True, metavar="PRACTICE.toml", type=click.Path(path_type=str), help="The practice file."
)
DATA: Final = click.option("--data", metavar="BOOK.sqlite", help="The book of entries; beside the practice file if left out.")
AT: Final = click.option("--at", metavar="DATETHH:MM", help="The moment that is asked about, on the practice's clock; now if left out.")
KNOWN_AT: Final = click.option(
    "--known-at", metavar="DATETHH:MM", help='By what had been received at this moment; as --at if left out; "now": by all there is.'
)
JSON: Final = click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
