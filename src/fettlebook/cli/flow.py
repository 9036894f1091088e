"""`fettlebook flow`: an outlet's flow from cup and clock, and what it changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import date, datetime

    from fettlebook.science.flow import Tools
    from fettlebook.times.against import Place


@click.command()
@click.option("--reading", "readings", multiple=True, metavar="ML/SECONDS", help="One cup: 52mL/60s, 50/60, 52/1:00, 51.2g/60s. Repeat it.")
@click.option(
    "--resolution-ml", default=1.0, show_default=True, metavar="ML", help="Distance of the cup's lines; weighed: last digit in g."
)
@click.option("--cup-error-ml", type=float, metavar="ML", help="How far the cup itself may be out; left out: as much as one line.")
@click.option("--watch-s", default=1.0, show_default=True, metavar="S", help="Step of the watch.")
@click.option("--aim", "aim_pct", default=5.0, show_default=True, metavar="PCT", help="Range aimed at, in per cent up and down.")
@click.option("--about", "about_ml_min", type=float, metavar="ML/MIN", help="Without readings: about what flows, to tell how to measure.")
@click.option("--practice", "practice_file", metavar="PRACTICE.toml", help="Hold the result against this file.")
@click.option("--chair", "chair_id", metavar="ID", help="Chair in the practice file.")
@click.option("--outlet", "outlet_id", metavar="ID", help="Outlet of that chair.")
@click.option("--write", is_flag=True, help="Put flow and day into the practice file; nothing else in it is touched.")
@click.option("--explain", is_flag=True, help="Say what makes the result unsure, and by how much.")
@click.option("--even-so", is_flag=True, help="Write although the readings look odd.")
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Day of the measurement; today if left out.")
@JSON
@click.pass_context
def flow(
    context: click.Context,
    /,
    *,
    readings: tuple[str, ...],
    resolution_ml: float,
    cup_error_ml: float | None,
    watch_s: float,
    aim_pct: float,
    about_ml_min: float | None,
    practice_file: str | None,
    chair_id: str | None,
    outlet_id: str | None,
    write: bool,
    explain: bool,
    even_so: bool,
    on: datetime | None,
    as_json: bool,
) -> None:
    """An outlet's flow from cup and clock: how sure it is, and which running times it changes.

    Hold a cup under the fully open outlet, with all outlets of its group open as in use. Three cups of a minute are a good
    start. Without readings, it tells how long and how often to measure.

    Exit status: 0 in order; 1 measured, but the readings look odd or the practice file says something else; 2 nothing could
    be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.flow_page import as_data, page, way_page  # noqa: PLC0415
    from fettlebook.practice.edit import replace_practice_file  # noqa: PLC0415
    from fettlebook.science.flow import Tools, measure_flow, way_to_measure  # noqa: PLC0415
    from fettlebook.times.against import flow_meant  # noqa: PLC0415
    from fettlebook.times.readings import cups  # noqa: PLC0415

    if (chair_id or outlet_id or write) and not practice_file:
        raise click.UsageError("--chair, --outlet and --write need --practice PRACTICE.toml.")
    if not 0.1 <= aim_pct <= 100:
        raise click.UsageError("--aim is a per cent between 0.1 and 100.")
    tools = Tools(resolution_ml, cup_error_ml, watch_s)
    place = _place(practice_file, chair_id, outlet_id) if practice_file else None
    if not readings:
        about = about_ml_min or (place.outlet.flow_ml_min if place else None)
        if about is None or not 0.1 <= about <= 5000 or write:
            raise click.UsageError("Give at least one --reading ML/SECONDS; or --about ML/MIN (0.1 to 5000) to be told how to measure.")
        _refuse_tools(tools)
        click.echo(way_page(way_to_measure(aim_pct / 100, flow_ml_min=about, tools=tools), about, aim_pct, place))
        return
    found = measure_flow(cups(readings, place.water_c if place else 20.0), tools)
    meant = flow_meant(place, found, _day(on, place)) if place else None
    refused = write and bool(found.odd) and not even_so
    wrote = write and not refused and meant is not None
    if wrote and meant is not None and practice_file:
        replace_practice_file(Path(practice_file), meant.place.loaded, meant.place.text, meant.text, meant.practice)
    if as_json:
        click.echo(json.dumps(as_data(found, meant, wrote=wrote), indent=2, ensure_ascii=False))
    else:
        click.echo(page(found, tools, aim_pct, meant, explain=explain, wrote=wrote, refused=refused))
    differs = meant is not None and found.differs_from(meant.place.outlet.flow_ml_min)
    context.exit(1 if found.odd or (differs and not wrote) else 0)


def _refuse_tools(tools: Tools) -> None:
    from fettlebook.science.flow import Reading, measure_flow  # noqa: PLC0415

    measure_flow([Reading(50.0, 60.0)], tools)  # refuses what no cup or watch can have, in the same words


def _place(practice_file: str, chair_id: str | None, outlet_id: str | None) -> Place:
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.practice.edit import read_to_change  # noqa: PLC0415
    from fettlebook.times.against import Place  # noqa: PLC0415

    return Place.of(*read_to_change(Path(practice_file)), chair_id, outlet_id)


def _day(on: datetime | None, place: Place) -> date:
    from datetime import datetime as clock  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    return on.date() if on else clock.now(ZoneInfo(place.practice.practice.time_zone)).date()
