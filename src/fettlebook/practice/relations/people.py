"""Who works when, and whether somebody can do what must be done."""

from collections.abc import Iterator

from fettlebook.practice.lines import KeyPath
from fettlebook.practice.model import MachineKind, Role, Shift, Skill
from fettlebook.practice.parts import Parts
from fettlebook.practice.place import Fault
from fettlebook.practice.relations.week import Stretch, clock, first_overlap, seconds, stretches

_DAY_S = 86_400


def check_people(parts: Parts) -> Iterator[Fault]:
    """Yield the faults of shifts and breaks, and the skills that nobody has."""
    for number, person in parts.people:
        if not person.shifts:
            yield Fault(("people", number, "shifts"), "there is no shift, so nothing is planned for this person", "Add one.", "warning")
        week: list[Stretch] = []
        for shift_number, shift in enumerate(person.shifts):
            at: KeyPath = ("people", number, "shifts", shift_number)
            if fault := _times(shift, at):
                yield fault
                continue
            new = stretches(shift.days, shift.from_, shift.to, over_midnight=shift.over_midnight)
            if overlap := first_overlap(week, new):
                yield Fault(at, f"it overlaps another shift of the same person on {overlap}", "Join the two, or correct days and times.")
            week += new
            yield from _breaks(shift, at)
    if "people" in parts.whole:
        yield from _skills(parts)
        yield from _lead(parts)


def _times(shift: Shift, at: KeyPath) -> Fault | None:
    if shift.to <= shift.from_ and not shift.over_midnight:
        return Fault(
            (*at, "to"),
            f"the shift ends at {clock(shift.to)}, but begins at {clock(shift.from_)}",
            "Set over_midnight = true if it ends on the next day, or correct the times.",
        )
    if shift.over_midnight and shift.to > shift.from_:
        hours = 24 + (seconds(shift.to) - seconds(shift.from_)) / 3600
        return Fault((*at, "over_midnight"), f"the shift would last {hours:.3g} hours", "Take over_midnight out, or correct the times.")
    return None


def _breaks(shift: Shift, at: KeyPath) -> Iterator[Fault]:
    begin = seconds(shift.from_)
    end = seconds(shift.to) + (_DAY_S if shift.over_midnight else 0)
    known: list[tuple[int, int]] = []
    for number, (start, stop) in enumerate(shift.breaks):
        path: KeyPath = (*at, "breaks", number)
        text = f"the break from {clock(start)} to {clock(stop)}"
        low, high = seconds(start), seconds(stop)
        if shift.over_midnight:  # a break after midnight belongs to the next day
            low += _DAY_S if low < begin else 0
            high += _DAY_S if high <= begin else 0
        if high <= low:
            yield Fault(path, f"{text} ends before it begins", "Correct its times: [begin, end].")
        elif low < begin or high > end:
            yield Fault(
                path, f"{text} is outside the shift from {clock(shift.from_)} to {clock(shift.to)}", "Correct the break or the shift."
            )
        elif any(low < other_high and other_low < high for other_low, other_high in known):
            yield Fault(path, f"{text} overlaps another break", "Join the two, or correct their times.")
        known.append((low, high))


def _skills(parts: Parts) -> Iterator[Fault]:
    skills = {skill for _, person in parts.people for skill in person.skills}
    if Skill.CHAIRS not in skills:
        yield Fault(("people",), 'nobody has the skill "chairs"', "Add it to whoever turns the chairs over between visits.")
    if parts.sets and Skill.INSTRUMENTS not in skills:
        yield Fault(("people",), 'nobody has the skill "instruments"', "Add it to whoever cleans, packs and sterilizes the sets.")
    if any(machine.kind is MachineKind.STERILIZER for _, machine in parts.machines) and Skill.RELEASE not in skills:
        yield Fault(
            ("people",), 'nobody has the skill "release": a load is released by a person', "Add it to whoever may do it.", "warning"
        )


def _lead(parts: Parts) -> Iterator[Fault]:
    people = [person for _, person in parts.people]
    if any(person.role for person in people) and all(person.acts_as is not Role.LEAD for person in people):
        mend = 'Write role = "lead" with whoever leads infection prevention.'
        yield Fault(("people",), "roles are given, but nobody is lead: nobody could enrol a tablet or give out a PIN", mend)
