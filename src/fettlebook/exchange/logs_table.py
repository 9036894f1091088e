"""A CSV as numbers: encoding, delimiter, decimal sign, heading, and which cells are none. No meaning is given to columns here."""

import csv
import re
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from fettlebook.errors import Finding
from fettlebook.science.cycles.log import Real

MOST_LINES: Final = 3_000_000
LOOKED_AT: Final = 60  # lines in which the heading is looked for
_NUMBER: Final = re.compile(r"\s*[+-]?(\d+([.,]\d*)?|[.,]\d+)([eE][+-]?\d+)?\s*$")
_NO_READING: Final = ("", "-", "--", "---", "nan", "n/a", "na", "null", "none")  # how loggers write that there was none
_CLOCK: Final = re.compile(r"\s*\d{1,2}:\d{2}(:\d{2}([.,]\d+)?)?\s*$|\s*\d{1,4}[-./]\d{1,2}[-./]\d{1,4}.*$")


@dataclass(frozen=True, slots=True)
class Table:
    """The body of a CSV.

    `heads` are the columns' names, `below` the line under them where it holds units, else empty; `numbers` (rows, columns) with NaN for
    what is no number; `cells` the texts of the columns that look like clock or date, by index; `words` of each column line and text of
    the cells that are neither number nor left open; `first_line` that of the first row.
    """

    heads: tuple[str, ...]
    below: tuple[str, ...]
    numbers: Real
    cells: dict[int, list[str]]
    words: dict[int, list[tuple[int, str]]]
    first_line: int
    findings: tuple[Finding, ...]

    def column(self, index: int) -> Real:
        """Return a column's numbers, shape (rows,)."""
        return np.ascontiguousarray(self.numbers[:, index])


def read_table(text: bytes, file: str, decimal: Literal[".", ","] | None = None) -> Table:
    """Return the table of a CSV; what is odd stands in its findings, errors where its meaning is in doubt."""
    plain = _decoded(text)
    if plain is None or "\x00" in plain[:10_000]:
        return _nothing(Finding("this is no text", file, "Export the log as CSV text."))
    lines = plain.splitlines()
    if not any(line.strip() for line in lines):
        return _nothing(Finding("the file is empty", file, "Export the log again."))
    if len(lines) > MOST_LINES:
        return _nothing(Finding(f"{len(lines)} lines are more than {MOST_LINES}", file, "Cut out the cycle."))
    delimiter = _delimiter(lines)
    if delimiter == "," and decimal == ",":
        return _nothing(Finding("comma both between columns and in numbers", file, "Export it with semicolons between the columns."))
    start, heads, below, odd = _heading(lines, delimiter, file)
    body = lines[start:]
    while body and not body[-1].strip():
        body.pop()
    if not body:
        return _nothing(Finding("there is a heading but no reading", file, "Export the log again."))
    sign, mixed = (decimal, ()) if decimal else _decimal(body, delimiter, file)
    odd += mixed
    width = len(heads) or len(body[0].split(delimiter))
    heads = heads or tuple(f"column {i + 1}" for i in range(width))
    quick = _quick(body, delimiter, sign, width)
    if quick is not None:
        return Table(heads, below, quick, {}, {}, start + 1, odd)
    numbers, cells, words, found = _careful(body, (delimiter, sign), start, heads, file)
    return Table(heads, below, numbers, cells, words, start + 1, (*odd, *found))


def _nothing(finding: Finding) -> Table:
    return Table((), (), np.zeros((0, 0)), {}, {}, 0, (finding,))


def _decoded(text: bytes) -> str | None:
    if text[:2] in (b"\xff\xfe", b"\xfe\xff"):
        return text.decode("utf-16", errors="replace")
    try:
        return text.decode("utf-8-sig")
    except UnicodeDecodeError:
        return text.decode("cp1252", errors="replace")  # a degree sign from an old logger


