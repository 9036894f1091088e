"""A measured flow as a person reads it, held against the practice file."""

import math
import textwrap
from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import date
from pathlib import Path
from typing import Any

from fettlebook.errors import Mendable
from fettlebook.practice.edit import outlet_path, replace_practice_file, set_flow, with_flow
from fettlebook.practice.lines import KeyPath
from fettlebook.practice.load import Loaded, read_practice, read_practice_file
from fettlebook.practice.model import Chair, Outlet, Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.science.flow import CupPlan, Flow, Tools
from fettlebook.times.changed import Change, changed_times
from fettlebook.times.line import outlet_groups
from fettlebook.times.running import running_times
from fettlebook.times.words import clock, listed

WIDTH = 80


@dataclass(frozen=True, slots=True)
class Against:
    """The practice file that a flow is held against, and what would change in it."""

    path: Path
    text: bytes
    loaded: Loaded
    practice: Practice
    at: KeyPath
    measured: Flow | None = None
    day: date | None = None
    changes: tuple[Change, ...] = ()

    @classmethod
    def read(cls, path: Path, chair_id: str | None, outlet_id: str | None) -> "Against":
        """Read the file and find the outlet; every error of the file is told."""
        loaded = read_practice_file(path)
        if loaded.practice is None:
            raise Mendable.of(loaded.errors)
        text = path.read_bytes()
        if read_practice(text, path.name).digest != loaded.digest:
            raise Mendable("the file is being changed right now", where=str(path), mend="Do it again when it is saved.")
        practice = loaded.practice
        chair = chair_id or (practice.chairs[0].id if len(practice.chairs) == 1 else "")
        if not chair:
            raise Mendable(
                "which chair was measured is not said", where="--chair", mend=f"Choose one of: {', '.join(c.id for c in practice.chairs)}."
            )
        outlets = next((c.outlets for c in practice.chairs if c.id == chair), ())
        if outlet_id is None and len(outlets) > 1:
            have = ", ".join(o.id for o in outlets)
            raise Mendable(f"which outlet of {chair} was measured is not said", where="--outlet", mend=f"Choose one of: {have}.")
        return cls(path, text, loaded, practice, outlet_path(practice, chair, outlet_id or (outlets[0].id if outlets else "")))

    @property
    def chair(self) -> Chair:
        """The chair."""
        return self.practice.chairs[int(self.at[1])]

    @property
    def outlet(self) -> Outlet:
        """The outlet as it stands in the file."""
        return self.chair.outlets[int(self.at[3])]

    @property
    def water_c(self) -> float:
        """The practice's water temperature [degC]."""
        return self.practice.practice.water_temperature_c

    @property
    def together(self) -> tuple[str, ...]:
        """The outlets that are open while this one is measured."""
        groups = outlet_groups(self.chair, self.chair.outlets)
        return next(tuple(o.id for o in g) for g in groups if self.outlet in g)

    @property
    def new_flow(self) -> float:
        """The measured flow with the digits that make sense."""
        if self.measured is None:
            raise ValueError("nothing was measured")
        flow = self.measured.flow_ml_min
        return round(flow, 0 if flow >= 1000 else 1)

    @property
    def new_within_pct(self) -> float:
        """The range of the measured flow, up and down [%], rounded up to a tenth and no more than the file may say."""
        if self.measured is None:
            raise ValueError("nothing was measured")
        return min(50.0, max(0.1, math.ceil(self.measured.expanded_share * 1000.0 - 1e-9) / 10.0))

    @property
    def differs(self) -> bool:
        """Whether the file's flow lies outside the measured range."""
        return self.measured is not None and self.measured.differs_from(self.outlet.flow_ml_min)

    def with_measured(self, measured: Flow, day: date) -> "Against":
        """Return this with the measurement and the running times that it changes."""
        new = replace(self, measured=measured, day=day)
        if not 0 < new.new_flow <= 5000:
            raise Mendable(
                f"a flow of {measured.flow_ml_min:.3g} mL/min can't stand in a practice file (above 0 to 5,000)",
                where="reading 1",
                mend="Were the mL or the seconds mistyped?",
            )
        again = read_practice(set_flow(self.text, self.at, new.new_flow, day, new.new_within_pct), self.loaded.file)
        if again.practice is None:  # what may not stand in the file is refused before anything is said of times
            raise Mendable.of(again.errors)
        rulebook = load_rulebook(self.practice, on=day)
        before, after = (running_times(p, rulebook) for p in (self.practice, new._meant()))
        return replace(new, changes=changed_times(before, after))

    def write(self) -> None:
        """Put flow and day into the file."""
        if self.day is None:
            raise ValueError("nothing was measured")
        after = set_flow(self.text, self.at, self.new_flow, self.day, self.new_within_pct)
        replace_practice_file(self.path, self.loaded, self.text, after, self._meant())

    def _meant(self) -> Practice:
        if self.day is None:
            raise ValueError("nothing was measured")
        return with_flow(self.practice, self.at, self.new_flow, self.day, self.new_within_pct)


