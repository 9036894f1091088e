"""All relations of a practice file: what hangs on what, who is where when, what uses which.

The models refuse what is wrong within one part; here stands what only shows between parts. Errors keep the file from being
used; warnings tell what the program will do with something that is unusual but possible.
"""

from fettlebook.practice.model import Practice
from fettlebook.practice.parts import Parts, parts_of_practice
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.calendar import check_calendar
from fettlebook.practice.relations.chairs import check_chairs
from fettlebook.practice.relations.hours import check_hours
from fettlebook.practice.relations.ids import check_ids
from fettlebook.practice.relations.instruments import check_instruments
from fettlebook.practice.relations.numbers import check_numbers
from fettlebook.practice.relations.people import check_people
from fettlebook.practice.relations.products import check_products
from fettlebook.practice.relations.rulebook import check_rulebook


def check_practice(practice: Practice) -> tuple[Fault, ...]:
    """Return every fault between the parts of a practice, with key paths as in its file; empty when all is in order."""
    return check_parts(parts_of_practice(practice))


def check_parts(parts: Parts) -> tuple[Fault, ...]:
    """Return every fault between those parts of a file that could be read."""
    checks = (
        check_ids, check_rulebook, check_hours, check_chairs, check_instruments, check_numbers, check_people, check_products,
        check_calendar,
    )  # fmt: skip
    return tuple(fault for check in checks for fault in check(parts))