def _delimiter(lines: list[str]) -> str:
    """Return the sign that divides most lines alike; a comma only where nothing else does, as it may be a decimal sign."""
    looked = [line for line in lines[:LOOKED_AT] if line.strip()]
    best, most = ",", 0
    for sign in (";", "\t", "|", ","):
        counts = [line.count(sign) for line in looked]
        usual = max(set(counts), key=counts.count)
        alike = counts.count(usual) if usual else 0
        if alike > most and 2 * alike >= len(looked):
            best, most = sign, alike
    return best


def _heading(lines: list[str], delimiter: str, file: str) -> tuple[int, tuple[str, ...], tuple[str, ...], tuple[Finding, ...]]:
    """Return where the body begins, the names, the units line beneath them, and whether a second heading stands there."""
    texts: list[tuple[int, tuple[str, ...]]] = []
    for number, line in enumerate(lines[:LOOKED_AT]):
        cells = tuple(c.strip() for c in _cells(line, delimiter))
        if not line.strip():
            continue
        if _is_row(cells):
            width = len(cells)
            named = [t for t in texts if len(t[1]) == width and sum(bool(c) for c in t[1]) >= 2]
            if not named:
                return number, (), (), _unlike(texts, width, delimiter, f"{file} line {number + 1}")
            heads = named[-1][1]
            below: tuple[str, ...] = ()
            odd: tuple[Finding, ...] = ()
            if len(named) > 1:
                if _is_units(named[-1][1]):
                    heads, below = named[-2][1], named[-1][1]
                    named = named[:-1]
                if len(named) > 1 and named[-1][0] - named[-2][0] <= 2:
                    where = f"{file} lines {named[-2][0] + 1} and {named[-1][0] + 1}"
                    odd = (Finding("two headings stand one under the other", where, "Leave one, the one that names the columns rightly."),)
            return number, heads, below, odd
        texts.append((number, cells))
    return len(lines), (), (), ()


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter), [])
    except csv.Error:  # a field of more than 131,072 signs
        return line.split(delimiter)


def _unlike(texts: list[tuple[int, tuple[str, ...]]], width: int, delimiter: str, where: str) -> tuple[Finding, ...]:
    """Say why no heading has as many names as the readings have cells."""
    if not texts:
        mend = "Name the columns: --column time=1 --column chamber=2 --column pressure=3."
        return (Finding("there is no heading", where, mend, "warning"),)
    names = len(texts[-1][1])
    if delimiter == "," and names < width:
        what = f"{width} numbers under {names} names: commas both between columns and in numbers?"
        return (Finding(what, where, "Export it with semicolons between the columns, or with decimal points."),)
    return (Finding(f"{width} cells under a heading of {names}", where, "Export it with one name for each column."),)


def _is_row(cells: tuple[str, ...]) -> bool:
    """A row of readings: at least two numbers or clocks, and hardly anything else."""
    good = sum(1 for c in cells if _NUMBER.match(c) or _CLOCK.match(c))
    return good >= 2 and good >= sum(bool(c) for c in cells) - 1


def _is_units(cells: tuple[str, ...]) -> bool:
    known = {
        "s",
        "sec",
        "min",
        "h",
        "c",
        "f",
        "k",
        "degc",
        "degf",
        "kpa",
        "bar",
        "mbar",
        "hpa",
        "psi",
        "mpa",
        "pa",
        "mmhg",
        "ml",
        "hh:mm:ss",
    }
    plain = [re.sub(r"[^a-z:]", "", c.lower()) for c in cells if c]
    return bool(plain) and sum(p in known or p.removesuffix("abs").removesuffix("g") in known for p in plain) >= max(1, len(plain) - 1)


def _decimal(body: list[str], delimiter: str, file: str) -> tuple[Literal[".", ","], tuple[Finding, ...]]:
    """Return the decimal sign, and a finding where both are in use."""
    rows = (_cells(line, delimiter) for line in body[:300])  # quoted cells may hold a comma even between commas
    cells = [c for row in rows for c in row if _NUMBER.match(c)]
    commas, points = sum("," in c for c in cells), sum("." in c for c in cells)
    if commas and points:
        what = f"decimal commas ({commas} cells) and decimal points ({points}) in one log"
        return "," if commas > points else ".", (Finding(what, file, "Say which one counts: --decimal , or --decimal ."),)
    return "," if commas else ".", ()


