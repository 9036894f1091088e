"""The form for mixing by jug: product and litres in, amounts and cautions out; what may not be mixed is refused with its reason."""

from datetime import datetime

from fettlebook.errors import Mendable
from fettlebook.practice.model import Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.said import said
from fettlebook.times.mix_order import Order, Package, order
from fettlebook.times.readings import stated
from fettlebook.web.forms import Form

_FIELDS = {
    "litres": "litres",
    "--use": "use",
    "--product": "product",
    "strength": "strength",
    "--strength": "strength",
    "opened": "opened",
    "expires": "expires",
    "measure": "measure_ml",
    "measure_ml": "measure_ml",
    "jug": "jug_ml",
    "jug_ml": "jug_ml",
}


def mix_answer(form: Form, practice: Practice, now: datetime) -> Order | None:
    """Return the mix, or None where a field is wrong or the mix is refused; the form then tells why."""
    litres = form.number("litres", "litres")
    measure_ml = form.number("measure_ml", said("lines of the measure"), otherwise=1.0)
    jug_ml = form.number("jug_ml", said("lines of the jug"), otherwise=50.0)
    opened, expires = form.day("opened", said("package opened on")), form.day("expires", said("package good until"))
    if not form.good or litres is None or measure_ml is None or jug_ml is None:
        return None
    try:
        return order(
            practice,
            load_rulebook(practice, on=now.date()),
            product_id=form.text("product") or None,
            use_name=form.text("use"),
            batch_ml=litres * 1000.0,
            asked=stated(form.text("strength")) if form.text("strength") else None,
            measure_ml=measure_ml,
            jug_ml=jug_ml,
            at=now,
            package=Package(opened, expires),
        )
    except Mendable as error:
        form.take(error.findings, _FIELDS)
        return None
