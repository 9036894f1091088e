"""The table itself: columns found by name or said, units, dates, duplicates. Each row becomes a result or a finding.

A count is kept as colonies on a volume of undiluted sample. A table that gives only CFU/mL needs the volume that was plated: the
laboratory knows it, and 'none seen in 0.1 mL' is another thing than 'none seen in 1 mL'.
"""

import csv
import io
import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Final, Literal

from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.laboratory.notation import Decimal_, Reading, decimal_of, read_count
from fettlebook.science.trends.model import Kind

MOST_BYTES: Final = 20_000_000
MOST_ROWS: Final = 100_000
FIELDS: Final[dict[str, tuple[str, ...]]] = {
    "chair": ("chair", "unit", "stuhl", "einheit", "outlet", "sample point", "entnahmestelle"),
    "sampled_on": ("sampled_on", "sampled", "sample date", "date sampled", "date", "datum", "entnahme", "entnahmedatum"),
    "days_since_intensive": ("days_since_intensive",),
    "kind": ("kind",),
    "colonies": ("colonies", "kolonien"),
    "result": ("result", "count", "cfu", "kbe", "hpc", "tvc", "ergebnis", "koloniezahl", "resultat", "recuento"),
    "volume_ml": ("volume_ml", "volume plated", "volume", "volumen"),
    "reported_on": ("reported_on", "reported", "report date", "befunddatum"),
    "report": ("report", "report number", "sample number", "probennummer", "number", "nr"),
    "valid": ("valid",),
}
PER_ML: Final[dict[str, float]] = {"ml": 1.0, "100 ml": 100.0, "100ml": 100.0, "l": 1000.0, "liter": 1000.0, "litre": 1000.0, "1 l": 1000.0}
_UNIT: Final = re.compile(
    r"(?:cfu|kbe|ufc|jtk|kolonien|colonies)?\s*(?:/|per|pro|je)\s*(?P<per>1?\s?00\s?ml|1?\s?ml|1?\s?l(?:iter|itre)?)\b", re.IGNORECASE
)
_DATES: Final = ("%Y-%m-%d", "%d.%m.%Y", "%d.%m.%y")
_TWO_WAYS: Final = ("%d/%m/%Y", "%m/%d/%Y")


@dataclass(frozen=True, slots=True)
class SheetWays:
    """What a person says of the table because it doesn't say it itself. None: look in the table."""

    columns: Mapping[str, str] = field(default_factory=dict)  # our field -> the table's heading
    decimal: Decimal_ | None = None
    unit_ml: float | None = None  # counts are per so many mL
    volume_ml: float | None = None
    too_many_at: int | None = None  # colonies at which this laboratory stops counting
    nd_is: Literal["none seen"] | None = None
    dates: Literal["day first", "month first"] | None = None


@dataclass(frozen=True, slots=True)
class SheetRow:
    """One result: colonies on `volume_ml` of undiluted sample, as it was (`text`) and where (`line`)."""

    line: int
    chair: str
    sampled_on: date
    kind: Kind
    colonies: int
    volume_ml: float
    days_since_intensive: float | None
    estimated: bool
    text: str
    report: str

    @property
    def place(self) -> str:
        """Where it stands: its line in the table, or its sample in the book."""
        return f"line {self.line}" if self.line else f"sample {self.report}"


@dataclass(frozen=True, slots=True)
class Sheet:
    """What a table gave: rows that count, rows that were set aside with the reason, and how it was read."""

    rows: tuple[SheetRow, ...]
    findings: tuple[Finding, ...]
    read_as: tuple[str, ...]  # said in words, so that nothing is guessed in silence


def read_sheet(data: bytes, file: str, ways: SheetWays | None = None, today: date | None = None) -> Sheet:
    """Return the table's results.

    Parameters
    ----------
    data, file
        The table's bytes (CSV: comma, semicolon or tab) and its name for messages.
    ways
        What a person says of it.
    today
        A sample or report after it is refused.

    Raises
    ------
    Mendable
        The table can't be read at all: no rows, no column for chair, date or count, two columns for one field.
    """
    return _Reader(file, ways or SheetWays(), today).read(data)


class _AsideError(Exception):
    """A row that can't be used: what is wrong, in which field, how to mend it."""


