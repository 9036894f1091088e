"""The running times of one chair, arranged for reading: by duty, each step with what set it and by how much."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fettlebook.said import said
from fettlebook.times.model import DutyTotal, RunningTime, SetBy
from fettlebook.times.totals import duty_totals
from fettlebook.web.wording import length

SET_BY: Final[dict[SetBy, str]] = {
    "rule": said("the rule"),
    "label": said("the label"),
    "line": said("the line"),
    "fixed": said("the rule, fixed"),
    "measured": said("your stop-watch"),
    "usual": said("usual figure"),
}


@dataclass(frozen=True, slots=True)
class StepRow:
    """One step with its time."""

    number: int  # its place in the duty
    anchor: str
    time: RunningTime
    set_by: str
    margin: str  # how much longer than what would set it otherwise


@dataclass(frozen=True, slots=True)
class DutyTimes:
    """The steps of one duty on one chair."""

    total: DutyTotal
    steps: tuple[StepRow, ...]  # set by rule, label or line: those that have a why
    by_hand: tuple[StepRow, ...]

    @property
    def usual(self) -> int:
        """How many steps by hand have only a usual figure."""
        return sum(row.time.set_by == "usual" for row in self.by_hand)


def duties_of(chair: str, times: Iterable[RunningTime]) -> tuple[DutyTimes, ...]:
    """Return a chair's duties with their steps, in rulebook order."""
    own = tuple(time for time in times if time.chair == chair)
    found = []
    for total in duty_totals(own):
        rows = [_row(n, time) for n, time in enumerate((t for t in own if t.duty_id == total.duty_id), 1)]
        found.append(DutyTimes(total, tuple(r for r in rows if not _plain(r.time)), tuple(r for r in rows if _plain(r.time))))
    return tuple(found)


def _plain(time: RunningTime) -> bool:
    return time.attended and time.set_by in ("usual", "measured", "fixed")


def _row(number: int, time: RunningTime) -> StepRow:
    set_by = SET_BY[time.set_by] if time.set_by else ""
    margin = ""
    if time.margin_s is not None and time.runner_up:
        other = SET_BY[time.runner_up]
        margin = (
            said("{margin_s} more than {other} asks", margin_s=length(time.margin_s), other=other)
            if time.margin_s
            else said("{other} asks the same", other=other)
        )
    return StepRow(number, anchor(time.step_id), time, set_by, margin)


def anchor(step_id: str) -> str:
    """Return the place of a step on the page of running times."""
    return f"step-{step_id}".replace(".", "-").replace(" ", "-")
