"""A mix: what to measure out, what it is good for, until when, and what to mind; refused with the reason where it may not be."""

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime, timedelta
from difflib import get_close_matches
from typing import Any

from fettlebook.errors import Mendable
from fettlebook.practice.model import LabelUse, Practice, Product, ProductUse
from fettlebook.rules.model import Requirement, Rulebook
from fettlebook.rules.neutraliser import neutraliser
from fettlebook.science.mixing import (
    JugMix,
    Stated,
    UseBy,
    finest_line_ml,
    label_strength,
    mix_by_jug,
    product_share,
    refuse_expired,
    use_by,
)
from fettlebook.times.label import Gap, Label, temperature_gap
from fettlebook.times.words import clock, listed, millilitres

CLOSE = 0.05  # a mix that may be weaker than the label's strength by more than this is cautioned against; our own choice
_LINES = (ProductUse.LINE_INTENSIVE, ProductUse.LINE_CONTINUOUS)


@dataclass(frozen=True, slots=True)
class Package:
    """What is known of the package in hand."""

    opened_on: date | None = None
    expires_on: date | None = None


@dataclass(frozen=True, slots=True)
class Order:
    """One mix with everything that is said of it."""

    practice: Practice
    product: Product
    use: LabelUse
    mix: JugMix
    measure_ml: float
    jug_ml: float
    at: datetime
    package: Package
    until: UseBy | None
    gap: Gap | None
    sample: Requirement | None


def order(
    practice: Practice,
    rulebook: Rulebook,
    *,
    product_id: str | None,
    use_name: str,
    batch_ml: float,
    asked: Stated | None,
    measure_ml: float,
    jug_ml: float,
    at: datetime,
    package: Package,
) -> Order:
    """Return the mix, or refuse it with the reason."""
    use = _use(use_name)
    product = _product(practice, product_id, use)
    life: dict[str, Any] = {"opened_on": package.opened_on, "open_days": product.shelf_open_days, "expires_on": package.expires_on}
    refuse_expired(at.date(), **life)
    allowed = [u for u in product.uses if u.use is use]
    if not allowed:
        have = listed(tuple(dict.fromkeys(f'"{u.use}"' for u in product.uses)))
        raise Mendable(
            f'off label: the label of "{product.name}" does not allow "{use}"',
            where="--product",
            mend=f"It allows {have}. Choose a product whose label names this use.",
        )
    label = allowed[label_strength([_stated(u, product) for u in allowed], asked)]
    stock = product.concentrate
    supplied = Stated(stock.strength, stock.strength_unit, stock.density_kg_l) if stock else None
    share = product_share(_stated(label, product), supplied, label_ml_per_l=label.product_ml_per_l)
    return Order(
        practice=practice,
        product=product,
        use=label,
        mix=mix_by_jug(batch_ml, share, measure_ml=measure_ml, jug_ml=jug_ml),
        measure_ml=measure_ml,
        jug_ml=jug_ml,
        at=at,
        package=package,
        until=use_by(at, mixed_hours=product.shelf_mixed_hours, **life),
        # surfaces are wetted in the room's air, which the practice file does not know
        gap=None if use is ProductUse.SURFACES else temperature_gap(Label(product, label), practice.practice.water_temperature_c),
        sample=neutraliser(product.active, rulebook) if use in _LINES else None,
    )


def amounts(made: Order) -> Iterable[str]:
    """Say how much product and water, and how near the label's strength that comes."""
    mix = made.mix
    if mix.undiluted:
        yield f"  {volume_words(mix.batch_ml)} of the product as it comes; no water."
        return
    yield f"  product  {volume_words(mix.product_ml):>8}{_comes(made.product)}"
    yield f"  water    {volume_words(mix.water_ml):>8}, which is: fill up to the mark of {volume_words(mix.batch_ml)}"
    yield "  Most of the water first, then the product, then water to the mark, unless the label says otherwise. Stir, don't shake."
    low, high = mix.weakest_share * 100, mix.strongest_share * 100
    yield (
        f"True strength {low:.0f} to {high:.0f} % of the label's, with a measure good to {made.measure_ml:g} mL and a jug good to "
        f"{made.jug_ml:g} mL."
    )
    if mix.weakest_share < 1 - CLOSE:
        fine = finest_line_ml(mix.product_ml, CLOSE / 2)
        mend = f"Use a measure with lines of {fine:.2g} mL or finer and a finer jug, or mix more."
        yield f"CAUTION: it may be {100 - low:.0f} % too weak. {mend}"


