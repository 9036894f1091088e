"""A booked visit as fettlebook knows it: an opaque reference, a chair, a kind, a time. Never a person."""

from dataclasses import dataclass
from datetime import datetime


@dataclass(frozen=True, slots=True)
class Visit:
    """One patient contact.

    `ref` is a keyed digest made at the door (exchange); it can't be turned back into the calendar's entry without the
    practice's key. `start` and `end` are aware.
    """

    ref: str
    chair: str
    visit_kind: str
    start: datetime
    end: datetime
