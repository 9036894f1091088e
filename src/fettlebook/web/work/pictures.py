"""Which of our own drawings says more than words at a step; by what the step is, never by its id, so that own rules get them too."""

from fettlebook.plan.work_model import Work
from fettlebook.rules.model import Computed, Step


def picture_of(work: Work) -> str:
    """Return the name of a drawing in `work_pictures.html`; empty where words do."""
    if work.kind == "instruments":
        return "pack" if work.name == "pack" else "machine"
    return _of_rule(work.rule) if work.rule is not None else "machine"


def _of_rule(step: Step) -> str:
    found = (
        ("acts", step.computes is Computed.CONTACT),
        ("strip", "strip reading" in step.evidence and step.only != "bottle"),
        ("suction", step.only == "suction"),
        ("surface", step.computes is Computed.SURFACE_WET or step.product == "surfaces"),
        ("bottle", step.only == "bottle" or step.product == "line intensive"),
        (
            "outlets",
            step.computes in (Computed.FLUSH, Computed.FILL, Computed.RINSE) or (step.outlets != "none" and "water" in step.medium),
        ),
        ("box", "set scans" in step.evidence),
        ("pack", "pack scans" in step.evidence),
    )
    return next((name for name, holds in found if holds), "")
