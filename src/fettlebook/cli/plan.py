"""`fettlebook plan`: plan a neutral day instance (JSON, schema 1), or a day of a practice file and its book as one."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON_WITH_PLAN, SEED, limit_s

if TYPE_CHECKING:
    from collections.abc import Callable
    from datetime import datetime

    from fettlebook.plan.instance import Instance
    from fettlebook.plan.solve import Progress, Solved

LIMIT_S = 10.0
MOST_LIMIT_S = 3600.0


@click.command()
@click.argument("files", metavar="INSTANCE.json | PRACTICE.toml BOOK.ics", nargs=-1, required=True, type=click.Path(path_type=str))
@click.option(
    "--date",
    "first",
    type=click.DateTime(["%Y-%m-%d"]),
    metavar="DATE",
    help="The day of the book; left out, today or the next with visits.",
)
@click.option("-o", "--output", metavar="PLAN.json", help="Write the plan here (schema 1), whole or not at all.")
@click.option("--day", "day_output", metavar="DAY.json", help="Write the instance of that day here: what replan and a checker need.")
@limit_s(LIMIT_S, MOST_LIMIT_S)
@SEED
@click.option(
    "--work", type=click.FloatRange(0.01, MOST_LIMIT_S), help="Search by counted work instead of seconds: the same plan on every run."
)
@JSON_WITH_PLAN
@click.pass_context
def plan(
    context: click.Context,
    /,
    *,
    files: tuple[str, ...],
    first: datetime | None,
    output: str | None,
    day_output: str | None,
    limit_s: float,
    seed: int,
    work: float | None,
    as_json: bool,
) -> None:
    """Plan a neutral day instance: chairs, people, sets, washers, sterilizers.

    A practice file and its book give one too: visits are then called by chair and place in the chair's day.

    Prints how late the day runs, and how late every plan of it must run. Visits that can't be served are named with the
    reason. Every plan is checked by code that took no part in making it.

    Exit status: 0 every visit on time; 1 a visit late or not served; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.days_read import read_days  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.plan.apart import solve_apart  # noqa: PLC0415
    from fettlebook.plan.instance import to_json  # noqa: PLC0415

    (day,), shown, findings = read_days(files, first.date() if first else None, 1)
    with progress_shown(limit_s) as told:
        solved = solve_apart(day, limit_s=limit_s, seed=seed, deterministic=work, told=told)
    if output:
        write_whole(Path(output), to_json(solved.plan))
    if day_output:
        write_whole(Path(day_output), to_json(day))
    if as_json:
        data = _as_data(day, solved)
        if not output:
            data["plan"] = json.loads(to_json(solved.plan))
        click.echo(json.dumps(data, indent=2, ensure_ascii=False))
    else:
        for finding in findings:
            click.echo(f"look     {finding}", err=True)
        click.echo(_as_text(day, solved, shown))
        if output:
            click.echo(f"{output}: plan written", err=True)
        if day_output:
            click.echo(f"{day_output}: day written", err=True)
    context.exit(1 if solved.plan.left_out or solved.figures.visits_late else 0)


def progress_shown(limit_s: float) -> Any:
    """Return a context that shows each better plan on a terminal's stderr while a search runs long; else None is told."""
    import sys  # noqa: PLC0415
    from contextlib import contextmanager, nullcontext  # noqa: PLC0415

    if limit_s < 2 or not sys.stderr.isatty():
        return nullcontext(None)
    from rich.console import Console  # noqa: PLC0415

    @contextmanager
    def shown() -> Any:
        with Console(stderr=True).status("planning") as status:

            def told(p: Progress) -> None:
                left = f"weight {p.weight_left_out} not served, " if p.weight_left_out else ""
                status.update(
                    f"planning: {left}{p.weighted_minutes_late} weighted min late, no plan below {p.bound} ({p.by}); Ctrl-C takes this one"
                )

            yield told

    return shown()


def _as_text(day: Instance, solved: Solved, shown: Callable[[int], str]) -> str:
    from fettlebook.plan.explain import Words, line, shortages_of  # noqa: PLC0415

    words = Words(shown, {})
    shortages = shortages_of(day, solved, words, limit_s=3.0)
    rows = [
        line(day, solved, words, booked=len(day.visits), shortages=shortages),
        f"weighted minutes late {solved.weighted_minutes_late}, no plan below {solved.bound}" + (" (proven best)" if solved.proven else ""),
        f"by {solved.method}",
    ]
    rows += [f"short    {s.what}{', ' + s.when if s.when else ''}\n         {s.mend}" for s in shortages]
    if solved.plan.left_out:
        rows.append("not served: " + ", ".join(solved.plan.left_out))
    return "\n".join(rows)


def _as_data(day: Instance, solved: Solved) -> dict[str, Any]:
    f = solved.figures
    return {
        "instance": day.name,
        "visits": len(day.visits),
        "left_out": list(solved.plan.left_out),
        "weight_left_out": f.weight_left_out,
        "weighted_minutes_late": f.weighted_minutes_late,
        "bound": solved.bound,
        "proven": solved.proven,
        "visits_late": f.visits_late,
        "end_of_day": f.end_of_day,
        "attended_minutes": f.attended_minutes,
        "method": solved.method,
        "against_it": [{"kind": r.kind, "id": r.id} for r in solved.core],
        "hopeless": [{"visit": h.visit, "why": h.why} for h in solved.hopeless],
    }
