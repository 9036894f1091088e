"""Who says it and when it was: the signed-in person, else one chosen by name; now, else an earlier time of today."""

from datetime import datetime, time

from fettlebook.practice.model import Practice
from fettlebook.said import said
from fettlebook.web.forms import Form
from fettlebook.web.people.visit import here


def person_of(form: Form, practice: Practice) -> str | None:
    """Return who enters it; None, found wrong, where nobody was chosen."""
    who = here().who
    by = who.person if who is not None else form.text("by")
    if by not in {person.id for person in practice.people}:
        form.refuse("by", said("nobody was chosen"), said("Say who enters it."))
        return None
    return by


def moment_of(form: Form, now: datetime) -> datetime:
    """Return when it was: `now` where no time was typed; a time still to come or none at all is found wrong.

    Parameters
    ----------
    now
        The page's moment, aware, in the practice's zone.
    """
    typed = form.text("at")
    if not typed:
        return now
    try:
        clock = time.fromisoformat(typed)
    except ValueError:
        form.refuse("at", said("this is no time"), said("Write it as 14:05, or leave it empty for now."))
        return now
    was = datetime.combine(now.date(), clock.replace(tzinfo=None), now.tzinfo)
    if was > now:
        form.refuse("at", said("this time is still to come"), said("Enter a time of today up to now."))
        return now
    return was
