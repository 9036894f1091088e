"""`fettlebook trace`: what was done, to whom, with what; and the look-back from a bad test or count."""

from __future__ import annotations

from typing import TYPE_CHECKING, Any

import click

from fettlebook.cli.options import DATA, JSON, PRACTICE

if TYPE_CHECKING:
    from collections.abc import Iterator
    from zoneinfo import ZoneInfo

    from fettlebook.standing.look_back import LookBack
    from fettlebook.standing.trace import Trace


@click.command()
@click.argument("subject")
@PRACTICE
@DATA
@click.option("--at", metavar="DATETHH:MM", help="Nothing later than this moment; now if left out.")
@click.option("--known-at", metavar="DATETHH:MM", help='By what had been received at this moment; "now", all there is, if left out.')
@click.option(
    "--days", type=click.IntRange(1, 36_500), default=90, show_default=True, help="So many days back, for a chair, machine, person."
)
@click.option("--look-back", "look_back", is_flag=True, help="Of a machine or chair: what lies between the good results around a bad one.")
@click.option("--test", metavar="TEST", help='With --look-back: the test to go by, such as "spore test".')
@JSON
@click.pass_context
def trace(
    context: click.Context,
    /,
    *,
    subject: str,
    practice_file: str,
    data: str | None,
    at: str | None,
    known_at: str | None,
    days: int,
    look_back: bool,
    test: str | None,
    as_json: bool,
) -> None:
    """What hangs together with a visit, set, pack, load, machine, chair, line, sample, lot or person.

    SUBJECT as it is called: visit:v_12, exam#3, a load, "chair 1", "sterilizer 1", person:ana. Each line names the entry that says so.

    Exit status: 0 traced; 1 traced, and a look-back found visits or sets concerned; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick

    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.standing.asking import read_subject  # noqa: PLC0415
    from fettlebook.standing.basis import DAY_MS  # noqa: PLC0415
    from fettlebook.standing.look_back import since_last_good, water_look_back  # noqa: PLC0415
    from fettlebook.standing.trace import trace as find  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at or "now") as asked:
        view, zone = asked.view, asked.standings.basis.zone
        chosen = read_subject(view, subject)
        kind, _, name = chosen.partition(":")
        head = {"practice": asked.practice.practice.id, "invented": asked.practice.practice.invented, "subject": chosen}
        if look_back:
            if (kind == "machine" and name not in view.look.basis.machines) or (kind == "chair" and name not in view.look.basis.chairs):
                raise Mendable(f'nothing is called "{name}"', where="SUBJECT", mend="Name a machine or a chair of the practice file.")
            if kind not in ("machine", "chair"):
                raise Mendable(f"{chosen} has no test", where="--look-back", mend="Name a machine or a chair.")
            found = since_last_good(view.look, name, test) if kind == "machine" else water_look_back(view.look, name)
            if as_json:
                click.echo(json.dumps({**head, "look_back": _back_data(found, zone)}, indent=2, ensure_ascii=False))
            else:
                click.echo(f"{asked.title}\n{asked.head}\n")
                for line in _back_page(found, zone):
                    click.echo(line)
            context.exit(1 if found.bad_ms is not None and (found.visits or found.at_hand) else 0)
        traced = find(view.look, chosen, since=view.look.at - days * DAY_MS)
        if as_json:
            click.echo(json.dumps({**head, **_trace_data(traced, zone)}, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for line in _trace_page(traced, zone):
                click.echo(line)


def _trace_page(traced: Trace, zone: ZoneInfo) -> Iterator[str]:
    from fettlebook.standing.basis import stamp  # noqa: PLC0415

    yield traced.subject
    if not traced.links:
        yield "  nothing in the book"
    for link in traced.links:
        lead = "  " * link.depth
        yield f"{lead}{stamp(link.at_ms, zone)}  {link.to}"
        yield f"{lead}  {link.how}"
        yield f"{lead}  entry {link.entry}"
    if traced.cut:
        yield f"Cut after {len(traced.links)} lines: ask for fewer --days."


def _back_page(found: LookBack, zone: ZoneInfo) -> Iterator[str]:
    from fettlebook.standing.basis import stamp  # noqa: PLC0415

    def moment(ms: int | None, none: str) -> str:
        return none if ms is None else stamp(ms, zone)

    yield f"Look-back of {found.subject.partition(':')[2]} by {found.what}"
    yield f"  last good   {moment(found.last_good_ms, 'none in the book: everything before is concerned')}"
    yield f"  bad         {moment(found.bad_ms, 'none: nothing is concerned yet')}"
    yield f"  next good   {moment(found.next_good_ms, 'none yet')}"
    if found.loads:
        yield ""
        yield f"Loads: {len(found.loads)}"
    for load in found.loads:
        yield f"  {load.load}  {stamp(load.at_ms, zone)}  the machine says {load.said}{'; with an implant' if load.implant else ''}"
    yield ""
    yield f"Visits {'concerned' if found.bad_ms is not None else 'since the last good one'}: {len(found.visits)}"
    for visit, chair, ms in found.visits:
        yield f"  {visit}  {chair}  {stamp(ms, zone)}"
    if found.subject.startswith("machine:"):
        yield ""
        yield f"Still in the cupboard: {len(found.at_hand)}"
        for unit in found.at_hand:
            yield f"  {unit.unit}{f'  pack {unit.pack}' if unit.pack else ''}"
    yield ""
    yield "What follows is for the lead and licensed professionals to decide, by local rules."


def _trace_data(traced: Trace, zone: ZoneInfo) -> dict[str, Any]:
    from fettlebook.standing.asking import said_at  # noqa: PLC0415

    links = [
        {"depth": link.depth, "of": link.of, "to": link.to, "how": link.how, "at": said_at(link.at_ms, zone), "entry": link.entry}
        for link in traced.links
    ]
    return {"links": links, "cut": traced.cut}


def _back_data(found: LookBack, zone: ZoneInfo) -> dict[str, Any]:
    from fettlebook.standing.asking import said_at  # noqa: PLC0415

    def visits(some: tuple[tuple[str, str, int], ...]) -> list[dict[str, Any]]:
        return [{"visit": visit, "chair": chair, "at": said_at(ms, zone)} for visit, chair, ms in some]

    return {
        "what": found.what,
        "bad": said_at(found.bad_ms, zone),
        "bad_entry": found.bad_entry or None,
        "last_good": said_at(found.last_good_ms, zone),
        "last_good_entry": found.last_good_entry or None,
        "next_good": said_at(found.next_good_ms, zone),
        "next_good_entry": found.next_good_entry or None,
        "loads": [
            {
                "load": load.load,
                "at": said_at(load.at_ms, zone),
                "said": load.said,
                "implant": load.implant,
                "entry": load.entry,
                "units": [
                    {"unit": u.unit, "pack": u.pack, "at_hand": u.at_hand, "visits": visits(u.visits), "entry": u.entry} for u in load.units
                ],
            }
            for load in found.loads
        ],
        "visits": visits(found.visits),
        "at_hand": [{"unit": unit.unit, "pack": unit.pack} for unit in found.at_hand],
    }
