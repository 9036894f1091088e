"""A cycle or test of the book whose log is kept: judged again for its graph, by what held when it ran."""

from dataclasses import dataclass

from fettlebook.book.kinds import CycleRecorded, MachineTest
from fettlebook.exchange.cycle_chart import cycle_chart
from fettlebook.exchange.cycle_judging import criteria_for, load_form, read_log_of, sensors_for
from fettlebook.rules.cycle_criteria import bundled_criteria, find_criteria
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.log import CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement
from fettlebook.standing.load import riding
from fettlebook.standing.look import Look


@dataclass(frozen=True, slots=True)
class JudgedLog:
    """A kept log with by what it is judged, and what it is worth."""

    log: CycleLog
    criteria: Criteria
    sensors: Sensors
    judgement: Judgement

    def chart(self, title: str) -> str:
        """Return the graph as SVG text."""
        return cycle_chart(self.log, self.judgement, self.criteria, self.sensors, title)


def judge_kept(look: Look, data: CycleRecorded | MachineTest, ran_ms: int, content: bytes, judged_with: str) -> JudgedLog:
    """Return the judgement of a kept log.

    Parameters
    ----------
    ran_ms
        When it ran: the practice file and rules of that moment count.
    content
        The bytes of the log.
    judged_with
        As the book has it: a name of bundled criteria at its end is taken again; what else is there is passed over.

    Raises
    ------
    Mendable
        The log can't be read, or no criteria are known for its cycle.
    """
    basis, machine = look.then(ran_ms), look.machine(f"machine:{data.machine}", ran_ms)
    packed = look.latest(f"load:{data.load}", "packed") if data.load else None
    form = load_form(basis.practice, riding(packed)) if packed is not None else None
    cycle = next((c for c in machine.cycles if c.id == data.cycle), None) if machine else None
    named = judged_with.rpartition(", ")[2]
    row = find_criteria(named) if named in {r.id for r in bundled_criteria()} else None
    criteria = criteria_for(None if row and row.kind != "steam" else cycle, basis.rulebook, row)
    sensors = sensors_for(criteria, machine)
    log = read_log_of(machine, content, (data.log.name if data.log else None) or "log").log
    return JudgedLog(log, criteria, sensors, judge_cycle(log, criteria, sensors, load=form))
