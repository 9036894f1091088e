"""`fettlebook setup`: from nothing to a practice file, question by question; in the terminal or as pages."""

from __future__ import annotations

from typing import TYPE_CHECKING

import click

if TYPE_CHECKING:
    from datetime import datetime
    from pathlib import Path

    from fettlebook.exchange.setup.dialogue import Dialogue


@click.command()
@click.argument("folder", metavar="FOLDER", type=click.Path(path_type=str))
@click.option("--page", is_flag=True, help="Ask on pages in the browser of this machine instead of here.")
@click.option("--port", type=click.IntRange(0, 65535), default=8320, show_default=True, help="Of the pages; 0: any that is free.")
@click.option("--json", "as_json", is_flag=True, help="Ask nothing: print how far the set-up is, as JSON.")
@click.pass_context
def setup(context: click.Context, /, *, folder: str, page: bool, port: int, as_json: bool) -> None:
    """Set a practice up: plain questions, one at a time, and a practice file in FOLDER at the end.

    Enter takes what is offered, ? explains, < goes back. It can be stopped at any moment (Ctrl-C, a power cut) and goes on
    where it stopped: each answer is kept in FOLDER/setup.json. An existing practice file is never overwritten without a word.

    Exit status: 0 the practice file stands; 1 stopped before the end, all answers are kept; 2 nothing could be done.
    """
    import json  # noqa: PLC0415 - imports wait until they are needed: --help stays quick
    from pathlib import Path  # noqa: PLC0415

    from fettlebook.exchange.setup.dialogue import Dialogue  # noqa: PLC0415

    if page and as_json:
        raise click.UsageError("--page and --json do not go together.")
    dialogue = Dialogue(Path(folder), lambda: _now().date(), _zone_here(Path("/etc/localtime")))
    if as_json:
        now = dialogue.now()
        waits = None if now.question is None else {"id": now.question.id, "part": now.question.part, "question": now.question.text}
        click.echo(json.dumps({"answered": now.answered, "done": dialogue.was_done, "next": waits}, indent=2, ensure_ascii=False))
        context.exit(0 if dialogue.was_done else 1)
    if page:
        from fettlebook.cli.setup_pages import serve_pages  # noqa: PLC0415

        context.exit(0 if serve_pages(dialogue, port) else 1)
    context.exit(0 if _in_terminal(dialogue) else 1)


def _in_terminal(dialogue: Dialogue) -> bool:
    """Ask until all is answered; tell whether it came to a practice file."""
    from fettlebook.cli.setup_words import greeting, question_words, stopped, why_words  # noqa: PLC0415

    click.echo(greeting(dialogue))
    told = ""
    while True:
        now = dialogue.now()
        if now.question is None:
            if _ended(dialogue):
                return True
            continue
        click.echo(question_words(now, told))
        told = now.question.part
        try:
            typed = str(click.prompt("", prompt_suffix="> ", default="", show_default=False)).strip()
        except (click.Abort, EOFError):
            click.echo(stopped(dialogue))
            return False
        if typed == "?":
            click.echo(why_words(now.question))
        elif typed == "<":
            if not dialogue.back():
                click.echo("\n  This is the first question.")
        else:
            dialogue.answer(typed)


def _ended(dialogue: Dialogue) -> bool:
    """Write what the answers come to; tell whether it could be done. If not, the last question is asked anew."""
    from zoneinfo import ZoneInfo  # noqa: PLC0415

    from fettlebook.cli.setup_words import ended_words, refused_words  # noqa: PLC0415
    from fettlebook.errors import Mendable  # noqa: PLC0415
    from fettlebook.exchange.setup.ended import end  # noqa: PLC0415
    from fettlebook.web.languages.printed import tongue_printed  # noqa: PLC0415

    draft = dialogue.now().draft
    assert draft is not None
    try:
        now = _now().astimezone(ZoneInfo(draft.head["time_zone"]))
        ended = end(dialogue, draft, now, voice_of=tongue_printed)
    except Mendable as error:
        click.echo(refused_words(error.findings))
        dialogue.back()
        return False
    click.echo(ended_words(ended))
    return True


def _now() -> datetime:
    from datetime import datetime  # noqa: PLC0415

    return datetime.now().astimezone()


def _zone_here(link: Path) -> str:
    """Return this machine's own time zone where it tells one by name; it is offered, not taken."""
    import os  # noqa: PLC0415

    try:
        found = os.readlink(link).partition("zoneinfo/")[2]
    except OSError:
        found = ""
    return found if "/" in found and not found.startswith("Etc/") else "Europe/London"
