"""`fettlebook night`: the next day of every practice of a group, while nobody works."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.options import JSON, SEED, limit_s
from fettlebook.cli.plan import MOST_LIMIT_S

if TYPE_CHECKING:
    from collections.abc import Callable, Sequence
    from datetime import datetime
    from pathlib import Path

    from fettlebook.cli.night_group import Job, Outcome

NIGHT_LIMIT_S = 60.0
MOST_S = 600.0
WAIT_MIN = 60.0
MOST_AT_ONCE = 64
STANDINGS = "standings"  # the folder of standings in the folder of results; as `exchange.group.results` reads it


@click.command()
@click.argument("group_file", metavar="GROUP.toml", required=False, type=click.Path(path_type=str))
@click.option("-o", "--output", metavar="DIR", help="The folder for the results, one file a practice; made if it is missing.")
@click.option(
    "--date", "day", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="The day; left out: each practice's next with visits."
)
@click.option(
    "--at-once",
    type=click.IntRange(1, MOST_AT_ONCE),
    default=2,
    show_default=True,
    help="How many practices this machine plans at the same time.",
)
@limit_s(NIGHT_LIMIT_S, MOST_LIMIT_S, "Seconds to search, each practice.")
@click.option(
    "--most",
    "most_s",
    type=click.FloatRange(1, 86_400),
    default=MOST_S,
    show_default=True,
    help="Seconds after which a practice is stopped, all included.",
)
@SEED
@click.option(
    "--queue", metavar="DATABASE", help="Hand the practices over to machines that lend themselves: postgresql://role@host/database."
)
@click.option(
    "--wait", "wait_min", type=click.FloatRange(0, 1440), default=WAIT_MIN, show_default=True, help="Minutes to wait for a machine."
)
@click.option("--lend", is_flag=True, help="Lend this machine to the queue until it is stopped; no GROUP.toml.")
@click.option("--standings", is_flag=True, help="First look at each practice's standing, for `fettlebook group`: DIR/standings/NAME.json.")
@JSON
@click.pass_context
def night(
    context: click.Context,
    /,
    *,
    group_file: str | None,
    output: str | None,
    day: datetime | None,
    at_once: int,
    limit_s: float,
    most_s: float,
    seed: int,
    queue: str | None,
    wait_min: float,
    lend: bool,
    standings: bool,
    as_json: bool,
) -> None:
    """Plan the next day of every practice of a group, each in a process of its own.

    What goes wrong in one practice (a file that can't be read, a crash, too long a search) is said for that practice,
    and the others go on. Each result is kept as DIR/NAME.json. With --standings each practice's book is looked at first;
    a book that can't be read keeps no practice from its plan.

    Exit status: 0 every practice planned, every visit on time; 1 not so; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.night_group import read_group  # noqa: PLC0415

    if lend:
        _lend(queue, group_file, at_once)
        return
    if group_file is None or output is None:
        raise click.UsageError("Name GROUP.toml and a folder for the results (-o DIR), or lend this machine (--lend --queue DATABASE).")
    results = made_folder(Path(output))
    jobs, refused = read_group(Path(group_file), day=day.date().isoformat() if day else None, limit_s=limit_s, seed=seed, most_s=most_s)
    if standings:
        look_at_standings(jobs, refused, made_folder(results / STANDINGS), queue=queue, at_once=at_once, wait_min=wait_min, quiet=as_json)
    count = _Count(len(jobs) + len(refused), results, quiet=as_json)
    for outcome in refused:
        count.told(outcome)
    found = [*refused, *_found(jobs, queue, at_once, wait_min, count.told)]
    if as_json:
        rows = [{k: v for k, v in o.as_data().items() if k != "plan"} for o in found]
        click.echo(json.dumps({"practices": len(found), "planned": sum(o.state == "planned" for o in found), "outcomes": rows}, indent=2))
    else:
        click.echo(_summary(found))
    context.exit(0 if all(o.in_order for o in found) else 1)


def look_at_standings(
    jobs: Sequence[Job], refused: Sequence[Outcome], folder: Path, *, queue: str | None, at_once: int, wait_min: float, quiet: bool
) -> None:
    """Keep each practice's standing in short in the folder, one file each; what goes wrong in one stays there."""
    from dataclasses import replace  # noqa: PLC0415

    count = _Count(len(jobs) + len(refused), folder, quiet=quiet)
    for outcome in refused:
        count.told(outcome)
    _found([replace(job, work="standing") for job in jobs], queue, at_once, wait_min, count.told)


def _found(jobs: Sequence[Job], queue: str | None, at_once: int, wait_min: float, told: Callable[[Outcome], None]) -> tuple[Outcome, ...]:
    if queue is None:
        from fettlebook.cli.night_here import plan_here  # noqa: PLC0415

        return plan_here(jobs, at_once=at_once, told=told)
    from fettlebook.cli.night_queue import plan_over_machines  # noqa: PLC0415

    return plan_over_machines(queue, jobs, wait_s=wait_min * 60, told=told)


class _Count:
    """Keeps each outcome as it comes, and says how many of all are there."""

    def __init__(self, total: int, results: Path, *, quiet: bool) -> None:
        self.total, self.results, self.quiet, self.there = total, results, quiet, 0

    def told(self, outcome: Outcome) -> None:
        import json  # noqa: PLC0415

        from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415

        self.there += 1
        write_whole(self.results / f"{outcome.name}.json", json.dumps(outcome.as_data(), indent=1, ensure_ascii=False) + "\n")
        if not self.quiet:
            click.echo(f"{self.there} of {self.total}  {outcome.name}: {outcome.state}, {outcome.line} ({outcome.seconds:g} s)", err=True)


def _summary(found: list[Outcome]) -> str:
    planned = [o for o in found if o.state == "planned"]
    fit = sum(o.in_order for o in planned)
    rows = [f"{len(planned)} of {len(found)} practices planned, {fit} in order"]
    rows += [f"  {o.name}: {o.state}, {o.line}" for o in found if o.state != "planned"]
    rows += [f"  {o.name}: {o.line}" for o in planned if not o.in_order]
    return "\n".join(rows)


def made_folder(path: Path) -> Path:
    """Return a folder, made where it is missing; raises `Mendable`."""
    from fettlebook.errors import Mendable  # noqa: PLC0415

    try:
        path.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Mendable(f"no folder can be made there: {error.strerror}", where=str(path), mend="Name another folder.") from None
    return path


def _lend(queue: str | None, group_file: str | None, at_once: int) -> None:
    import os  # noqa: PLC0415
    import socket  # noqa: PLC0415

    from fettlebook.cli.night_queue import lend  # noqa: PLC0415

    if queue is None or group_file is not None:
        raise click.UsageError("A machine is lent to a queue (--queue DATABASE) and plans what others name there.")
    click.echo(f"Lent, {at_once} at once; stop it with Ctrl-C.", err=True)
    lend(queue, at_once=at_once, name=f"{socket.gethostname()} {os.getpid()}")
