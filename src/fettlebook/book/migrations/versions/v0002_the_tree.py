"""The tree over the sealed records: its peaks at each practice's head, and its nodes at every eighth level.

Books of the first schema hold the sealed bytes already; the tree is made from them here.
"""

import sqlalchemy as sa
from alembic import op

from fettlebook.book.tree import TILE, Peaks, leaf_hash

revision = "v0002"
down_revision = "v0001"


def upgrade() -> None:
    """Add the tree and fill it."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")
    op.create_table(
        "node",
        sa.Column("practice", sa.Text(), primary_key=True),
        sa.Column("level", whole, primary_key=True, autoincrement=False),
        sa.Column("number", whole, primary_key=True, autoincrement=False),
        sa.Column("hash", sa.LargeBinary(), nullable=False),
        sqlite_strict=True,
        sqlite_with_rowid=False,
    )
    nothing = sa.text("x''" if sqlite else "''::bytea")
    op.add_column("head", sa.Column("peaks", sa.LargeBinary(), nullable=False, server_default=nothing))
    connection = op.get_bind()
    for (practice,) in connection.execute(sa.text("SELECT practice FROM head")).all():
        _grow(connection, practice)
    if sqlite:
        op.execute("PRAGMA user_version=2")
    else:
        op.execute("ALTER TABLE node ENABLE ROW LEVEL SECURITY")
        own = "practice = current_setting('fettlebook.practice', true)"
        admitted = "EXISTS (SELECT FROM access a WHERE a.role = current_user AND a.practice = current_setting('fettlebook.practice', true))"
        op.execute(f"CREATE POLICY own_practice ON node USING ({own} AND {admitted}) WITH CHECK ({own} AND {admitted})")


def _grow(connection: sa.Connection, practice: str) -> None:
    peaks = Peaks()
    page = sa.text("SELECT leaf FROM entry WHERE practice = :practice AND seq > :since ORDER BY seq LIMIT 4096")
    node = sa.text("INSERT INTO node (practice, level, number, hash) VALUES (:practice, :level, :number, :hash)")
    while rows := connection.execute(page, {"practice": practice, "since": peaks.size}).all():
        for (leaf,) in rows:
            peaks, made = peaks.grown(leaf_hash(bytes(leaf)))
            kept = [
                {"practice": practice, "level": level, "number": number, "hash": value}
                for level, number, value in made
                if level and level % TILE == 0
            ]
            if kept:
                connection.execute(node, kept)
    head = sa.text("UPDATE head SET peaks = :peaks WHERE practice = :practice")
    connection.execute(head, {"practice": practice, "peaks": b"".join(peaks.hashes)})
