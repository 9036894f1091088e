"""Look-back: since the last good test of a machine, or the last good count of a chair, which visits are concerned, and what is at hand.

It goes both ways: back from the bad result to the last good one before it, and forward to the first good one after it.
"""

from collections.abc import Iterable
from dataclasses import dataclass

from fettlebook.errors import Mendable
from fettlebook.practice.model import MachineKind
from fettlebook.said import joined, said, term
from fettlebook.standing.look import Look
from fettlebook.standing.machine_runs import test_verdict
from fettlebook.standing.model import Verdict
from fettlebook.standing.streams import EVER, Fact
from fettlebook.standing.water import count_verdicts


@dataclass(frozen=True, slots=True)
class UsedUnit:
    """One unit of a load in the look-back, and the visits that used it as it came from there."""

    unit: str
    pack: str | None
    visits: tuple[tuple[str, str, int], ...]  # visit, chair, when [ms]
    at_hand: bool  # still as it came from that load: neither used nor processed since
    entry: str


@dataclass(frozen=True, slots=True)
class LoadBack:
    """One load in the look-back."""

    load: str
    at_ms: int
    said: str
    implant: bool
    units: tuple[UsedUnit, ...]
    entry: str


@dataclass(frozen=True, slots=True)
class LookBack:
    """What a bad result may have touched.

    `last_good_ms` is None where none is in the book: then everything from the book's begin on is concerned. `next_good_ms` is None
    while none was good since. `visits` are those concerned, each once, in order.
    """

    subject: str
    what: str
    bad_ms: int | None
    bad_entry: str
    last_good_ms: int | None
    last_good_entry: str
    next_good_ms: int | None
    next_good_entry: str
    loads: tuple[LoadBack, ...]
    visits: tuple[tuple[str, str, int], ...]

    @property
    def at_hand(self) -> tuple[UsedUnit, ...]:
        """The units that still lie in the cupboard as they came from these loads."""
        return tuple(unit for load in self.loads for unit in load.units if unit.at_hand)


def since_last_good(look: Look, machine: str, test: str | None = None) -> LookBack:
    """Return the look-back of a machine: its loads between the good tests around the newest bad one.

    Parameters
    ----------
    machine
        Its id.
    test
        The test to go by, such as `spore test`; left out: the test that failed last. Where none failed, the loads since the last
        good one are returned: nothing brackets them yet.

    Raises
    ------
    Mendable
        The book holds no such test of this machine.
    """
    subject = f"machine:{machine}"
    sort = f"test:{test}" if test else "tests"
    bad = next((fact for fact in look.back(subject, sort) if test_verdict(fact) is Verdict.UNFIT), None)
    if test is None and bad is not None:
        sort = f"test:{bad.says.test}"
    newest = look.latest(subject, sort)
    if newest is None:
        names = sorted({fact.says.test for fact, _ in zip(look.back(subject, "tests"), range(500), strict=False)})
        mend = (
            said("Choose one of: {names}.", names=joined(", ", names))
            if names
            else said("Enter its tests first: without them nothing brackets a load.")
        )
        raise Mendable(said("no {test} of {machine} in the book", test=test or said("test"), machine=machine), where="machine", mend=mend)
    at = bad.happened if bad is not None else look.at
    before = next((f for f in look.back(subject, sort, until=at) if test_verdict(f) is Verdict.FIT), None)
    after = next((f for f in look.forward(subject, sort, since=at) if test_verdict(f) is Verdict.FIT and f != before), None)
    since, until = (before.happened if before else 0), (after.happened if after else EVER)
    loads = tuple(load_back(look, ran) for ran in look.forward(subject, "cycles", since=since, until=until) if ran.says.load is not None)
    return LookBack(
        subject=subject,
        what=(bad or newest).says.test,
        bad_ms=bad.happened if bad else None,
        bad_entry=bad.entry if bad else "",
        last_good_ms=before.happened if before else None,
        last_good_entry=before.entry if before else "",
        next_good_ms=after.happened if after else None,
        next_good_entry=after.entry if after else "",
        loads=loads,
        visits=_each_once(visit for load in loads for unit in load.units for visit in unit.visits),
    )


