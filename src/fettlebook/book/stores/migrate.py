"""Brings a database forward to the schema that this program writes."""

from pathlib import Path

from alembic import command
from alembic.config import Config
from sqlalchemy import Connection

from fettlebook.book import migrations

FOLDER = Path(migrations.__file__).parent


def bring_forward(connection: Connection, to: str = "head") -> None:
    """Apply the steps that are missing, up to the one named, inside the transaction that `connection` has begun: all of them or none."""
    config = Config()
    config.set_main_option("script_location", str(FOLDER).replace("%", "%%"))
    config.set_main_option("path_separator", "os")
    config.attributes["connection"] = connection
    command.upgrade(config, to)
