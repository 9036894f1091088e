"""What in the practice file does not do what its writer thinks, as far as running times go."""

from difflib import get_close_matches

from fettlebook.errors import Finding
from fettlebook.practice.model import Practice
from fettlebook.rules.model import Rulebook
from fettlebook.said import said


def stray_measurements(practice: Practice, rulebook: Rulebook) -> tuple[Finding, ...]:
    """Return the measured minutes that belong to no step in force, each with the nearest name."""
    steps = [s.id for d in rulebook.duties for s in d.steps]
    found = []
    for number, measured in enumerate(practice.measured):
        if measured.step not in steps:
            near = get_close_matches(measured.step, steps, n=1)
            mend = said('Did you mean "{near}"?', near=near[0]) if near else said("Take the step's id from `fettlebook rules`.")
            found.append(
                Finding(
                    said('"{step}" is no step in force, so its minutes are not used', step=measured.step),
                    f"measured[{number}].step",
                    mend,
                    "warning",
                )
            )
    return tuple(found)
