"""What was promised on a value in the practice file, held against a measurement: which running times still hold.

A running time holds in 95 of 100 cases because an outlet's flow is taken to lie within some per cent of what the file says.
A measurement shows whether it does; and whether each promised time is still long enough, since rule and label often leave room.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from fettlebook.practice.model import Outlet
from fettlebook.times.model import RunningTime, SetBy
from fettlebook.times.sure import flow_share

Stands = Literal["inside", "partly outside", "outside"]


@dataclass(frozen=True, slots=True)
class Promise:
    """One step that runs through the outlet: what it was promised to take, and what the outlet needs by the measurement.

    `promised_s` is the time of the outlet's group; `needs_s` holds in 95 of 100 cases. None where no time can be said.
    """

    duty_name: str
    step_id: str
    name: str
    promised_s: int | None
    set_by: SetBy | None
    needs_s: float | None

    @property
    def holds(self) -> bool:
        """Whether the promised time is long enough; what can't be said doesn't hold."""
        return self.promised_s is not None and self.needs_s is not None and self.needs_s <= self.promised_s + 1e-6


@dataclass(frozen=True, slots=True)
class Assumed:
    """The range in which a value was taken to lie when times were promised, and the range of its measurement."""

    value: float
    low: float
    high: float
    measured_low: float
    measured_high: float

    @property
    def stands(self) -> Stands:
        """How the measurement stands to what was assumed."""
        if self.measured_high < self.low or self.measured_low > self.high:
            return "outside"
        return "inside" if self.low <= self.measured_low and self.measured_high <= self.high else "partly outside"


def assumed_flow(outlet: Outlet, low_ml_min: float, high_ml_min: float) -> Assumed:
    """Return the range in which running times take the outlet's flow to lie [mL/min], beside the measured one."""
    share, flow = flow_share(outlet), outlet.flow_ml_min
    return Assumed(flow, flow * (1.0 - share), flow * (1.0 + share), low_ml_min, high_ml_min)


def promises(before: Sequence[RunningTime], after: Sequence[RunningTime], chair_id: str, outlet_id: str) -> tuple[Promise, ...]:
    """Return every step of `before` that runs through the outlet, held against what it needs in `after`."""
    now = {(t.chair, t.duty_id, t.step_id): t for t in after}
    found: list[Promise] = []
    for time in before:
        if time.chair != chair_id or not any(o.outlet == outlet_id for o in time.outlets):
            continue
        group = next((g for g in time.groups if outlet_id in g.outlets), None)
        then = now.get((time.chair, time.duty_id, time.step_id))
        needs = next((o.seconds for o in then.outlets if o.outlet == outlet_id), None) if then else None
        found.append(
            Promise(time.duty_name, time.step_id, time.name, group.seconds if group else None, group.set_by if group else None, needs)
        )
    return tuple(found)
