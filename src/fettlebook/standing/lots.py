"""Products by lot, and solutions: opened or made up when, and good until when."""

from datetime import date, timedelta

from fettlebook.rules.model import Origin
from fettlebook.standing.basis import BOOK, DAY_MS, HOUR_MS
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.streams import Fact


def label(product: str) -> Origin:
    """Return the label of a product as the origin of a condition."""
    return Origin("practice file", product, "the product's label, as the practice file holds it", "practice", "own")


def good_until(look: Look, opened: Fact) -> int | None:
    """Return when an opened package or a solution is good no longer [ms]; None where neither label nor entry names an end."""
    product = next((p for p in look.basis.practice.products if p.id == opened.says.product), None)
    mixed = opened.says.subject.startswith("solution:")
    ends: list[int] = []
    if isinstance(opened.says.use_by, int):
        ends.append(opened.says.use_by)
    elif isinstance(opened.says.use_by, str):
        day = date.fromisoformat(opened.says.use_by) + timedelta(days=1)  # good on the day that is printed
        ends.append(look.basis.day_begins(day))
    if product is not None and mixed and product.shelf_mixed_hours is not None:
        ends.append(opened.happened + round(product.shelf_mixed_hours * HOUR_MS))
    if product is not None and not mixed and product.shelf_open_days is not None:
        ends.append(opened.happened + product.shelf_open_days * DAY_MS)
    return min(ends, default=None)


def lot_fault(look: Look, used: Fact) -> tuple[Verdict, str] | None:
    """Return what is wrong with the lot that a step used, at the moment of the step; None where nothing is known against it."""
    if used.says.lot is None:
        return None
    product, lot = used.says.lot
    opened = look.first(f"product:{product}/{lot}", "opened", since=0, until=used.happened)
    if opened is None:
        return None  # the lot's own standing says that its opening isn't in the book
    end = good_until(look, opened)
    if end is not None and end <= used.happened:
        return Verdict.UNFIT, f"{product} lot {lot} was good until {look.when(end)}"
    return None


def lot_conditions(look: Look, subject: str) -> tuple[Condition, ...]:
    """Return the conditions of a package (`product:name/lot`) or of a solution (`solution:id`)."""
    mixed = subject.startswith("solution:")
    what = "made up, and not too old" if mixed else "opened, and not too old"
    # The first opening counts: a lot that was entered twice gets no second life.
    opened = look.first(subject, "mixed" if mixed else "opened", since=0)
    product = subject.removeprefix("product:").split("/")[0] if not mixed else (opened.says.product if opened else "")
    fresh = Owed(subject, "fresh", "Make up a fresh solution" if mixed else "Open a new package and enter it", label(product or subject))
    if opened is None:
        why = "when it was made up is not in the book" if mixed else "when it was opened is not in the book"
        return (Condition(what, Verdict.UNPROVEN, why, BOOK, mend=(fresh,)),)
    end = good_until(look, opened)
    began = "made up" if mixed else "opened"
    if end is None:
        why = f"{began} {look.when(opened.happened)}; neither label nor entry says how long it is good"
        return (Condition(what, Verdict.UNPROVEN, why, label(product), (opened.entry,), opened.happened, mend=(fresh,)),)
    if end <= look.at:
        why = f"{began} {look.when(opened.happened)}, was good until {look.when(end)}"
        return (Condition(what, Verdict.UNFIT, why, label(product), (opened.entry,), end, mend=(fresh,)),)
    why = f"{began} {look.when(opened.happened)}, good until {look.when(end)}"
    conditions = [Condition(what, Verdict.FIT, why, label(product), (opened.entry,), opened.happened, end)]
    if mixed and opened.says.lot is not None:
        conditions.extend(lot_conditions(look, f"product:{opened.says.product}/{opened.says.lot}"))
    return tuple(conditions)
