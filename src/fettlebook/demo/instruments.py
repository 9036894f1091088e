"""Invented sets and machines: what is dirty is washed, packed, sterilized, cooled and released, one load after the other."""

from collections.abc import Callable, Mapping
from functools import partial
from itertools import accumulate
from typing import TYPE_CHECKING, Final, Literal

from fettlebook.book import kinds
from fettlebook.book.kinds import Data, HeldFile
from fettlebook.demo.post import MINUTE, Said
from fettlebook.practice.model import Machine, MachineKind, Skill
from fettlebook.rules.model import Subject, When

if TYPE_CHECKING:
    from fettlebook.demo.life import CycleLogs, Life

CLEAN: Final = "tablet clean"
MOST_IN_A_LOAD: Final = 6  # places


class Instruments:
    """Which sets are clean, which are dirty, and when each machine is free."""

    def __init__(self, life: "Life", logs: "CycleLogs | None") -> None:
        self._life, self._logs = life, logs
        self.ready: dict[str, list[str]] = {s.id: [] for s in life.practice.sets}
        self.dirty = [f"{s.id}#{n + 1}" for s in life.practice.sets for n in range(s.owned)]  # nothing is known of them yet
        self.newest: dict[str, str] = {}  # sterilizer -> the last load that was released from it
        self._free: dict[str, int] = {}
        self.fails_next: Callable[[int], tuple[HeldFile | None, tuple[str, ...]]] | None = None  # the log of a cycle, by its begin
        self.test_fails: set[str] = set()  # machines whose next daily test fails

    def take(self, uses: Mapping[str, int]) -> tuple[str, ...]:
        """Return the sets for a visit, as far as there are clean ones."""
        return tuple(self.ready[name].pop(0) for name, many in uses.items() for _ in range(many) if self.ready.get(name))

    def morning(self, machine: Machine, now: int, *, weekly: bool) -> None:
        """Do a machine's duties and tests before its first load; a test that failed is looked into and run again."""
        life, subject = self._life, Subject(machine.kind.value)
        now = life.duties(subject, When.BEFORE_FIRST_LOAD, machine, now)
        if weekly:
            now = life.duties(subject, When.WEEKLY, machine, now)
        for test in machine.tests:
            if test.every == "day" or weekly:
                fails = life.happens(life.habits.fails) or (test.every == "day" and machine.id in self.test_fails)
                for failed in (True, False) if fails else (False,):
                    now += (test.attended_minutes + test.unattended_minutes) * MINUTE
                    said = kinds.MachineTest(machine=machine.id, test=test.id, outcome="failed" if failed else "passed")
                    life.say(now, said, life.person(Skill.INSTRUMENTS), CLEAN)
                    if failed and machine.id in self.newest:
                        self._recall(machine, now)
        self.test_fails.discard(machine.id)
        self._free[machine.id] = now

    def _recall(self, machine: Machine, now: int) -> None:
        """Put aside what lies in the cupboard from the last load before a failed test; the lead decides."""
        life, load = self._life, self.newest.pop(machine.id)
        if life.chance.random() < 0.5:
            said = kinds.LoadRejected(load=load, meaning="recalled", reason="the test after it failed (invented)")
            life.say(now + 5 * MINUTE, said, life.releaser, CLEAN)

    def process(self, now: int, *, least: int) -> None:
        """Begin to process what is dirty, once there are so many."""
        life = self._life
        works = [m for m in life.practice.machines if m.id not in life.out]
        washers = [m for m in works if m.kind is MachineKind.WASHER]
        sterilizers = [m for m in works if m.kind is MachineKind.STERILIZER]
        while len(self.dirty) >= least and washers and sterilizers:
            some = self._fitting()
            self.dirty = self.dirty[len(some) :]
            _, washed, _ = self._run(self._first_free(washers), now, tuple(kinds.InLoad(unit=unit) for unit in some))
            items = tuple(kinds.InLoad(unit=unit, pack=f"P{life.number('pack'):06d}") for unit in some)
            machine = self._first_free(sterilizers)
            load, ended, good = self._run(machine, washed + 5 * MINUTE, items)
            life.at(ended + 12 * MINUTE, partial(self._decide, machine, load, some, good))

    def _fitting(self) -> list[str]:
        """Return the sets that come first and fit into one load: a large one takes more places."""
        places = {s.id: s.places for s in self._life.practice.sets}
        taken = list(accumulate(places[unit.partition("#")[0]] for unit in self.dirty))
        return self.dirty[: max(1, sum(1 for so_far in taken if so_far <= MOST_IN_A_LOAD))]

    def _decide(self, machine: Machine, load: str, units: list[str], good: bool, now: int) -> None:
        life = self._life
        wet = good and life.happens(life.habits.fails / 3)
        said: Data = kinds.LoadReleased(load=load, meaning="released", dry=True, indicators_turned=True)
        if not good or wet:
            reason = "packs were wet (invented)" if wet else "the cycle failed (invented)"
            said = kinds.LoadRejected(load=load, meaning="rejected", reason=reason)
            self.dirty.extend(units)
        else:
            self.newest[machine.id] = load
            for unit in units:
                self.ready[unit.partition("#")[0]].append(unit)
        if not life.happens(life.habits.forgets):
            life.say(now, said, life.releaser, CLEAN)

    def _first_free(self, machines: list[Machine]) -> Machine:
        return min(machines, key=lambda machine: self._free.get(machine.id, 0))

    def _run(self, machine: Machine, now: int, items: tuple[kinds.InLoad, ...]) -> tuple[str, int, bool]:
        life = self._life
        now = max(now, self._free.get(machine.id, 0))
        load, by = f"L{life.number('load'):06d}", life.person(Skill.INSTRUMENTS)
        life.say(now, kinds.LoadPacked(load=load, machine=machine.id, cycle=machine.day_cycle, items=items), by, CLEAN)
        began = now + 2 * MINUTE
        ended = began + next(cycle.minutes for cycle in machine.cycles if cycle.id == machine.day_cycle) * MINUTE
        good = not life.happens(life.habits.fails)
        bad: Literal["aborted", "failed"] = "aborted" if life.happens(life.habits.fails) else "failed"
        held: tuple[HeldFile | None, Literal["fit", "unfit", "unproven"], tuple[str, ...]] | None = None
        if self._logs is not None:
            held = self._logs.log(machine, machine.day_cycle, began, good=good)
        failing = self.fails_next is not None and machine.kind is MachineKind.STERILIZER
        if failing and self.fails_next is not None:
            (log, reasons), self.fails_next = self.fails_next(began), None
            good, bad, held = False, "failed", (log, "unfit", reasons)
        ran = kinds.CycleRecorded(
            machine=machine.id, cycle=machine.day_cycle, load=load, began_ms=began, ended_ms=ended, said="passed" if good else bad,
            log=held[0] if held else None,
        )  # fmt: skip
        said = life.say(ended + MINUTE, ran, by, CLEAN)
        if held is not None:
            judged = kinds.CycleJudged(machine=machine.id, load=load, verdict=held[1], reasons=held[2], judged_with="demo (invented)")
            life.say(ended + MINUTE + 1000, judged, by, CLEAN, said)
        self._free[machine.id] = ended + MINUTE
        if failing:
            self._look_into(machine, ended, said)
        return load, ended + MINUTE, good

    def _look_into(self, machine: Machine, ended: int, failed: Said) -> None:
        """Find out why a cycle failed, and test the machine before its next load."""
        life, by = self._life, self._life.by_skill[Skill.INSTRUMENTS][0]
        found = kinds.FailureStep(machine=machine.id, step="review", outcome="done", reason="door gasket soiled, cleaned (invented)")
        life.say(ended + 20 * MINUTE, found, by, CLEAN, failed)
        test = machine.tests[0]
        ran = ended + (25 + test.attended_minutes + test.unattended_minutes) * MINUTE
        life.say(ran, kinds.MachineTest(machine=machine.id, test=test.id, outcome="passed"), by, CLEAN)
        self._free[machine.id] = ran
