"""Products from their labels. Nothing is invented: without a label's value the product is left out, and named as missing."""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from fettlebook.exchange.setup import reading
from fettlebook.exchange.setup.asking import Choice, Walk
from fettlebook.exchange.setup.draft import Draft
from fettlebook.practice.model import StrengthUnit
from fettlebook.said import said

T = TypeVar("T")
USES = ("line intensive", "suction", "surfaces", "line continuous")


def ask_products(walk: Walk, draft: Draft) -> None:
    """Ask for the product of each use, its label at hand."""
    words = {
        "line intensive": said("the water lines, filled in the evening and rinsed out"),
        "suction": said("the suction lines"),
        "surfaces": said("surfaces between visits"),
        "line continuous": said("the water lines, in the water all day"),
    }
    walk.part = said("Products, from their labels")
    at_hand = walk.ask(
        "products.labels",
        said("Of which products have you the label at hand?"),
        said(
            "The next questions copy it. Without a label nothing is entered: the product is named as missing, and its steps have no time."
        ),
        reading.listed,
        enter_words=said("of none"),
        choices=tuple(Choice(use, words[use]) for use in USES),
        many=True,
    )
    for use in USES:
        if use not in at_hand:
            if use != "line continuous":
                draft.left_out.append(said("the product for {use}: steps with it have no time until its label is entered", use=words[use]))
            continue
        key = f"product.{use}"
        name = walk.ask(
            key,
            said("Product for {use}: its name, as on the label", use=words[use]),
            said("Take the package in your hand: the next questions copy its label."),
            reading.text,
        )
        product = _label(walk, key, name, use, [p["id"] for p in draft.products])
        if product is None:
            draft.left_out.append(said("{name}: its label was not at hand, so it was left out", name=name))
            continue
        draft.products.append(product)
        draft.in_use[use.replace(" ", "_")] = product["id"]


@dataclass(frozen=True)
class _Label:
    """The label of one product; `otherwise` is what an empty answer means."""

    walk: Walk
    key: str
    otherwise: str

    def says(self, item: str, text: str, why: str, read: Callable[[str], T], example: str = "") -> T | None:
        """Ask what it says; None where it says nothing, or is not at hand."""
        return self.walk.ask(f"{self.key}.{item}", text, why, reading.optional(read), enter_words=self.otherwise, example=example)


def _label(walk: Walk, key: str, name: str, use: str, taken: list[str]) -> dict[str, Any] | None:
    """Ask what the label says; None as soon as something that must be known is not."""
    label = _Label(walk, key, said("it is not on the label at hand: leave the product out"))
    active = label.says(
        "active",
        said("{name}: active substance", name=name),
        said("From the label or the safety data sheet. It decides how the rinse is reckoned."),
        reading.text,
        example="hydrogen peroxide",
    )
    if active is None:
        return None
    strength = label.says(
        "strength",
        said("{name}: strength in use", name=name),
        said("Number and unit as the label has them: 3 % w/v, 35 % w/w, 300 mg/L; ready where it is used as it comes and none is stated."),
        reading.strength,
        example="3 % w/v",
    )
    if strength is None:
        return None
    contact = label.says(
        "contact",
        said("{name}: contact time on the label", name=name),
        said("Number and unit: 10 min or 600 s. It is never shortened."),
        reading.seconds,
    )
    if contact is None:
        return None
    between = label.says(
        "degrees",
        said("{name}: lowest and highest temperature on the label, in °C", name=name),
        said("The range in which the label's contact time holds: 10-30."),
        reading.degrees,
    )
    if between is None:
        return None
    much, unit = strength
    labelled: dict[str, Any] = {"use": use} | ({} if much is None else {"strength": much})
    labelled |= {"strength_unit": str(unit), "contact_s": contact, "temperature_c": [float(t) for t in between]}
    product: dict[str, Any] = {"id": reading.id_of(name, taken, "product"), "name": name, "active": active}
    if unit is not StrengthUnit.READY:
        _mixed(walk, key, product, labelled)
    stated = _Label(walk, key, said("not stated"))
    opened = stated.says(
        "opened",
        said("{name}: days that it keeps once opened", name=name),
        said("From the label. Left out, nothing warns when an open package is too old."),
        reading.count(1, 3000),
    )
    if opened is not None:
        product["shelf_open_days"] = opened
    caution = walk.ask(
        f"{key}.caution",
        said("{name}: caution in the label's words", name=name),
        said("It is shown at each step with this product. Gloves, eye protection, ventilation, never mix."),
        _caution,
        enter_words=said("not copied; the label itself holds"),
    )
    if caution:
        product["caution"] = caution
    return product | {"uses": [labelled]}


def _mixed(walk: Walk, key: str, product: dict[str, Any], labelled: dict[str, Any]) -> None:
    """Ask what is stated where a product comes as a concentrate, and what is left in the line after it."""
    name = product["name"]
    stock = _Label(walk, key, said("ready mixed, or not stated")).says(
        "stock",
        said("{name}: strength as it comes in its bottle", name=name),
        said("With its unit. Leave it empty where it comes ready mixed, or where the label does not say it."),
        reading.strength,
    )
    if stock is not None and stock[0] is not None and stock[1] is not StrengthUnit.PCT_WW:
        product["concentrate"] = {"strength": stock[0], "strength_unit": str(stock[1])}
    if labelled["use"] == "line intensive":
        rinse = _Label(walk, key, said("not stated")).says(
            "rinse",
            said("{name}: shortest rinse that the label states", name=name),
            said("Number and unit: 2 min. The line's own need is reckoned beside it, and the longer one counts."),
            reading.seconds,
        )
        if rinse is not None:
            labelled["rinse_s"] = rinse
        left = _Label(walk, key, said("not stated: the rinse has no time until the maker was asked")).says(
            "left",
            said("{name}: most that may be left in the water after the rinse, in mg/L", name=name),
            said("From the label, its instructions or the maker. Without it nobody can say how long this line must be rinsed."),
            reading.value(0.001, 100_000, "mg/L"),
        )
        if left is not None:
            labelled["residual_limit_mg_l"] = left


def _caution(typed: str) -> str:
    if len(typed) > 300:
        raise reading.refuse(said("{n} signs are too many", n=len(typed)), said("Copy what matters at the chair, at most 300 signs."))
    return typed
