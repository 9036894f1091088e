"""Tables of pages as files to save: the one way to write CSV stands on the floor below."""

from fettlebook.exchange.csv_table import csv_of

__all__ = ["csv_of"]
