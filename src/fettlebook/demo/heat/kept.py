"""Logs of an invented sterilizer for an invented life: of each cycle that failed, and of the first good one of a month.

A log of every cycle would make a year's book a hundred times as large as its entries.
"""

from dataclasses import dataclass, field
from typing import Final, Literal

from fettlebook.book.kinds import HeldFile, digest_of, from_ms
from fettlebook.demo.heat.faults import make_log
from fettlebook.demo.heat.record import as_csv
from fettlebook.practice.model import Machine, MachineKind

FAULTS_IN_TURN: Final = ("short hold", "air left", "stopped in the plateau", "dip")


@dataclass
class KeptLogs:
    """Gives the logs and keeps their bytes by digest, for the book they go into."""

    files: dict[str, bytes] = field(default_factory=dict)
    _months: set[tuple[str, str]] = field(default_factory=set)

    def log(
        self, machine: Machine, cycle: str, began: int, *, good: bool
    ) -> tuple[HeldFile, Literal["fit", "unfit"], tuple[str, ...]] | None:
        """Return the log of one cycle; None where none is kept."""
        month = (machine.id, from_ms(began).strftime("%Y-%m"))
        if machine.kind is not MachineKind.STERILIZER or (good and month in self._months):
            return None
        if good:
            self._months.add(month)
        fault = "good" if good else FAULTS_IN_TURN[began // 60_000 % len(FAULTS_IN_TURN)]
        content = as_csv(make_log(fault, began // 60_000 % 100_000)).encode()
        held = HeldFile(digest=digest_of(content), length_bytes=len(content), media="text/csv", name=f"{machine.id} {began}.csv")
        self.files[held.digest] = content
        return held, "fit" if good else "unfit", () if good else (f"{fault} (invented)",)
