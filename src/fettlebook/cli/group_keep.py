"""What `fettlebook group` writes: roles admitted to the group's database, and the group's shared part put into the practice files."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

import click
from sqlalchemy import make_url

from fettlebook.book.stores import admit, prepare_group_book
from fettlebook.cli.book_open import group_address
from fettlebook.cli.night_group import Job, read_shared
from fettlebook.cli.whole_file import write_whole
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.group.shared import taken_over
from fettlebook.practice.load import load_practice, read_practice
from fettlebook.rules.load import findings_of, lay_rulebook


def admit_all(owner: str, jobs: Sequence[Job]) -> bool:
    """Make the tables, or bring them forward, and admit the role of each practice's book to that practice and no other."""
    address = group_address(owner)
    if address is None:
        raise Mendable("no address of a database", where="--admit", mend="Write postgresql://owner@host/database.")
    prepare_group_book(address)
    good = True
    for job in jobs:
        theirs = group_address(job.book)
        role = make_url(theirs).username if theirs else None
        if not role:
            click.echo(f"{job.name}: its book is in no group's database, or the address names no role: nothing to admit", err=True)
            continue
        try:
            practice = load_practice(Path(job.practice)).practice.id
            admit(address, role=role, practice=practice)
            click.echo(f"{job.name}: {role} may add to and read {practice}")
        except Mendable as error:
            good = False
            _say(job.name, error.findings)
    return good


def take_over_all(group_file: Path, jobs: Sequence[Job]) -> bool:
    """Put the group's shared files into each practice file that is good with them; one that is not stays as it was."""
    shared = read_shared(group_file)
    good = True
    for job in jobs:
        path = Path(job.practice)
        try:
            old = path.read_text("utf-8")
            new = taken_over(old, shared, where=path.name)
            if new == old:
                click.echo(f"{job.name}: has it already")
                continue
            _refuse_bad(new, path)
            write_whole(path, new)
            click.echo(f"{job.name}: taken over")
        except Mendable as error:
            good = False
            _say(job.name, error.findings)
        except (OSError, UnicodeDecodeError) as error:
            good = False
            _say(job.name, (Finding(f"can't be read or written: {error}", path.name, "Look at the name and the rights."),))
    return good


def _refuse_bad(text: str, path: Path) -> None:
    loaded = read_practice(text.encode(), path.name)
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    laid = lay_rulebook(loaded.practice)
    if laid.rulebook is None or laid.faults:
        raise Mendable.of(findings_of(loaded.practice, laid.faults, loaded))


def _say(name: str, findings: Sequence[Finding]) -> None:
    click.echo(f"{name}: left as it was", err=True)
    for one in findings:
        click.echo(f"  {one}", err=True)
