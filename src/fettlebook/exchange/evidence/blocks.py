"""What the document is made of: chapters of headings, texts, tables and charts, as plain data for the typesetter."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import datetime
from typing import Any, Final
from zoneinfo import ZoneInfo

from fettlebook.book.kinds import from_ms
from fettlebook.said import Said, joined, said_date, said_number, term
from fettlebook.standing.model import SHAPES, Verdict

OWN_PAGE_LINES: Final = 24  # a shorter chapter follows on the page of the one before
FONT: Final = "Atkinson Hyperlegible Next"


@dataclass(slots=True)
class Chapter:
    """One chapter; blocks are added in order. `lead` says in a sentence what it answers."""

    title: str
    lead: str
    blocks: list[dict[str, Any]] = field(default_factory=list)

    def heading(self, text: str, *, listed: bool = True) -> None:
        """Begin a part; not `listed`, it is a bookmark and not among the contents."""
        self.blocks.append({"kind": "heading", "text": text, "listed": listed})

    def text(self, text: str) -> None:
        """Add a paragraph."""
        self.blocks.append({"kind": "text", "text": text})

    def table(self, columns: Mapping[Said, float], rows: Iterable[Sequence[object]], *, empty: str) -> None:
        """Add a table with its header row, columns by name and share of the width; where there are no rows, a sentence."""
        cells = [[_cell(cell) for cell in row] for row in rows]
        if cells:
            self.blocks.append({"kind": "table", "head": list(columns), "widths": list(columns.values()), "rows": cells})
        else:
            self.text(empty)

    def chart(self, svg: str, alt: str) -> None:
        """Add a drawing; `alt` says what it shows to whoever can't see it."""
        svg = svg.replace('font-family="sans-serif"', f'font-family="{FONT}"')
        for verdict, shape in SHAPES.items():  # the page's font has none of them, and one missing sign sets the whole line in another
            svg = svg.replace(f"{shape} {verdict}", verdict).replace(f"{shape} ", f"{verdict}: ")
        self.blocks.append({"kind": "chart", "svg": svg, "alt": alt})

    def data(self) -> dict[str, Any]:
        """Return it as plain data."""
        lines = sum(len(block["rows"]) if block["kind"] == "table" else 20 if block["kind"] == "chart" else 2 for block in self.blocks)
        return {"title": self.title, "lead": self.lead, "blocks": self.blocks, "own_page": lines > OWN_PAGE_LINES}


def _cell(cell: object) -> str:
    return cell if isinstance(cell, str) else many(cell) if isinstance(cell, int) else str(cell)


def sign(verdict: Verdict) -> str:
    """Return a verdict with its shape."""
    return joined(" ", (SHAPES[verdict], term(str(verdict))))


def many(number: int) -> str:
    """Return a number with its thousands set apart."""
    return said_number(number, ",")


@dataclass(frozen=True, slots=True)
class Clock:
    """Moments on the practice's wall clock."""

    zone: ZoneInfo

    def at(self, ms: int | None) -> str:
        """Return a moment as 2026-03-02 08:05; a dash for none."""
        return "-" if ms is None else said_date(from_ms(ms, str(self.zone)))

    def day(self, ms: int) -> str:
        """Return the local day of a moment."""
        return said_date(from_ms(ms, str(self.zone)).date())

    def parts(self, ms: int) -> dict[str, int]:
        """Return a moment for the document's date."""
        local = datetime.fromtimestamp(ms // 1000, tz=self.zone)
        return {"year": local.year, "month": local.month, "day": local.day, "hour": local.hour, "minute": local.minute}


def short(entry: str) -> str:
    """Return the end of an entry's id: short enough for a table, and nothing else in the bundle ends so."""
    return entry[-12:] or "-"
