"""`fettlebook replan`: the rest of a planned day again, after something happened."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import JSON_WITH_PLAN, limit_s
from fettlebook.cli.plan import MOST_LIMIT_S

if TYPE_CHECKING:
    from fettlebook.plan.events import Event
    from fettlebook.plan.replan import Replanned

LIMIT_S = 2.0


@click.command()
@click.argument("instance_file", metavar="INSTANCE.json", type=click.Path(path_type=str))
@click.argument("plan_file", metavar="PLAN.json", type=click.Path(path_type=str))
@click.option("--at", metavar="HH:MM", help="From when on; left out, the instance's `now`.")
@click.option("--overrun", "overruns", metavar="VISIT=MINUTES", multiple=True, help="A visit takes so many minutes longer.")
@click.option("--failed", metavar="MACHINE", multiple=True, help="The load in this machine failed: its sets count as used again.")
@click.option("--out", metavar="MACHINE[=HH:MM]", multiple=True, help="A machine is out of service until then; left out, for today.")
@click.option("--missing", metavar="PERSON[=HH:MM]", multiple=True, help="Somebody is away until then; left out, for today.")
@click.option(
    "--urgent",
    metavar="CHAIR=MINUTES[,SET...]",
    multiple=True,
    help="A visit that can't wait, on this chair (any: where it costs least).",
)
@click.option(
    "--held", metavar="SET=N", multiple=True, help="So many clean sets of this type can't be used today: quarantine, loss, damage."
)
@click.option(
    "--stay",
    "stay_min",
    type=click.IntRange(0, 240),
    default=0,
    show_default=True,
    help="Minutes that people may stay to leave nobody out.",
)
@click.option("-o", "--output", metavar="NEW.json", help="Write the new plan here (schema 1), whole or not at all.")
@click.option("--day", "day_output", metavar="DAY.json", help="Write the day as it now stands here: what a checker or the next plan needs.")
@limit_s(LIMIT_S, MOST_LIMIT_S)
@click.option("--rounds", type=click.IntRange(0, 100_000), help="Search by counted rounds instead: the same plan on every run.")
@click.option("--all", "show_all", is_flag=True, help="Every change, not only those of the next three hours.")
@JSON_WITH_PLAN
@click.pass_context
def replan(context: click.Context, /, *, instance_file: str, plan_file: str, output: str | None, as_json: bool, **options: Any) -> None:
    """Plan the rest of a day again after something happened.

    Everything until the minute named is taken as done by plan, except what the events say; an instance with `now` and
    `done` says it itself. Prints what changes: which visit, chair and load moves from when to when, and who does it.
    Every plan is checked by code that took no part in making it. A person decides whether to follow it.

    Exit status: 0 every visit on time; 1 a visit late or not served; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.plan.instance import read_instance, read_plan, to_json  # noqa: PLC0415
    from fettlebook.plan.replan import replan as plan_again  # noqa: PLC0415
    from fettlebook.web.source import read_whole  # noqa: PLC0415

    day = read_instance(read_whole(Path(instance_file)), Path(instance_file).name)
    plan = read_plan(read_whole(Path(plan_file)), Path(plan_file).name)
    done = plan_again(
        day,
        plan,
        at=_minute(options["at"], "--at") if options["at"] else None,
        events=_events(options),
        limit_s=options["limit_s"],
        rounds=options["rounds"],
        stay_min=options["stay_min"],
        minute=_shown,
    )
    if output:
        write_whole(Path(output), to_json(done.plan))
    if options["day_output"]:
        write_whole(Path(options["day_output"]), to_json(done.day))
    if as_json:
        data = _as_data(done)
        if not output:
            data["plan"] = json.loads(to_json(done.plan))
        click.echo(json.dumps(data, indent=2, ensure_ascii=False))
    else:
        _show(done, show_all=options["show_all"])
        for name in (output, options["day_output"]):
            if name:
                click.echo(f"{name}: written", err=True)
    context.exit(1 if done.plan.left_out or done.figures.visits_late else 0)


def _shown(minute: int) -> str:
    return f"{minute // 60:02}:{minute % 60:02}"


def _minute(text: str, option: str) -> int:
    """Return the minute of the day that HH:MM (or a plain number of minutes) says."""
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.plan.instance import LONGEST_DAY_MIN  # noqa: PLC0415

    hours, colon, minutes = text.partition(":")
    if colon and hours.isdecimal() and minutes.isdecimal() and int(minutes) < 60 and int(hours) * 60 < LONGEST_DAY_MIN:
        return int(hours) * 60 + int(minutes)
    raise Mendable(f"{text!r} is no time", where=option, mend="Write it as 10:30 (25:10 is ten past one of the next night).")


