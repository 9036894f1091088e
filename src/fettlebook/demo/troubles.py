"""What an invented practice lives through once, from its fourth week on: so that whoever looks at it finds failures, and how they were met.

A high water count with its treatment and retest, a sterilizer cycle that failed, with its log, its load rejected and run again, an
evening's duty done the next morning, a weekly one left out, a daily test that failed and was run again. Nothing of it is true.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from typing import Final

from fettlebook.book import kinds
from fettlebook.book.kinds import HeldFile, digest_of
from fettlebook.demo.heat.faults import make_log
from fettlebook.demo.heat.record import as_csv
from fettlebook.demo.life import CLEAN, Happening, Life
from fettlebook.demo.post import MINUTE
from fettlebook.practice.model import MachineKind

FAULT: Final = "air left"
LEVEL_HIGH: Final = 4.6  # log10 CFU/mL before the treatment that goes before a sample


@dataclass
class Troubles:
    """A happening of each working day, after those of others. `files` takes the log of the failed cycle; None: no log is kept."""

    others: Happening
    first: date
    files: dict[str, bytes] | None = None
    _ahead: list[tuple[int, Callable[[Life, date, int], None]]] = field(init=False)

    def __post_init__(self) -> None:
        self._ahead = [
            (22, self._high_count), (24, self._failed_cycle), (27, self._late), (29, self._left_out), (32, self._failed_test),
            (35, self._trained),
        ]  # fmt: skip

    def morning(self, life: Life, day: date, start: int) -> None:
        """Say what is met on a working day."""
        self.others.morning(life, day, start)
        while self._ahead and day >= self.first + timedelta(days=self._ahead[0][0]):
            self._ahead.pop(0)[1](life, day, start)

    def _high_count(self, life: Life, day: date, start: int) -> None:
        chair = life.practice.chairs[2 % len(life.practice.chairs)].id
        life.water[chair].level = LEVEL_HIGH
        life.to_sample.add(chair)

    def _failed_cycle(self, life: Life, day: date, start: int) -> None:
        def log(began: int) -> tuple[HeldFile | None, tuple[str, ...]]:
            content = as_csv(make_log(FAULT, began // 60_000 % 100_000)).encode()
            held = HeldFile(digest=digest_of(content), length_bytes=len(content), media="text/csv", name=f"sterilizer {began}.csv")
            if self.files is not None:
                self.files[held.digest] = content
            return held if self.files is not None else None, (f"{FAULT} (invented)",)

        life.instruments.fails_next = log

    def _late(self, life: Life, day: date, start: int) -> None:
        life.closes_late.add(life.practice.chairs[0].id)

    def _left_out(self, life: Life, day: date, start: int) -> None:
        life.leaves_out_week.add(life.practice.chairs[-1].id)

    def _failed_test(self, life: Life, day: date, start: int) -> None:
        life.instruments.test_fails.update(m.id for m in life.practice.machines[-1:] if m.kind is MachineKind.STERILIZER)

    def _trained(self, life: Life, day: date, start: int) -> None:
        for person in life.practice.people[:2]:
            held = kinds.TrainingHeld(
                person=person.id, what="infection prevention, yearly", held_on=day.isoformat(), held_by="a training firm (invented)",
                again_on=(day + timedelta(days=365)).isoformat(),
            )  # fmt: skip
            life.say(start + 5 * MINUTE, held, life.releaser, CLEAN)
        someone = life.practice.people[-1]
        due = kinds.TrainingHeld(
            person=someone.id, what="infection prevention, yearly", held_on=(day - timedelta(days=330)).isoformat(),
            held_by="a training firm (invented)", again_on=(day + timedelta(days=35)).isoformat(),
        )  # fmt: skip
        life.say(start + 6 * MINUTE, due, life.releaser, CLEAN)
