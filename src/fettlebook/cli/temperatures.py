"""`fettlebook temperatures`: hot and cold water of each tap against the rulebook."""

from __future__ import annotations

import click

from fettlebook.cli.options import AT, DATA, JSON, KNOWN_AT, PRACTICE


@click.command()
@PRACTICE
@DATA
@AT
@KNOWN_AT
@JSON
@click.pass_context
def temperatures(
    context: click.Context, /, *, practice_file: str, data: str | None, at: str | None, known_at: str | None, as_json: bool
) -> None:
    """How warm the hot and cold water of each tap was, whether it got there in time, and which rarely used tap is owed a run.

    Exit status: 0 every tap in the book is fit; 1 some is not, or none is in the book; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    import textwrap  # noqa: PLC0415

    from fettlebook.cli.standing_page import WIDTH, rule_words, sign  # noqa: PLC0415
    from fettlebook.cli.standings_read import read_standings  # noqa: PLC0415
    from fettlebook.standing.asking import said_at  # noqa: PLC0415
    from fettlebook.standing.basis import stamp  # noqa: PLC0415
    from fettlebook.standing.model import Verdict  # noqa: PLC0415
    from fettlebook.standing.rare_outlets import rare_taps  # noqa: PLC0415
    from fettlebook.standing.temperatures import taps  # noqa: PLC0415

    with read_standings(practice_file, data, at, known_at) as asked:
        look, zone = asked.view.look, asked.view.look.basis.zone
        found, rare = taps(look), rare_taps(look)
        if as_json:
            head = {"practice": asked.practice.practice.id, "invented": asked.practice.practice.invented, "at": said_at(look.at, zone)}
            told = [
                {"place": t.place, "water": t.water, "read": said_at(t.read_ms, zone), "water_c": t.water_c, "ran_s": t.ran_s}
                | {"asked_c": t.asked_c, "within_s": t.within_s, "verdict": t.verdict.value, "why": t.why, "due": said_at(t.due_ms, zone)}
                | {"rule": t.origin.rule_id, "source": t.origin.source, "sure": t.origin.sure, "evidence": list(t.evidence)}
                for t in found
            ]
            seldom = [
                {
                    "place": t.place,
                    "ran": said_at(t.ran_ms, zone),
                    "days": t.days,
                    "due": said_at(t.due_ms, zone),
                    "verdict": t.verdict.value,
                }
                | {"why": t.why, "rule": t.origin.rule_id, "source": t.origin.source, "sure": t.origin.sure, "evidence": list(t.evidence)}
                for t in rare
            ]
            click.echo(json.dumps({**head, "taps": told, "rarely_used": seldom}, indent=2, ensure_ascii=False))
        else:
            click.echo(f"{asked.title}\n{asked.head}\n")
            for t in found:
                click.echo(f"{sign(t.verdict)}  {t.place}, {t.water}, read {stamp(t.read_ms, zone)}")
                for text in (t.why, f"rule {rule_words(t.origin)}"):
                    click.echo(textwrap.fill(text, WIDTH, initial_indent="    ", subsequent_indent="      "))
            for r in rare:
                click.echo(f"{sign(r.verdict)}  {r.place}, rarely used")
                for text in (r.why, f"rule {rule_words(r.origin)}"):
                    click.echo(textwrap.fill(text, WIDTH, initial_indent="    ", subsequent_indent="      "))
            click.echo("\nHot water scalds: mind your hands." if found else "No tap's temperature is in the book.")
        verdicts = [*(t.verdict for t in found), *(r.verdict for r in rare)]
        context.exit(0 if verdicts and all(verdict is Verdict.FIT for verdict in verdicts) else 1)
