"""Tables as the newest migration leaves them. `leaf` holds the sealed bytes; every other column can be made from them again."""

from typing import Final

from sqlalchemy import BigInteger, Column, Integer, LargeBinary, MetaData, Table, Text

REVISIONS: Final = ("v0001", "v0002", "v0003", "v0004", "v0005")  # in order; SQLite's user_version is the place in it, from 1
metadata: Final = MetaData()
_Whole = BigInteger().with_variant(Integer, "sqlite")  # STRICT tables know INTEGER only, which is 64 bits wide there

entry: Final = Table(
    "entry",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("seq", _Whole, primary_key=True),
    Column("id", Text, nullable=False),
    Column("kind", Text, nullable=False),
    Column("device", Text, nullable=False),
    Column("n", _Whole, nullable=False),
    Column("hash", LargeBinary, nullable=False),  # of the leaf: a changed record shows as itself, not only as one of 256
    Column("leaf", LargeBinary, nullable=False),
)
entry_subject: Final = Table(
    "entry_subject",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("subject", Text, primary_key=True),
    Column("seq", _Whole, primary_key=True),
)
clash: Final = Table(
    "clash",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("id", Text, primary_key=True),
    Column("digest", LargeBinary, primary_key=True),
    Column("seq", _Whole, nullable=False),  # of the entry that keeps it
)
head: Final = Table(
    "head",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("size", _Whole, nullable=False),
    Column("received", _Whole, nullable=False),
    Column("peaks", LargeBinary, nullable=False),  # of the tree: 32 bytes for each binary digit 1 of the size
    Column("subjects_to", _Whole, nullable=False, server_default="0"),  # up to this entry the subjects were read off
)
node: Final = Table(
    "node",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("level", _Whole, primary_key=True),
    Column("number", _Whole, primary_key=True),
    Column("hash", LargeBinary, nullable=False),
)
file: Final = Table(
    "file",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("digest", Text, primary_key=True),  # SHA-256 of the content, hexadecimal as in entries
    Column("content", LargeBinary, nullable=False),
)
checkpoint: Final = Table(
    "checkpoint",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("size", _Whole, primary_key=True),
    Column("key", Text, primary_key=True),  # name and id of the key that signed it first
    Column("note", Text, nullable=False),
)
device: Final = Table(
    "device",
    metadata,
    Column("practice", Text, primary_key=True),
    Column("device", Text, primary_key=True),
    Column("reported", _Whole, nullable=False),  # the highest number that it says it has used
    Column("contact", _Whole, nullable=False),  # when it said so
    Column("whole_to", _Whole, nullable=False),  # up to this number nothing is missing: only what is above is looked at again
)