def good_for(made: Order) -> Iterable[str]:
    """Say the contact time, whether the label holds here, and until when the mix may be used."""
    low, high = made.use.temperature_c
    yield f"Contact time {clock(made.use.contact_s)}, at this strength only, at {low:g} to {high:g} degC{_ref(made.product)}."
    if made.gap:
        yield f"DOES NOT HOLD HERE: {made.gap}"
    if made.until:
        yield f"Use by {_moment(made.until.at, made.at)} ({made.until.because}); then discard it as the label says."
    else:
        yield "Use by: the practice file has no life of the mixed solution (shelf_mixed_hours)."
        yield "Mix it fresh, and discard the rest as the label says."
    if made.package.opened_on is None and made.product.shelf_open_days:
        yield f"Once opened the package keeps {made.product.shelf_open_days} days: read the day on it, and enter it."
    yield f"Write on the jug: {made.product.name}, {strength_words(made.use)}, mixed {made.at:%Y-%m-%d %H:%M}, use by, your initials."


def cautions(made: Order) -> Iterable[str]:
    """Say what to wear and what to mind."""
    product = made.product
    yield f"Wear {listed(product.wear)}." if product.wear else "What to wear: see the safety data sheet; the practice file doesn't say."
    if product.hazards:
        yield f"Hazards: {'; '.join(product.hazards)}."
    yield "Air the room. Never mix with other products, and use a clean jug: what is left of another product counts as mixing."
    yield "Keep the safety data sheet at hand. Spilt: as the data sheet says."
    if made.use.use in _LINES:
        yield _sample(made)
    yield "The product's label and instructions come first; if they say otherwise, they are right."


def _sample(made: Order) -> str:
    if made.sample is None:
        unknown = f"no neutraliser for {made.product.active} is in the rulebook"
        return f"Water samples from this line: {unknown}. Ask the laboratory before sampling."
    origin = made.sample.origin
    sure = origin.sure if origin.checked else "unchecked"
    note = f" {origin.note[0].upper()}{origin.note[1:]}." if origin.note else ""
    return f"Water samples from this line need a neutraliser: {made.sample.topic} ({origin.source}; {sure}).{note}"


def _use(name: str) -> ProductUse:
    words = [str(u) for u in ProductUse]
    if name.strip().casefold() not in words:
        near = get_close_matches(name.casefold(), words, n=1)
        hint = f'Did you mean "{near[0]}"? ' if near else ""
        raise Mendable(f'"{name[:40]}" is no use of a product', where="--use", mend=f"{hint}Choose one of: {', '.join(words)}.")
    return ProductUse(name.strip().casefold())


def _product(practice: Practice, product_id: str | None, use: ProductUse) -> Product:
    wanted: str | None = product_id or getattr(practice.in_use, use.name.lower())
    have = ", ".join(p.id for p in practice.products) or "none"
    if wanted is None:
        raise Mendable(f'no product is chosen for "{use}"', where=f"in_use.{use.name.lower()}", mend=f"Choose a product: {have}.")
    product = next((p for p in practice.products if p.id == wanted), None)
    if product is None:
        raise Mendable(f'the practice has no product "{wanted[:40]}"', where="--product", mend=f"Choose one of: {have}.")
    return product


def _stated(use: LabelUse, product: Product) -> Stated | None:
    return None if use.strength is None else Stated(use.strength, str(use.strength_unit), product.density_kg_l)


def strength_words(use: LabelUse) -> str:
    """Return a label's strength as it states it."""
    return str(use.strength_unit) if use.strength is None else f"{use.strength:g} {use.strength_unit}"


def _comes(product: Product) -> str:
    return (
        f", as it comes ({product.concentrate.strength:g} {product.concentrate.strength_unit})" if product.concentrate else ", as it comes"
    )


def _ref(product: Product) -> str:
    return f" ({product.label_ref})" if product.label_ref else ""


def volume_words(ml: float) -> str:
    """Return a volume in mL, or in L from one on."""
    return f"{ml / 1000:.4g} L" if ml >= 1000 else millilitres(ml)


def _moment(at: datetime, now: datetime) -> str:
    if at.date() == now.date():
        return f"{at:%H:%M} today"
    if at.date() == now.date() + timedelta(days=1):
        return f"{at:%H:%M} tomorrow, {at:%Y-%m-%d}"
    return f"{at:%Y-%m-%d %H:%M}"


def as_data(made: Order) -> dict[str, Any]:
    """Return the order as JSON data."""
    mix = made.mix
    return {
        "form": 1,
        "practice": {"id": made.practice.practice.id, "invented": made.practice.practice.invented},
        "product": made.product.id,
        "use": str(made.use.use),
        "strength": made.use.strength,
        "strength_unit": str(made.use.strength_unit),
        "batch_ml": mix.batch_ml,
        "product_ml": mix.product_ml,
        "water_ml": mix.water_ml,
        "weakest_share": mix.weakest_share,
        "strongest_share": mix.strongest_share,
        "contact_s": made.use.contact_s,
        "temperature_c": list(made.use.temperature_c),
        "does_not_hold": str(made.gap) if made.gap else None,
        "mixed_at": made.at.isoformat(timespec="minutes"),
        "use_by": made.until.at.isoformat(timespec="minutes") if made.until else None,
        "use_by_because": made.until.because if made.until else None,
        "cautions": list(cautions(made)),
    }
