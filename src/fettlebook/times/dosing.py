"""The level that a product dosed into the water all day keeps: whether it can be reached, and when it is at the last outlet.

Held only while the dosing works and water is drawn. In standing water the level falls, and growth in the lines eats it:
neither is reckoned, so a strip at the last outlet decides.
"""

from dataclasses import dataclass

from fettlebook.practice.model import Chair, Practice, ProductUse, SupplyKind
from fettlebook.said import said
from fettlebook.times.label import Gap, Label, feed_strength_mg_l, label_of


@dataclass(frozen=True, slots=True)
class Level:
    """What the dosing keeps and what the label asks for [mg/L]; `missing` is the share of the kept level that may be missing."""

    label: Label
    kept_mg_l: float
    asked_mg_l: float
    missing: float


def dosed_level(practice: Practice, chair: Chair, fill_missing: float) -> Level | Gap | None:
    """Return the level of a chair with dosed water, why it can't be reached or said, or None where nothing is dosed.

    Parameters
    ----------
    practice
        The practice file.
    chair
        The chair.
    fill_missing
        Share that may be missing at the last outlet where the dosing keeps no more than the label asks for.
    """
    supply = chair.supply
    own = supply.product if supply.kind is SupplyKind.DOSING else None
    chosen = own or practice.in_use.line_continuous
    if chosen is None:
        return None
    field = said('supply.product of chair "{id}"', id=chair.id) if own else "in_use.line_continuous"
    label = label_of(practice, chosen, ProductUse.LINE_CONTINUOUS, field=field)
    if isinstance(label, Gap):
        return label
    asked = feed_strength_mg_l(label)
    if isinstance(asked, Gap):
        return asked
    kept = supply.strength_mg_l if supply.kind is SupplyKind.DOSING else asked  # into a bottle it goes by the label
    if kept is None:
        return Gap(
            said('the practice file does not say which strength the dosing of chair "{id}" keeps', id=chair.id),
            said("Read it from the dosing device or measure it, and set supply.strength_mg_l."),
        )
    if kept < asked:
        return Gap(
            said(
                'the dosing of chair "{id}" keeps {kept:g} mg/L and the label of "{name}" asks for {asked:g} mg/L, so no running time '
                "ever reaches it",
                id=chair.id,
                kept=kept,
                name=label.product.name,
                asked=asked,
            ),
            said("Have the dosing set right, and correct supply.strength_mg_l."),
        )
    return Level(label, kept, asked, max(1.0 - asked / kept, fill_missing))
