"""Form of a strip that was dipped for the dose in a chair's water. Those of a treatment have a form of their own."""

from collections.abc import Sequence

from fettlebook.book.kinds import Data, StepDone
from fettlebook.said import said, term
from fettlebook.standing.look import Look
from fettlebook.standing.strip_charts import dose_checks
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chosen, made
from fettlebook.web.forms import Form

MOST_MG_L = 1_000_000


def _where(look: Look) -> Choices:
    """Return each chair with each duty that asks for a strip of its dose."""
    return [
        (f"{chair.id}/{duty.id}/{step.id}", said("{chair}: {duty}", chair=chair.id, duty=term(duty.name)))
        for chair in look.basis.practice.chairs
        for duty, step in dose_checks(look, chair)
    ]


def _ask(look: Look) -> Sequence[Ask]:
    return (
        Ask("where", said("Chair, and what it is for"), "choice", choices=_where(look)),
        Ask("mg_l", said("Lowest field that the strip shows"), unit="mg/L"),
        Ask("end", said("the strip's scale ends there: so much or more"), "tick"),
    )


def _read(form: Form, look: Look) -> Data | None:
    chair, _, rest = (chosen(form, "where", _where(look)) or "").partition("/")
    duty, _, step = rest.partition("/")
    seen = amount(form, "mg_l", (0, MOST_MG_L))
    name = "strip_at_least_mg_l" if form.text("end") else "strip_mg_l"
    return made(form, StepDone, {"duty": duty, "step": step, "chair": chair, "outcome": "done", "readings": {name: seen}})


STRIP = Entering(
    "strips", "/water/strips", said("Enter a strip"), said("Strip of the dose"),
    said("At the outlet of the farthest line, read at the time that the strips' package names. Strips of a treatment: under Treatments."),
    _ask, _read, said("gloves and eye protection."),
)  # fmt: skip
