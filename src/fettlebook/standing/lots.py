"""Products by lot, and solutions: opened or made up when, and good until when."""

from datetime import date, timedelta

from fettlebook.rules.model import Origin, Step
from fettlebook.said import said
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


def product_fault(look: Look, step: Step, used: Fact) -> tuple[Verdict, str] | None:
    """Return what is wrong with the product that a step was done with, at the moment of the step; None where nothing is known against it.

    Where its entry names neither lot nor solution, the package that was open then stands for it.
    """
    chosen = chosen_product(look, step, used)
    if used.says.lot is not None:
        product, lot = used.says.lot
        if chosen is not None and product != chosen:
            return Verdict.UNPROVEN, said("done with {product}, in use is {chosen}", product=product, chosen=chosen)
        opened = look.first(f"product:{product}/{lot}", "opened", since=0, until=used.happened)
        return (
            None if opened is None else _over(look, opened, used, said("{product} lot {lot}", product=product, lot=lot))
        )  # its own standing says what is missing
    if used.says.solution is not None:
        mixed = look.first(f"solution:{used.says.solution}", "mixed", since=0, until=used.happened)
        if mixed is None:
            return Verdict.UNPROVEN, said("when solution {solution} was made up is not in the book", solution=used.says.solution)
        if chosen is not None and mixed.says.product != chosen:
            return Verdict.UNPROVEN, said("done with {product}, in use is {chosen}", product=mixed.says.product, chosen=chosen)
        return _over(look, mixed, used, said("solution {solution}", solution=used.says.solution))
    if chosen is None:
        return None
    opened = open_then(look, chosen, used)
    if opened is None:
        return Verdict.UNPROVEN, said("no lot of {chosen} in its entry, and no package of it was open", chosen=chosen)
    if _over(look, opened, used, chosen) is not None:
        return Verdict.UNPROVEN, said(
            "no lot of {chosen} in its entry, and lot {lot} was too old by then", chosen=chosen, lot=opened.says.lot
        )
    return None


def product_evidence(look: Look, step: Step, used: Fact) -> tuple[str, ...]:
    """Return the entries that show that the product of a step which is in order was good."""
    if used.says.solution is not None:
        mixed = look.first(f"solution:{used.says.solution}", "mixed", since=0, until=used.happened)
        return (mixed.entry,) if mixed is not None else ()
    chosen = chosen_product(look, step, used)
    if used.says.lot is not None or chosen is None:
        return ()
    opened = open_then(look, chosen, used)
    return (opened.entry,) if opened is not None else ()


def chosen_product(look: Look, step: Step, used: Fact) -> str | None:
    """Return the product that the practice used for such a step on that day; None where the rulebook or the practice names none."""
    if not step.product or "product lot" not in step.evidence:
        return None
    chosen: str | None = getattr(look.then(used.happened).practice.in_use, step.product.replace(" ", "_"))
    return chosen


def open_then(look: Look, product: str, used: Fact) -> Fact | None:
    """Return the package of a product that was open at a step: of the newest lot, by its first opening."""
    newest = look.latest(f"product:{product}", "opened", until=used.happened)
    return newest and look.first(newest.says.subject, "opened", since=0, until=used.happened)


def _over(look: Look, opened: Fact, used: Fact, named: str) -> tuple[Verdict, str] | None:
    end = good_until(look, opened)
    return (
        (Verdict.UNFIT, said("{named} was good until {end}", named=named, end=look.when(end)))
        if end is not None and end <= used.happened
        else None
    )


def lot_conditions(look: Look, subject: str) -> tuple[Condition, ...]:
    """Return the conditions of a package (`product:name/lot`) or of a solution (`solution:id`)."""
    mixed = subject.startswith("solution:")
    what = said("made up, and not too old") if mixed else said("opened, and not too old")
    # The first opening counts: a lot that was entered twice gets no second life.
    opened = look.first(subject, "mixed" if mixed else "opened", since=0)
    product = subject.removeprefix("product:").split("/")[0] if not mixed else (opened.says.product if opened else "")
    fresh = Owed(
        subject, "fresh", said("Make up a fresh solution") if mixed else said("Open a new package and enter it"), label(product or subject)
    )
    if opened is None:
        why = said("when it was made up is not in the book") if mixed else said("when it was opened is not in the book")
        return (Condition(what, Verdict.UNPROVEN, why, BOOK, mend=(fresh,)),)
    end = good_until(look, opened)
    began = said("made up") if mixed else said("opened")
    if end is None:
        why = said("{began} {opened}; neither label nor entry says how long it is good", began=began, opened=look.when(opened.happened))
        return (Condition(what, Verdict.UNPROVEN, why, label(product), (opened.entry,), opened.happened, mend=(fresh,)),)
    if look.over(end):
        why = said("{began} {opened}, was good until {end}", began=began, opened=look.when(opened.happened), end=look.when(end))
        return (Condition(what, Verdict.UNFIT, why, label(product), (opened.entry,), end, mend=(fresh,)),)
    why = said("{began} {opened}, good until {end}", began=began, opened=look.when(opened.happened), end=look.when(end))
    conditions = [Condition(what, Verdict.FIT, why, label(product), (opened.entry,), opened.happened, end)]
    if mixed and opened.says.lot is not None:
        conditions.extend(lot_conditions(look, f"product:{opened.says.product}/{opened.says.lot}"))
    return tuple(conditions)
