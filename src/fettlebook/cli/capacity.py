"""`fettlebook capacity`: how many sets, machines and hands the bookings need, and what to buy first."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from collections.abc import Sequence
    from datetime import datetime

    from fettlebook.plan.capacity import Capacity


@click.command()
@click.argument("files", metavar="INSTANCE.json | PRACTICE.toml BOOK.ics", nargs=-1, required=True, type=click.Path(path_type=str))
@click.option(
    "--date", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The first day; left out, today or the next with visits."
)
@click.option("--days", type=click.IntRange(1, 30), default=5, show_default=True, help="So many days with visits.")
@click.option(
    "--goal", type=click.FloatRange(1, 100), default=95.0, show_default=True, help="Per cent of visits that start at most 5 min late."
)
@click.option("--samples", type=click.IntRange(2, 1000), default=20, show_default=True, help="How often each day is lived through.")
@click.option("--most", type=click.IntRange(0, 40), default=8, show_default=True, help="So many purchases at the most.")
@click.option("--cv", type=click.FloatRange(0, 2), help="Coefficient of variation of visit lengths; left out, 0.25 (assumed).")
@click.option("--measured", metavar="VISITS.csv", help="Fit the spread from visits of your own: columns booked and actual, in minutes.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Another seed draws other days.")
@JSON
@click.pass_context
def capacity(context: click.Context, /, *, files: tuple[str, ...], first: datetime | None, as_json: bool, **options: Any) -> None:
    """How many sets, machines and hands do the bookings need, and what to buy first?

    A bound proves what is too little even if no visit runs over; then one thing more at a time is tried by living
    through the same days again. Says too how many visits can be on time at all: where the book leaves less time than
    a turnover takes, nothing that can be bought helps.

    Exit status: 0 the goal is reached as it is; 1 it isn't; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from dataclasses import asdict  # noqa: PLC0415

    from fettlebook.cli.days_read import read_days, stated_overruns  # noqa: PLC0415
    from fettlebook.cli.stress import counted  # noqa: PLC0415
    from fettlebook.plan.capacity import capacity as needed  # noqa: PLC0415

    overruns = stated_overruns(options["cv"], options["measured"])
    days, shown, findings = read_days(files, first.date() if first else None, options["days"])
    with counted() as told:
        found = needed(
            days,
            overruns,
            goal=options["goal"] / 100,
            samples=options["samples"],
            seed=options["seed"],
            most=options["most"],
            minute=shown,
            told=lambda what: told(what) and None,
        )
    if as_json:
        click.echo(json.dumps(asdict(found) | {"reached": found.reached}, indent=2, ensure_ascii=False))
    else:
        for f in findings:
            click.echo(f"look     {f}", err=True)
        _show(found)
    context.exit(0 if found.on_time >= found.goal else 1)


def _show(c: Capacity) -> None:
    import textwrap  # noqa: PLC0415

    from fettlebook.plan.capacity import verdict_words  # noqa: PLC0415

    def say(text: str) -> None:
        click.echo(textwrap.fill(text, 80, break_on_hyphens=False))

    click.echo(verdict_words(c))
    never = f"; {c.never:.1f} visits a day not served" if c.never else ""
    say(
        f"{c.days} {'day' if c.days == 1 else 'days'}, {c.visits} visits, each day lived through {c.samples} times; "
        f"{c.overruns.words()}{never}."
    )
    say(
        f"With more of everything than could be used: {_pct(c.ceiling)} on time; the rest is forced by the bookings. "
        f"One minute less of every turnover would be worth {100 * c.turnover_minute:.1f} points: what a turnover takes is "
        "set by rule, label and line (fettlebook times) and is never cut for time."
    )
    more = ", ".join(f"{minutes} min more: {_pct(share)}" for minutes, share in c.between)
    say(f"More time after each visit, with what is there: {more} on time.")
    _table(
        "Needed at the least, even if no visit runs over",
        ("what", "there", "least", "proof"),
        [(n.id + (" (short)" if n.short else ""), str(n.owned), str(n.least), n.why) for n in c.needs],
    )
    if c.buys:
        rows = [
            (
                str(k),
                f"{b.id}: {b.owned + 1} instead of {b.owned}",
                f"{_pct(b.before)} to {_pct(b.after)}",
                f"{b.minutes_saved:.0f} min",
                f"{_bound(b.bound_before)} to {_bound(b.bound_after)}",
            )
            for k, b in enumerate(c.buys, 1)
        ]
        _table("What to buy first", ("", "one more", "on time", "saves a day", "bound"), rows)
        say(
            "On time and saved minutes (weighted minutes late): the same days lived through again. Bound: weighted minutes "
            "late of all days that no plan can better as booked; a fall there is a proof that the purchase was needed. A set "
            "goes before a machine before a person unless the dearer saves twice as much."
        )


def _bound(minutes: int) -> str:
    return "not all served" if minutes < 0 else str(minutes)


def _pct(share: float) -> str:
    return f"{100 * share:.0f} %"


def _table(title: str, columns: tuple[str, ...], rows: Sequence[tuple[str, ...]]) -> None:
    from rich import box  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False, title=title, title_justify="left", title_style="bold")
    for c in columns:
        table.add_column(c, overflow="fold")
    for row in rows:
        table.add_row(*row)
    click.echo()
    Console(width=80, highlight=False, markup=False).print(table)
