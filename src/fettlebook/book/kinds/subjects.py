"""Which subjects an entry touches: read off its data by one rule, so that everybody finds the same entries under a subject."""

from collections.abc import Iterator
from functools import cache
from typing import Any, Final

from fettlebook.book.kinds.forms import Data, OtherData

PRACTICE: Final = "practice:all"

# field of the data -> how its subject begins
_ONE: Final = {
    "chair": "chair:",
    "machine": "machine:",
    "load": "load:",
    "unit": "unit:",
    "pack": "pack:",
    "visit": "visit:",
    "sample": "sample:",
    "solution": "solution:",
    "person": "person:",
    "day": "day:",
}
_MANY: Final = {"units": "unit:", "packs": "pack:"}
_OF_CHAIR: Final = {"outlets": "outlet:", "suction": "suction:"}


def subjects_of(data: Data) -> tuple[str, ...]:
    """Return the subjects that an entry with this data touches, each once, in a fixed order.

    Notes
    -----
    ============================  ==============================================
    field of the data             subject
    ============================  ==============================================
    chair                         `chair:chair 1`
    outlets (with chair)          `outlet:chair 1/turbine`, one each
    suction (with chair)          `suction:chair 1/high volume`, one each
    machine                       `machine:sterilizer 1`
    load                          `load:2026-03-02 s1 4`
    unit, units, items[].unit     `unit:exam#3`
    pack, packs, items[].pack     `pack:P00412`
    visit                         `visit:v_...`
    sample                        `sample:W-2026-03`
    solution                      `solution:m7`
    product with lot              `product:line h2o2/L2307`
    product without lot           `product:line h2o2`
    person                        `person:ana`
    day                           `day:2026-03-02`
    notice; a duty's step without `practice:all`
    chair and machine
    ============================  ==============================================

    An entry about an outlet touches its chair too. Kinds of a newer program give none: their maker names them. Ids never hold
    `/` or `#`, so what stands before these signs is the id.
    """
    return () if isinstance(data, OtherData) else tuple(dict.fromkeys(_subjects(data)))


@cache
def _named(kind: type[Data]) -> tuple[tuple[str, str], ...]:
    """Return the fields of a kind that name one subject, with how it is written."""
    return tuple((name, written) for name, written in _ONE.items() if name in kind.model_fields)


@cache
def _listed(kind: type[Data]) -> tuple[tuple[str, str], ...]:
    return tuple((name, written) for name, written in (_OF_CHAIR | _MANY).items() if name in kind.model_fields)


def _subjects(data: Data) -> Iterator[str]:
    kind = type(data)
    said: dict[str, Any] = data.__dict__
    for name, written in _named(kind):
        if (value := said[name]) is not None:
            yield written + value
    for name, written in _listed(kind):
        for one in said[name] or ():
            yield f"{written}{said['chair']}/{one}" if name in _OF_CHAIR else written + one
    for item in said.get("items") or ():
        yield f"unit:{item.unit}"
        if item.pack is not None:
            yield f"pack:{item.pack}"
    if (product := said.get("product")) is not None:
        lot = said.get("lot")
        yield f"product:{product}/{lot}" if lot is not None else f"product:{product}"
    if "notice" in said or ("duty" in said and said.get("chair") is None and said.get("machine") is None):
        yield PRACTICE
