"""A machine's log that came in: read by the machine's log form, judged by its criteria and past, and written; or put aside, with reasons.

A log that can be read is written whatever it is worth: a cycle that failed belongs into the book. A log that can't be read (wrong unit,
damaged file, no time) is no cycle yet: it is put aside until a person has looked.
"""

from dataclasses import dataclass
from datetime import date, datetime
from zoneinfo import ZoneInfo

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import CycleRecorded, MachineTest, digest_of
from fettlebook.book.stores import Store
from fettlebook.errors import Finding, Mendable
from fettlebook.exchange.arrivals.arrived import Arrived, Outcome
from fettlebook.exchange.cycle_entries import Ran, length_s, write_cycle
from fettlebook.exchange.cycle_judging import criteria_for, load_form, read_log_of, sensors_for
from fettlebook.practice.model import Cycle, Machine, Practice
from fettlebook.rules.load import load_rulebook
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.standing.load import riding
from fettlebook.standing.look import Look

MEND = "Look at the file, or make the machine's log form anew from it; then take it in again."


@dataclass(frozen=True, slots=True)
class Into:
    """Where arrivals are written: the book, its door, the practice, and the receiver's clock [ms]."""

    store: Store
    door: Door
    practice: Practice
    now_ms: int

    @property
    def moment(self) -> Moment:
        """The present moment, as an entry has it."""
        return Moment(self.now_ms, self.practice.practice.time_zone)


def take_cycle_log(into: Into, look: Look, arrived: Arrived) -> Outcome:
    """Take in one log of one cycle of a machine.

    Parameters
    ----------
    into
        Where it is written.
    look
        The book as it is known now: the load that waits for this cycle is looked up in it.
    arrived
        The file; its `source` is the machine.
    """
    machine = next((one for one in into.practice.machines if one.id == arrived.source), None)
    if machine is None:
        have = ", ".join(one.id for one in into.practice.machines)
        return _aside(
            arrived, [Finding(f'no machine is called "{arrived.source:.60}"', arrived.name, f"Machines of the practice file: {have}.")]
        )
    if _in_book(into.store, machine.id, digest_of(arrived.content)):
        return Outcome("known", f"{arrived.name}: in the book already")
    try:
        return _taken(into, look, arrived, machine, _cycle(machine))
    except Mendable as error:
        return _aside(arrived, list(error.findings))


def _taken(into: Into, look: Look, arrived: Arrived, machine: Machine, cycle: Cycle) -> Outcome:
    read = read_log_of(machine, arrived.content, arrived.name)
    wrong = [one for one in read.log.findings if one.weight == "error"]
    if wrong or read.log.time_s.size == 0:
        return _aside(arrived, wrong or [Finding("there is no reading in it", arrived.name, MEND)])
    if arrived.at_ms > into.now_ms:
        return _aside(arrived, [Finding("it is dated after now", arrived.name, "Set the machine's clock, then send it again.")])
    rulebook = load_rulebook(into.practice, on=_day(into))
    criteria = criteria_for(cycle, rulebook)
    load = _waiting_load(look, machine.id)
    packed = look.latest(f"load:{load}", "packed") if load else None
    judgement = judge_cycle(
        read.log,
        criteria,
        sensors_for(criteria, machine),
        load=load_form(into.practice, riding(packed)) if packed is not None else None,
    )
    began = arrived.at_ms - round(1000 * length_s(judgement))
    if (other := _at_that_time(into.store, machine.id, began, arrived.at_ms)) is not None:
        what = f"another cycle of {machine.id} ran at that time (entry {other})"
        return _aside(
            arrived, [Finding(what, arrived.name, "Two logs of one cycle? Keep the whole one. Else correct the clock of the machine.")]
        )
    ran = Ran(machine.id, cycle.id, "nothing", arrived.at_ms, load)
    receipts = write_cycle(
        into.store, into.door, ran, (arrived.content, arrived.name), judgement, moment=into.moment, by="program", now=into.now_ms
    )
    told = f"load {load}" if load else "no load waits for it"
    return Outcome("kept", f"{machine.id}, {cycle.id}: {judgement.verdict} ({told})", tuple(one.id for one in receipts))


def _cycle(machine: Machine) -> Cycle:
    wanted = (machine.log.cycle if machine.log else None) or machine.day_cycle
    return next(one for one in machine.cycles if one.id == wanted)


def _waiting_load(look: Look, machine: str) -> str | None:
    """Return the one load that was packed for this machine and has no cycle yet; None where there is none, or several."""
    waiting: list[str] = []
    for fact in look.back(f"machine:{machine}", "loads"):
        subject = f"load:{fact.says.load}"
        if look.latest(subject, "cycle") is not None:
            break  # what lies further back ran long ago
        if look.latest(subject, "decided") is None:
            waiting.append(fact.says.load)
    return waiting[0] if len(set(waiting)) == 1 else None


def _in_book(store: Store, machine: str, digest: str) -> bool:
    for received in store.read(kinds=[CycleRecorded.KIND, MachineTest.KIND], subjects=[f"machine:{machine}"]):
        held = getattr(received.entry.data, "log", None)
        if held is not None and held.digest == digest:
            return True
    return False


def _at_that_time(store: Store, machine: str, began_ms: int, ended_ms: int) -> str | None:
    """Return the entry of a cycle with a log that overlaps with this time by more than half of it."""
    for received in store.read(kinds=[CycleRecorded.KIND], subjects=[f"machine:{machine}"]):
        data = received.entry.data
        if not isinstance(data, CycleRecorded) or data.log is None or data.began_ms is None or data.ended_ms is None:
            continue
        both = min(ended_ms, data.ended_ms) - max(began_ms, data.began_ms)
        if both * 2 > max(1, ended_ms - began_ms):
            return received.entry.id
    return None


def _day(into: Into) -> date:
    return datetime.fromtimestamp(into.now_ms / 1000, ZoneInfo(into.practice.practice.time_zone)).date()


def _aside(arrived: Arrived, findings: list[Finding]) -> Outcome:
    return Outcome("put aside", f"{arrived.name}: {findings[0].what}", findings=tuple(findings))
