"""An outlet of a practice file, as it stands there and as a measurement would have it: what changes, and what to write."""

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fettlebook.errors import Mendable
from fettlebook.practice.edit import outlet_path, set_flow, set_strips, with_flow, with_strips
from fettlebook.practice.lines import KeyPath
from fettlebook.practice.load import Loaded, read_practice
from fettlebook.practice.model import Chair, Outlet, Practice, Strips
from fettlebook.rules.load import load_rulebook
from fettlebook.said import said
from fettlebook.science.flow import Flow
from fettlebook.times.calibrated import known_now
from fettlebook.times.changed import Change, changed_times
from fettlebook.times.line import outlet_groups
from fettlebook.times.promised import Assumed, Promise, assumed_flow, promises
from fettlebook.times.running import running_times


@dataclass(frozen=True, slots=True)
class Place:
    """An outlet in a practice file without errors; `text` is what the file holds."""

    loaded: Loaded
    text: bytes
    practice: Practice
    at: KeyPath

    @classmethod
    def of(cls, loaded: Loaded, text: bytes, chair_id: str | None, outlet_id: str | None) -> "Place":
        """Find the outlet; where there is one chair or one outlet only, it need not be named."""
        if loaded.practice is None:
            raise Mendable.of(loaded.errors)
        practice = loaded.practice
        chair = chair_id or (practice.chairs[0].id if len(practice.chairs) == 1 else "")
        if not chair:
            have = ", ".join(c.id for c in practice.chairs)
            raise Mendable(said("which chair was measured is not said"), where="--chair", mend=said("Choose one of: {have}.", have=have))
        outlets = next((c.outlets for c in practice.chairs if c.id == chair), ())
        if outlet_id is None and len(outlets) > 1:
            have = ", ".join(o.id for o in outlets)
            raise Mendable(
                said("which outlet of {chair} was measured is not said", chair=chair),
                where="--outlet",
                mend=said("Choose one of: {have}.", have=have),
            )
        return cls(loaded, text, practice, outlet_path(practice, chair, outlet_id or (outlets[0].id if outlets else "")))

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
    def line(self) -> int:
        """The line of the file on which the outlet's flow stands."""
        return self.loaded.line((*self.at, "flow_ml_min"))


@dataclass(frozen=True, slots=True)
class Meant:
    """What shall stand in the file after a measurement, and what that does to running times."""

    place: Place
    values: Mapping[str, Any]  # key -> value, as it is written
    text: bytes
    practice: Practice
    changes: tuple[Change, ...]
    promises: tuple[Promise, ...]
    assumed: Assumed | None = None  # of a flow: the range that was assumed, and the measured one

    @property
    def said(self) -> str:
        """The values as they are written."""
        return ", ".join(f"{key} = {value}" for key, value in self.values.items())


def flow_meant(place: Place, measured: Flow, day: date) -> Meant:
    """Return what a measured flow would put into the file.

    Raises
    ------
    Mendable
        The flow can't stand in a practice file: mistyped, or no such outlet has it.
    """
    flow = round(measured.flow_ml_min, 0 if measured.flow_ml_min >= 1000 else 1)
    within_pct = min(50.0, max(0.1, math.ceil(measured.expanded_share * 1000.0 - 1e-9) / 10.0))
    if not 0 < flow <= 5000:
        raise Mendable(
            said("a flow of {flow_ml_min:.3g} mL/min can't stand in a practice file (above 0 to 5,000)", flow_ml_min=measured.flow_ml_min),
            where="reading 1",
            mend=said("Were the mL or the seconds mistyped?"),
        )
    known = known_now(place.chair)
    outlet = next(o for o in known.outlets if o.id == place.outlet.id)
    values = {"flow_ml_min": f"{flow:.1f}", "measured_on": str(day), "flow_within_pct": f"{within_pct:.1f}"}
    assumed = assumed_flow(outlet, measured.low_ml_min, measured.high_ml_min)
    meant = _meant(place, values, set_flow(place.text, place.at, flow, day, within_pct), day, assumed)
    return replace(meant, practice=with_flow(place.practice, place.at, flow, day, within_pct))


def strips_meant(place: Place, strips: Strips, day: date) -> Meant:
    """Return what strips would put into the file."""
    said = ", ".join(f"{key} = {value}" for key, value in strips)
    meant = _meant(place, {"strips": f"{{ {said} }}"}, set_strips(place.text, place.at, strips), day)
    return replace(meant, practice=with_strips(place.practice, place.at, strips))


def _readable(text: bytes, file: str) -> Practice:
    again = read_practice(text, file)
    if again.practice is None:  # what may not stand in the file is refused before anything is said of times
        raise Mendable.of(again.errors)
    return again.practice


def _meant(place: Place, values: Mapping[str, Any], text: bytes, day: date, assumed: Assumed | None = None) -> Meant:
    practice = _readable(text, place.loaded.file)
    rulebook = load_rulebook(place.practice, on=day)
    before, after = (running_times(p, rulebook) for p in (place.practice, practice))
    kept = promises(before, after, place.chair.id, place.outlet.id)
    return Meant(place, values, text, practice, changed_times(before, after), kept, assumed)
