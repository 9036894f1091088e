"""Water for surgery is sterile water by a sterile path: each surgical visit names the product and lot that it was done with."""

from collections.abc import Iterator

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Origin
from fettlebook.said import said
from fettlebook.standing.basis import BOOK
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.streams import Fact

WHAT = said("sterile water named for the surgical visit")
DAYS_LOOKED_BACK = 7


def surgery_condition(look: Look, chair: Chair) -> Iterator[Condition]:
    """Yield whether the chair's newest visit of today, where it was surgical, names its sterile water; nothing where it wasn't."""
    newest = look.latest(f"chair:{chair.id}", "visit", since=look.today)
    if newest is not None and _surgical(look, newest):
        yield _named(look, newest)


def surgery_left_open(look: Look) -> Iterator[Condition]:
    """Yield each surgical visit of the last week whose sterile water is not in the book, or was too old: it belongs into the record."""
    since = look.days(-DAYS_LOOKED_BACK)
    seen: set[str] = set()
    for chair in look.basis.practice.chairs:
        for fact in look.back(f"chair:{chair.id}", "visit", since=since):
            if fact.says.ref not in seen and _surgical(look, fact):
                seen.add(fact.says.ref)
                condition = _named(look, fact)
                if condition.verdict is not Verdict.FIT:
                    yield condition


def _surgical(look: Look, fact: Fact) -> bool:
    if fact.says.surgical:
        return True
    kinds = {kind.id for kind in look.then(fact.happened).practice.visit_kinds if kind.surgical}
    return any(one.says.surgical or one.says.kind in kinds for one in look.back(f"visit:{fact.says.ref}", "visit"))


def _named(look: Look, fact: Fact) -> Condition:
    ref, subject = fact.says.ref, fact.says.chair
    origin = _origin(look)
    named = next((one for one in look.back(f"visit:{ref}", "visit") if one.says.water is not None), None)
    where = said("visit {ref}, {chair}", ref=ref, chair=subject.removeprefix("chair:"))
    if named is None:
        enter = Owed(subject, "sterile water", said("Enter product and lot of the sterile water of visit {ref}", ref=ref), origin)
        why = said("{where}: product and lot of the sterile water are not in the book", where=where)
        return Condition(WHAT, Verdict.UNPROVEN, why, origin, (fact.entry,), fact.happened, mend=(enter,))
    product, lot, use_by = named.says.water
    told = said("{where}: {product} lot {lot}", where=where, product=product, lot=lot)
    if use_by is not None and use_by < look.basis.day_of(named.happened).isoformat():
        tell = Owed(subject, "lead", said("Tell the lead: the water was past the day printed on it"), origin)
        why = said("{told}, good until {use_by}", told=told, use_by=use_by)
        return Condition(WHAT, Verdict.UNFIT, why, origin, (named.entry,), named.happened, mend=(tell,))
    return Condition(WHAT, Verdict.FIT, told, origin, (named.entry,), named.happened)


def _origin(look: Look) -> Origin:
    asked = look.basis.asks("water for surgery")
    return asked.origin if asked else BOOK
