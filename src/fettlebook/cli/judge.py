"""`fettlebook judge`: a cycle judged by its own numbers, not by the machine's word."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from fettlebook.cli.judge_read import Judged


@click.command()
@click.argument("log_file", metavar="LOG.csv", type=click.Path(path_type=Path))
@click.option("--machine", metavar="M", help="Machine, as in the practice file; without one, a name to print.")
@click.option("--cycle", metavar="C", help="Cycle of that machine, as in the practice file; or one of several in a criteria file.")
@click.option(
    "--practice", "practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=Path), help="Criteria and calibrations from here."
)
@click.option("--criteria", metavar="NAME|FILE", help="Criteria by name (steam-134-b, leak-test, washer-a0-600, ...) or from a TOML file.")
@click.option("--ambient-kpa", type=float, metavar="KPA", help="The air's own pressure, where the log has a gauge.")
@click.option("--pressure", "reference", type=click.Choice(["absolute", "gauge"]), help="What the pressure in the log is.")
@click.option("--unit", "units", multiple=True, metavar="ROLE=UNIT", help="chamber=F, pressure=bar, time=min. Repeat it.")
@click.option(
    "--column",
    "columns",
    multiple=True,
    metavar="ROLE=NAME",
    help="time, chamber, drain, load, pressure, dose: the column's name or number.",
)
@click.option("--decimal", type=click.Choice([".", ","]), help="Decimal sign of the log.")
@click.option("--time", "time_form", type=click.Choice(["h:m", "m:s"]), help="What 12:30 means in it.")
@click.option("--from", "from_s", type=float, metavar="S", help="Judge from this second of the log on.")
@click.option("--to", "to_s", type=float, metavar="S", help="Judge up to this second of the log.")
@click.option("--load", "load_form", type=click.Choice(["solid", "porous", "hollow"]), help="Hardest form in the load for steam to reach.")
@click.option("--wrapped/--unwrapped", "wrapped", default=None, help="Whether anything in the load is wrapped.")
@click.option(
    "--indicator", type=click.Choice(["even", "uneven"]), help="Air-removal test: how the sheet or helix changed, as you read it."
)
@click.option("--temperature-within-k", type=click.FloatRange(0.01, 5), metavar="K", help="How far the thermometers may be out.")
@click.option("--pressure-within-kpa", type=click.FloatRange(0.01, 50), metavar="KPA", help="How far the pressure may be out.")
@click.option(
    "--past", multiple=True, metavar="FILE", type=click.Path(path_type=Path), help="Earlier logs, or earlier --json answers, oldest first."
)
@click.option("--plot", "plot_file", metavar="OUT.svg", type=click.Path(path_type=Path), help="Draw the cycle.")
@click.option(
    "--book", "book_at", metavar="BOOK", help="Write it into this book: the log itself, what was read out of it, verdict, reasons."
)
@click.option("--by", metavar="PERSON", help="Who writes it: an id from the practice file.")
@click.option("--in-load", "load", metavar="LOAD", help="The load that rode in it, as it was packed.")
@click.option("--test", metavar="TEST", help="It was a test of the machine: its id in the practice file, or: leak test, air-removal test.")
@click.option("--said", type=click.Choice(["passed", "failed", "aborted", "nothing"]), help="What the machine itself said.")
@click.option(
    "--ended",
    type=click.DateTime(["%Y-%m-%dT%H:%M", "%Y-%m-%dT%H:%M:%S"]),
    metavar="DATETHH:MM",
    help="When the run ended, on the practice's clock; now if left out.",
)
@click.option("--whose", metavar="ID", help="Whose book, where BOOK holds several.")
@JSON
@click.pass_context
def judge(context: click.Context, /, *, log_file: Path, as_json: bool, plot_file: Path | None, **options: Any) -> None:
    """Is this cycle fit, by its own numbers? Band, hold, steam, air removal, drying; or leak test, air-removal test, a washer's A0.

    Works on a bare CSV with --criteria. Inside the sensors' uncertainty, with a gap, or with anything in doubt it is `unproven`,
    never guessed. The program releases nothing: a person does.

    With --book it is kept: fettlebook judge 1107.csv --book book.sqlite --by ana --machine "sterilizer 1" --in-load L12

    Exit status: 0 fit; 1 unfit or unproven; 2 nothing could be done, and nothing was written.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.judge_page import as_data, page  # noqa: PLC0415
    from fettlebook.cli.judge_read import judged_file  # noqa: PLC0415

    entries: tuple[str, ...] = ()
    if options["book_at"] is not None:
        from fettlebook.cli.judge_book import judged_into_book  # noqa: PLC0415

        judged, entries = judged_into_book(log_file, options)
    else:
        judged = judged_file(log_file, options)
    if plot_file is not None:
        _draw(judged, plot_file)
    written = "".join(f"\nWritten: {entry}" for entry in entries)
    said = as_data(judged) | ({"entries": list(entries)} if entries else {})
    click.echo(json.dumps(said, indent=2, ensure_ascii=False) if as_json else page(judged) + written)
    context.exit(0 if judged.judgement.verdict == "fit" else 1)


def _draw(judged: Judged, plot_file: Path) -> None:
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.cycle_chart import cycle_chart  # noqa: PLC0415

    write_whole(plot_file, cycle_chart(judged.log, judged.judgement, judged.criteria, judged.sensors, judged.title))
