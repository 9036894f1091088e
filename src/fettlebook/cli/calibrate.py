"""`fettlebook calibrate`: a chair's rinse held against strip readings at an outlet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml")
@click.option("--chair", "chair_id", required=True, metavar="ID", help="Chair in the practice file.")
@click.option("--outlet", "outlet_id", required=True, metavar="ID", help="Outlet at which the strips were dipped.")
@click.option("--strip", "colours", required=True, metavar="MG/L,...", help="The strip's colours: 0,1,3,10,30,100.")
@click.option("--reading", "readings", multiple=True, metavar="SECONDS/MG/L", help="60s/30, 1:30/3-10, 120/0, 20/>100. Repeat it.")
@click.option("--read-error", default=25.0, show_default=True, metavar="PCT", help="How far the eye reads this strip wrong.")
@click.option("--strength-mg-l", type=float, metavar="MG/L", help="What the line was filled with; left out, the label's strength.")
@click.option("--limit-mg-l", type=float, metavar="MG/L", help="What may be left; left out, the label's residual limit.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Day of the readings; today if left out.")
@click.option("--write", is_flag=True, help="Put what the strips say into the practice file; refused where they don't bear a time out.")
@JSON
@click.pass_context
def calibrate(
    context: click.Context,
    /,
    *,
    practice_file: str,
    chair_id: str,
    outlet_id: str,
    colours: str,
    readings: tuple[str, ...],
    read_error: float,
    strength_mg_l: float | None,
    limit_mg_l: float | None,
    on: datetime | None,
    write: bool,
    as_json: bool,
) -> None:
    """Does the computed rinse hold at this outlet? Strips say it.

    Fill the line, wait, then rinse as in use and dip a strip at several moments after opening: some while it still shows a
    colour, some when it is clear. A misfit is told. No time ever falls under rule or label.

    Exit status: 0 the readings fit and the running time is long enough, or they were written; 1 they don't fit, are too few, or
    the running time is too short; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime as clock  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.calibrate_page import as_data, page  # noqa: PLC0415
    from fettlebook.practice.edit import read_to_change, replace_practice_file  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.against import Place, strips_meant  # noqa: PLC0415
    from fettlebook.times.readings import dips, strip_of  # noqa: PLC0415
    from fettlebook.times.strips import held_against, line_under_test  # noqa: PLC0415
    from fettlebook.times.strips_words import in_order, strips_of  # noqa: PLC0415

    strip = strip_of(colours, read_error)
    dipped = dips(readings, strip)
    place = Place.of(*read_to_change(Path(practice_file)), chair_id, outlet_id)
    practice, chair = place.practice, place.chair
    day = on.date() if on else clock.now(ZoneInfo(practice.practice.time_zone)).date()
    line = line_under_test(practice, load_rulebook(practice, on=day), chair, outlet_id, strength_mg_l=strength_mg_l, limit_mg_l=limit_mg_l)
    found = held_against(line, dipped, strip)
    meant = strips_meant(place, strips_of(line, found, day), day) if found.borne_out or write else None
    if write and meant:
        replace_practice_file(Path(practice_file), place.loaded, place.text, meant.text, meant.practice)
    if as_json:
        told = as_data(practice, line, dipped, found, day, meant=meant, wrote=write)
        click.echo(json.dumps(told, indent=2, ensure_ascii=False))
    else:
        click.echo(page(practice, line, strip, dipped, found, meant=meant, wrote=write))
    context.exit(0 if write or in_order(line, found) else 1)
