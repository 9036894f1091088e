"""What comes over an invented practice in the years: breakdowns and repairs, leaks, boil-water notices, tablets without network or
with a wrong clock, steps that two people end, duties left out knowingly, worn sets. How often is invented, too.
"""

from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import date, timedelta
from functools import partial
from typing import Final

from fettlebook.book import kinds
from fettlebook.demo.life import CLEAN, Life
from fettlebook.demo.post import MINUTE
from fettlebook.practice.model import Skill

HOUR: Final = 60 * MINUTE
DAY: Final = 24 * HOUR


@dataclass
class Years:
    """Happenings at the rate of years; a share is per working day."""

    breakdown: float = 0.012
    leak: float = 0.015
    notice: float = 0.0015
    offline: float = 0.04
    wrong_clock: float = 0.004
    doubled: float = 0.05
    left_out: float = 0.02
    worn: float = 0.002
    _later: list[tuple[date, Callable[[Life, int], None]]] = field(default_factory=list)
    _worn: set[str] = field(default_factory=set)

    def morning(self, life: Life, day: date, start: int) -> None:
        """Say what happens before a working day, and what was to come back by then."""
        due = [one for one in self._later if one[0] <= day]
        for one in due:
            self._later.remove(one)
            one[1](life, start)
        self._devices(life, day, start)
        if life.happens(self.breakdown):
            self._break_down(life, day, start)
        if life.happens(self.leak):
            self._leak(life, day, start)
        if life.happens(self.notice):
            life.say(
                start + 10 * MINUTE, kinds.NoticeBegun(notice="boil water", issued_by="water supplier (invented)"), life.releaser, CLEAN
            )
            self._later.append((day + timedelta(days=3), _lifted))
        if life.happens(self.left_out):
            chair = life.chance.choice(life.practice.chairs)
            skipped = kinds.DutySkipped(duty="chair.weekly", chair=chair.id, reason="no time before the first visit (invented)")
            life.say(start + HOUR, skipped, life.person(Skill.CHAIRS), f"tablet {chair.id}")
        if life.happens(self.doubled):
            chair = life.chance.choice(life.practice.chairs)
            both = kinds.StepDone(duty="chair.first", step="first.refit", chair=chair.id, outcome="done")
            for device in (f"tablet {chair.id}", CLEAN):
                life.say(start + 50 * MINUTE, both, life.person(Skill.CHAIRS), device)
        if life.happens(self.worn):
            self._wear_out(life, start)

    def _devices(self, life: Life, day: date, start: int) -> None:
        life.post.clock_off.clear()
        tablets = [f"tablet {chair.id}" for chair in life.practice.chairs]
        if life.happens(self.offline):
            life.post.offline[life.chance.choice(tablets)] = start + life.chance.randint(5, 30) * HOUR
        if life.happens(self.wrong_clock):
            life.post.clock_off[life.chance.choice(tablets)] = life.chance.choice((-3 * DAY, -HOUR, HOUR, 2 * DAY))

    def _break_down(self, life: Life, day: date, start: int) -> None:
        """A washer or sterilizer stands for some days; where it is the only one of its kind, it is repaired the same morning."""
        works = [m for m in life.practice.machines if m.id not in life.out]
        if not works:
            return
        machine = life.chance.choice(works)
        fault, by = f"F{life.number('fault'):04d}", life.person(Skill.INSTRUMENTS)
        broken = kinds.FaultReported(fault=fault, machine=machine.id, what="stops with a message (invented)", stops_use=True)
        life.say(start, broken, by, CLEAN)
        alone = not any(m.kind is machine.kind and m is not machine for m in works)
        if alone:
            self._mended(machine.id, fault, life, start + 5 * MINUTE)
            return
        life.out.add(machine.id)
        self._later.append((day + timedelta(days=life.chance.randint(1, 5)), partial(self._mended, machine.id, fault)))

    def _mended(self, machine: str, fault: str, life: Life, start: int) -> None:
        life.out.discard(machine)
        life.say(start, kinds.RepairDone(fault=fault, machine=machine, what="repaired (invented)", firm="invented"), life.releaser, CLEAN)
        life.say(start + MINUTE, kinds.Returned(machine=machine, reason="works again (invented)", meaning="returned"), life.releaser, CLEAN)

    def _leak(self, life: Life, day: date, start: int) -> None:
        """A hose leaks: the chair is out for a day; its water path is opened, so it is treated the long way and sampled."""
        chairs = [c for c in life.practice.chairs if c.id not in life.out]
        if len(chairs) < 2:
            return
        chair = life.chance.choice(chairs)
        fault = f"F{life.number('fault'):04d}"
        leaks = kinds.FaultReported(fault=fault, chair=chair.id, what="hose leaks (invented)", stops_use=True)
        life.say(start, leaks, life.person(Skill.CHAIRS), f"tablet {chair.id}")
        life.out.add(chair.id)
        self._later.append((day + timedelta(days=1), partial(self._tight, chair.id, fault)))

    def _tight(self, chair: str, fault: str, life: Life, start: int) -> None:
        life.out.discard(chair)
        life.to_sample.add(chair)
        repaired = kinds.RepairDone(fault=fault, chair=chair, what="hose replaced (invented)", water_path_opened=True)
        life.say(start - 2 * MINUTE, repaired, life.releaser, CLEAN)
        back = kinds.Returned(chair=chair, reason="tight again (invented)", meaning="returned")
        life.say(start - MINUTE, back, life.releaser, CLEAN)

    def _wear_out(self, life: Life, start: int) -> None:
        """Take a clean set out of use, as long as enough of its type are left."""
        many = [s for s in life.practice.sets if s.owned - sum(u.startswith(f"{s.id}#") for u in self._worn) > 6]
        names = [s.id for s in many if life.instruments.ready[s.id]]
        if names:
            unit = life.instruments.ready[life.chance.choice(names)].pop()
            self._worn.add(unit)
            life.say(start, kinds.SetRetired(unit=unit, reason="worn (invented)"), life.releaser, CLEAN)


def _lifted(life: Life, start: int) -> None:
    life.say(start, kinds.NoticeEnded(notice="boil water", issued_by="water supplier (invented)"), life.releaser, CLEAN)
    life.to_sample |= {chair.id for chair in life.practice.chairs}
