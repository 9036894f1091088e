"""Form of a part that was changed or cleaned: filter, separator, a chair's own bottle."""

from collections.abc import Sequence

from fettlebook.book.kinds import Data, PartChanged
from fettlebook.said import said, term
from fettlebook.standing.look import Look
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chairs_and_machines, chosen, lot_of, made, named
from fettlebook.web.forms import Form

PARTS: Choices = tuple((part, term(part)) for part in ("water filter", "water bottle", "suction filter", "separator", "other"))
DONE: Choices = (("changed", said("changed for a new one")), ("cleaned", said("cleaned as its instructions say")))
BUILDING = "building"
MOST_DAYS = 3_660


def _of(look: Look) -> Choices:
    return [*chairs_and_machines(look), (BUILDING, said("of the building"))]


def _ask(look: Look) -> Sequence[Ask]:
    return (
        Ask("of", said("Of"), "choice", choices=_of(look)),
        Ask("part", said("Part"), "choice", choices=PARTS),
        Ask("name", said("Which one"), "words", hint=said("Only where there are several, or for another part: what it is.")),
        Ask("done", said("Done"), "choice", choices=DONE),
        Ask(
            "days",
            said("It may stay for"),
            unit=said("days"),
            hint=said("As its label or instructions say; empty: as in the practice file."),
        ),
        Ask("lot", said("Lot"), "words", hint=said("May be left empty.")),
    )


def _read(form: Form, look: Look) -> Data | None:
    of, _, name = (chosen(form, "of", _of(look)) or "").partition(":")
    part = chosen(form, "part", PARTS)
    fields = {
        "part": part, "name": named(form, "name", may_lack=part != "other"), "done": chosen(form, "done", DONE),
        "good_days": amount(form, "days", (1, MOST_DAYS), may_lack=True), "lot": lot_of(form),
        "chair": name if of == "chair" else None, "machine": name if of == "machine" else None,
    }  # fmt: skip
    return made(form, PartChanged, fields)


PART = Entering(
    "parts", "/water/parts", said("Enter a change"), said("A part was changed or cleaned"),
    said("How long it may stay is what its label or instructions say, never longer."), _ask, _read,
    said("gloves, eye protection, mask; amalgam waste into its own container."), ("part", "done", "days", "lot"),
)  # fmt: skip
