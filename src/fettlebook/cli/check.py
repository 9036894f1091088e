"""`fettlebook check`: is this practice file in order, and if not, what has to be mended where."""

import json
import sys
import textwrap
from datetime import datetime
from itertools import groupby
from pathlib import Path
from typing import TYPE_CHECKING, Any
from zoneinfo import ZoneInfo

import click

if TYPE_CHECKING:
    from fettlebook.practice.load import Loaded

WIDTH = 80


@click.command()
@click.argument("practice_file", type=click.Path(path_type=Path), required=False)
@click.option("--json", "as_json", is_flag=True, help="Print the findings as JSON.")
@click.option("--schema", is_flag=True, help="Print the JSON Schema of practice files, for editors, and stop.")
def check(practice_file: Path | None, as_json: bool, schema: bool) -> None:
    """Validate a practice file; list every error with its line and how to mend it.

    Exit status: 0 in order (warnings may stand); 1 there are errors; 2 the file can't be read at all.
    """
    from fettlebook.practice.load import read_practice_file  # noqa: PLC0415 - keeps --help quick
    from fettlebook.practice.schema import schema_text  # noqa: PLC0415
    from fettlebook.rules.load import lay_rulebook  # noqa: PLC0415

    if schema:
        click.echo(schema_text(), nl=False)
        return
    if practice_file is None:
        raise click.UsageError("Name the practice file, for example: fettlebook check practice.toml")
    loaded = read_practice_file(practice_file)
    if loaded.practice is not None:
        today = datetime.now(ZoneInfo(loaded.practice.practice.time_zone)).date()
        loaded = loaded.with_faults(lay_rulebook(loaded.practice, today).faults)
    if as_json:
        click.echo(json.dumps(_as_json(loaded), indent=2, ensure_ascii=False))
    else:
        click.echo(_as_text(loaded))
    sys.exit(2 if not loaded.readable else 1 if loaded.errors else 0)


def _as_text(loaded: "Loaded") -> str:
    rows: list[str] = []
    by_part = sorted(loaded.located, key=lambda entry: (_first_line(loaded, entry.part), entry.part))
    for part, entries in groupby(by_part, key=lambda entry: entry.part):
        rows += [part or loaded.file]
        for entry in entries:
            # the heading has named file and part: what is left of the place is line and field
            place = entry.finding.where.removeprefix(loaded.file).strip()
            place = place.replace(f", {part}", "", 1) if part else place
            rows += _wrapped(f"  {entry.finding.weight:<8} {place}".rstrip(), 11)
            rows += _wrapped(f"           {entry.finding.what}", 11)
            rows += _wrapped(f"           {entry.finding.mend}", 11)
        rows += [""]
    return "\n".join((*rows, f"{loaded.file}: {_summary(loaded)}"))


def _first_line(loaded: "Loaded", part: str) -> int:
    return min((entry.line or 0) for entry in loaded.located if entry.part == part)


def _wrapped(text: str, indent: int) -> list[str]:
    return textwrap.wrap(text, WIDTH, subsequent_indent=" " * indent, break_long_words=False, break_on_hyphens=False)


def _summary(loaded: "Loaded") -> str:
    errors, warnings = len(loaded.errors), len(loaded.warnings)
    counted = [_count(errors, "error")] * bool(errors) + [_count(warnings, "warning")] * bool(warnings)
    if loaded.practice is None:
        return ", ".join(counted) + ("" if loaded.readable else "; the file could not be read")
    held = ", ".join(_count(number, name) for name, number in _holds(loaded).items())
    return f"in order: {held}" + (f"; {counted[0]}" if counted else "")


def _count(number: int, name: str) -> str:
    if number != 1:
        name = {"person": "people"}.get(name, name + "s")
    return f"{number} {name}"


def _holds(loaded: "Loaded") -> dict[str, int]:
    practice = loaded.practice
    if practice is None:
        return {}
    return {
        "chair": len(practice.chairs),
        "outlet": sum(len(chair.outlets) for chair in practice.chairs),
        "machine": len(practice.machines),
        "set type": len(practice.sets),
        "person": len(practice.people),
        "product": len(practice.products),
        "visit kind": len(practice.visit_kinds),
    }


def _as_json(loaded: "Loaded") -> dict[str, Any]:
    return {
        "file": loaded.file,
        "sha256": loaded.digest,
        "readable": loaded.readable,
        "in_order": loaded.practice is not None,
        "errors": len(loaded.errors),
        "warnings": len(loaded.warnings),
        "holds": {name.replace(" ", "_"): number for name, number in _holds(loaded).items()},
        "findings": [
            {
                "weight": entry.finding.weight,
                "line": entry.line,
                "path": list(entry.path),
                "where": entry.finding.where,
                "what": entry.finding.what,
                "mend": entry.finding.mend,
            }
            for entry in loaded.located
        ],
    }
