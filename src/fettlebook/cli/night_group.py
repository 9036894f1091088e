"""The group file: which practices are planned at night, each with its files, and what one such job is."""

from __future__ import annotations

import tomllib
from dataclasses import asdict, dataclass
from typing import TYPE_CHECKING, Any, Final, Literal

from fettlebook.errors import Finding, Mendable

if TYPE_CHECKING:
    from pathlib import Path

    from fettlebook.exchange.group.shared import Shared

State = Literal["planned", "looked", "refused", "stopped", "too slow", "lost", "not taken"]
MOST_PRACTICES: Final = 5_000
_ADDRESS: Final = ("postgresql:", "postgresql+")
_KEYS: Final = ("name", "practice", "appointments", "key", "book")
_SAFE: Final = frozenset("abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789 ._-")


@dataclass(frozen=True, slots=True)
class Job:
    """One practice's night: paths only, which every machine that plans must be able to read; no content of any file."""

    name: str
    practice: str
    appointments: str
    key: str | None
    book: str | None
    day: str | None  # ISO; None: the next day with visits
    limit_s: float
    seed: int
    most_s: float  # after so long it is stopped
    work: Literal["plan", "standing"] = "plan"

    def as_data(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self)


@dataclass(frozen=True, slots=True)
class Outcome:
    """What came of a practice's night. `plan` is the day as `fettlebook day --json` prints it."""

    name: str
    state: State
    line: str
    seconds: float = 0.0
    in_order: bool = False  # planned, every visit on time, nothing to mend
    findings: tuple[dict[str, str], ...] = ()
    plan: dict[str, Any] | None = None
    standing: dict[str, Any] | None = None  # a practice's standing in short (`exchange.group`)

    @classmethod
    def of(cls, data: dict[str, Any]) -> Outcome:
        """Return the outcome that was written as plain values."""
        return cls(**{**data, "findings": tuple(data["findings"])})

    def as_data(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self)


def read_group(path: Path, *, day: str | None, limit_s: float, seed: int, most_s: float) -> tuple[tuple[Job, ...], tuple[Outcome, ...]]:
    """Return the jobs of a group file, and an outcome for each entry that is no job; paths are taken from the file's folder.

    Raises
    ------
    Mendable
        The file is missing, no TOML, or names no practice at all.
    """
    data = _read(path)
    entries = data.get("practices")
    if not isinstance(entries, list) or not entries or len(entries) > MOST_PRACTICES:
        raise Mendable(
            "names no practice" if not entries else f"names more than {MOST_PRACTICES:,} practices, or not as [[practices]]",
            where=path.name,
            mend="Write [[practices]] with name, practice and appointments for each.",
        )
    jobs: dict[str, Job] = {}
    refused: list[Outcome] = []
    for number, entry in enumerate(entries, 1):
        name = entry.get("name") if isinstance(entry, dict) else None
        if what := _wrong(entry, jobs):
            finding = Finding(what, f"{path.name} practices[{number - 1}]", "Mend the entry in the group file.")
            called = name if isinstance(name, str) and name and name not in jobs and set(name) <= _SAFE else f"practice {number}"
            refused.append(Outcome(called, "refused", what, findings=(as_data(finding),)))
            continue
        full = {k: _full(path, entry[k]) if k in entry else None for k in _KEYS[1:]}
        jobs[entry["name"]] = Job(
            name=entry["name"],
            practice=full["practice"] or "",
            appointments=full["appointments"] or "",
            key=full["key"],
            book=full["book"],
            day=day,
            limit_s=limit_s,
            seed=seed,
            most_s=most_s,
        )
    return tuple(jobs.values()), tuple(refused)


def read_shared(path: Path) -> tuple[Shared, ...]:
    """Return the files that the group shares (`shared = [...]` in the group file); raises `Mendable` where one can't be read."""
    from fettlebook.exchange.group.shared import Shared  # noqa: PLC0415 - only who takes over needs it

    names = _read(path).get("shared", [])
    if not isinstance(names, list) or not all(isinstance(name, str) for name in names):
        raise Mendable("shared is no list of files", where=path.name, mend='Write shared = ["rules.toml"] above the first [[practices]].')
    found = []
    for name in names:
        try:
            found.append(Shared(name, (path.parent / name).read_text("utf-8")))
        except (OSError, UnicodeDecodeError) as error:
            raise Mendable(f"can't be read: {error}", where=name, mend=f"Look at shared in {path.name}.") from None
    return tuple(found)


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text("utf-8"))
    except (OSError, UnicodeDecodeError) as error:
        raise Mendable(f"can't be read: {error}", where=path.name, mend="Name a TOML file with [[practices]].") from None
    except tomllib.TOMLDecodeError as error:
        raise Mendable(f"is no TOML: {error}", where=path.name, mend="Mend that place; nothing was done.") from None


def _full(path: Path, named: str) -> str:
    """Return a path as seen from the group file's folder; the address of a group's database as it is."""
    return named if named.startswith(_ADDRESS) else str(path.parent / named)


def as_data(finding: Finding) -> dict[str, str]:
    """Return a finding as plain values."""
    return {"weight": finding.weight, "where": finding.where, "what": finding.what, "mend": finding.mend}


def _wrong(entry: object, jobs: dict[str, Job]) -> str:
    """Return what is wrong with an entry; empty where nothing is."""
    if not isinstance(entry, dict):
        return "the entry is no table"
    if unknown := sorted(set(entry) - set(_KEYS)):
        return f"unknown key {unknown[0]!r}; known are {', '.join(_KEYS)}"
    if missing := [k for k in _KEYS[:3] if not entry.get(k)]:
        return f"{missing[0]} is missing"
    if wrong := [k for k, v in entry.items() if not isinstance(v, str)]:
        return f"{wrong[0]} is no text"
    if _tells_a_password(entry.get("book", "")):
        return "the book's address holds a password, which would stand in the queue; put it into the password file (~/.pgpass)"
    name = entry["name"]
    if not set(name) <= _SAFE or len(name) > 60 or name.startswith("."):
        return f"the name {name!r:.60} can't name a file; letters, digits, space, . _ - are allowed"
    return f"the name {name!r} stands twice" if name in jobs else ""


def _tells_a_password(book: str) -> bool:
    if not book.startswith(_ADDRESS):
        return False
    who = book.partition("://")[2].rpartition("@")[0]
    return ":" in who or "password=" in book