def page(found: Flow, tools: Tools, aim_pct: float, against: Against | None, *, explain: bool, wrote: bool, refused: bool) -> str:
    """Return the whole answer as text of 80 columns."""
    cups = len(found.readings)
    rows = [
        f"Flow: {found.flow_ml_min:.3g} mL/min, from {found.low_ml_min:.3g} to {found.high_ml_min:.3g} "
        f"(95 %, ±{found.expanded_share * 100:.0f} %), {cups} cup{'s' * (cups > 1)}"
    ]
    if explain:
        rows += [f"  {'what makes it unsure':<28}{'standard, mL/min':>18}"]
        rows += [f"  {cause.name:<28}{cause.standard:>18.2f}" for cause in found.causes]
        u = found.uncertainty
        rows += _wrapped([f"  together {u.standard:.2f}, times {u.factor:.2f} for 95 % (t factor, {_dof(u.dof)})"])
    rows += _wrapped(line for odd in found.odd for line in (f"Look: {odd.what}.", f"  {odd.mend}"))
    if found.expanded_share * 100 > aim_pct:
        rows += _wrapped([_aim(found, tools, aim_pct)])
    if against:
        rows += ["", *_wrapped(_compared(found, against)), *_changes(against), *_wrapped(_file(against, wrote=wrote, refused=refused))]
    rows += ["", *_wrapped(["Measure with the outlets open that are open in use, handpieces as in use: else the flow is another one."])]
    return "\n".join(rows)


def way_page(way: CupPlan | None, about: float, aim_pct: float, against: Against | None) -> str:
    """Return how to measure, before anything was."""
    if way is None:
        rows = [f"±{aim_pct:g} % can't be reached with this cup and watch at {about:g} mL/min: use a cup with finer lines, or weigh."]
    else:
        rows = [
            f"For ±{aim_pct:g} % at about {about:g} mL/min: {way.cups} cups of {clock(way.seconds)}, about {way.volume_ml:.0f} mL each.",
            "Fully open, 10 s into the bowl first, then the cup under it and the watch on together. Read at eye level.",
        ]
    if against:
        rows.append(f"Open together: {listed(against.together)}, as {against.chair.id} runs them.")
    return "\n".join(_wrapped(rows))


def _dof(dof: float) -> str:
    return f"{int(dof + 1e-9)} degrees of freedom" if dof < 1000 else "many degrees of freedom"


def _aim(found: Flow, tools: Tools, aim_pct: float) -> str:
    from fettlebook.science.flow import ENOUGH, FEW_SCATTER, way_to_measure  # noqa: PLC0415

    scatter = found.scatter_share if found.scatter_share is not None and len(found.readings) >= ENOUGH else FEW_SCATTER
    way = way_to_measure(aim_pct / 100, flow_ml_min=found.flow_ml_min, tools=tools, scatter_share=scatter)
    if way is None:
        return f"±{aim_pct:g} % can't be reached with this cup and watch: use a cup with finer lines, or weigh the water."
    return f"For ±{aim_pct:g} %: {way.cups} cups of {clock(way.seconds)}, about {way.volume_ml:.0f} mL each."


