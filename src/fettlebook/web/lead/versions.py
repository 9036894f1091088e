"""The versions of the practice file, as the book holds them: what, when, by whom."""

from collections.abc import Iterable
from dataclasses import dataclass
from difflib import SequenceMatcher

from fettlebook.book.entries import PROGRAM
from fettlebook.book.kinds import PracticeFileVersion
from fettlebook.book.received import Received


@dataclass(frozen=True, slots=True)
class Version:
    """One version. `by` is who saved it; empty where the program found the file changed by other means."""

    number: int  # from 1, the oldest
    entry: str
    received_ms: int
    by: str
    digest: str
    text: str
    changed: int  # lines that differ from the version before


def versions_of(entries: Iterable[Received]) -> tuple[Version, ...]:
    """Return the versions, newest first; the same text noted twice in a row is one version, of the person among the two."""
    found: list[Version] = []
    for received in entries:
        data, by = received.entry.data, received.entry.by
        if not isinstance(data, PracticeFileVersion):
            continue
        who = "" if by == PROGRAM else by
        last = found[-1] if found else None
        if last is not None and last.digest == data.digest:
            found[-1] = Version(last.number, last.entry, last.received_ms, last.by or who, last.digest, last.text, last.changed)
            continue
        changed = _changed(last.text, data.text) if last is not None else 0
        found.append(Version(len(found) + 1, received.entry.id, received.received, who, data.digest, data.text, changed))
    return tuple(reversed(found))


def _changed(before: str, after: str) -> int:
    matcher = SequenceMatcher(None, before.splitlines(), after.splitlines(), autojunk=False)
    return sum(max(i2 - i1, j2 - j1) for tag, i1, i2, j1, j2 in matcher.get_opcodes() if tag != "equal")
