"""From a practice to its rulebook: the packs it names, what these build on, and its own layer on top."""

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date

from fettlebook.errors import Finding, Mendable
from fettlebook.practice.load import Loaded
from fettlebook.practice.model import Practice
from fettlebook.practice.place import Fault, name_place, where
from fettlebook.rules.conflicts import BARRED, conflicts
from fettlebook.rules.duties import duties_of
from fettlebook.rules.model import Rulebook
from fettlebook.rules.own import GROUP, OWN, in_force, own_rows, own_steps, stray, stray_measures
from fettlebook.rules.pack import Pack
from fettlebook.rules.rows import limits_of, requirements_of, rows_in_force
from fettlebook.rules.shelf import bundled_pack, order_layers, pack_names, unknown_pack


@dataclass(frozen=True, slots=True)
class Laid:
    """The layers laid over each other, and what of the practice's own layer was refused.

    `rulebook` is None where a pack is unknown. Where an own value was refused, the layer below stays in force.
    """

    rulebook: Rulebook | None
    faults: tuple[Fault, ...]

    @property
    def barred_by_law(self) -> bool:
        """Whether a product in use is barred by a law in force; the rulebook's notes say which."""
        return self.rulebook is not None and any(note.startswith(BARRED) for note in self.rulebook.notes)


def load_rulebook(practice: Practice, on: date | None = None, *, loaded: Loaded | None = None) -> Rulebook:
    """Return what is in force for a practice.

    Parameters
    ----------
    practice
        The checked practice file.
    on
        Day that the rules are asked for: only rows valid on it are laid. Left out: the newest rows.
    loaded
        The practice file as it was read, so that findings name file and line; left out: the field alone.

    Raises
    ------
    Mendable
        A pack is unknown, or the practice's own layer holds a value that can't stand; all findings at once.
    """
    laid = lay_rulebook(practice, on)
    if laid.rulebook is None or laid.faults:
        raise Mendable.of(findings_of(practice, laid.faults, loaded))
    return laid.rulebook


def lay_rulebook(practice: Practice, on: date | None = None) -> Laid:
    """Return the rulebook together with what was refused, as key paths of the practice file."""
    strays = tuple(
        Fault(("practice", "rulebooks", number), (unknown := unknown_pack(name, "")).what, unknown.mend)
        for number, name in enumerate(practice.practice.rulebooks)
        if name not in pack_names()
    )
    if strays:
        return Laid(None, strays)
    return lay_packs(practice, tuple(bundled_pack(name) for name in order_layers(practice.practice.rulebooks)), on)


def lay_packs(practice: Practice, packs: Sequence[Pack], on: date | None = None) -> Laid:
    """Lay packs over each other, lowest first, and the practice's own layer on top."""
    own = practice.own_rules
    rows, row_faults = own_rows(own, rows_in_force(packs, on), on)
    duties, step_faults = own_steps(own, duties_of(packs, rows, practice), rows, on)
    elsewhere = _not_in_force(packs, on)
    strays = [*stray(own, duties, rows, elsewhere), *stray_measures(practice.measured, duties, elsewhere)]
    faults = [*row_faults, *step_faults, *strays]
    layers = tuple(pack.pack.id for pack in packs)
    rulebook = Rulebook(
        layers=(*layers, *_own_layers(practice, on)),
        duties=duties,
        limits=limits_of(rows.values()),
        notes=conflicts(practice, packs, rows),
        requirements=requirements_of(rows.values()),
        on=on,
    )
    return Laid(rulebook, tuple(sorted(faults, key=lambda fault: [str(part) for part in fault.path])))


def _own_layers(practice: Practice, on: date | None) -> tuple[str, ...]:
    holds = {rule.shared for rule in practice.own_rules if in_force(rule, on)}
    return tuple(name for name, shared in ((GROUP, True), (OWN, False)) if shared in holds)


def findings_of(practice: Practice, faults: Sequence[Fault], loaded: Loaded | None = None) -> tuple[Finding, ...]:
    """Return faults as findings: with file and line where `loaded` tells them, else with the field alone."""
    data: dict[str, object] = {
        "practice": {"rulebooks": list(practice.practice.rulebooks)},
        "measured": [{"step": entry.step} for entry in practice.measured],
        "own_rules": [{"id": rule.id} for rule in practice.own_rules],
    }
    return tuple(
        Finding(
            fault.what,
            where(loaded.file, loaded.lines, data, fault.path) if loaded else f"practice file, {name_place(data, fault.path)}",
            fault.mend,
            fault.weight,
        )
        for fault in faults
    )


def _not_in_force(packs: Sequence[Pack], on: date | None) -> dict[str, str]:
    """Return ids that packs hold but that aren't in force here, each with why."""
    laid = {pack.pack.id for pack in packs}
    why: dict[str, str] = {}
    for name in pack_names():
        pack = bundled_pack(name)
        reason = "its treatment is not in use here ([in_use])" if name in laid else f'it belongs to pack "{name}"'
        steps = [step for duty in pack.duty for step in duty.steps] + list(pack.added_step)
        why |= {step.id: reason for step in steps}
        dated = f"it doesn't hold on {on.isoformat()}" if on and name in laid else "it no longer holds" if name in laid else reason
        why |= {row.id: dated for row in pack.requirement}
    return why