def _compared(found: Flow, against: Against) -> Iterable[str]:
    chair, outlet = against.chair, against.outlet
    invented = " (invented)" if against.practice.practice.invented else ""
    yield f"{against.practice.practice.name}{invented}, {chair.id}, {outlet.id}"
    yield f"Open together as in use: {listed(against.together)}."
    was = f"measured on {outlet.measured_on}" if outlet.measured_on else "not measured"
    off = found.flow_ml_min / outlet.flow_ml_min - 1
    amount = f"{abs(off) * 100:.0f} % {'more' if off > 0 else 'less'}"
    if against.differs:
        yield f"The file says {outlet.flow_ml_min:g} mL/min ({was}); measured is {amount}, more than the uncertainty."
    else:
        yield f"The file says {outlet.flow_ml_min:g} mL/min ({was}): within the uncertainty of this measurement."


def _changes(against: Against) -> Iterable[str]:
    if not against.changes:
        yield f"No running time of {against.chair.id} changes."
        return
    yield f"Running times of {against.chair.id} that change:"
    for change in against.changes:
        before, after = ("unknown" if s is None else clock(s) for s in (change.before_s, change.after_s))
        name = textwrap.shorten(f"{change.duty_name}: {change.name}", 50, placeholder=" ...")
        yield f"  {name:<52}{before:>7} -> {after:>7}  {change.set_by or ''}".rstrip()


def _file(against: Against, *, wrote: bool, refused: bool) -> Iterable[str]:
    line = against.loaded.line((*against.at, "flow_ml_min"))
    values = f"flow_ml_min = {against.new_flow:.1f}, measured_on = {against.day}, flow_within_pct = {against.new_within_pct:.1f}"
    if wrote:
        yield f"Written to {against.path.name} line {line}: {values}. Nothing else in it was touched."
    else:
        yield f"For {against.path.name} line {line}: {values}"
        if refused:
            yield "Not written, since the readings look odd. Measure again, or add --even-so."
        else:
            yield "To put it there: the same command with --write."


def _wrapped(rows: Iterable[str]) -> list[str]:
    wrapped: list[str] = []
    for row in rows:
        indent = " " * (len(row) - len(row.lstrip()))
        wrapped += textwrap.wrap(row, WIDTH, initial_indent="", subsequent_indent=indent + "  ", break_on_hyphens=False) or [""]
    return wrapped


def as_data(found: Flow, against: Against | None, *, wrote: bool) -> dict[str, Any]:
    """Return the answer as JSON data."""
    data: dict[str, Any] = {
        "form": 1,
        "flow_ml_min": found.flow_ml_min,
        "low_ml_min": found.low_ml_min,
        "high_ml_min": found.high_ml_min,
        "confidence": 0.95,
        "standard_ml_min": found.uncertainty.standard,
        "degrees_of_freedom": None if found.uncertainty.dof == float("inf") else found.uncertainty.dof,
        "factor": found.uncertainty.factor,
        "causes": [{"name": c.name, "standard_ml_min": c.standard} for c in found.causes],
        "readings": [{"volume_ml": r.volume_ml, "seconds": r.seconds, "flow_ml_min": r.flow_ml_min} for r in found.readings],
        "odd": [{"what": f.what, "where": f.where, "mend": f.mend} for f in found.odd],
    }
    if against:
        outlet = against.outlet
        data["practice_file"] = {
            "practice": against.practice.practice.id,
            "invented": against.practice.practice.invented,
            "chair": against.chair.id,
            "outlet": outlet.id,
            "line": against.loaded.line((*against.at, "flow_ml_min")),
            "was_ml_min": outlet.flow_ml_min,
            "was_measured_on": outlet.measured_on.isoformat() if outlet.measured_on else None,
            "new_ml_min": against.new_flow,
            "measured_on": str(against.day),
            "within_pct": against.new_within_pct,
            "differs": against.differs,
            "wrote": wrote,
            "changes": [
                {"duty": c.duty_name, "step": c.step_id, "before_s": c.before_s, "after_s": c.after_s, "set_by": c.set_by}
                for c in against.changes
            ],
        }
    return data