class _Reader:
    def __init__(self, file: str, ways: SheetWays, today: date | None) -> None:
        self.file, self.ways, self.today = file, ways, today
        self.findings: list[Finding] = []
        self.read_as: list[str] = []

    def read(self, data: bytes) -> Sheet:
        head, lines = self._table(data)
        place = self._columns(head)
        counted = "colonies" if "colonies" in place else "result"
        cells = [row[place[counted]] for _, row in lines if place[counted] < len(row)]
        numbers = [
            row[at] for _, row in lines for name, at in place.items() if name in {"volume_ml", "days_since_intensive"} and at < len(row)
        ]
        self.decimal = self.ways.decimal or decimal_of([*cells, *numbers])
        if self.decimal == "comma":
            self.read_as.append("decimal commas")
        self.per_ml = 1.0 if counted == "colonies" else self._unit(head[place[counted]], cells)
        self.dates = self._date_ways([row[place["sampled_on"]] for _, row in lines if place["sampled_on"] < len(row)])
        rows: list[SheetRow] = []
        for line, row in lines:
            if not any(cell.strip() for cell in row):
                continue
            known = {name: row[at].strip() if at < len(row) else "" for name, at in place.items()}
            try:
                rows.append(self._row(line, known, counted))
            except _AsideError as aside:
                what, name, mend = aside.args
                self.findings.append(Finding(what, f"{self.file} line {line}, {name}", mend))
        return Sheet(tuple(self._once(rows)), tuple(self.findings), tuple(self.read_as))

    def _table(self, data: bytes) -> tuple[list[str], list[tuple[int, list[str]]]]:
        if len(data) > MOST_BYTES:
            raise Mendable(f"{len(data):,} bytes", where=self.file, mend=f"Give a table of at most {MOST_BYTES:,} bytes.")
        text = _decoded(data, self.file)
        lines = text.splitlines()
        first = next((line for line in lines if line.strip()), "")
        if not first:
            raise Mendable("no line", where=self.file, mend="Give the laboratory's table as CSV, one result a line, headings on top.")
        delimiter = max(";\t,", key=lambda sign: (first.count(sign), sign == ","))
        try:
            table = [
                (at, row) for at, row in enumerate(csv.reader(io.StringIO(text), delimiter=delimiter, strict=True), start=1) if any(row)
            ]
        except csv.Error as error:
            raise Mendable(
                f"a line that is no CSV ({error})", where=self.file, mend="Save the table again as CSV; check its quotation marks."
            ) from None
        if len(table) < 2:
            raise Mendable("headings and no result", where=self.file, mend="Give at least one line with a result.")
        if len(table) > MOST_ROWS:
            raise Mendable(f"{len(table):,} lines", where=self.file, mend=f"Give at most {MOST_ROWS:,}.")
        return [cell.strip() for cell in table[0][1]], table[1:]

    def _columns(self, head: Sequence[str]) -> dict[str, int]:
        plain = [_heading(cell) for cell in head]
        place: dict[str, int] = {}
        for name, heading in self.ways.columns.items():
            if name not in FIELDS or _heading(heading) not in plain:
                raise Mendable(
                    f"no column {heading!r} for {name}",
                    where=f"{self.file} line 1",
                    mend=f"Columns here: {', '.join(head)}. What can be said: {', '.join(FIELDS)}.",
                )
            place[name] = plain.index(_heading(heading))
        for name, names in FIELDS.items():
            if name in place:
                continue
            here = [at for at, cell in enumerate(plain) if cell in names and at not in place.values()]
            if len(here) > 1:
                raise Mendable(
                    f"{len(here)} columns may be the {name}: {', '.join(head[at] for at in here)}",
                    where=f"{self.file} line 1",
                    mend=f"Say which: --column {name}={head[here[0]]!r}.",
                )
            if here:
                place[name] = here[0]
        for name, which in (("chair", "chair"), ("sampled_on", "sampled_on")):
            if name not in place:
                raise Mendable(
                    f"no column for the {which}", where=f"{self.file} line 1", mend=f"Say which it is: --column {which}=HEADING."
                )
        if "colonies" not in place and "result" not in place:
            raise Mendable(
                "no column with counts", where=f"{self.file} line 1", mend="Say which it is: --column result=HEADING or colonies=HEADING."
            )
        return place

    def _unit(self, heading: str, cells: Sequence[str]) -> float:
        if self.ways.unit_ml is not None:
            return self.ways.unit_ml
        found = {_per(match["per"]) for text in (heading, *cells) if (match := _UNIT.search(text))}
        if len(found) == 1:
            per = found.pop()
            if per != 1.0:
                self.read_as.append(f"counts are per {per:g} mL and were divided by it")
            return per
        raise Mendable(
            "two units in one column" if found else f"column {heading!r} names no unit",
            where=f"{self.file} line 1",
            mend="Say it: --per-ml 1 for CFU/mL, --per-ml 100 for CFU/100 mL, --per-ml 1000 for CFU/L.",
        )

    def _date_ways(self, cells: Sequence[str]) -> tuple[str, ...]:
        slashed = [cell.strip() for cell in cells if "/" in cell]
        if not slashed:
            return _DATES
        if self.ways.dates:
            return (*_DATES, _TWO_WAYS[0] if self.ways.dates == "day first" else _TWO_WAYS[1])
        fit = [way for way in _TWO_WAYS if all(_as_date(cell, (way,)) for cell in slashed)]
        if len(fit) == 1:
            self.read_as.append("dates with the day first" if fit[0] == _TWO_WAYS[0] else "dates with the month first")
            return (*_DATES, fit[0])
        raise Mendable(
            f"dates such as {slashed[0]!r} may have day or month first",
            where=f"{self.file}: dates",
            mend="Say it: --dates day-first or --dates month-first.",
        )

    def _row(self, line: int, cells: Mapping[str, str], counted: str) -> SheetRow:
        chair = cells["chair"]
        if not chair or len(chair) > 60:
            raise _AsideError("no chair" if not chair else "a name of over 60 characters", "chair", "Say whose water this is.")
        sampled = _as_date(cells["sampled_on"], self.dates)
        if sampled is None:
            raise _AsideError(f"{cells['sampled_on'][:40]!r} is no date", "sampled_on", "Write it as 2026-11-25.")
        if self.today and sampled > self.today:
            raise _AsideError(
                f"sampled on {sampled}, after {self.today}", "sampled_on", "Correct the date, or say with --today what day it is."
            )
        reported = _as_date(cells["reported_on"], self.dates) if cells.get("reported_on") else None
        if reported and reported < sampled:
            raise _AsideError(
                f"reported on {reported}, before it was sampled on {sampled}", "reported_on", "Ask the laboratory which date is wrong."
            )
        if cells.get("valid", "").casefold() in {"no", "0", "false", "nein"}:
            raise _AsideError("the sample is marked as not valid", "valid", "It proves nothing, good or bad: take another.")
        volume = self._volume(cells)
        if isinstance(volume, str):
            raise _AsideError(volume, "volume_ml", "Give the mL of undiluted sample on the plates, as a column or with --volume-ml.")
        days = self._days(cells)
        if isinstance(days, str):
            raise _AsideError(days, "days_since_intensive", "Give days since the last intensive treatment, 0 or more.")
        text = cells[counted]
        reading = read_count(_UNIT.sub("", text) if counted == "result" else text, self.decimal, self.ways.nd_is)
        if isinstance(reading, str):
            raise _AsideError(
                f"the count is {reading}",
                counted,
                "Ask the laboratory, or say how it writes: --decimal, --nd-is-none, or correct the cell.",
            )
        if cells.get("kind"):
            if cells["kind"] not in {"count", "below", "above"} or reading.kind != "count":
                raise _AsideError(f"kind {cells['kind'][:20]!r}", "kind", "Write count, below or above, with a plain number beside it.")
            reading = Reading(cells["kind"], reading.value, estimated=reading.estimated)  # type: ignore[arg-type]
        seen = self._colonies(reading, volume if counted == "result" else None)
        if isinstance(seen, str):
            raise _AsideError(seen, counted, "Say at how many colonies this laboratory stops counting: --too-many 300.")
        return SheetRow(line, chair, sampled, reading.kind, seen, volume, days, reading.estimated, text, cells.get("report", "")[:60])

    def _colonies(self, reading: Reading, volume_ml: float | None) -> int | str:
        """Return colonies: as they stand, or from CFU per unit and the volume plated."""
        if reading.value is None:
            return self.ways.too_many_at or "too many to count, and not from how many colonies on"
        value = reading.value if volume_ml is None else reading.value / self.per_ml * volume_ml
        if reading.kind == "below":
            return max(0, math.ceil(value - 1e-9) - 1 if reading.strict else math.floor(value + 1e-9))
        if reading.kind == "above":
            return max(1, math.floor(value + 1e-9) + 1 if reading.strict else math.ceil(value - 1e-9))
        if volume_ml is None and value != round(value):
            return f"{value:g} colonies"
        return round(value)

    def _volume(self, cells: Mapping[str, str]) -> float | str:
        text = cells.get("volume_ml", "")
        if not text:
            return self.ways.volume_ml if self.ways.volume_ml is not None else "no volume"
        found = read_count(re.sub(r"\s*ml$", "", text, flags=re.IGNORECASE), self.decimal)
        if isinstance(found, str) or found.kind != "count" or not found.value:
            return f"volume {text[:30]!r}"
        return found.value if 1e-9 <= found.value <= 10_000.0 else f"volume {text[:30]!r}"

    def _days(self, cells: Mapping[str, str]) -> float | str | None:
        text = cells.get("days_since_intensive", "")
        if not text:
            return None
        found = read_count(text, self.decimal)
        if isinstance(found, str) or found.kind != "count" or found.value is None or found.value > 3650:
            return f"{text[:30]!r} days"
        return found.value

    def _once(self, rows: Sequence[SheetRow]) -> list[SheetRow]:
        """Return each report once: the same again is passed over, the same number with another result is set aside."""
        kept: dict[object, SheetRow] = {}
        for row in rows:
            key = (row.report,) if row.report else (row.chair, row.sampled_on, row.text, row.volume_ml)
            other = kept.get(key)
            if other is None:
                kept[key] = row
                continue
            same = (other.chair, other.sampled_on, other.kind, other.colonies, other.volume_ml) == (
                row.chair,
                row.sampled_on,
                row.kind,
                row.colonies,
                row.volume_ml,
            )
            where = f"{self.file} line {row.line}"
            if same:
                self.findings.append(
                    Finding(
                        f"the same result as in line {other.line}",
                        where,
                        "It was counted once. Two samples on one day: give each its report number.",
                        "warning",
                    )
                )
            else:
                self.findings.append(
                    Finding(
                        f"report {row.report!r} stands in line {other.line} with another result",
                        where,
                        "Ask the laboratory which one holds; neither was used.",
                    )
                )
                kept.pop(key)
        return list(kept.values())


