"""A folder that machines and people save into: one folder in it for each machine, and one named "laboratory".

A file is taken once it stands still: the same size and time at two looks. Nothing in the folder is ever changed or deleted.
"""

from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Final

MOST_BYTES: Final = 200_000_000
MOST_FILES: Final = 100_000


@dataclass(frozen=True, slots=True)
class Waiting:
    """A file in the folder, as it was at one look."""

    source: str  # the folder that it lies in
    size: int
    written_ns: int


def look_into(folder: Path) -> dict[Path, Waiting]:
    """Return the files of a folder: those one level down, no links, no hidden ones. A folder that isn't there holds nothing."""
    found: dict[Path, Waiting] = {}
    if not folder.is_dir():
        return found
    for source in sorted(folder.iterdir()):
        if source.name.startswith(".") or source.is_symlink() or not source.is_dir():
            continue
        for path in sorted(source.iterdir()):
            if path.name.startswith(".") or path.is_symlink() or not path.is_file():
                continue
            if len(found) >= MOST_FILES:
                return found
            stat = path.stat()
            found[path] = Waiting(source.name, stat.st_size, stat.st_mtime_ns)
    return found


def stands_still(now: Mapping[Path, Waiting], before: Mapping[Path, Waiting], done: Mapping[Path, Waiting]) -> list[Path]:
    """Return the files to take in: unchanged since the look before, and not done as they are."""
    return [path for path, one in now.items() if before.get(path) == one and done.get(path) != one]
