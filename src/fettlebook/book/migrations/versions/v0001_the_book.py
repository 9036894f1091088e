"""The book: entries, their subjects, clashes, and the head of each practice.

The tables are written out here, not taken from stores/tables.py: a released step never changes afterwards.
"""

import sqlalchemy as sa
from alembic import op

revision = "v0001"
down_revision = None

APPLICATION_ID = 0x66746C62  # "ftlb": marks the SQLite file as a book
ISOLATED = ("entry", "entry_subject", "clash", "head")


def upgrade() -> None:
    """Make the tables and what guards them."""
    whole = sa.BigInteger().with_variant(sa.Integer(), "sqlite")

    def table(name: str, *columns: sa.Column[object], rowid: bool = True, unique: tuple[str, ...] = ()) -> None:
        parts = [sa.UniqueConstraint(*unique)] if unique else []
        op.create_table(name, *columns, *parts, sqlite_strict=True, sqlite_with_rowid=rowid)

    table(
        "entry",
        sa.Column("practice", sa.Text(), primary_key=True),
        sa.Column("seq", whole, primary_key=True, autoincrement=False),
        sa.Column("id", sa.Text(), nullable=False),
        sa.Column("kind", sa.Text(), nullable=False),
        sa.Column("received", whole, nullable=False),
        sa.Column("at", whole, nullable=False),
        sa.Column("device", sa.Text(), nullable=False),
        sa.Column("n", whole, nullable=False),
        sa.Column("digest", sa.LargeBinary(), nullable=False),
        sa.Column("leaf", sa.LargeBinary(), nullable=False),
        unique=("practice", "id"),
    )
    op.create_index("entry_by_kind", "entry", ["practice", "kind", "seq"])
    op.create_index("entry_by_device", "entry", ["practice", "device", "n"])
    table(
        "entry_subject",
        sa.Column("practice", sa.Text(), primary_key=True),
        sa.Column("subject", sa.Text(), primary_key=True),
        sa.Column("seq", whole, primary_key=True, autoincrement=False),
        rowid=False,
    )
    table(
        "clash",
        sa.Column("practice", sa.Text(), primary_key=True),
        sa.Column("id", sa.Text(), primary_key=True),
        sa.Column("digest", sa.LargeBinary(), primary_key=True),
        sa.Column("seq", whole, nullable=False),
        rowid=False,
    )
    table(
        "head",
        sa.Column("practice", sa.Text(), primary_key=True),
        sa.Column("size", whole, nullable=False),
        sa.Column("received", whole, nullable=False),
        rowid=False,
    )
    if op.get_bind().dialect.name == "sqlite":
        _guard_sqlite()
    else:
        _guard_postgres()


def _guard_sqlite() -> None:
    for event in ("UPDATE", "DELETE"):
        op.execute(
            f"CREATE TRIGGER entry_no_{event.lower()} BEFORE {event} ON entry "
            "BEGIN SELECT RAISE(ABORT, 'entries are never changed; write a later entry that mends it'); END"
        )
    op.execute(f"PRAGMA application_id={APPLICATION_ID}")
    op.execute("PRAGMA user_version=1")


def _guard_postgres() -> None:
    op.execute(
        "CREATE FUNCTION entry_is_kept() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN "
        "RAISE EXCEPTION 'entries are never changed; write a later entry that mends it'; END $$"
    )
    op.execute("CREATE TRIGGER entry_kept BEFORE UPDATE OR DELETE ON entry FOR EACH ROW EXECUTE FUNCTION entry_is_kept()")
    op.execute("CREATE TRIGGER entry_not_emptied BEFORE TRUNCATE ON entry FOR EACH STATEMENT EXECUTE FUNCTION entry_is_kept()")
    # Who may touch which practice. Only the owner of the tables writes it; a role sees its own lines.
    op.execute("CREATE TABLE access (role name NOT NULL, practice text NOT NULL, PRIMARY KEY (role, practice))")
    op.execute("ALTER TABLE access ENABLE ROW LEVEL SECURITY")
    op.execute("CREATE POLICY own_lines ON access FOR SELECT USING (role = current_user)")
    # Two locks on one door: the role must be admitted to the practice (holds against a stolen login of another practice), and the
    # transaction must have named it (holds against a forgotten condition in our own queries). Both are evaluated once per query.
    own = "practice = current_setting('fettlebook.practice', true)"
    admitted = "EXISTS (SELECT FROM access a WHERE a.role = current_user AND a.practice = current_setting('fettlebook.practice', true))"
    for name in ISOLATED:
        op.execute(f"ALTER TABLE {name} ENABLE ROW LEVEL SECURITY")
        op.execute(f"CREATE POLICY own_practice ON {name} USING ({own} AND {admitted}) WITH CHECK ({own} AND {admitted})")
