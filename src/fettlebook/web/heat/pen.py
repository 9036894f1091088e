"""Writing from these pages: through the door, at the page's now, by a person whom somebody chose."""

from datetime import datetime
from pathlib import PurePath

from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import Data, to_ms
from fettlebook.book.received import Receipt
from fettlebook.errors import Mendable
from fettlebook.exchange.cycle_entries import Ran, past_values, write_cycle, write_test
from fettlebook.exchange.cycle_judging import criteria_for, load_form, read_log_of, sensors_for
from fettlebook.practice.model import Machine, Practice
from fettlebook.rules.cycle_criteria import find_criteria
from fettlebook.said import said
from fettlebook.science.cycles.air_removal_test import Indicator
from fettlebook.science.cycles.judge import judge_cycle
from fettlebook.science.cycles.outcome import Judgement
from fettlebook.standing.asking import read_moment
from fettlebook.web.heat.sent import Sent
from fettlebook.web.pages import Pages
from fettlebook.web.people.visit import here
from fettlebook.web.record import Record

Items = tuple[tuple[str, bool, str | None], ...]


class Pen:
    """Writes entries, for whoever was chosen on the page."""

    def __init__(self, pages: Pages, record: Record) -> None:
        self._pages, self._record = pages, record
        self._door = Door(record.store)

    @property
    def practice(self) -> Practice:
        """The practice as its file stands."""
        return self._pages.reading.practice

    def who(self, form: Sent, name: str = "by", label: str = "Who does it") -> str:
        """Return who does it: the signed-in person; a second one, or where nobody is signed in, as chosen.

        Raises
        ------
        Mendable
            Nobody of the practice was chosen, or the second person did not enter the own PIN.
        """
        visit = here()
        if name == "by" and visit.who is not None:
            return visit.who.person
        person = form.chosen(name, tuple(person.id for person in self.practice.people), label)
        if name != "by" and visit.confirms is not None and not visit.confirms(person, form.one(f"{name}_pin")):
            mend = said("Let the second person enter the own PIN. After wrong ones it waits a little.")
            raise Mendable(said("that is not the PIN of the second person"), where=label, mend=mend)
        return person

    def write(self, data: Data, by: str, *, refers_to: str | None = None) -> Receipt:
        """Write one entry; raises `Mendable` where the gate refuses it."""
        return self._door.note(data, moment=self._moment(), by=by, refers_to=refers_to, now=self._moment().at)

    def ended_ms(self, form: Sent) -> int:
        """Return when a run ended, as the form says [ms]; now where it says nothing."""
        now = self._pages.now
        typed = form.one("ended")
        ended = to_ms(read_moment(typed, self._pages.reading.zone, said("When it ended"), now) if typed else now)
        if ended > to_ms(now):
            raise Mendable(said("it would end after now"), where="When it ended", mend=said("Enter it once the run is over."))
        return ended

    def cycle(self, form: Sent, machine: Machine, ran: Ran, items: Items, by: str) -> str:
        """Judge the log that was sent, write the run and its judgement, and return the entry of the run."""
        judgement = self._judged(form, machine, ran.cycle, "", items)
        assert form.file is not None
        now = self._moment()
        recorded, _ = write_cycle(self._record.store, self._door, ran, form.file, judgement, moment=now, by=by, now=now.at)
        return recorded.id

    def test(self, form: Sent, machine: Machine, ran: Ran, test: str, by: str) -> str:
        """Judge a test's log, write the test with its outcome, and return its entry."""
        judgement = self._judged(form, machine, ran.cycle, form.one("criteria"), ())
        assert form.file is not None
        now = self._moment()
        store = self._record.store
        return write_test(store, self._door, ran, form.file, judgement, test=test, moment=now, by=by, now=now.at).id

    def past(self, machine: str, cycle: str) -> list[dict[str, float]]:
        """Return the values of a machine's earlier good cycles."""
        return past_values(self._record.store, machine, cycle)

    def _judged(self, form: Sent, machine: Machine, cycle: str, name: str, items: Items) -> Judgement:
        if form.file is None or not form.file[0]:
            raise Mendable(
                said("no log was sent, or an empty one"), where="The log", mend=said("Choose the file that the machine or logger wrote.")
            )
        known = next((c for c in machine.cycles if c.id == cycle), None)
        reading = self._pages.reading
        row = find_criteria(name, where="Judged as") if name else None
        criteria = criteria_for(None if row and row.kind != "steam" else known, reading.rulebook, row)
        read = read_log_of(machine, form.file[0], PurePath(form.file[1]).name or "log")
        seen: dict[str, Indicator] = {"even": "even", "uneven": "uneven"}
        return judge_cycle(
            read.log,
            criteria,
            sensors_for(criteria, machine),
            load=load_form(reading.practice, items),
            indicator=seen.get(form.one("indicator")),
        )

    def _moment(self) -> Moment:
        now: datetime = self._pages.now
        return Moment(to_ms(now), str(self._pages.reading.zone))
