"""Rows of two fields that belong together, such as amount and time of a cup."""

from collections.abc import Callable, Iterator

from fettlebook.said import said
from fettlebook.web.forms import Form


def filled_rows(form: Form, rows: int, names: tuple[str, str], lacks: Callable[[int, bool], str]) -> Iterator[tuple[int, str, str]]:
    """Return each row in which both fields are filled: its number and what was typed; empty rows are passed over.

    A half-filled row is refused at its empty field; `lacks` says in words what is missing, given the row and whether it is the first.
    """
    for row in range(1, rows + 1):
        first, second = (form.text(f"{name}{row}") for name in names)
        if first and second:
            yield row, first, second
        elif first or second:
            form.refuse(f"{names[0] if second else names[1]}{row}", lacks(row, not first), said("Enter both, or empty the row."))
