"""The table of subjects follows the entries: the head says up to which one it was read off."""

import sqlalchemy as sa
from alembic import op

revision = "v0005"
down_revision = "v0004"


def upgrade() -> None:
    """Add the place; up to now the table was written with each entry, so it stands at the end."""
    whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.add_column("head", sa.Column("subjects_to", whole, nullable=False, server_default=sa.text("0")))
    op.execute("UPDATE head SET subjects_to = size")
    if op.get_bind().dialect.name == "sqlite":
        op.execute("PRAGMA user_version=5")
