"""`fettlebook stress`: how booked days stand up when visits run over."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from fettlebook.plan.stress import Stress

PLAN_S = 3.0
ROWS = 12


@click.command()
@click.argument("files", metavar="INSTANCE.json | PRACTICE.toml BOOK.ics", nargs=-1, required=True, type=click.Path(path_type=str))
@click.option(
    "--date", "first", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The first day; left out, today or the next with visits."
)
@click.option("--days", type=click.IntRange(1, 30), default=1, show_default=True, help="So many days with visits.")
@click.option("--samples", type=click.IntRange(1, 5000), default=200, show_default=True, help="How often each day is lived through.")
@click.option("--cv", type=click.FloatRange(0, 2), help="Coefficient of variation of visit lengths; left out, 0.25 (assumed).")
@click.option("--measured", metavar="VISITS.csv", help="Fit the spread from visits of your own: columns booked and actual, in minutes.")
@click.option("--seed", type=click.IntRange(0, 2**31 - 1), default=1, show_default=True, help="Another seed draws other days.")
@click.option("--plot", metavar="OUT.svg", help="Draw the chance of a late start over the day.")
@click.option("--all", "show_all", is_flag=True, help="Every visit, not only the twelve most at risk.")
@JSON
@click.pass_context
def stress(
    context: click.Context, /, *, files: tuple[str, ...], first: datetime | None, plot: str | None, as_json: bool, **options: Any
) -> None:
    """How does the day stand up when visits run over?

    Lives through each day many times with visits of random length, people deciding as the day goes. Says for each visit
    how likely it starts more than 5, 10, 15 minutes late, and after which visit five minutes more save most. A
    forecast under the spread that is stated, not a promise.

    Exit status: 0 at least 95 % of the visits start at most 5 minutes late; 1 fewer; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from functools import partial  # noqa: PLC0415
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.days_read import read_days, stated_overruns  # noqa: PLC0415
    from fettlebook.cli.stress_chart import chart  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.plan.capacity import GOAL  # noqa: PLC0415
    from fettlebook.plan.solve import solve  # noqa: PLC0415
    from fettlebook.plan.stress import stress as lived_through  # noqa: PLC0415

    overruns = stated_overruns(options["cv"], options["measured"])
    days, shown, findings = read_days(files, first.date() if first else None, options["days"])
    results: list[tuple[str, Stress]] = []
    with counted() as told:
        for day in days:
            plan = solve(day, limit_s=PLAN_S, deterministic=0.5).plan  # counted work: the same seed gives the same answer
            told_of_day = partial(told, day.name)
            found = lived_through(day, overruns, samples=options["samples"], seed=options["seed"], plan=plan, told=told_of_day)
            results.append((day.name, found))
    if plot:
        write_whole(Path(plot), chart(results, shown))
    if as_json:
        click.echo(json.dumps({"days": [_as_data(name, s) for name, s in results]}, indent=2, ensure_ascii=False))
    else:
        for f in findings:
            click.echo(f"look     {f}", err=True)
        for name, s in results:
            _show(name, s, shown, show_all=options["show_all"])
        if plot:
            click.echo(f"{plot}: drawn", err=True)
    context.exit(0 if all(s.on_time >= GOAL for _, s in results) else 1)


def counted() -> Any:
    """Return a context that tells on a terminal's stderr how far the samples are."""
    import sys  # noqa: PLC0415
    from contextlib import contextmanager, nullcontext  # noqa: PLC0415

    if not sys.stderr.isatty():
        return nullcontext(lambda *_: True)
    from rich.console import Console  # noqa: PLC0415

    @contextmanager
    def shown() -> Any:
        with Console(stderr=True).status("planning") as status:

            def told(name: str, n: int = 0, of: int = 0) -> bool:
                count = f": {n} of {of} days lived through" if of else ""
                status.update(f"{name}{count}; Ctrl-C takes what is there")
                return True

            yield told

    return shown()


def _show(name: str, s: Stress, shown: Callable[[int], str], *, show_all: bool) -> None:
    import textwrap  # noqa: PLC0415

    from rich import box  # noqa: PLC0415
    from rich.console import Console  # noqa: PLC0415
    from rich.table import Table  # noqa: PLC0415

    from fettlebook.plan.stress import SLACK_MIN  # noqa: PLC0415

    def say(text: str) -> None:
        click.echo(textwrap.fill(text, 80, break_on_hyphens=False))

    click.echo(f"{name}: {100 * s.on_time:.0f} % of the visits start at most 5 min late")
    never = f"; {s.never:.1f} visits a day not served" if s.never else ""
    over = f"; last chair closed {s.after_hours:.0f} min after the last shift on average" if s.after_hours >= 0.5 else ""
    say(f"Weighted minutes late: {s.mean:.0f} on average, {s.late_90:.0f} on one day in ten; {s.as_booked} if none runs over{never}{over}.")
    say(f"{s.samples} days lived through; {s.overruns.words()}.")
    risky = sorted(s.visits, key=lambda v: (-v.more_than[5], v.booked, v.chair))
    rows = s.visits if show_all else sorted((v for v in risky[:ROWS] if v.more_than[5] > 0), key=lambda v: (v.booked, v.chair))
    if rows:
        table = Table(box=box.SIMPLE_HEAD, show_edge=False, pad_edge=False)
        for head in ("booked", "visit", "> 5 min", "> 10", "> 15", "late, mean", "1 in 10"):
            table.add_column(head, justify="left" if head in {"booked", "visit"} else "right", overflow="fold")
        for v in rows:
            chances = [f"{100 * v.more_than[k]:.0f} %" for k in (5, 10, 15)]
            table.add_row(shown(v.booked), v.visit, *chances, f"{v.mean_late:.0f} min", f"{v.late_90:.0f} min")
        click.echo()
        Console(width=80, highlight=False, markup=False).print(table)
    if s.slack:
        click.echo(f"\n{SLACK_MIN} min more after this visit save (weighted minutes late a day)")
        for k in s.slack:
            click.echo(f"  {shown(k.booked)}  {k.visit}: {k.saves:.0f} (± {k.error:.0f})")
    click.echo()


def _as_data(name: str, s: Stress) -> dict[str, Any]:
    return {
        "day": name,
        "samples": s.samples,
        "overruns": {"cv": s.overruns.cv, "mean": s.overruns.mean, "visits": s.overruns.visits},
        "on_time": s.on_time,
        "weighted_minutes_late": {"mean": s.mean, "in_one_day_of_ten": s.late_90, "as_booked": s.as_booked},
        "never_a_day": s.never,
        "after_hours_min": s.after_hours,
        "visits": [
            {
                "visit": v.visit,
                "chair": v.chair,
                "booked": v.booked,
                **{f"more_than_{k}_min": p for k, p in v.more_than.items()},
                "never": v.never,
                "mean_late": v.mean_late,
                "late_in_one_of_ten": v.late_90,
            }
            for v in s.visits
        ],
        "slack": [{"visit": k.visit, "booked": k.booked, "saves": k.saves, "error": k.error} for k in s.slack],
    }
