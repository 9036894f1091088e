"""Products are used as their label says, and for nothing else."""

from collections.abc import Iterator
from typing import Final

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import LabelUse, ProductUse, StrengthUnit
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.unknown import unknown

_PERCENT: Final = (StrengthUnit.PCT_WV, StrengthUnit.PCT_WW)


def check_products(parts: Parts) -> Iterator[Fault]:
    """Yield labels that contradict themselves, and choices that a label does not allow."""
    for number, product in parts.products:
        at: KeyPath = ("products", number)
        if product.ph is not None and product.ph[0] > product.ph[1]:
            yield Fault((*at, "ph"), f"the lowest pH {product.ph[0]:g} is above the highest {product.ph[1]:g}", "Write [lowest, highest].")
        elif product.ph is not None and (product.ph[0] < 0 or product.ph[1] > 14):
            yield Fault(
                (*at, "ph"), f"a pH of {product.ph[0]:g} to {product.ph[1]:g} is outside 0 to 14", "Give the pH in use, from the label."
            )
        if (stock := product.concentrate) is not None and stock.strength > 100 and stock.strength_unit in _PERCENT:
            seen = f"{stock.strength:g} {stock.strength_unit} is more than 100 %"
            yield Fault((*at, "concentrate", "strength"), seen, "Correct strength or strength_unit.")
        for use_number, use in enumerate(product.uses):
            yield from _label(use, (*at, "uses", use_number))
    yield from _chosen(parts)


def _label(use: LabelUse, at: KeyPath) -> Iterator[Fault]:
    low, high = use.temperature_c
    if low > high:
        yield Fault(
            (*at, "temperature_c"), f"the lowest temperature {low:g} °C is above the highest {high:g} °C", "Write [lowest, highest]."
        )
    elif low < 0 or high > 100:
        yield Fault((*at, "temperature_c"), f"{low:g} to {high:g} °C is outside 0 to 100 °C", "Give the label's range in °C.")
    if use.strength is None and use.strength_unit is not StrengthUnit.READY:
        yield Fault((*at, "strength"), "strength is missing", f"Add strength = ...: the label's strength in {use.strength_unit}.")
    elif use.strength is not None and use.strength > 100 and use.strength_unit in _PERCENT:
        yield Fault((*at, "strength"), f"{use.strength:g} {use.strength_unit} is more than 100 %", "Correct strength or strength_unit.")


def _chosen(parts: Parts) -> Iterator[Fault]:
    choices: list[tuple[KeyPath, str | None, ProductUse]] = []
    if parts.in_use is not None:
        choices += [(("in_use", use.name.lower()), getattr(parts.in_use, use.name.lower()), use) for use in ProductUse]
    choices += [(("chairs", n, "supply", "product"), chair.supply.product, ProductUse.LINE_CONTINUOUS) for n, chair in parts.chairs]
    readable = {product.id: product for _, product in parts.products}
    for path, name, use in choices:
        if name is None:
            continue
        if name not in parts.ids["products"]:
            yield unknown(path, "product", name, parts.ids["products"])
        elif name in readable and len(entries := [labelled for labelled in readable[name].uses if labelled.use is use]) > 1:
            yield Fault(
                path,
                f'"{name}" has {len(entries)} label uses for "{use}", so its contact time can\'t be said',
                "Leave only the strength and contact time that are in use here.",
                "warning",
            )
        elif name in readable and use not in {labelled.use for labelled in readable[name].uses}:
            allowed = ", ".join(sorted({labelled.use.value for labelled in readable[name].uses}))
            yield Fault(
                path,
                f'the label of "{name}" does not allow "{use}", only: {allowed}',
                "Choose a product whose label names this use; off-label use is not planned.",
            )
