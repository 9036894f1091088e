"""The form for strips: what was dipped when, held against the outlet's line."""

from dataclasses import dataclass
from datetime import date

from fettlebook.errors import Mendable
from fettlebook.rules.load import load_rulebook
from fettlebook.said import said
from fettlebook.science.calibration import Calibration
from fettlebook.times.against import Meant, Place, strips_meant
from fettlebook.times.flow_words import promised_words
from fettlebook.times.readings import dips, strip_of
from fettlebook.times.strips import LineUnderTest, held_against, line_under_test
from fettlebook.times.strips_words import reading_rows, strips_of, to_do_words, told_words
from fettlebook.web.forms import Form
from fettlebook.web.measuring_rows import filled_rows

ROWS = 8


@dataclass(frozen=True, slots=True)
class StripsAnswer:
    """What strips say of a line in words, and what they would put into the practice file; None where they bear nothing out."""

    line: LineUnderTest
    found: Calibration
    rows: tuple[tuple[str, str, str], ...]
    told: tuple[str, ...]
    to_do: tuple[str, ...]
    promised: tuple[str, ...]
    meant: Meant | None


def strips_answer(form: Form, place: Place, today: date) -> StripsAnswer | None:
    """Return what the form says, or None where a field is wrong; the form then tells which."""
    texts: list[str] = []
    fields = {"readings": "at1", "strip": "colours", "--strip": "colours", "strength": "strength", "limit": "limit"}
    for row, at, seen in filled_rows(form, ROWS, ("at", "seen"), _lacks):
        texts.append(f"{at}/{seen}")
        fields[f"reading {len(texts)}"] = f"seen{row}"
    error_pct = form.number("read_error", said("reading error"), otherwise=25.0)
    strength = form.number("strength", "strength", otherwise=0.0)
    limit = form.number("limit", "limit", otherwise=0.0)
    day = form.day("day", said("day of the strips"), otherwise=today)
    if day and day > today:
        form.refuse("day", said("{day} is still to come", day=day), said("Enter the day on which you dipped."))
    if not form.text("colours"):
        form.refuse("colours", said("the strip's colours are missing"), said("Copy them from its package, in mg/L: 0, 1, 3, 10, 30, 100."))
    if not form.good or error_pct is None or day is None:
        return None
    try:
        strip = strip_of(form.text("colours"), error_pct)
        dipped = dips(texts, strip)
        rulebook = load_rulebook(place.practice, on=day)
        line = line_under_test(
            place.practice, rulebook, place.chair, place.outlet.id, strength_mg_l=strength or None, limit_mg_l=limit or None
        )
        found = held_against(line, dipped, strip)
        meant = strips_meant(place, strips_of(line, found, day), day) if found.borne_out else None
    except Mendable as error:
        form.take(error.findings, fields)
        return None
    return StripsAnswer(
        line=line,
        found=found,
        rows=tuple(reading_rows(dipped, strip, found)),
        told=tuple(told_words(found)),
        to_do=tuple(to_do_words(line, found)),
        promised=tuple(promised_words(meant, by_name=False)) if meant else (),
        meant=meant,
    )


def _lacks(row: int, first: bool) -> str:
    return said("strip {row}: the {it} is missing", row=row, it=said("time") if first else said("colour"))
