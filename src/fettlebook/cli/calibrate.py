"""`fettlebook calibrate`: a chair's rinse held against strip readings at an outlet."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from datetime import datetime

    from fettlebook.science.strips import Strip, StripReading


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
@click.option("--json", "as_json", is_flag=True, help="Print JSON and nothing else.")
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
    as_json: bool,
) -> None:
    """Does the computed rinse hold at this outlet? Strips say it.

    Fill the line, wait, then rinse as in use and dip a strip at several moments after opening: some while it still shows a
    colour, some when it is clear. A misfit is told. No time ever falls under rule or label.

    Exit status: 0 the readings fit and the running time is long enough; 1 they don't fit, are too few, or the running time is
    too short; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime as clock  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.calibrate_page import as_data, in_order, page  # noqa: PLC0415
    from fettlebook.practice.edit import outlet_path  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.science.calibration import calibrate as hold_against  # noqa: PLC0415
    from fettlebook.times.strips import line_under_test  # noqa: PLC0415

    strip = _strip(colours, read_error)
    dipped = _readings(readings, strip)
    practice = load_practice(Path(practice_file))
    day = on.date() if on else clock.now(ZoneInfo(practice.practice.time_zone)).date()
    chair = practice.chairs[int(outlet_path(practice, chair_id, outlet_id)[1])]
    line = line_under_test(practice, load_rulebook(practice, on=day), chair, outlet_id, strength_mg_l=strength_mg_l, limit_mg_l=limit_mg_l)
    found = hold_against(
        dipped,
        line.curve,
        strip=strip,
        strength_mg_l=line.strength_mg_l,
        limit_mg_l=line.limit_mg_l,
        computed_s=line.computed_s,
        floor_s=line.floor_s,
    )
    if as_json:
        click.echo(json.dumps(as_data(practice, line, dipped, found, day), indent=2, ensure_ascii=False))
    else:
        click.echo(page(practice, line, strip, dipped, found, day=day))
    context.exit(0 if in_order(line, found) else 1)


def _strip(text: str, read_error_pct: float) -> Strip:
    import re  # noqa: PLC0415

    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.science.strips import Strip, faults_of_strip  # noqa: PLC0415

    words = [w for w in re.split(r"[,;\s]+", text.strip()) if w]
    if not all(re.fullmatch(r"\d{1,6}(\.\d{1,6})?", w) for w in words):
        mend = "Write the colours in mg/L with commas between, decimals with a point: 0,0.5,2,5,10."
        raise Mendable(f'"{text[:40]}" is no list of colours', where="--strip", mend=mend)
    strip = Strip(tuple(float(w) for w in words if float(w) != 0.0), read_error_pct / 100.0)
    if faults := faults_of_strip(strip):
        raise Mendable.of(faults)
    return strip


def _readings(texts: tuple[str, ...], strip: Strip) -> list[StripReading]:
    from fettlebook.cli.readings import read_strip  # noqa: PLC0415
    from fettlebook.errors import Finding, Mendable  # noqa: PLC0415
    from fettlebook.science.strips import StripReading, faults_of_readings  # noqa: PLC0415

    read = [read_strip(text, f"reading {n}", strip.colours_mg_l) for n, text in enumerate(texts, start=1)]
    if wrong := [r for r in read if isinstance(r, Finding)]:
        raise Mendable.of(wrong)
    dipped = [StripReading(*r) for r in read if not isinstance(r, Finding)]
    if faults := faults_of_readings(dipped, strip):
        raise Mendable.of(faults)
    return dipped
