"""A laboratory's table of counts: its ways of writing a number, its units, its slips; read right, or named with row and field."""

from fettlebook.exchange.laboratory.notation import Decimal_, Reading, decimal_of, read_count
from fettlebook.exchange.laboratory.sheet import Sheet, SheetRow, SheetWays, read_sheet

__all__ = ["Decimal_", "Reading", "Sheet", "SheetRow", "SheetWays", "decimal_of", "read_count", "read_sheet"]
