"""Invented names for the demo appointment book. They are there to be left out: no page, log or table may ever show one."""

from typing import Final

_FIRST: Final = (
    "Ottoline", "Bramwell", "Ceridwen", "Dunstan", "Elspeth", "Fitzroy", "Guinevere", "Hamish", "Isolde", "Jocasta",
    "Kester", "Lorcan", "Merewen",
)  # fmt: skip
_LAST: Final = (
    "Brackwater", "Thistlemere", "Pennyfarrow", "Quillhaven", "Marshlantern", "Oakenshade", "Fenwhistle", "Gorsebury",
    "Hollowmead", "Ivyscombe", "Kelpstrand",
)  # fmt: skip


def invented_name(number: int) -> str:
    """Return the invented name of the weekly booking of this number."""
    return f"{_FIRST[number % len(_FIRST)]} {_LAST[number % len(_LAST)]}"


def invented_words() -> tuple[str, ...]:
    """Return every word that, found anywhere after the door, proves that a name got through."""
    return (*_FIRST, *_LAST)
