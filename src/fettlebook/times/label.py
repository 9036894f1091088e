"""What the product's label says for a use, and the reasons for which it can't be used here.

A label holds at its strength and in its temperature range only. Nothing is extrapolated: outside, the answer is a
`Gap` with the reason and the instruction that mends it.
"""

from dataclasses import dataclass

from fettlebook.practice.model import LabelUse, Practice, Product, ProductUse, StrengthUnit
from fettlebook.said import Said, said


@dataclass(frozen=True, slots=True)
class Gap:
    """Why a time can't be said, and how to mend it."""

    why: str
    mend: str

    @property
    def said(self) -> Said:
        """Both as one text."""
        return said("{why}. {mend}", why=self.why, mend=self.mend)

    def __str__(self) -> str:
        return self.said


@dataclass(frozen=True, slots=True)
class Label:
    """A product and the one use of its label that is meant."""

    product: Product
    use: LabelUse


_FIELD = {
    ProductUse.LINE_INTENSIVE: "line_intensive",
    ProductUse.LINE_CONTINUOUS: "line_continuous",
    ProductUse.SUCTION: "suction",
    ProductUse.SURFACES: "surfaces",
}


def label_for(practice: Practice, use: ProductUse) -> Label | Gap:
    """Return the label that applies to `use` in this practice, or why there is none."""
    field = f"in_use.{_FIELD[use]}"
    chosen: str | None = getattr(practice.in_use, _FIELD[use])
    if chosen is None:
        return Gap(
            said('no product is chosen for "{use}"', use=use), said("Set {field} to the product that the practice uses.", field=field)
        )
    return label_of(practice, chosen, use, field=field)


def label_of(practice: Practice, chosen: str, use: ProductUse, *, field: str) -> Label | Gap:
    """Return what the label of one product says of `use`, or why nothing; `field` is where the practice file names it."""
    product = next((p for p in practice.products if p.id == chosen), None)
    if product is None:
        return Gap(
            said('{field} names "{chosen}", which is not among the products', field=field, chosen=chosen),
            said("Add the product from its label, or correct the name."),
        )
    allowed = [u for u in product.uses if u.use is use]
    if not allowed:
        return Gap(
            said('the label of "{name}" does not allow "{use}"', name=product.name, use=use),
            said("Choose a product whose label allows it; other use is off label."),
        )
    if len(allowed) > 1:  # two strengths of one label: guessing which is mixed here could halve the contact time
        return Gap(
            said('the label of "{name}" has {allowed} entries for "{use}"', name=product.name, allowed=len(allowed), use=use),
            said("Leave only the strength and contact time that are in use here."),
        )
    return Label(product, allowed[0])


def temperature_gap(label: Label, water_c: float) -> Gap | None:
    """Return why the label does not hold at this water temperature, or None where it holds."""
    low, high = label.use.temperature_c
    if low <= water_c <= high:
        return None
    side, mend = ("colder", said("Use water within the range, and set")) if water_c < low else ("warmer", said("Use cooler water, and set"))
    return Gap(
        said(
            'the water is {water_c:g} degC, {side} than the label of "{name}" holds for ({low:g} to {high:g} degC)',
            water_c=water_c,
            side=side,
            name=label.product.name,
            low=low,
            high=high,
        ),
        said("{mend} practice.water_temperature_c to what was measured; or ask the maker. A label is never stretched.", mend=mend),
    )


def feed_strength_mg_l(label: Label) -> float | Gap:
    """Return the label's strength as mg/L.

    Notes
    -----
    1 % w/v is 10 g in 1 L = 10,000 mg/L. 1 % w/w is 10 g in 1 kg: mg/L only with the density of the mixed solution.
    """
    product, use = label.product, label.use
    if use.strength is None or use.strength_unit is StrengthUnit.READY:
        return Gap(
            said(
                'the label of "{name}" gives no strength in figures ({strength_unit})', name=product.name, strength_unit=use.strength_unit
            ),
            said("Ask the maker for the strength as used in mg/L or % w/v, and set strength and strength_unit."),
        )
    if use.strength_unit is StrengthUnit.MG_L:
        return use.strength
    if use.strength_unit is StrengthUnit.PCT_WV:
        return use.strength * 10_000
    if product.density_kg_l is None:
        return Gap(
            said(
                '"{name}" is {strength:g} % w/w and its density is not given, so mg/L can\'t be said',
                name=product.name,
                strength=use.strength,
            ),
            said("Set density_kg_l from the safety data sheet, for the solution as it is used."),
        )
    return use.strength * 10_000 * product.density_kg_l
