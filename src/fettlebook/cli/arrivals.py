"""`fettlebook arrivals`: take in what machines and laboratories send."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import DATA, PRACTICE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from pathlib import Path

    from fettlebook.exchange.arrivals.arrived import Outcome


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=str))
@PRACTICE
@DATA
@click.option("--broker", metavar="mqtt://HOST", help="Only put into FOLDER what is published at this broker, until Ctrl-C.")
@click.option("--json", "as_json", is_flag=True, help="Print JSON lines and nothing else.")
@click.pass_context
def arrivals(context: click.Context, /, *, folder: str, practice_file: str, data: str | None, broker: str | None, as_json: bool) -> None:
    """Take in the files of FOLDER: a folder in it for each machine, and one named "laboratory".

    Each file goes into the book once, whole, and stays as it is; what can't be read is put aside beside the book with its reasons.
    While the page is open, let it do this: fettlebook serve --arrivals FOLDER.

    Exit status: 0 all of it is in the book; 1 something was put aside; 2 nothing could be done.
    """
    from pathlib import Path  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.practice.load import load_practice  # noqa: PLC0415

    path = Path(practice_file)
    practice = load_practice(path)
    if broker is not None:
        from fettlebook.cli.arrivals_broker import listen_here  # noqa: PLC0415

        listen_here(broker, practice.practice.id, Path(folder))
        return
    book = Path(data) if data else path.with_name("book.sqlite")
    aside = sum(_tell(source, name, outcome, as_json) == "put aside" for source, name, outcome in _taken(Path(folder), path, book))
    context.exit(1 if aside else 0)


def _tell(source: str, name: str, outcome: Outcome, as_json: bool) -> str:
    import json  # noqa: PLC0415

    if as_json:
        findings = [{"what": f.what, "where": f.where, "mend": f.mend} for f in outcome.findings]
        said = {"file": name, "source": source, "became": outcome.became, "line": outcome.line}
        click.echo(json.dumps(said | {"entries": outcome.entries, "findings": findings}, ensure_ascii=False))
        return outcome.became
    click.echo(f"{outcome.became:<10}  {source}: {outcome.line}")
    for finding in outcome.findings:
        click.echo(f"            {finding}", err=True)
    return outcome.became


def _taken(folder: Path, practice_file: Path, book: Path) -> Iterator[tuple[str, str, Outcome]]:
    from functools import partial  # noqa: PLC0415

    from fettlebook.book.door import Door  # noqa: PLC0415
    from fettlebook.book.kinds import PracticeFileVersion  # noqa: PLC0415
    from fettlebook.book.stores import open_book  # noqa: PLC0415
    from fettlebook.cli.book_open import now_ms  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.arrivals.arrived import Outcome  # noqa: PLC0415
    from fettlebook.exchange.arrivals.aside import aside_folder  # noqa: PLC0415
    from fettlebook.exchange.arrivals.cycle_log import Into  # noqa: PLC0415
    from fettlebook.exchange.arrivals.folder import look_into  # noqa: PLC0415
    from fettlebook.exchange.arrivals.keeping_up import KeepingUp  # noqa: PLC0415
    from fettlebook.exchange.arrivals.reading import read_arrived  # noqa: PLC0415
    from fettlebook.exchange.arrivals.taking import take_in  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415

    practice = load_practice(practice_file)
    if not folder.is_dir():
        raise Mendable(
            "there is no such folder", where=str(folder), mend='Make it, with a folder in it for each machine and one "laboratory".'
        )
    if not book.exists():
        raise Mendable("there is no such book", where=str(book), mend="Name it with --data.")
    with open_book(book, practice.practice.id) as store:
        if store.latest(PracticeFileVersion.KIND) is None:
            raise Mendable("it holds no practice file yet", where=str(book), mend="Take one in: fettlebook book renew BOOK PRACTICE.toml")
        keeping, door = KeepingUp(store, practice), Door(store)
        for path, waiting in look_into(folder).items():
            now = now_ms()
            try:
                arrived = read_arrived(path, waiting)
                outcome = take_in(Into(store, door, practice, now), partial(keeping.look, now), arrived, aside_folder(book))
            except Mendable as error:  # far too large, or unreadable: it stays where it lies, and the others are taken
                outcome = Outcome("put aside", f"{path.name}: {error.what}", findings=tuple(error.findings))
            yield waiting.source, path.name, outcome
