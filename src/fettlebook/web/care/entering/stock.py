"""Forms of the stock: counted, delivered, a package opened, a solution mixed."""

from collections.abc import Sequence

from fettlebook.book.kinds import Data, ProductOpened, SolutionMixed, StockCounted, StockReceived, from_ms
from fettlebook.said import said
from fettlebook.standing.look import Look
from fettlebook.web.care.entering.asks import Ask, Choices, Entering, amount, chairs_and_machines, chosen, lot_of, made
from fettlebook.web.care.entering.package import is_past, package_asks, products, read_held
from fettlebook.web.forms import Form

MOST_PACKAGES, MOST_ML, UL = 10_000, 1_000_000, 1000
CONTENT = Ask("content", said("One package holds"), unit="mL", hint=said("May be left empty; with it, litres are reckoned."))


def _ask_counted(look: Look) -> Sequence[Ask]:
    return (
        Ask("product", said("Product"), "choice", choices=products(look)),
        Ask("packages", said("Closed packages")),
        CONTENT,
        Ask("open", said("Left in the open one"), unit="mL", hint=said("May be left empty.")),
    )


def _content(form: Form) -> int | None:
    return amount(form, "content", (0.001, MOST_ML), times=UL, may_lack=True)


def _read_counted(form: Form, look: Look) -> Data | None:
    fields = {
        "product": chosen(form, "product", products(look)), "packages": amount(form, "packages", (0, MOST_PACKAGES)),
        "package_ul": _content(form), "open_ul": amount(form, "open", (0, MOST_ML), times=UL, may_lack=True),
    }  # fmt: skip
    return made(form, StockCounted, fields)


def _ask_received(look: Look) -> Sequence[Ask]:
    return (*package_asks(look), Ask("packages", said("How many packages"), value="1"), CONTENT)


def _read_received(form: Form, look: Look) -> Data | None:
    held = read_held(form, look)
    fields = {
        "product": held.product, "lot": held.lot, "use_by": held.use_by, "packages": amount(form, "packages", (1, MOST_PACKAGES)),
        "package_ul": _content(form),
    }  # fmt: skip
    return made(form, StockReceived, fields)


def _read_opened(form: Form, look: Look) -> Data | None:
    held = read_held(form, look)
    if held.lot is None:
        form.refuse("lot", said("nothing was entered"), said("Type the lot from the package."))
    if is_past(held.use_by, look.basis.day_of(look.at)) and not form.text("past"):
        form.refuse(
            "use_by",
            said("{day} is past: not to be used", day=held.use_by),
            said("Put it aside. If it was opened all the same, tick below and enter it: what it touched must be found."),
        )
    return made(form, ProductOpened, {"product": held.product, "lot": held.lot, "use_by": held.use_by})


def _ask_opened(look: Look) -> Sequence[Ask]:
    return (*package_asks(look), Ask("past", said("opened although its last day is past"), "tick"))


def _into(look: Look) -> Choices:
    return [*chairs_and_machines(look), ("other", said("something else"))]


def _ask_mixed(look: Look) -> Sequence[Ask]:
    return (
        Ask("product", said("Product"), "choice", choices=products(look)),
        Ask("lot", said("Lot"), "words", hint=said("As the open package says.")),
        Ask("into", said("Mixed for"), "choice", choices=_into(look)),
        Ask("product_ml", said("Of the product"), unit="mL"),
        Ask("water_ml", said("Of water"), unit="mL"),
        Ask("strip", said("Strip"), unit="mg/L", hint=said("May be left empty.")),
    )


def _read_mixed(form: Form, look: Look) -> Data | None:
    into, _, name = (chosen(form, "into", _into(look)) or "").partition(":")
    strip = amount(form, "strip", (0, 1_000_000), may_lack=True)
    fields = {
        "solution": f"mix {from_ms(look.at, str(look.basis.zone)):%Y-%m-%d %H.%M.%S}", "product": chosen(form, "product", products(look)),
        "lot": lot_of(form), "chair": name if into == "chair" else None, "machine": name if into == "machine" else None,
        "product_ul": amount(form, "product_ml", (0, MOST_ML), times=UL), "water_ml": amount(form, "water_ml", (0, MOST_ML)),
        "readings": None if strip is None else {"strip_mg_l": strip},
    }  # fmt: skip
    return made(form, SolutionMixed, fields)


DOSED = said("by the product's label. Gloves and eye protection, fresh air, safety data sheet at hand; never mix products.")
COUNTED = Entering(
    "stock", "/water/stock", said("Enter a count"), said("A product was counted"), said("Look into every cupboard."), _ask_counted,
    _read_counted,
)  # fmt: skip
RECEIVED = Entering(
    "stock", "/water/stock", said("Enter a delivery"), said("Packages came"), said("One entry for each lot."), _ask_received,
    _read_received, keeps=("content",),
)  # fmt: skip
OPENED = Entering(
    "stock", "/water/stock", said("Enter an opened package"), said("A package was opened"),
    said("Write today's day on the package too: its life once opened begins now."), _ask_opened, _read_opened, DOSED,
)  # fmt: skip
MIXED = Entering(
    "stock", "/water/stock", said("Enter a mixed solution"), said("A solution was mixed"), said("What went in, and what the strip says."),
    _ask_mixed, _read_mixed, DOSED, ("product", "lot", "product_ml", "water_ml"),
)  # fmt: skip
