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
from fettlebook.said import joined, listed, said
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
from fettlebook.times.words import clock, millilitres

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
            said('off label: the label of "{name}" does not allow "{use}"', name=product.name, use=use),
            where="--product",
            mend=said("It allows {have}. Choose a product whose label names this use.", have=have),
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
        yield said("  {batch_ml} of the product as it comes; no water.", batch_ml=volume_words(mix.batch_ml))
        return
    yield said("  product  {product_ml:>8}{product}", product_ml=volume_words(mix.product_ml), product=_comes(made.product))
    yield said(
        "  water    {water_ml:>8}, which is: fill up to the mark of {batch_ml}",
        water_ml=volume_words(mix.water_ml),
        batch_ml=volume_words(mix.batch_ml),
    )
    yield said("  Most of the water first, then the product, then water to the mark, unless the label says otherwise. Stir, don't shake.")
    low, high = mix.weakest_share * 100, mix.strongest_share * 100
    yield (
        said(
            "True strength {low:.0f} to {high:.0f} % of the label's, with a measure good to {measure_ml:g} mL and a "
            "jug good to {jug_ml:g} mL.",
            low=low,
            high=high,
            measure_ml=made.measure_ml,
            jug_ml=made.jug_ml,
        )
    )
    if mix.weakest_share < 1 - CLOSE:
        fine = finest_line_ml(mix.product_ml, CLOSE / 2)
        mend = said("Use a measure with lines of {fine:.2g} mL or finer and a finer jug, or mix more.", fine=fine)
        yield said("CAUTION: it may be {low:.0f} % too weak. {mend}", low=100 - low, mend=mend)


def good_for(made: Order) -> Iterable[str]:
    """Say the contact time, whether the label holds here, and until when the mix may be used."""
    low, high = made.use.temperature_c
    yield said(
        "Contact time {contact_s}, at this strength only, at {low:g} to {high:g} degC{product}.",
        contact_s=clock(made.use.contact_s),
        low=low,
        high=high,
        product=_ref(made.product),
    )
    if made.gap:
        yield said("DOES NOT HOLD HERE: {gap}", gap=made.gap.said)
    if made.until:
        yield said(
            "Use by {made} ({because}); then discard it as the label says.",
            made=_moment(made.until.at, made.at),
            because=made.until.because,
        )
    else:
        yield said("Use by: the practice file has no life of the mixed solution (shelf_mixed_hours).")
        yield said("Mix it fresh, and discard the rest as the label says.")
    if made.package.opened_on is None and made.product.shelf_open_days:
        yield said(
            "Once opened the package keeps {shelf_open_days} days: read the day on it, and enter it.",
            shelf_open_days=made.product.shelf_open_days,
        )
    yield said(
        "Write on the jug: {name}, {use}, mixed {made:%Y-%m-%d %H:%M}, use by, your initials.",
        name=made.product.name,
        use=strength_words(made.use),
        made=made.at,
    )


def cautions(made: Order) -> Iterable[str]:
    """Say what to wear and what to mind."""
    product = made.product
    yield (
        said("Wear {wear}.", wear=listed(product.wear))
        if product.wear
        else said("What to wear: see the safety data sheet; the practice file doesn't say.")
    )
    if product.hazards:
        yield said("Hazards: {hazards}.", hazards=joined("; ", product.hazards))
    yield said("Air the room. Never mix with other products, and use a clean jug: what is left of another product counts as mixing.")
    yield said("Keep the safety data sheet at hand. Spilt: as the data sheet says.")
    if made.use.use in _LINES:
        yield _sample(made)
    yield said("The product's label and instructions come first; if they say otherwise, they are right.")


def _sample(made: Order) -> str:
    if made.sample is None:
        unknown = said("no neutraliser for {active} is in the rulebook", active=made.product.active)
        return said("Water samples from this line: {unknown}. Ask the laboratory before sampling.", unknown=unknown)
    origin = made.sample.origin
    sure = origin.sure if origin.checked else "unchecked"
    note = f" {origin.note[0].upper()}{origin.note[1:]}." if origin.note else ""
    return said(
        "Water samples from this line need a neutraliser: {topic} ({source}; {sure}).{note}",
        topic=made.sample.topic,
        source=origin.source,
        sure=sure,
        note=note,
    )


def _use(name: str) -> ProductUse:
    words = [str(u) for u in ProductUse]
    if name.strip().casefold() not in words:
        near = get_close_matches(name.casefold(), words, n=1)
        hint = said('Did you mean "{near}"? ', near=near[0]) if near else ""
        raise Mendable(
            said('"{name}" is no use of a product', name=name[:40]),
            where="--use",
            mend=said("{hint}Choose one of: {words}.", hint=hint, words=joined(", ", words)),
        )
    return ProductUse(name.strip().casefold())


def _product(practice: Practice, product_id: str | None, use: ProductUse) -> Product:
    wanted: str | None = product_id or getattr(practice.in_use, use.name.lower())
    have = ", ".join(p.id for p in practice.products) or "none"
    if wanted is None:
        raise Mendable(
            said('no product is chosen for "{use}"', use=use),
            where=f"in_use.{use.name.lower()}",
            mend=said("Choose a product: {have}.", have=have),
        )
    product = next((p for p in practice.products if p.id == wanted), None)
    if product is None:
        raise Mendable(
            said('the practice has no product "{wanted}"', wanted=wanted[:40]),
            where="--product",
            mend=said("Choose one of: {have}.", have=have),
        )
    return product


def _stated(use: LabelUse, product: Product) -> Stated | None:
    return None if use.strength is None else Stated(use.strength, str(use.strength_unit), product.density_kg_l)


def strength_words(use: LabelUse) -> str:
    """Return a label's strength as it states it."""
    return str(use.strength_unit) if use.strength is None else f"{use.strength:g} {use.strength_unit}"


def _comes(product: Product) -> str:
    return (
        said(
            ", as it comes ({strength:g} {strength_unit})",
            strength=product.concentrate.strength,
            strength_unit=product.concentrate.strength_unit,
        )
        if product.concentrate
        else said(", as it comes")
    )


def _ref(product: Product) -> str:
    return f" ({product.label_ref})" if product.label_ref else ""


def volume_words(ml: float) -> str:
    """Return a volume in mL, or in L from one on."""
    return said("{ml:.4g} L", ml=ml / 1000) if ml >= 1000 else millilitres(ml)


def _moment(at: datetime, now: datetime) -> str:
    if at.date() == now.date():
        return said("{it:%H:%M} today", it=at)
    if at.date() == now.date() + timedelta(days=1):
        return said("{it:%H:%M} tomorrow, {it:%Y-%m-%d}", it=at)
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
