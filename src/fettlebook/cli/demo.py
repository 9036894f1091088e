"""`fettlebook demo DIR`: the invented practice, to try everything on."""

from pathlib import Path

import click


@click.command()
@click.argument("directory", metavar="DIR", type=click.Path(path_type=Path))
@click.option("--overwrite", is_flag=True, help="Replace files of these names that have another content.")
@click.option(
    "--lived",
    "days",
    type=click.IntRange(1, 3700),
    metavar="DAYS",
    help="Also DIR/book.sqlite: the book of a practice that lived so many days up to now. Where it is there already, it lives on.",
)
@click.option("--logs", is_flag=True, help="Also DIR/logs: a sterilizer's cycle log, good and with each kind of fault, to judge.")
@click.option("--seed", type=click.IntRange(0), default=1, show_default=True, help="With --lived, --logs: another number is another life.")
def demo(directory: Path, overwrite: bool, days: int | None, logs: bool, seed: int) -> None:
    """Write the invented demo practice and its appointment book into DIR.

    Exit status: 0 the files stand in DIR; 2 nothing was written.
    """
    from fettlebook.demo import book_ics, practice_text  # noqa: PLC0415 - keeps --help quick
    from fettlebook.demo.write import write_files  # noqa: PLC0415

    contents = {"practice.toml": practice_text(), "book.ics": book_ics()}
    for name, written in write_files(directory, contents, overwrite=overwrite).items():
        click.echo(f"{'wrote' if written else 'kept '}  {directory / name}")
    if logs:
        made = write_files(directory / "logs", _cycle_logs(seed), overwrite=overwrite)
        click.echo(f"{'wrote' if any(made.values()) else 'kept '}  {directory / 'logs'}: {len(made)} cycle logs")
    if days is not None:
        click.echo(_live(directory / "book.sqlite", days, seed))
    click.echo("All of it is invented: no such practice exists, and no number in it is a fact of the trade.")
    practice, book = directory / "practice.toml", directory / "book.ics"
    click.echo(f"\nNext:\n  fettlebook check {practice}\n  fettlebook times {practice}\n  fettlebook day {practice} {book}")


def _cycle_logs(seed: int) -> dict[str, bytes]:
    """Return a log of each kind, by file name."""
    from fettlebook.demo.heat import FAULTS, as_csv, make_log  # noqa: PLC0415

    return {f"{name.replace(',', '').replace(' ', '-')}-{seed}.csv": as_csv(make_log(name, seed)).encode() for name in FAULTS}


def _live(path: Path, days: int, seed: int) -> str:
    """Live up to now, and say what came of it."""
    import time  # noqa: PLC0415
    from datetime import datetime, timedelta  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.book.signing import begin_key, sign_book  # noqa: PLC0415
    from fettlebook.book.stores import open_book  # noqa: PLC0415
    from fettlebook.demo import book_ics, practice_text  # noqa: PLC0415
    from fettlebook.demo.diary import calendar_diary  # noqa: PLC0415
    from fettlebook.demo.lived import live_into, live_on  # noqa: PLC0415
    from fettlebook.exchange.key import beside, load_or_make_key  # noqa: PLC0415
    from fettlebook.practice.load import read_practice  # noqa: PLC0415

    practice = read_practice(practice_text(), "practice.toml").practice
    assert practice is not None
    now = time.time_ns() // 1_000_000
    today = datetime.now(ZoneInfo(practice.practice.time_zone)).date()
    with open_book(path, practice.practice.id) as store:
        # the key that the pages will read the appointment book with: they know these visits again
        diary = calendar_diary(practice, book_ics(), load_or_make_key(beside(path)))
        if store.head().size:
            lived = live_on(store, practice_text(), now, seed=seed, diary=diary)
            return f"lived  {path}: on since {lived.first}, {lived.entries} entries more"
        lived = live_into(store, practice_text(), today - timedelta(days=days), now, seed=seed, diary=diary)
        sign_book(store, begin_key(path, practice.practice.id))
        return f"lived  {path}: from {lived.first} up to now, {lived.entries} entries"