def cycle_look_back(look: Look, machine: str, ran: Fact) -> LookBack:
    """Return what a failed cycle touched: its own load, and the visits that used it all the same."""
    loads = (load_back(look, ran),) if ran.says.load is not None else ()
    visits = _each_once(visit for load in loads for unit in load.units for visit in unit.visits)
    return LookBack(f"machine:{machine}", "cycle", ran.happened, ran.entry, None, "", None, "", loads, visits)


def load_back(look: Look, ran: Fact) -> LoadBack:
    """Return a load that ran, with the visits that used it and what is still at hand."""
    packed = look.latest(f"load:{ran.says.load}", "packed")
    items = packed.says.items if packed else ()
    units = tuple(_unit(look, unit, pack, packed) for unit, pack in items) if packed else ()
    return LoadBack(ran.says.load or "", ran.happened, ran.says.said, bool(packed and packed.says.implant), units, ran.entry)


def _unit(look: Look, unit: str, pack: str | None, packed: Fact) -> UsedUnit:
    subject = f"unit:{unit}"
    following = next((f for f in look.forward(subject, "packed", since=packed.happened) if f > packed), None)
    sterile = _sterilizes(look, packed)
    # What a washer cleaned is packed and sterilized before it is used: it stays concerned until the next washer load.
    if not sterile:
        following = next(
            (f for f in look.forward(subject, "packed", since=packed.happened) if f > packed and not _sterilizes(look, f)), None
        )
    uses = tuple(look.forward(subject, "use", since=packed.happened, until=following.happened if following else None))
    visits = _each_once((use.says.visit, use.says.chair.partition(":")[2], use.happened) for use in uses)
    return UsedUnit(unit, pack, visits, not uses and following is None, packed.entry)


def _sterilizes(look: Look, packed: Fact) -> bool:
    machine = look.machine(packed.says.machine, packed.happened)
    return machine is not None and machine.kind is MachineKind.STERILIZER


def water_look_back(look: Look, chair: str, quantity: str = "water count") -> LookBack:
    """Return the visits on a chair between the good counts around the newest bad one, by when the samples were taken.

    Raises
    ------
    Mendable
        The book holds no count of this chair.
    """
    subject = f"chair:{chair}"
    counts = count_verdicts(look, look.basis.chairs[chair], quantity)
    if not counts:
        raise Mendable(
            said("no {quantity} of {chair} in the book", quantity=term(quantity), chair=chair),
            where="chair",
            mend=said("Enter its results first."),
        )
    bad = next((one for one in counts if one[1] is Verdict.UNFIT), None)
    at = bad[0] if bad else look.at
    before = next((one for one in counts if one[0] < at and one[1] is Verdict.FIT), None)
    after = next((one for one in reversed(counts) if one[0] > at and one[1] is Verdict.FIT), None)
    facts = look.forward(subject, "visit", since=before[0] if before else 0, until=after[0] if after else None)
    return LookBack(
        subject=subject,
        what=quantity,
        bad_ms=bad[0] if bad else None,
        bad_entry=bad[2] if bad else "",
        last_good_ms=before[0] if before else None,
        last_good_entry=before[2] if before else "",
        next_good_ms=after[0] if after else None,
        next_good_entry=after[2] if after else "",
        loads=(),
        visits=_each_once((fact.says.ref, chair, fact.happened) for fact in facts),
    )


def _each_once(visits: Iterable[tuple[str, str, int]]) -> tuple[tuple[str, str, int], ...]:
    seen: dict[str, tuple[str, str, int]] = {}
    for visit in visits:
        seen.setdefault(visit[0], visit)
    return tuple(sorted(seen.values(), key=lambda visit: visit[2]))
