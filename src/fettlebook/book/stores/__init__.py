"""Where a book is kept: one SQLite file, or PostgreSQL for a group of practices. One class, `Store`, and one test suite for both.

In come entries and the time of receipt, out come receipts and entries in their order. A store never judges what an entry says.
"""

from fettlebook.book.stores.base import BATCH_MOST, Inclusion, Store
from fettlebook.book.stores.beside import Missing
from fettlebook.book.stores.head import Head
from fettlebook.book.stores.postgres import PostgresStore, admit, open_group_book, prepare_group_book, prune_group_book, rebuild_group_book
from fettlebook.book.stores.pruning import Prunable
from fettlebook.book.stores.rebuild import Rebuilt
from fettlebook.book.stores.sqlite import InUse, SqliteStore, open_book

__all__ = [
    "BATCH_MOST",
    "Head",
    "InUse",
    "Inclusion",
    "Missing",
    "PostgresStore",
    "Prunable",
    "Rebuilt",
    "SqliteStore",
    "Store",
    "admit",
    "open_book",
    "open_group_book",
    "prepare_group_book",
    "prune_group_book",
    "rebuild_group_book",
]