def _quick(body: list[str], delimiter: str, sign: str, width: int) -> Real | None:
    """Return the numbers of a body in which every cell of every line is a plain number; None where that isn't so."""
    if sign == ",":
        if delimiter == ",":
            return None
        body = [line.replace(",", ".") for line in body]
    if any(line.count(delimiter) != width - 1 for line in body):
        return None
    try:
        numbers: NDArray[np.float64] = np.loadtxt(body, delimiter=delimiter, comments=None, ndmin=2)
    except ValueError:
        return None
    return numbers if numbers.shape == (len(body), width) else None


def _careful(
    body: list[str], how: tuple[str, str], start: int, heads: tuple[str, ...], file: str
) -> tuple[Real, dict[int, list[str]], dict[int, list[tuple[int, str]]], list[Finding]]:
    """Return the numbers of a body cell by cell, the texts of its clock columns, words in place of numbers, and what was no row.

    `how`: delimiter and decimal sign.
    """
    delimiter, sign = how
    rows, width = [_cells(line, delimiter) for line in body], len(heads)
    numbers = np.full((len(rows), width), np.nan)
    texts: dict[int, list[str]] = {}
    clocks = [i for i in range(width) if sum(1 for r in rows[:50] if len(r) > i and _CLOCK.match(r[i])) > len(rows[:50]) // 2]
    bad: dict[int, list[tuple[int, str]]] = {}
    ragged: list[int] = []
    again: list[int] = []
    for n, row in enumerate(rows):
        line = start + n + 1
        if [c.strip() for c in row] == list(heads) or (
            row and not any(_NUMBER.match(c) or _CLOCK.match(c) for c in row) and any(map(str.strip, row))
        ):
            again.append(line)
            continue
        if len([c for c in row if c.strip()]) == 0:
            continue
        if len(row) != width and not (len(row) == width + 1 and not row[-1].strip()):
            ragged.append(line)
            continue
        for i, cell in enumerate(row[:width]):
            if i in clocks:
                continue
            value = _number(cell, sign)
            numbers[n, i] = value
            if np.isnan(value) and cell.strip().casefold() not in _NO_READING:
                bad.setdefault(i, []).append((line, cell.strip()))
    inside = bool(again) and np.isfinite(numbers[again[0] - start :]).any()  # readings follow the words
    for i in clocks:
        texts[i] = [row[i] if len(row) > i and len(row) >= width else "" for row in rows]
    return numbers, texts, bad, _no_rows(ragged, again, len(rows), delimiter, file, inside=inside)


def _no_rows(ragged: list[int], again: list[int], rows: int, delimiter: str, file: str, *, inside: bool) -> list[Finding]:
    found: list[Finding] = []
    if delimiter == "," and 10 * len(ragged) > rows:
        what = f"{len(ragged)} of {rows} rows don't have as many cells as there are names: commas both between columns and in numbers?"
        found.append(Finding(what, f"{file} line {ragged[0]}", "Export it with semicolons between the columns, or with decimal points."))
    elif ragged:
        what = f"{len(ragged)} {'row has' if len(ragged) == 1 else 'rows have'} too many or too few cells"
        found.append(Finding(what, f"{file} line {ragged[0]}", "They count as missing readings.", "warning"))
    if again and not inside:
        what = f"words stand after the last reading ({len(again)} lines)"
        found.append(
            Finding(what, f"{file} line {again[0]}", "They were left aside: the machine's own word counts for nothing here.", "warning")
        )
    elif again:
        what = f"words stand among the readings ({len(again)} lines): a second heading, or two logs in one file"
        found.append(Finding(what, f"{file} line {again[0]}", "Cut the file there, and judge each log by itself."))
    return found


def _number(cell: str, sign: str) -> float:
    text = cell.strip()
    if not text or not _NUMBER.match(text):
        return np.nan
    if sign == ",":
        return np.nan if "." in text else float(text.replace(",", "."))
    return np.nan if "," in text else float(text)
