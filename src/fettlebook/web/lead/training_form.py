"""The lead's form of a training that was held: read, found wrong in words, and the table of trainings to save."""

from collections.abc import Iterable, Mapping
from datetime import date
from typing import Any, Final

from fettlebook.book.kinds import SealedText, TrainingHeld
from fettlebook.book.words import TextKeys, seal_words
from fettlebook.errors import Finding, Mendable
from fettlebook.practice.model import Practice
from fettlebook.said import said
from fettlebook.standing.training import TrainingSays
from fettlebook.web.forms import Form

WHAT_MOST: Final = 120
WORDS_MOST: Final = 200

FIELDS: Final = ("person", "what", "held_on", "held_by", "again_on", "remark")


def as_typed(values: Mapping[str, str] | None) -> dict[str, str]:
    """Return what stands in the form's fields: as typed, else nothing."""
    return {name: (values or {}).get(name, "") for name in FIELDS}


def training_of(form: Form, practice: Practice, today: date, keys: TextKeys) -> TrainingHeld:
    """Return the entry that the form means; raises `Mendable` with everything that is wrong with it."""
    person, what, held_by = form.text("person"), form.text("what")[:WHAT_MOST], form.text("held_by")[:WORDS_MOST]
    held, again = form.day("held_on", said("Held on")), form.day("again_on", said("Wanted again by"))
    wrong = [found for several in form.wrong.values() for found in several]
    if person not in {one.id for one in practice.people}:
        wrong.append(Finding(said("nobody was chosen"), said("Who was trained"), said("Choose one of the staff.")))
    if not what:
        wrong.append(Finding(said("nothing was entered"), said("In what"), said("Take a name of the list, or write one.")))
    if not held_by:
        wrong.append(Finding(said("nothing was entered"), said("Held by"), said("Write who held it: a name or a firm.")))
    if held is None and "held_on" not in form.wrong:
        wrong.append(Finding(said("no day was entered"), said("Held on"), said("Enter the day on which it was held.")))
    if held is not None and held > today:
        wrong.append(Finding(said("this day is still to come"), said("Held on"), said("Enter it once it was held.")))
    if held is not None and again is not None and again <= held:
        wrong.append(Finding(said("this day is not after the training"), said("Wanted again by"), said("Look at both days.")))
    if wrong or held is None:
        raise Mendable.of(wrong)
    words = form.text("remark")[:WORDS_MOST]
    remark: SealedText | None = seal_words(words, keys) if words else None
    return TrainingHeld(
        person=person, what=what, held_on=str(held), held_by=held_by, again_on=str(again) if again is not None else None, remark=remark
    )


def training_rows(found: Iterable[TrainingSays]) -> list[Mapping[str, Any]]:
    """Return every training as a row of a table to save."""
    return [
        {"person": one.person, "training": one.what, "held_on": one.held_on or "", "held_by": one.held_by or "",
         "wanted_again_by": one.until or "", "said_by": one.day_by, "overdue": "yes" if one.over else "no", "entry": one.entry or ""}
        for one in found
    ]  # fmt: skip


def day_said_by(one: TrainingSays) -> str:
    """Return in words who names the day by which a training is wanted again."""
    words = {"entry": said("by its entry"), "rulebook": said("by the rulebook"), "practice file": said("by the practice file")}
    return words.get(one.day_by, said("nobody named a day"))
