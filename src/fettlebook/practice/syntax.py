"""From bytes to TOML content, or one finding that says why it can't be read and how to mend it.

tomllib's own words ("Expected newline or end of document after a statement") help nobody at a reception desk: the text at
that place says what the writer was after.
"""

import re
import tomllib
from collections.abc import Mapping, Sequence
from typing import Any, Final

from fettlebook.errors import Finding

SIZE_LIMIT: Final = 5_000_000  # bytes; a practice of 300 chairs stays under 1 MB
DEPTH_LIMIT: Final = 10  # a practice file needs 6

# 40 and more keys joined by points: no practice file has them, and tomllib's time grows with the square of their number.
_LONG_KEY = re.compile(rb"""(?<![\w"'-])(?:(?:[\w-]++|"[^"\n]*+"|'[^'\n]*+')[ \t]*+\.[ \t]*+){40}""")
_AT = re.compile(r"\(at (?:line (\d+), column (\d+)|end of document)\)")


def read_toml(text: bytes, file: str) -> Mapping[str, Any] | Finding:
    """Return the content of a TOML text, or the finding that keeps it from being read."""
    if len(text) > SIZE_LIMIT:
        return _too_big(file)
    if text.startswith((b"\xff\xfe", b"\xfe\xff")):
        return Finding("the file is saved as UTF-16", file, "Save it as UTF-8: most editors offer it under Save as, Encoding.")
    try:
        decoded = text.removeprefix(b"\xef\xbb\xbf").decode()
    except UnicodeDecodeError as error:
        without_mark = text.removeprefix(b"\xef\xbb\xbf")
        return Finding(
            f"byte 0x{without_mark[error.start]:02x} is not UTF-8",
            f"{file} line {_line_at(without_mark, error.start)}",
            "Save the file as UTF-8, or type that character again.",
        )
    if not decoded.strip():
        return Finding("the file is empty", file, "Begin with a copy of the demo practice: fettlebook demo DIR writes one.")
    if match := _LONG_KEY.search(text):
        return _too_deep(f"{file} line {_line_at(text, match.start())}")
    try:
        content = tomllib.loads(decoded)
    except RecursionError:
        return _too_deep(file)
    except tomllib.TOMLDecodeError as error:
        return _explain(str(error), decoded, file)
    except ValueError:  # a number of thousands of digits: Python refuses it before tomllib can
        return Finding("a number has too many digits", file, "Look for a very long run of digits and take it out.")
    if _depth(content) > DEPTH_LIMIT:
        return _too_deep(file)
    return content


def _too_big(file: str) -> Finding:
    return Finding(
        f"the file is larger than {SIZE_LIMIT // 1_000_000} MB, the most that is read",
        file,
        "A practice file is a text of a few pages. Is it another file?",
    )


def _too_deep(place: str) -> Finding:
    return Finding(
        "tables or lists are nested too deep", place, f"A practice file needs no more than {DEPTH_LIMIT} levels. Is it another file?"
    )


def _depth(content: object) -> int:
    deepest, waiting = 0, [(content, 1)]
    while waiting:
        here, level = waiting.pop()
        deepest = max(deepest, level)
        inside = here.values() if isinstance(here, dict) else here if isinstance(here, list) else ()
        waiting += [(value, level + 1) for value in inside if isinstance(value, dict | list)]
    return deepest


def _line_at(text: bytes, position: int) -> int:
    return text.count(b"\n", 0, position) + 1


# --- what the writer was after -------------------------------------------------------------------------------------------

# Slips that the text itself shows, tried first: (pattern around the place, what is wrong, how to mend it). {0} is the whole
# match, {1} and {2} its groups.
_SLIPS: Final = (
    (
        r"(?<=[\w\"'\]}])[ \t]+([A-Za-z_][\w-]*)[ \t]*=",
        "nothing parts {1} from what stands before it",
        "Begin a new line before {1}; in a table in braces {{ }}, put a comma before it.",
    ),
    (r"[“”„‟«»‘’‚]", "{0} is a typeset quotation mark", 'Use the straight one, ", on both sides.'),
    (r"\b(\d{1,2})[./](\d{1,2})[./]\d{4}\b", "{0} is not a date that can be read", "Write year-month-day, for example 2026-11-02."),
    (r"(?<![\d:])(\d{2}:\d{2})(?![\d:])", "{0} is a time without seconds", "Write {0}:00."),
    (r"(?<![\d:])(\d:\d{2})(?![\d:])", "{0} is a time without seconds", "Write 0{0}:00."),
    (r"(?<![\d.,])(-?\d+),(\d+)(?![\d.])", "{0} has a decimal comma", "Write {1}.{2}."),
    (r"(?<![\w.])(-?\d+(?:\.\d+)?)\s*([a-zA-Z%µ°][\w/%]*)", "{0} is a number with a unit", "Write {1}: the unit stands in the key's name."),
    (r"(?<![\w.])0+(\d+(?:\.\d+)?)\b(?![:-])", "{0} begins with a zero", "Write {1}."),
    (r"(?<![\w.])\.(\d+)", "{0} has no digit before the point", "Write 0.{1}."),
    (r"(?<![\w.])(\d+)\.(?!\d)", "{0} has no digit after the point", "Write {1}.0."),
    (r",\s*\}", "a comma stands before }}", "Take the comma out."),
)

