"""Trade item numbers: the last digit of each must fit the others, or somebody slipped in typing it."""

from collections.abc import Iterator

from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault


def check_numbers(parts: Parts) -> Iterator[Fault]:
    """Yield trade item numbers whose check digit doesn't fit."""
    for name, numbered in (("sets", parts.sets), ("products", parts.products)):
        for number, one in numbered:
            if one.gtin is not None and not fits(one.gtin):
                mend = "Type it again from the package; the number under the bars is the whole of it."
                yield Fault((name, number, "gtin"), f"the last digit of {one.gtin} does not fit the others", mend)


def fits(gtin: str) -> bool:
    """Tell whether a GTIN's check digit is right. Source: GS1 General Specifications, check digit of the data structures [memory]."""
    return sum(int(digit) * (3 if place % 2 == 0 else 1) for place, digit in enumerate(gtin.zfill(14))) % 10 == 0
