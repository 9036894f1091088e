"""The hash of each record as sealed stands beside it; columns that nothing is found by are left out.

Before, the digest of the maker's own bytes stood there: a verification then hashed every record twice. A record whose digest was not that
of its bytes any more keeps a hash that fits nothing, so that it is still located.
"""

import hashlib
import sqlite3

import sqlalchemy as sa
from alembic import op

revision = "v0004"
down_revision = "v0003"


def upgrade() -> None:
    """Put the hash in the digest's place, and drop `received` and `at`: both stand in the sealed bytes."""
    if op.get_bind().dialect.name == "sqlite":
        _on_sqlite()
        return
    op.execute("ALTER TABLE entry DISABLE TRIGGER entry_kept")
    # The maker's own bytes begin after {"entry": and end before the offset, which is the last but three of the receiver's keys.
    own = "substring(leaf FROM 10 FOR length(leaf) - 9 - length(substring(encode(leaf, 'escape') FROM ',\"offset\":-?[0-9]+,[^{}]*}$')))"
    sealed = f"CASE WHEN digest = sha256({own}) THEN sha256('\\x00'::bytea || leaf) ELSE :none END"
    op.execute(sa.text(f"UPDATE entry SET digest = {sealed}").bindparams(none=bytes(32)))  # noqa: S608 - our own words
    op.execute("ALTER TABLE entry ENABLE TRIGGER entry_kept")
    op.execute("ALTER TABLE entry RENAME COLUMN digest TO hash")
    op.execute("ALTER TABLE entry DROP COLUMN received")
    op.execute("ALTER TABLE entry DROP COLUMN at")


def _on_sqlite() -> None:
    driver = op.get_bind().connection.driver_connection
    assert isinstance(driver, sqlite3.Connection)
    driver.create_function("hash_as_sealed", 2, _hash_as_sealed, deterministic=True)
    op.execute("DROP TRIGGER entry_no_update")
    op.execute("UPDATE entry SET digest = hash_as_sealed(leaf, digest)")
    op.execute("ALTER TABLE entry RENAME COLUMN digest TO hash")
    op.execute("ALTER TABLE entry DROP COLUMN received")
    op.execute("ALTER TABLE entry DROP COLUMN at")
    op.execute(
        "CREATE TRIGGER entry_no_update BEFORE UPDATE ON entry "
        "BEGIN SELECT RAISE(ABORT, 'entries are never changed; write a later entry that mends it'); END"
    )
    op.execute("PRAGMA user_version=4")


def _hash_as_sealed(leaf: bytes, digest: bytes) -> bytes:
    own = leaf[9 : max(leaf.rfind(b',"offset":'), 9)]
    return hashlib.sha256(b"\x00" + leaf).digest() if hashlib.sha256(own).digest() == digest else bytes(32)
