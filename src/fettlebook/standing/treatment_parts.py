"""The parts of a treatment beside its times: product and lot, strips at the feed and after the rinse, what came in between."""

from collections.abc import Collection, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Final

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Duty, Origin, Step
from fettlebook.said import said, term
from fettlebook.standing.attempts import Attempt
from fettlebook.standing.basis import BOOK, DAY_MS, MOVES_WATER
from fettlebook.standing.evidence import strip_moment, strip_readings, strip_says
from fettlebook.standing.look import Look
from fettlebook.standing.lots import chosen_product, good_until, label, open_then, product_fault
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import Fact

INTENSIVE: Final = "line intensive"  # as the rulebook names the product of a step
Tries = Mapping[str, Sequence[Attempt]]  # by step, oldest first


@dataclass(frozen=True, slots=True)
class Part:
    """One thing that a verdict is made of, with its rule and the entries it rests on."""

    what: str
    verdict: Verdict
    why: str
    origin: Origin
    evidence: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class ProductUsed:
    """What was filled in. `age_days` since it was opened or mixed, when it was used; None: not in the book."""

    product: str | None
    lot: str | None
    solution: str | None
    from_ms: int | None  # when it was opened, or mixed
    age_days: float | None
    good_until_ms: int | None
    part: Part


@dataclass(frozen=True, slots=True)
class StripRead:
    """A strip: `moment` is "feed" (before the contact) or "after the rinse". mg/L; both None: no reading."""

    moment: str
    lowest_mg_l: int | None
    highest_mg_l: int | None
    asked_mg_l: float | None
    part: Part


def product_used(look: Look, duty: Duty, chair: Chair, tries: Tries) -> ProductUsed:
    """Return the product of a treatment and whether it was within its declared life when it was filled in."""
    step = next((one for one in duty.steps_on(chair) if one.product == INTENSIVE), None)
    done = next((one.done for one in reversed(tries.get(step.id, ()) if step else ()) if one.done is not None), None)
    if step is None or done is None:
        return _no_product(said("which product was filled in is not in the book"), step.origin if step else BOOK, ())
    begun = _first_use(look, step, done)
    fault = product_fault(look, step, done)
    product, lot = done.says.lot or (begun.says.product if begun else chosen_product(look, step, done), begun.says.lot if begun else None)
    origin = label(product) if product else step.origin
    entries = (done.entry, *((begun.entry,) if begun is not None else ()))
    end = good_until(look, begun) if begun is not None else None
    age = (done.happened - begun.happened) / DAY_MS if begun is not None else None
    made = "mixed" if done.says.solution is not None else "opened"
    named = product if lot is None else said("{product} lot {lot}", product=product, lot=lot)
    if fault is not None:
        verdict, why = fault
    elif begun is None:
        verdict, why = (
            Verdict.UNPROVEN,
            said("{named}: when it was {made} is not in the book", named=named or said("the product"), made=term(made)),
        )
    elif end is None:
        verdict, why = Verdict.UNPROVEN, said("{named}: neither label nor entry says how long it is good", named=named)
    else:
        verdict, why = (
            Verdict.FIT,
            said(
                "{named}, {made} {begun}, good until {end}",
                named=named,
                made=term(made),
                begun=look.when(begun.happened),
                end=look.when(end),
            ),
        )
    part = Part(said("product within its life"), verdict, why, origin, entries)
    return ProductUsed(product, lot, done.says.solution, begun.happened if begun else None, age, end, part)


def _no_product(why: str, origin: Origin, entries: tuple[str, ...]) -> ProductUsed:
    part = Part(said("product within its life"), Verdict.UNPROVEN, why, origin, entries)
    return ProductUsed(None, None, None, None, None, None, part)


def _first_use(look: Look, step: Step, done: Fact) -> Fact | None:
    """Return when what was used was opened or mixed: by its solution, its lot, or the package that was open then."""
    if done.says.solution is not None:
        return look.first(f"solution:{done.says.solution}", "mixed", since=0, until=done.happened)
    if done.says.lot is not None:
        product, lot = done.says.lot
        return look.first(f"product:{product}/{lot}", "opened", since=0, until=done.happened)
    chosen = chosen_product(look, step, done)
    return open_then(look, chosen, done) if chosen is not None else None


def strips_read(look: Look, duty: Duty, tries: Tries) -> Iterator[StripRead]:
    """Yield what strips said at the feed and after the rinse, by `standing.evidence`; an entry is asked for where a rule has the step."""
    for step in duty.steps:
        moment = strip_moment(duty, step)
        if moment is not None:
            done = next((one.done for one in reversed(tries.get(step.id, ())) if one.done is not None), None)
            verdict, why, asked = strip_says(look, moment, done)
            values = strip_readings(done).values()
            part = Part(said("strip {moment}", moment=term(moment)), verdict, why, step.origin, (done.entry,) if done is not None else ())
            yield StripRead(moment, min(values, default=None), max(values, default=None), asked, part)


def disturbances(look: Look, chair: Chair, span: tuple[int, int], own: Collection[str], origin: Origin) -> Iterator[Part]:
    """Yield what came between start and end of the contact: water moved washes the product out; a visit or a fault may have."""
    began, ended = span
    subject, what = f"chair:{chair.id}", said("nothing came in between")
    for fact in look.forward(subject, "steps", since=began, until=ended):
        step = look.basis.steps.get(fact.says.step)
        if fact.entry in own or step is None or not began < fact.happened < ended:
            continue
        if step[1].computes in MOVES_WATER:
            told = said("'{name}' {fact} while the product acted: begin the fill again", name=step[1].name, fact=look.when(fact.happened))
            yield Part(what, Verdict.UNFIT, told, origin, (fact.entry,))
    for fact in look.forward(subject, "visit", since=began, until=ended):
        if began < fact.happened < ended:
            told = said(
                "a visit {ended} {fact} while the product acted",
                ended=said("ended") if fact.says.ended else said("began"),
                fact=look.when(fact.happened),
            )
            yield Part(what, Verdict.UNPROVEN, told, origin, (fact.entry,))
    for fact in look.forward(subject, "service", since=began, until=ended):
        if fact.says.sort in ("fault", "stop") and began < fact.happened < ended:
            told = said("{words} ({fact}) while the product acted", words=fact.says.words, fact=look.when(fact.happened))
            yield Part(what, Verdict.UNPROVEN, told, origin, (fact.entry,))