# Words where a value belongs.
_WORDS: Final = (
    (r"\b(?:True|TRUE|Yes|YES|yes|on)\b", "{0} is not a value", "Write true."),
    (r"\b(?:False|FALSE|No|NO|no|off)\b", "{0} is not a value", "Write false."),
    (r"[A-Za-z][^\s,#\]}]*(?: [^\s,#\]}=]+)*(?!\s*=)", "{0} is text without quotation marks", 'Write "{0}".'),
)

# By tomllib's message, where the text shows no slip.
_MESSAGES: Final = (
    ("Cannot overwrite a value", "{key} is written twice", "Keep one of the two."),
    ("Cannot declare", "the table {row} is written twice", "Keep one of the two; entries of a list begin with double brackets, [[...]]."),
    ("Cannot mutate", "{row} changes a list or table that is already complete", "Write all its entries in one place."),
    ("Illegal character '\\n'", "the text is not closed", "Close it with a quotation mark on the same line."),
    ("Unterminated string", "the text is not closed", "Close it with a quotation mark."),
    ("Illegal character", "a character that can't be shown stands here", "Delete it and type the text again."),
    ("Unclosed array", "a list is not closed", "Add the missing ] where the list ends."),
    ("Unclosed inline table", "a table in braces is not closed", "Add the missing } on the same line."),
    ("Invalid initial character for a key part", "a key is missing or has a sign that keys can't have",
     "Write key = value. A table in braces { } stands on one line, without a comma before }."),
    ("Expected '=' after a key", "no = after the key", "Write key = value."),
    ("Expected ']", "the table's name is not closed", "Write [name], or [[name]] for an entry of a list."),
    ("Invalid date or datetime", "this is no date or time", "Write a date as 2026-11-02 and a time as 08:30:00."),
    ("Unescaped '\\'", "a backslash stands in the text", "Write it twice, or put the text in single quotation marks."),
    ("Expected newline or end of document", "something follows the value", "Begin a new line after each value."),
    ("Invalid value", "there is no value that can be read", 'Write a number, "text", true, false, a date or a list.'),
)  # fmt: skip


def _explain(message: str, text: str, file: str) -> Finding:
    rows = text.replace("\r\n", "\n").split("\n")
    found = _AT.search(message)
    if found and found[1]:
        number, column = int(found[1]), int(found[2])
        place = f"{file} line {number}, column {column}"
    else:
        number = max((n for n, row in enumerate(rows, 1) if row.strip()), default=1)
        column = len(rows[number - 1]) + 1
        place = f"{file} line {number}"
    row = rows[number - 1] if number <= len(rows) else ""
    before, key = row[: column - 1], row.partition("=")[0].strip() or row.strip()
    if message.startswith(("Unclosed", "Invalid value")) and not before.strip(" \t[") and re.match(r"\s*\[*[\w\" .-]+\]*\s*(=|$)", row):
        return Finding("a list further up is not closed", place, "Add the missing ] above this line.")
    if not message.startswith(("Cannot", "Illegal", "Unterminated", "Unescaped")):
        slips = (*_SLIPS, *_WORDS) if message.startswith("Invalid value") else _SLIPS
        if slip := _slip(row, column, slips):
            slip_column, what, mend = slip
            return Finding(what, f"{file} line {number}, column {slip_column}", mend)
    for start, what, mend in _MESSAGES:
        if message.startswith(start):
            return Finding(what.format(key=_short(key), row=_short(row.strip())), place, mend)
    return Finding("this line is not TOML", place, 'Write key = value, with text in quotation marks: name = "Quayside".')


def _slip(row: str, column: int, slips: Sequence[tuple[str, str, str]]) -> tuple[int, str, str] | None:
    """Return column, what and mend of the first slip that touches the place at which tomllib gave up."""
    place = min(max(column - 1, 0), len(row))
    start, end = max(0, place - 80), place + 80  # a line of megabytes must not be searched through
    for pattern, what, mend in slips:
        for match in re.finditer(pattern, row[start:end]):
            if match.start() + start - 1 <= place <= match.end() + start:
                groups = (_short(match[0]), *match.groups())
                return start + match.start() + 1, what.format(*groups), mend.format(*groups)
    return None


def _short(text: str) -> str:
    return text if len(text) <= 40 else text[:37] + "..."
