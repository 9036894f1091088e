"""`fettlebook mix`: how much product and water, what the mix is good for, until when, and what to mind."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from datetime import datetime


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml")
@click.option("--product", "product_id", metavar="ID", help="Product in the practice file; left out, the one in use.")
@click.option("--use", "use_name", required=True, metavar="USE", help="suction, line intensive, line continuous or surfaces.")
@click.option("--litres", required=True, type=float, metavar="L", help="Finished solution.")
@click.option("--strength", metavar="STRENGTH", help='One of the label\'s strengths, for example "2 % w/v", where it has several.')
@click.option("--measure-ml", default=1.0, show_default=True, metavar="ML", help="Distance of the lines of the measure for the product.")
@click.option("--jug-ml", default=50.0, show_default=True, metavar="ML", help="Distance of the lines of the jug.")
@click.option("--at", type=click.DateTime(["%Y-%m-%d %H:%M", "%Y-%m-%dT%H:%M"]), metavar="WHEN", help="When it is mixed; now if left out.")
@click.option("--opened", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Day on which the package was opened.")
@click.option("--expires", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Last day printed on the package.")
@JSON
@click.pass_context
def mix(
    context: click.Context,
    /,
    *,
    practice_file: str,
    product_id: str | None,
    use_name: str,
    litres: float,
    strength: str | None,
    measure_ml: float,
    jug_ml: float,
    at: datetime | None,
    opened: datetime | None,
    expires: datetime | None,
    as_json: bool,
) -> None:
    """How much product and water by measure and jug, and what the mix is good for.

    Only at the label's strength: anything else is off label and refused. The program mixes nothing and releases nothing.

    Exit status: 0 it can be mixed and used here; 1 it can be mixed, but the label does not hold in this water; 2 refused.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from datetime import datetime as clock  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.mix_page import page  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.mix_order import Package, as_data, order  # noqa: PLC0415
    from fettlebook.times.readings import stated  # noqa: PLC0415

    practice = load_practice(Path(practice_file))
    zone = ZoneInfo(practice.practice.time_zone)
    when = at.replace(tzinfo=zone) if at else clock.now(zone)
    package = Package(opened.date() if opened else None, expires.date() if expires else None)
    made = order(
        practice,
        load_rulebook(practice, on=when.date()),
        product_id=product_id,
        use_name=use_name,
        batch_ml=litres * 1000.0,
        asked=stated(strength) if strength else None,
        measure_ml=measure_ml,
        jug_ml=jug_ml,
        at=when,
        package=package,
    )
    click.echo(json.dumps(as_data(made), indent=2, ensure_ascii=False) if as_json else page(made))
    context.exit(1 if made.gap else 0)
