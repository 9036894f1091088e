"""What the answers come to: the tables of a practice file in the making, and what was left out."""

from dataclasses import dataclass, field
from typing import Any

Table = dict[str, Any]


@dataclass(slots=True)
class Draft:
    """Tables as the practice file has them; `comments` says what stands behind a hash at a table: key `chairs.0.supply`.

    `left_out` names what the practice has and the file has not, since its label or papers were not at hand.
    """

    head: Table = field(default_factory=dict)
    opening: list[Table] = field(default_factory=list)
    holidays: list[Table] = field(default_factory=list)
    rooms: list[Table] = field(default_factory=list)
    chair_count: int = 0
    chairs: list[Table] = field(default_factory=list)
    machines: list[Table] = field(default_factory=list)
    sets: list[Table] = field(default_factory=list)
    reprocessing: Table = field(default_factory=dict)
    people: list[Table] = field(default_factory=list)
    products: list[Table] = field(default_factory=list)
    in_use: Table = field(default_factory=dict)
    visit_kinds: list[Table] = field(default_factory=list)
    calendar: Table = field(default_factory=dict)
    comments: dict[str, str] = field(default_factory=dict)
    left_out: list[str] = field(default_factory=list)
    calendar_file: str = ""
    finish: str = ""  # what becomes of the file: write, replace, beside
