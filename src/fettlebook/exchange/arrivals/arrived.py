"""A file that came in, and what became of it."""

from dataclasses import dataclass
from typing import Literal

from fettlebook.errors import Finding

Became = Literal["kept", "known", "put aside"]
LABORATORY = "laboratory"  # where a report comes from, beside the machines


@dataclass(frozen=True, slots=True)
class Arrived:
    """A file as it came: never altered, kept under its digest.

    `source` is a machine's id, or "laboratory". `at_ms` is when the file was written, as its sender's clock had it.
    """

    content: bytes
    name: str
    source: str
    at_ms: int


@dataclass(frozen=True, slots=True)
class Outcome:
    """What became of a file: kept (with its entries), known already, or put aside with what is wrong. Nothing is ever half taken in."""

    became: Became
    line: str
    entries: tuple[str, ...] = ()  # ids
    findings: tuple[Finding, ...] = ()
