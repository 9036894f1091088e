"""A cycle or test of the book whose log is kept: judged again for its graph, by what held when it ran."""

from dataclasses import dataclass

from starlette.exceptions import HTTPException

from fettlebook.book.kinds import CycleJudged, CycleRecorded, HeldFile, MachineTest
from fettlebook.book.received import Received
from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_chart import cycle_chart
from fettlebook.exchange.cycle_kept import judge_kept
from fettlebook.said import joined, said
from fettlebook.science.cycles.criteria import Criteria
from fettlebook.science.cycles.log import CycleLog, Sensors
from fettlebook.science.cycles.outcome import Judgement
from fettlebook.standing.facts import happened_ms
from fettlebook.web.record import Record


@dataclass(frozen=True, slots=True)
class KeptCycle:
    """A run of the book: what it says, the newest judgement in the book, and the log judged now (None: no log is kept)."""

    received: Received
    data: CycleRecorded | MachineTest
    verdict: str  # as the book has it; empty: not judged
    reasons: tuple[str, ...]
    judged_with: str
    log: CycleLog | None
    criteria: Criteria | None
    sensors: Sensors | None
    judgement: Judgement | None
    why_not: str = ""  # why the log can't be judged now

    @property
    def title(self) -> str:
        """Machine, cycle or test, and file."""
        what = self.data.cycle if isinstance(self.data, CycleRecorded) else self.data.test
        return ", ".join(part for part in (self.data.machine, what, self.data.log.name if self.data.log else "") if part)

    @property
    def load(self) -> str | None:
        """The load that rode in it."""
        return self.data.load

    def chart(self) -> str:
        """Return the graph; raises 404 where there is nothing to draw."""
        if self.log is None or self.judgement is None or self.criteria is None or self.sensors is None:
            raise HTTPException(404, said("No log is kept of this run, or it can't be judged: there is nothing to draw."))
        return cycle_chart(self.log, self.judgement, self.criteria, self.sensors, self.title)


def kept_cycle(record: Record, entry_id: str) -> KeptCycle:
    """Return a run of the book; raises 404 where the entry is none."""
    received = record.store.get(entry_id)
    data = received.entry.data if received is not None else None
    if received is None or not isinstance(data, CycleRecorded | MachineTest):
        raise HTTPException(404, said("No such cycle or test in the book."))
    verdict, reasons, judged_with = _newest_judgement(record, received, data)
    kept = (received, data, verdict, reasons, judged_with)
    if data.log is None:
        return KeptCycle(*kept, None, None, None, None)
    try:
        return KeptCycle(*kept, *_judged(record, received, data, data.log, judged_with))
    except Mendable as error:
        return KeptCycle(*kept, None, None, None, None, joined("; ", (f.what for f in error.findings)))


def _newest_judgement(record: Record, received: Received, data: CycleRecorded | MachineTest) -> tuple[str, tuple[str, ...], str]:
    if isinstance(data, MachineTest):
        return data.outcome, (), data.judged_with or ""
    found: tuple[str, tuple[str, ...], str] = ("", (), "")
    for judged in record.store.read(received.seq, kinds=[CycleJudged.KIND], subjects=[f"machine:{data.machine}"]):
        said = judged.entry.data
        if judged.entry.refers_to == received.entry.id and isinstance(said, CycleJudged):
            found = (said.verdict, said.reasons, said.judged_with)
    return found


def _judged(
    record: Record, received: Received, data: CycleRecorded | MachineTest, held: HeldFile, judged_with: str
) -> tuple[CycleLog, Criteria, Sensors, Judgement]:
    with record.view() as view:
        judged = judge_kept(view.look, data, happened_ms(received), record.store.file(held.digest), judged_with)
    return judged.log, judged.criteria, judged.sensors, judged.judgement