def _count(text: str, option: str) -> int:
    from fettlebook.errors import Mendable  # noqa: PLC0415

    if text.isdecimal() and 1 <= int(text) <= 1440:
        return int(text)
    raise Mendable(f"{text!r} is no number of minutes", where=option, mend="Write a whole number from 1 to 1440.")


def _pieces(text: str) -> int:
    from fettlebook.errors import Mendable  # noqa: PLC0415

    if text.isdecimal() and 1 <= int(text) <= 5000:
        return int(text)
    raise Mendable(f"{text!r} is no number of sets", where="--held", mend="Write a whole number from 1 on.")


def _events(options: dict[str, Any]) -> list[Event]:
    """Return the events in the order in which they act: first who and what is there, then what must be served."""
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.plan.events import Emergency, FailedCycle, MachineOut, Missing, Overrun, SetsHeld  # noqa: PLC0415

    def pair(text: str, option: str, form: str) -> tuple[str, str]:
        name, equals, value = text.rpartition("=")
        if not equals:
            raise Mendable(f"{text!r} has no =", where=option, mend=f"Write it as {form}.")
        return name, value

    def until(text: str, option: str) -> tuple[str, int | None]:
        name, equals, value = text.rpartition("=")
        return (name, _minute(value, option)) if equals else (text, None)

    out: list[Event] = []
    for text in options["overruns"]:
        visit, minutes = pair(text, "--overrun", "VISIT=20")
        out.append(Overrun(visit, _count(minutes, "--overrun")))
    out += [Missing(*until(text, "--missing")) for text in options["missing"]]
    out += [FailedCycle(name) for name in options["failed"]]
    out += [MachineOut(*until(text, "--out")) for text in options["out"]]
    for text in options["held"]:
        name, number = pair(text, "--held", "SET=2")
        out.append(SetsHeld(name, _pieces(number)))
    for text in options["urgent"]:
        chair, value = pair(text, "--urgent", "CHAIR=30 or any=30")
        minutes, *sets = value.split(",")
        out.append(Emergency(_count(minutes, "--urgent"), None if chair == "any" else chair, tuple(s.strip() for s in sets)))
    return out


def _show(done: Replanned, *, show_all: bool) -> None:
    import textwrap  # noqa: PLC0415

    from fettlebook.plan.rolling import WINDOW_MIN  # noqa: PLC0415

    def say(text: str, first: str = "") -> None:
        click.echo(textwrap.fill(text, 80, initial_indent=first, subsequent_indent=" " * len(first), break_on_hyphens=False))

    say(done.line[0].upper() + done.line[1:])
    if late := done.figures.weighted_minutes_late:
        forced = "all" if done.forced >= late else f"at least {done.forced} min"
        say(f"Weighted minutes late: {late}; {forced} of it can't be planned away any more.")
    for note in done.notes:
        say(note, "taken for granted: ")
    for offer in done.offers:
        say(offer)
    until = (done.day.now or 0) + WINDOW_MIN
    soon = [c for c in done.changes if show_all or c.at <= until or (c.kind == "visit" and "not served" in c.what)]
    for kind, title in (("visit", "Visits to tell"), ("load", "Loads"), ("chair", "Chairs")):
        if own := [c for c in soon if c.kind == kind]:
            click.echo(f"\n{title}")
            for c in own:
                say(c.what, f"  {_shown(c.at)}  ")
    if len(soon) < len(done.changes):
        click.echo(f"\n{len(done.changes) - len(soon)} later changes: --all")
    if not done.changes:
        click.echo("Nothing changes.")


def _as_data(done: Replanned) -> dict[str, Any]:
    f = done.figures
    return {
        "instance": done.day.name,
        "now": done.day.now,
        "line": done.line,
        "taken_for_granted": list(done.notes),
        "offers": list(done.offers),
        "changes": [{"at": c.at, "kind": c.kind, "what": c.what} for c in done.changes],
        "left_out": list(done.plan.left_out),
        "weighted_minutes_late": f.weighted_minutes_late,
        "forced_weighted_minutes_late": done.forced,
        "visits_late": f.visits_late,
        "end_of_day": f.end_of_day,
        "first_weighted_minutes_late": done.first_late,
        "first_s": round(done.first_s, 3),
        "not_loaded_until": dict(done.blocked),
    }
