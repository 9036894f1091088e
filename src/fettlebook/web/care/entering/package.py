"""A scanned package: its product by the trade item number, lot and last day as the code has them, never against what was typed."""

import re
from dataclasses import dataclass
from datetime import date

from fettlebook.errors import Mendable
from fettlebook.exchange.paper.gs1 import read_package
from fettlebook.practice.model import Product
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.web.care.entering.asks import SCANNED, Ask, Choices, chosen, lot_of
from fettlebook.web.forms import Form

BY_CODE = "by the code"
RUN_ON = re.compile(r"\d{6}\Z")  # a day, where the scanner dropped the sign before it


@dataclass(frozen=True, slots=True)
class Held:
    """What the form says of a package."""

    product: str | None
    lot: str | None
    use_by: str | None


def package_asks(look: Look) -> tuple[Ask, ...]:
    """Return the fields of a package."""
    return (
        Ask(
            SCANNED, said("Scan the package"), "code", hint=said("GS1 code; it fills product, lot and last day. Without a scanner: below.")
        ),
        Ask("product", said("Product"), "choice", choices=_choices(look)),
        Ask("lot", said("Lot"), "words"),
        Ask("use_by", said("Last day printed on it"), "day"),
    )


def products(look: Look) -> Choices:
    """Return the products of the practice file, to choose from."""
    return [(p.id, p.name) for p in look.basis.practice.products]


def _choices(look: Look) -> Choices:
    return [(BY_CODE, said("as the code says")), *products(look)]


def read_held(form: Form, look: Look) -> Held:
    """Return product, lot and last day by code and fields; where the two differ the form says so."""
    typed = chosen(form, "product", _choices(look))
    product, lot, day = None if typed == BY_CODE else typed, lot_of(form), form.day("use_by", "last day")
    code = form.text(SCANNED)
    if not code:
        if typed == BY_CODE:
            form.refuse("product", said("no code was scanned"), said("Scan the package, or choose the product."))
        return Held(product, lot, None if day is None else f"{day}")
    try:
        package = read_package(code)
    except Mendable:
        form.refuse(
            SCANNED,
            said("this is no GS1 code, or a field of it is broken"),
            said("Scan again; where it stays so, empty the field and type."),
        )
        return Held(product, lot, None)
    found = _product(form, look, package.gtin, product)
    if package.lot and package.use_by is None and RUN_ON.search(package.lot):
        form.refuse(
            SCANNED,
            said("the lot reads {lot}: the scanner may have dropped the sign that ends it", lot=package.lot),
            said("Empty the field and type lot and last day from the package."),
        )
    lot = _same(form, "lot", lot, package.lot)
    last = _same(form, "use_by", None if day is None else f"{day}", None if package.use_by is None else f"{package.use_by}")
    return Held(found, lot, last)


def _product(form: Form, look: Look, gtin: str | None, typed: str | None) -> str | None:
    known: Product | None = next(
        (p for p in look.basis.practice.products if gtin is not None and p.gtin is not None and p.gtin.zfill(14) == gtin), None
    )
    if known is None and typed is None:
        form.refuse(
            "product",
            said("no product of the practice file has the number {gtin}", gtin=gtin or "?"),
            said("Choose the product; put gtin into the practice file and the next scan finds it."),
        )
    elif known is not None and typed is not None and known.id != typed:
        form.refuse(
            "product", said("the code is of {name}", name=known.name), said("Look at the package: choose what it is, or scan again.")
        )
    return typed if known is None else known.id


def _same(form: Form, name: str, typed: str | None, coded: str | None) -> str | None:
    if typed is not None and coded is not None and typed != coded:
        form.refuse(name, said("the code says {coded}", coded=coded), said("Empty this field, or the code."))
    return typed or coded


def is_past(use_by: str | None, today: date) -> bool:
    """Tell whether a package's last day is over."""
    return use_by is not None and date.fromisoformat(use_by) < today
