"""`fettlebook cards`: running times on paper, a table of all chairs and a card for each chair and duty; codes to scan."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

from fettlebook.cli.printed_in import language_option, printed_in

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from fettlebook.exchange.paper.codes import Sheet
    from fettlebook.practice.model import Practice
    from fettlebook.rules.model import Rulebook
    from fettlebook.web.languages.tongue import Tongue


@click.command()
@click.argument("practice_file", metavar="PRACTICE.toml", type=click.Path(path_type=str))
@click.option("-o", "--output", default="cards.pdf", show_default=True, metavar="FILE.pdf", help="The PDF to write.")
@click.option("--chair", "chairs", multiple=True, metavar="ID", help="Only this chair; may be given more than once.")
@click.option("--duty", metavar="WHEN/ID", help='Only the duties of a moment ("between visits"), or one duty by its id.')
@click.option("--on", type=click.DateTime(["%Y-%m-%d"]), metavar="DATE", help="Rules in force on this day; today if left out.")
@click.option(
    "--codes",
    multiple=True,
    type=click.Choice(["chairs", "machines", "sets", "steps", "badges"]),
    help="Print codes to scan instead of cards; may be given more than once.",
)
@language_option
@click.pass_context
def cards(
    context: click.Context,
    /,
    *,
    practice_file: str,
    output: str,
    chairs: tuple[str, ...],
    duty: str | None,
    on: datetime | None,
    codes: tuple[Sheet, ...],
    language: str | None,
) -> None:
    """Print running times for the wall: one table of all chairs, and an A5 card for each chair and duty.

    A card has the steps in order, how long each runs, who set it, what to mind, and a code to scan with each step that
    runs alone. Two cards to an A4 sheet, to be cut in the middle. Print anew when a flow, a hose, a product or a rule changes.

    With --codes: sheets of codes to cut, for chairs, machines, each set, each step, or a new badge for each person.

    Exit status: 0 every time is known; 1 some can't be said, and the cards say so; 2 nothing could be done.
    """
    from datetime import datetime  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.chosen_times import chosen_times  # noqa: PLC0415
    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.paper.cards import chair_cards  # noqa: PLC0415
    from fettlebook.practice.load import load_practice  # noqa: PLC0415
    from fettlebook.rules.load import load_rulebook  # noqa: PLC0415
    from fettlebook.times.running import running_times  # noqa: PLC0415

    practice = load_practice(Path(practice_file))
    now = datetime.now(ZoneInfo(practice.practice.time_zone))
    day = on.date() if on else now.date()
    rulebook = load_rulebook(practice, on=day)
    if codes:
        _print_codes(practice, rulebook, codes, Path(output), now, voice=printed_in(practice, language))
        return
    found = chosen_times(running_times(practice, rulebook), practice, chairs, duty, whole_duties=True)
    write_whole(Path(output), chair_cards(practice, rulebook, found, on=day, made_at=now, voice=printed_in(practice, language)))
    unknown = sum(t.seconds is None for t in found)
    several = len({(t.chair, t.duty_id) for t in found})
    click.echo(f"{output}: one table, cards for {several} dut{'y' if several == 1 else 'ies'} of {len({t.chair for t in found})} chair(s)")
    if unknown:
        click.echo(f"{unknown} step(s) have no time; their cards say why. See fettlebook times.", err=True)
    context.exit(1 if unknown else 0)


def _print_codes(practice: Practice, rulebook: Rulebook, codes: tuple[Sheet, ...], output: Path, now: datetime, *, voice: Tongue) -> None:
    import secrets  # noqa: PLC0415

    from fettlebook.cli.whole_file import write_whole  # noqa: PLC0415
    from fettlebook.exchange.paper.codes import code_sheets  # noqa: PLC0415

    sheets = tuple(dict.fromkeys(codes))
    badges = {person.id: secrets.token_hex(16) for person in practice.people} if "badges" in sheets else {}
    write_whole(output, code_sheets(practice, rulebook, sheets, made_at=now, badges=badges, voice=voice))
    click.echo(f"{output}: codes of {', '.join(sheets)}")
    if badges:
        click.echo("The badges open nothing until the lead gives each to its person: People, then scan it.", err=True)