def _decoded(data: bytes, file: str) -> str:
    if data.startswith((b"\xff\xfe", b"\xfe\xff")):
        return data.decode("utf-16", errors="replace")
    try:
        return data.decode("utf-8-sig")
    except UnicodeDecodeError:
        if b"\x00" in data:
            raise Mendable("bytes that are no text", where=file, mend="Save the table as CSV; a workbook or PDF can't be read.") from None
        return data.decode("cp1252", errors="replace")  # what spreadsheets of the West write without being asked


def _heading(text: str) -> str:
    """Return a heading without its unit, in one form."""
    return (
        re.sub(r"[\s_]+", " ", _UNIT.sub("", re.sub(r"[\[(].*?[\])]", "", text))).strip(" :").casefold()
        if "_" not in text
        else text.strip().casefold()
    )


def _per(text: str) -> float:
    plain = re.sub(r"\s+", "", text.casefold())
    return {"ml": 1.0, "1ml": 1.0, "100ml": 100.0, "00ml": 100.0}.get(plain, 1000.0)


def _as_date(text: str, ways: Sequence[str]) -> date | None:
    cell = text.strip()
    for way in ways:
        try:
            day = datetime.strptime(cell, way).date()  # noqa: DTZ007 - a calendar day has no zone
        except ValueError:
            continue
        return day if 2000 <= day.year <= 2099 else None
    cut = cell[:10]
    return _as_date(cut, ("%Y-%m-%d",)) if len(cell) > 10 and cell[10] in "T " and cut != cell else None
