"""Form of a strip that belongs to a treatment: at the feed before the contact, at an outlet after the rinse.

The entry is the one that *My work* and `fettlebook note step.done` write. What the label asks for stands at the field before anything is
typed; a strip beyond it is entered all the same, because it is what was seen, and the treatment's verdict then says so.
"""

from collections.abc import Iterator, Sequence
from typing import Final

from fettlebook.book.kinds import Data, StepDone
from fettlebook.practice.model import Chair
from fettlebook.rules.model import Duty, Step, Subject
from fettlebook.said import Said, joined, said, term
from fettlebook.standing.basis import DAY_MS
from fettlebook.standing.evidence import AFTER_RINSE, AT_FEED, strip_moment, strip_says
from fettlebook.standing.look import Look
from fettlebook.standing.step_asks import STRIP, STRIP_AT_LEAST, handling_of
from fettlebook.standing.treatments import treatments_of
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chosen, made
from fettlebook.web.forms import Form

MOST_MG_L: Final = 1_000_000


def _steps(look: Look) -> Iterator[tuple[Chair, Duty, Step, str]]:
    """Yield each chair's steps that read a strip of a treatment, with the moment of each."""
    for chair in look.basis.practice.chairs:
        for duty in look.basis.rulebook.duties:
            if duty.subject is Subject.CHAIR:
                for step in duty.steps_on(chair):
                    if (moment := strip_moment(duty, step)) is not None:
                        yield chair, duty, step, moment


def _where(look: Look) -> Choices:
    """Return what a strip may belong to; treatments of the last day that still lack theirs stand first and say so."""
    lacking = {
        (chair.id, duty.id, strip.moment)
        for chair, duty in {(c.id, d.id): (c, d) for c, d, _, _ in _steps(look)}.values()
        for one in treatments_of(look, chair, duty, look.at - DAY_MS)[-1:]
        for strip in one.strips
        if strip.lowest_mg_l is None
    }
    first: list[tuple[str, str]] = []
    others: list[tuple[str, str]] = []
    for chair, duty, step, moment in _steps(look):
        words = said("{chair}, {moment}: {duty}", chair=chair.id, moment=_moment_words(moment), duty=term(duty.name))
        if (chair.id, duty.id, moment) in lacking:
            first.append((_value(chair, duty, step), joined("", (words, said(" (still to be read)")))))
        else:
            others.append((_value(chair, duty, step), words))
    return [*first, *others]


def _value(chair: Chair, duty: Duty, step: Step) -> str:
    return f"{chair.id}/{duty.id}/{step.id}"


def _moment_words(moment: str) -> Said:
    return said("feed, before the contact") if moment == AT_FEED else said("after the rinse")


def _bounds(look: Look) -> Said:
    """Return what the label in force asks of either strip."""
    least, most = strip_says(look, AT_FEED, None)[2], strip_says(look, AFTER_RINSE, None)[2]
    return joined(
        " ",
        (
            said("Feed: at least {least:g} mg/L.", least=least)
            if least is not None
            else said("Feed: the label's strength is not in the practice file."),
            said("After the rinse: at most {most:g} mg/L.", most=most)
            if most is not None
            else said("After the rinse: the label's residual is not in the practice file."),
        ),
    )


def _ask(look: Look) -> Sequence[Ask]:
    return (
        Ask("where", said("Chair, and when it was dipped"), "choice", choices=_where(look)),
        Ask(
            "mg_l",
            said("The strip shows"),
            unit="mg/L",
            hint=joined(" ", (_bounds(look), said("Several outlets: the lowest at the feed, the highest after the rinse."))),
        ),
        Ask("end", said("the strip's scale ends there: so much or more"), "tick"),
        Ask("sure", said("read again: the strip does show that"), "tick"),
    )


def _read(form: Form, look: Look) -> Data | None:
    chair, _, rest = (chosen(form, "where", _where(look)) or "").partition("/")
    duty, _, step = rest.partition("/")
    seen = amount(form, "mg_l", (0, MOST_MG_L))
    ended = bool(form.text("end"))
    if seen is not None and not form.text("sure"):
        _ask_again(form, look, next((m for c, d, s, m in _steps(look) if (c.id, d.id, s.id) == (chair, duty, step)), None), seen, ended)
    name = STRIP_AT_LEAST if ended else STRIP
    return made(form, StepDone, {"duty": duty, "step": step, "chair": chair, "outcome": "done", "readings": {name: seen}})


def _ask_again(form: Form, look: Look, moment: str | None, seen: int, ended: bool) -> None:
    """Find a strip beyond what the label asks for wrong, once: it is entered where it was read again."""
    asked = strip_says(look, moment, None)[2] if moment is not None else None
    again = said("Read it again. If that is what the strip shows, tick below and enter it.")
    if asked is None:
        return
    if moment == AT_FEED and seen < asked and not ended:
        what = said("{seen} mg/L is less than the label asks for ({asked:g} mg/L)", seen=seen, asked=asked)
        form.refuse("mg_l", what, joined(" ", (again, said("The contact does not begin: go on filling, then dip again."))))
    elif moment == AFTER_RINSE and seen > asked:
        what = said("{seen} mg/L is more than the label allows ({asked:g} mg/L)", seen=seen, asked=asked)
        form.refuse("mg_l", what, joined(" ", (again, said("Rinse on, then dip again; no patient before every outlet is clear."))))


def _label(look: Look) -> Sequence[str]:
    """Return the cautions of the steps that the form may mean, and what the product's label says: its wear and its caution."""
    found: dict[str, None] = {}
    for _, duty, step, _ in _steps(look):
        handling = handling_of(look, duty, step)
        if handling is not None:
            worn = joined(", ", (term(one) for one in handling.wear))
            if worn:
                found[said("{product}: wear {worn}.", product=handling.name, worn=worn)] = None
            if handling.caution:
                found[handling.caution] = None
        if step.caution:
            found[term(step.caution)] = None
    return list(found)


TREATMENT_STRIP = Entering(
    "treatments", "/water/treatments", said("Enter a strip of a treatment"), said("Strip of a treatment"),
    said("At the last outlet when the fill is over, and at every outlet after the rinse; read at the time that the strips' package names."),
    _ask, _read, said("gloves and eye protection."), ("where",), _label,
)  # fmt: skip
