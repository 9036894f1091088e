"""The end of a set-up: the practice file checked and written, a first import tried, cards printed, and what comes next."""

import secrets
from collections import Counter
from collections.abc import Callable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Final

from fettlebook.book.files import write_private
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.calendar import booked_days, read_book
from fettlebook.exchange.key import KEY_BYTES
from fettlebook.exchange.paper.cards import chair_cards
from fettlebook.exchange.paper.typeset import Voice
from fettlebook.exchange.setup import typical
from fettlebook.exchange.setup.dialogue import PRACTICE, Dialogue
from fettlebook.exchange.setup.draft import Draft
from fettlebook.exchange.setup.worth import Worth, worth_measuring
from fettlebook.exchange.setup.written import practice_text
from fettlebook.practice.load import Loaded, read_practice
from fettlebook.practice.model import Practice, PracticeHead
from fettlebook.rules.load import lay_rulebook, load_rulebook
from fettlebook.said import said
from fettlebook.times.model import RunningTime
from fettlebook.times.running import running_times

BESIDE: Final = "practice-new.toml"
CARDS: Final = "cards.pdf"
DAYS_AHEAD: Final = 60
DAYS_COUNTED: Final = 5


@dataclass(frozen=True, slots=True)
class Imported:
    """What a first reading of the calendar came to: the first day with visits, and the findings of that day."""

    file: str
    day: str  # empty: no visit within the days ahead
    visits: int
    not_mapped: int
    findings: tuple[Finding, ...]


@dataclass(frozen=True, slots=True)
class NoTime:
    """Steps whose time can't be said yet, for one and the same reason."""

    chairs: tuple[str, ...]
    steps: tuple[str, ...]
    why: str


@dataclass(frozen=True, slots=True)
class Ended:
    """What a set-up ended in."""

    file: Path
    old: Path | None  # where the file went that stood there before
    warnings: tuple[Finding, ...]
    cards: Path | None
    imported: Imported | None
    worth: tuple[Worth, ...]
    visits_known: bool  # whether visits a day were counted in the calendar
    left_out: tuple[str, ...]
    no_time: tuple[NoTime, ...]
    next_steps: tuple[tuple[str, str], ...]  # what, and the command that does it


def end(dialogue: Dialogue, draft: Draft, now: datetime, *, voice_of: Callable[[PracticeHead], Voice]) -> Ended:
    """Write what the answers come to; nothing is written where the file would have an error.

    Parameters
    ----------
    voice_of
        Tells in which language a practice's cards are printed.

    Raises
    ------
    Mendable
        The file would have errors (all are told), or can't be written.
    """
    folder = dialogue.folder
    text = practice_text(draft, now.date()).encode()
    loaded = _checked(read_practice(text, PRACTICE), now)
    practice = loaded.practice
    assert practice is not None
    file, old = _put(folder, text, draft.finish)
    rulebook = load_rulebook(practice, on=now.date())
    times = running_times(practice, rulebook)
    cards: Path | None = folder / CARDS
    with suppress(Mendable):  # an old one that can't be replaced must not undo the set-up
        write_private(folder / CARDS, chair_cards(practice, rulebook, times, on=now.date(), made_at=now, voice=voice_of(practice.practice)))
    if not (folder / CARDS).exists():
        cards = None
    imported, visits = _import(dialogue, draft, practice, now)
    worth = worth_measuring(practice, rulebook, now.date(), visits)
    dialogue.ended()
    lead = next((p.id for p in practice.people if p.role), practice.people[0].id)
    return Ended(
        file=file,
        old=old,
        warnings=loaded.warnings,
        cards=cards,
        imported=imported,
        worth=worth,
        visits_known=imported is not None and imported.visits > 0,
        left_out=tuple(draft.left_out),
        no_time=_no_time(times),
        next_steps=_next(file, draft, lead),
    )


def _checked(loaded: Loaded, now: datetime) -> Loaded:
    """Return the file as read, with what its rulebook says; raises `Mendable` with all errors."""
    if loaded.practice is not None:
        loaded = loaded.with_faults(lay_rulebook(loaded.practice, now.date()).faults)
    if loaded.practice is None:
        raise Mendable.of(loaded.errors)
    return loaded


def _put(folder: Path, text: bytes, finish: str) -> tuple[Path, Path | None]:
    path = folder / PRACTICE
    if finish == "beside":
        path = folder / BESIDE
    old = None
    if path.exists():
        if finish == "write":  # it came there while the questions were answered
            mend = said("Answer the last question anew: it now asks what shall become of that file.")
            raise Mendable(said("a practice file has come to stand there meanwhile"), where=str(path), mend=mend)
        old = next(p for n in range(1000) if not (p := folder / f"{path.stem}-old{f'-{n}' if n else ''}.toml").exists())
        write_private(old, path.read_bytes())
    write_private(path, text)
    return path, old


def _import(dialogue: Dialogue, draft: Draft, practice: Practice, now: datetime) -> tuple[Imported | None, dict[str, float]]:
    """Read the calendar for the first days with visits; how many visits a day each chair has."""
    usual = {chair.id: float(typical.VISITS_A_DAY) for chair in practice.chairs}
    if not draft.calendar_file:
        return None, usual
    key = secrets.token_bytes(KEY_BYTES)
    name = Path(draft.calendar_file).name
    try:
        data = dialogue.read(draft.calendar_file)
        days = booked_days(data, name, practice, now.date(), key, days=DAYS_AHEAD)
        if not days:
            return Imported(name, "", 0, 0, ()), usual
        books = [read_book(data, name, practice, day, key) for day in days[:DAYS_COUNTED]]
    except Mendable as error:
        return Imported(name, "", 0, 0, error.findings), usual
    counted = Counter(visit.chair for book in books for visit in book.visits)
    first = books[0]
    return (
        Imported(name, days[0].isoformat(), len(first.visits), first.counts.not_mapped, first.findings),
        {chair.id: counted[chair.id] / len(books) for chair in practice.chairs},
    )


def _no_time(times: Sequence[RunningTime]) -> tuple[NoTime, ...]:
    found: dict[str, list[RunningTime]] = {}
    for time in times:
        if time.seconds is None:
            found.setdefault(time.missing, []).append(time)
    return tuple(
        NoTime(tuple(dict.fromkeys(t.chair for t in of)), tuple(dict.fromkeys(t.name for t in of)), why) for why, of in found.items()
    )


def _next(file: Path, draft: Draft, lead: str) -> tuple[tuple[str, str], ...]:
    book = draft.calendar_file or "book.ics"
    return (
        (said("Look at the file, and check it after each change"), f"fettlebook check {file.name}"),
        (said("Give the lead a PIN; it is asked twice and not shown"), f"fettlebook people pin {file.name} {lead}"),
        (said("Open the pages on this machine"), f"fettlebook serve {file.name} {book}"),
        (said("For tablets: make the certificate"), f"fettlebook certificate make {file.name}"),
        (said("Open the pages in the house"), f"fettlebook serve {file.name} {book} --host 0.0.0.0"),
        (said("A code lets one tablet in, for ten minutes and once"), f'fettlebook people code {file.name} "tablet of room 1"'),
        (said("Print the cards and hang them at the chairs"), CARDS),
        (said("Print codes to scan"), f"fettlebook cards {file.name} --codes chairs --codes machines --codes steps -o codes.pdf"),
        (
            said("Measure a flow and write it in"),
            f'fettlebook flow --practice {file.name} --chair "chair 1" --outlet OUTLET --reading 52/60 --write',
        ),
    )
