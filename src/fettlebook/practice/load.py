"""From a practice file's bytes to a Practice, or to every finding that keeps it from being one."""

import hashlib
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Final

from pydantic import ValidationError

from fettlebook.errors import Finding, Mendable
from fettlebook.practice.check import check_parts, check_practice
from fettlebook.practice.lines import KeyPath, key_lines, line_of
from fettlebook.practice.model import Practice
from fettlebook.practice.parts import frozen_lists, readable_parts
from fettlebook.practice.place import Fault, name_place, where
from fettlebook.practice.syntax import SIZE_LIMIT, read_toml
from fettlebook.practice.wording import faults_of, printable

MOST_TOLD: Final = 1000  # errors of one file that are put into words; more help nobody and would take minutes


@dataclass(frozen=True, slots=True)
class Located:
    """A finding with its key path and line, for editors and pages that lead there."""

    finding: Finding
    path: KeyPath
    part: str  # the part of the file that it lies in, for grouping: chair "chair 2"
    line: int | None  # None where the file could not be read as TOML; the finding's `where` then says what is known


@dataclass(frozen=True, slots=True)
class Loaded:
    """What a practice file holds.

    `practice` is None where there is any error: nothing is planned or computed from a file that is half right.
    """

    file: str
    digest: str  # SHA-256 of the bytes, hexadecimal
    practice: Practice | None
    located: tuple[Located, ...]
    readable: bool = True  # whether the bytes are TOML at all
    lines: Mapping[KeyPath, int] = field(default_factory=dict)
    content: Mapping[str, Any] = field(default_factory=dict)  # as written, for naming places

    @property
    def findings(self) -> tuple[Finding, ...]:
        """Everything that was found, errors and warnings, in line order."""
        return tuple(entry.finding for entry in self.located)

    @property
    def errors(self) -> tuple[Finding, ...]:
        """The findings that keep the file from being used."""
        return tuple(finding for finding in self.findings if finding.weight == "error")

    @property
    def warnings(self) -> tuple[Finding, ...]:
        """The findings that need a look, with which the file can be used."""
        return tuple(finding for finding in self.findings if finding.weight == "warning")

    def line(self, path: KeyPath) -> int:
        """Return the line of a key path, for example ("chairs", 1, "outlets", 0), or of the nearest table around it."""
        return line_of(self.lines, path)

    def with_faults(self, faults: Sequence[Fault]) -> "Loaded":
        """Return the same file with what others found in it (the rulebook, for one), located and in line order."""
        found = (*self.located, *(_locate(fault, self.file, self.lines, self.content) for fault in faults))
        located = tuple(sorted(found, key=lambda entry: entry.line or 0))
        refused = any(entry.finding.weight == "error" for entry in located)
        return replace(self, located=located, practice=None if refused else self.practice)


def read_practice(text: bytes, file: str) -> Loaded:
    """Read a practice file from its bytes and check it.

    Parameters
    ----------
    text
        The file's bytes, TOML as UTF-8.
    file
        The file's name as it shall stand in findings.

    Returns
    -------
    Loaded
        The practice, or None, and all findings in line order. Never raises for anything that `text` may hold.
    """
    digest = hashlib.sha256(text).hexdigest()
    data = read_toml(text, file)
    if isinstance(data, Finding):
        found = Finding(printable(data.what), printable(data.where), printable(data.mend))
        return Loaded(file, digest, None, (Located(found, (), "", None),), readable=False)
    lines = key_lines(text.removeprefix(b"\xef\xbb\xbf"))
    frozen: Any = frozen_lists(data)
    practice: Practice | None = None
    try:
        practice = Practice.model_validate(frozen)
        faults = check_practice(practice)
    except ValidationError as error:
        errors = error.errors(include_url=False)
        faults = faults_of(errors[:MOST_TOLD], frozen)
        if len(errors) > MOST_TOLD:  # no practice file, or a broken one: relations would only add to the heap
            more = f"{len(errors) - MOST_TOLD} more errors are not listed"
            faults = (*faults, Fault((), more, "Mend those that are listed first. Is it another file?"))
        else:
            faults = _both(faults, check_parts(readable_parts(frozen, errors)))
    return Loaded(file, digest, practice, (), lines=lines, content=frozen).with_faults(faults)


def read_practice_file(path: Path) -> Loaded:
    """Read and check the practice file at `path`.

    Raises
    ------
    Mendable
        There is no such file, it is a directory, or it can't be opened.
    """
    return read_practice(_bytes_of(path), path.name)


def load_practice(path: Path) -> Practice:
    """Return the practice at `path`.

    Raises
    ------
    Mendable
        The file can't be opened or read, or has errors; the exception carries all of them.
    """
    loaded = read_practice_file(path)
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    return loaded.practice


def _bytes_of(path: Path) -> bytes:
    """Return the file's bytes, but no more than one beyond the limit: a wrong file may be of any size."""
    try:
        with path.open("rb") as stream:
            return stream.read(SIZE_LIMIT + 1)
    except FileNotFoundError:
        raise Mendable(
            "there is no such file", where=str(path), mend="Correct the name, or write a first one: fettlebook demo DIR."
        ) from None
    except IsADirectoryError:
        raise Mendable("this is a directory, not a file", where=str(path), mend="Name the practice file inside it.") from None
    except PermissionError:
        raise Mendable("the file may not be read by this user", where=str(path), mend="Give this user the right to read it.") from None
    except (OSError, ValueError) as error:
        reason = getattr(error, "strerror", None) or "the name can't be a file's name"
        raise Mendable(
            f"the file can't be opened: {reason}", where=printable(str(path)), mend="Give the path of a practice file."
        ) from None


def _both(refused: Sequence[Fault], related: Sequence[Fault]) -> tuple[Fault, ...]:
    """Join the model's refusals and the relations' faults; a place that was refused counts once."""
    paths = {fault.path for fault in refused}
    return (*refused, *(fault for fault in related if not any(fault.path[:end] in paths for end in range(1, len(fault.path) + 1))))


def _locate(fault: Fault, file: str, lines: Mapping[KeyPath, int], data: object) -> Located:
    finding = Finding(printable(fault.what), printable(where(file, lines, data, fault.path)), printable(fault.mend), fault.weight)
    around = fault.path[:2] if len(fault.path) > 1 and isinstance(fault.path[1], int) else fault.path[:1]
    return Located(finding, fault.path, printable(name_place(data, around)), line_of(lines, fault.path))
