"""`fettlebook flow`: an outlet's flow from cup and clock, and what it changes."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from datetime import date, datetime

    from fettlebook.cli.flow_page import Against
    from fettlebook.science.flow import Reading, Tools


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
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
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

    from fettlebook.cli.flow_page import as_data, page, way_page  # noqa: PLC0415
    from fettlebook.science.flow import Tools, measure_flow, way_to_measure  # noqa: PLC0415

    if (chair_id or outlet_id or write) and not practice_file:
        raise click.UsageError("--chair, --outlet and --write need --practice PRACTICE.toml.")
    if not 0.1 <= aim_pct <= 100:
        raise click.UsageError("--aim is a per cent between 0.1 and 100.")
    tools = Tools(resolution_ml, cup_error_ml, watch_s)
    against = _against(practice_file, chair_id, outlet_id) if practice_file else None
    if not readings:
        about = about_ml_min or (against.outlet.flow_ml_min if against else None)
        if about is None or not 0.1 <= about <= 5000 or write:
            raise click.UsageError("Give at least one --reading ML/SECONDS; or --about ML/MIN (0.1 to 5000) to be told how to measure.")
        _refuse_tools(tools)
        click.echo(way_page(way_to_measure(aim_pct / 100, flow_ml_min=about, tools=tools), about, aim_pct, against))
        return
    found = measure_flow(_readings(readings, against.water_c if against else 20.0), tools)
    day = _day(on, against)
    if against:
        against = against.with_measured(found, day)
    refused = write and bool(found.odd) and not even_so
    wrote = write and not refused and against is not None
    if wrote and against is not None:
        against.write()
    if as_json:
        click.echo(json.dumps(as_data(found, against, wrote=wrote), indent=2, ensure_ascii=False))
    else:
        click.echo(page(found, tools, aim_pct, against, explain=explain, wrote=wrote, refused=refused))
    context.exit(1 if found.odd or (against is not None and not wrote and against.differs) else 0)


def _readings(texts: tuple[str, ...], water_c: float) -> list[Reading]:
    from fettlebook.cli.readings import read_cup  # noqa: PLC0415
    from fettlebook.errors import Finding, Mendable  # noqa: PLC0415
    from fettlebook.science.flow import Reading, volume_ml  # noqa: PLC0415

    cups = [read_cup(text, f"reading {n}") for n, text in enumerate(texts, start=1)]
    if wrong := [cup for cup in cups if isinstance(cup, Finding)]:
        raise Mendable.of(wrong)
    return [Reading(volume_ml(c.much, water_c) if c.weighed else c.much, c.seconds) for c in cups if not isinstance(c, Finding)]


def _refuse_tools(tools: Tools) -> None:
    from fettlebook.science.flow import Reading, measure_flow  # noqa: PLC0415

    measure_flow([Reading(50.0, 60.0)], tools)  # refuses what no cup or watch can have, in the same words


def _against(practice_file: str, chair_id: str | None, outlet_id: str | None) -> Against:
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.flow_page import Against  # noqa: PLC0415

    return Against.read(Path(practice_file), chair_id, outlet_id)


def _day(on: datetime | None, against: Against | None) -> date:
    from datetime import datetime as clock  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    if on:
        return on.date()
    return clock.now(ZoneInfo(against.practice.practice.time_zone) if against else None).date()
