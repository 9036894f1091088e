"""What is kept beside the entries: files by their digest, signed checkpoints, what each device has reported.

A group's database also takes the keys of people's words; a practice of its own keeps these in a file apart from the book.
"""

import sqlalchemy as sa
from alembic import op

revision = "v0003"
down_revision = "v0002"

ISOLATED = ("file", "checkpoint", "device", "text_key")


def upgrade() -> None:
    """Add the tables."""
    sqlite = op.get_bind().dialect.name == "sqlite"
    whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

    def table(name: str, *columns: sa.Column[object]) -> None:
        op.create_table(
            name, sa.Column("practice", sa.Text(), primary_key=True), *columns, sqlite_strict=True, sqlite_with_rowid=name == "file"
        )

    table("file", sa.Column("digest", sa.Text(), primary_key=True), sa.Column("content", sa.LargeBinary(), nullable=False))
    table(
        "checkpoint",
        sa.Column("size", whole, primary_key=True, autoincrement=False),
        sa.Column("key", sa.Text(), primary_key=True),
        sa.Column("note", sa.Text(), nullable=False),
    )
    table(
        "device",
        sa.Column("device", sa.Text(), primary_key=True),
        sa.Column("reported", whole, nullable=False),
        sa.Column("contact", whole, nullable=False),
        sa.Column("whole_to", whole, nullable=False),
    )
    if sqlite:
        for event in ("UPDATE", "DELETE"):
            op.execute(
                f"CREATE TRIGGER file_no_{event.lower()} BEFORE {event} ON file "
                "BEGIN SELECT RAISE(ABORT, 'files that entries name are never changed'); END"
            )
        op.execute("PRAGMA user_version=3")
        return
    table("text_key", sa.Column("key", sa.Text(), primary_key=True), sa.Column("secret", sa.LargeBinary(), nullable=False))
    own = "practice = current_setting('fettlebook.practice', true)"
    admitted = "EXISTS (SELECT FROM access a WHERE a.role = current_user AND a.practice = current_setting('fettlebook.practice', true))"
    for name in ISOLATED:
        op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_practice ON {name} USING ({own} AND {admitted}) WITH CHECK ({own} AND {admitted})")
