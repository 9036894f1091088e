"""Entries about entries: a mistake is mended by a later entry that refers to it, never by a change."""

from typing import Annotated, Any, ClassVar

from fettlebook.book.kinds.forms import AsTuple, Data, Digest, Id, Line


class EntryCorrected(Data):
    """An earlier entry says something wrong in one field. Both values stay in the book."""

    KIND: ClassVar[str] = "entry.corrected"
    REFERS: ClassVar[bool] = True

    field: Line
    was: Any = None  # absent: the field was not there
    now: Any = None  # absent: the field should not be there
    why: Line


class EntryWithdrawn(Data):
    """An earlier entry should not have been made. It stays in the book, with this one beside it."""

    KIND: ClassVar[str] = "entry.withdrawn"
    REFERS: ClassVar[bool] = True

    why: Line


class EntryClash(Data):
    """Another content came under the id of an entry that is already in the book. It was refused; its digest is kept here.

    Only the store writes this kind.
    """

    KIND: ClassVar[str] = "entry.clash"
    REFERS: ClassVar[bool] = True

    digest: Digest
    via: Id


class EntryLaidAside(Data):
    """An entry that a tablet had numbered and this book refused was laid aside by a person.

    It takes the refused entry's number, so that what is missing from the tablet's counter is accounted for, and nothing else of it.
    """

    KIND: ClassVar[str] = "entry.laid_aside"

    laid: Line  # id of the entry that was refused
    said: Line  # its kind
    why: Line  # the first finding


class EntrySettled(Data):
    """Somebody looked at entries that do not agree, and says that all of them stand. Refers to the one that counts by the rule."""

    KIND: ClassVar[str] = "entry.settled"
    REFERS: ClassVar[bool] = True

    beside: Annotated[tuple[Line, ...], AsTuple]  # ids of the others
    why: Line
