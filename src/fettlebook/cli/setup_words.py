"""What the set-up says in the terminal."""

import textwrap
from collections.abc import Sequence
from typing import TYPE_CHECKING

from fettlebook.errors import Finding
from fettlebook.exchange.setup.asking import Question
from fettlebook.exchange.setup.dialogue import Dialogue, Now
from fettlebook.exchange.setup.kept import NAME

if TYPE_CHECKING:
    from fettlebook.exchange.setup.ended import Ended  # it brings the printing of cards with it

WIDTH = 80
WORTH_SHOWN = 8


def greeting(dialogue: Dialogue) -> str:
    """Say how it goes, and where an earlier one stopped."""
    rows = [
        f"Setting up a practice in {dialogue.folder}",
        "Enter takes what is offered, ? explains, < goes back, Ctrl-C stops. Every answer is kept.",
        "No name, birth date or number of a patient is asked for; type none.",
    ]
    if dialogue.was_done:
        rows.append("This set-up came to its end before. Go back with < to change answers; the file is then written anew.")
    elif dialogue.answers.taken:
        rows.append(f"It goes on where it stopped: {dialogue.now().answered} questions are answered.")
    return "\n".join(row for one in rows for row in textwrap.wrap(one, WIDTH))


def question_words(now: Now, told: str) -> str:
    """Return a question as it is shown; `told` is the part whose heading stands above already."""
    question = now.question
    assert question is not None
    rows = [""]
    if question.part != told:
        rows += [f"{question.part}", "-" * len(question.part)]
    if now.finding is not None:
        rows += _wrapped(f"{_large(now.finding.what)}.", "  ! ") + _wrapped(now.finding.mend, "    ")
        if now.refused:
            rows += _wrapped(f"You typed: {now.refused}", "    ")
    rows += _wrapped(f"{now.answered + 1}. {question.text}", "  ")
    rows += _choices(question)
    if question.shown:
        less = "; else the numbers of those that are otherwise" if question.sheet else ""
        rows += _wrapped(f"Enter: {_offered(now)}{less}", "     ")
    elif question.example:
        rows += _wrapped(f"Such as: {question.example}", "     ")
    return "\n".join(rows)


def why_words(question: Question) -> str:
    """Return what a question mark explains."""
    rows = _wrapped(question.why, "  ? ") + (_wrapped(f"Such as: {question.example}", "    ") if question.example else [])
    return "\n".join(("", *rows))


def _choices(question: Question) -> list[str]:
    rows: list[str] = []
    for n, choice in enumerate(question.choices, start=1):
        told = f"{choice.words}: {choice.taken}" if question.sheet else str(choice.words)
        rows += textwrap.wrap(told, WIDTH, initial_indent=f"     {n:>2}  ", subsequent_indent=" " * 11, break_long_words=False)
    return rows


def _offered(now: Now) -> str:
    question = now.question
    assert question is not None
    if not question.many:
        return question.shown
    words = {choice.value: str(choice.words) for choice in question.choices}
    return ", ".join(words.get(value, value) for value in question.offered.split(", ")) or question.shown


def stopped(dialogue: Dialogue) -> str:
    """Say that all is kept, and how to go on."""
    return f"\nStopped. Your answers are kept in {dialogue.folder / NAME}.\nGo on with: fettlebook setup {dialogue.folder}"


def refused_words(findings: Sequence[Finding]) -> str:
    """Say why the practice file could not be written."""
    rows = ["", "The practice file was not written. Go back with < to the question that it is about."]
    for finding in findings:
        rows += _wrapped(f"{finding.where}: {finding.what}", "  ! ") + _wrapped(finding.mend, "    ")
    return "\n".join(rows)


def ended_words(ended: "Ended") -> str:
    """Say what the set-up came to."""
    rows = ["", f"Written: {ended.file}"]
    if ended.old:
        rows.append(f"The old file is kept as {ended.old}")
    if ended.cards:
        rows.append(f"Cards to print: {ended.cards}")
    rows += _left_out(ended) + _no_time(ended) + _imported(ended) + _worth(ended)
    rows += ["", f"What comes next, in {ended.file.parent}"]
    for number, (what, command) in enumerate(ended.next_steps, start=1):
        rows += [*_wrapped(f"{number}. {what}", "  "), f"       {command}"]
    rows += [
        "",
        *textwrap.wrap("Decision support for trained staff. Instructions for use, product labels and local rules come first.", WIDTH),
    ]
    return "\n".join(rows)


def _left_out(ended: "Ended") -> list[str]:
    if not ended.left_out:
        return []
    rows = ["", "Missing, and named in the file"]
    for one in ended.left_out:
        rows += _wrapped(_large(one), "  - ")
    return rows


def _no_time(ended: "Ended") -> list[str]:
    if not ended.no_time:
        return []
    rows = ["", "Without a time yet: don't rely on these steps before it is mended"]
    for one in ended.no_time:
        rows += _wrapped(f"{', '.join(one.chairs)}: {'; '.join(one.steps)}", "  - ") + _wrapped(f"{_large(one.why)}", "     ")
    return rows


def _imported(ended: "Ended") -> list[str]:
    found = ended.imported
    if found is None:
        return ["", "No calendar file was tried yet."]
    if not found.day:
        rows = ["", f"{found.file}: no visit was found in the days ahead."]
    else:
        rows = ["", f"{found.file}: read. First day with visits {found.day}: {found.visits} visits, {found.not_mapped} entries not mapped."]
    for finding in found.findings[:3]:
        rows += _wrapped(f"{finding.where}: {finding.what}. {finding.mend}", "  - ")
    return rows


def _worth(ended: "Ended") -> list[str]:
    if not ended.worth:
        return ["", "Every flow is measured, and every hose is known."]
    counted = "counted in your calendar" if ended.visits_known else "8 visits a day for each chair taken for granted"
    rows = ["", "Worth measuring first", *_wrapped(f"What a typical value costs against the same value measured; {counted}.", "  ")]
    costly = [one for one in ended.worth if one.seconds_a_day >= 0.5]
    rows += [f"  {one.chair:<10} {one.what:<34} {one.words}" for one in costly[:WORTH_SHOWN]]
    if more := len(costly) - WORTH_SHOWN:
        rows += [f"  and {more} more"] if more > 0 else []
    free = len(ended.worth) - len(costly)
    if free:
        rows += _wrapped(f"{free} more are not measured and cost nothing now: a rule or label asks for longer anyway.", "  ")
    return rows


def _wrapped(text: str, before: str) -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=before, subsequent_indent=" " * (len(before) + 3), break_long_words=False)


def _large(text: str) -> str:
    return text[:1].upper() + text[1:]
