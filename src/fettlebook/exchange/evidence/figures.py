"""Every number of the first page and of the table of compliance, with the entries that it counts: whoever has the entries can recount it.

Two sorts: `counted` figures name the entries one by one; `summed` ones are sums over the table of compliance, whose occasions name theirs.
Counts by kind of entry are there as well: a program that knows nothing of the trade can make them again from the sealed bytes.
"""

from collections import Counter
from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from itertools import groupby
from typing import Any, Final

from fettlebook.exchange.evidence.gathered import Gathered
from fettlebook.practice.model import MachineKind
from fettlebook.rules.model import Origin
from fettlebook.said import said, said_number
from fettlebook.standing.compliance import Came, Occasion
from fettlebook.standing.model import Verdict

FORM: Final = 1
SUMS: Final = {Came.IN_TIME: "in_time", Came.LATE: "late", Came.MISSED: "missed", Came.NOT_PROVABLE: "not_provable"}


@dataclass(frozen=True, slots=True)
class Figure:
    """A number, of how many (by the figure's id; empty: of nothing), and the ids of the entries that it counts."""

    id: str
    says: str
    value: int
    of: str = ""
    entries: tuple[str, ...] = ()
    sums: str = ""  # a column of the table of compliance that it is the sum of; it names no entries then


@dataclass(frozen=True, slots=True)
class DutyRow:
    """One duty of one subject: how often it was owed, and what came of it."""

    duty: str
    name: str
    subject: str
    when: str
    origin: Origin
    occasions: tuple[Occasion, ...]

    def count(self, came: Came) -> int:
        """Return how often it came so."""
        return sum(one.came is came for one in self.occasions)


@dataclass(frozen=True, slots=True)
class Figures:
    """All numbers of the first page by id, and the table of compliance."""

    of: Mapping[str, Figure]
    rows: tuple[DutyRow, ...]

    def value(self, name: str) -> int:
        """Return a number."""
        return self.of[name].value

    def share(self, name: str) -> str:
        """Return a number with what it is of: `3 of 4,387`."""
        one = self.of[name]
        value = said_number(one.value, ",")
        return said("{value} of {all}", value=value, all=said_number(self.of[one.of].value, ",")) if one.of else value


def figures_of(found: Gathered) -> Figures:
    """Return the figures of what was gathered."""
    rows = duty_rows(found.occasions)
    return Figures({one.id: one for one in (*_counted(found), *_summed(rows))}, rows)


def duty_rows(occasions: Iterable[Occasion]) -> tuple[DutyRow, ...]:
    """Return occasions as rows, one for each duty and subject."""

    def key(one: Occasion) -> tuple[str, str, str]:
        return one.when, one.duty, one.subject

    found = []
    for (when, duty, subject), group in groupby(sorted(occasions, key=lambda o: (*key(o), o.owed_ms, o.because)), key=key):
        some = tuple(group)
        found.append(DutyRow(duty, some[-1].name, subject, when, some[-1].origin, some))
    return tuple(found)


def _counted(found: Gathered) -> Iterator[Figure]:
    def counted(name: str, says: str, entries: Iterable[str], of: str = "") -> Figure:
        some = tuple(entries)
        return Figure(name, says, len(some), of, some)

    yield counted("visits", "visits", (entry for *_, entry in found.visits))
    yield counted("cycles", "cycles of machines", (r.fact.entry for r in found.runs))
    for verdict, name, says in ((Verdict.UNFIT, "failed", "failed"), (Verdict.UNPROVEN, "unproven", "not proven good")):
        yield counted(f"cycles.{name}", f"cycles {says}", (r.fact.entry for r in found.runs if r.verdict is verdict), "cycles")
    sterilizers = {m.id for m in found.practice.machines if m.kind is MachineKind.STERILIZER}
    loads = [r for r in found.runs if r.machine in sterilizers and r.fact.says.load is not None]
    yield counted("loads", "loads that ran in a sterilizer", (r.fact.entry for r in loads))
    aside = {load for load, meaning, _, _ in found.decided if meaning != "released"}
    yield counted("loads.aside", "loads put aside or called back", (r.fact.entry for r in loads if r.fact.says.load in aside), "loads")
    yield counted("loads.undecided", "loads that nobody decided on", (entry for *_, entry in found.undecided), "loads")
    yield counted("tests", "tests of machines", (t.fact.entry for t in found.tests))
    for verdict, name, says in ((Verdict.UNFIT, "failed", "failed"), (Verdict.UNPROVEN, "unproven", "that prove nothing")):
        yield counted(f"tests.{name}", f"tests {says}", (t.fact.entry for t in found.tests if t.verdict is verdict), "tests")
    yield counted("counts", "water results", (r.evidence[0] for r in found.results))
    for verdict, name, says in ((Verdict.UNFIT, "over", "over a limit"), (Verdict.UNPROVEN, "unproven", "that prove nothing")):
        yield counted(f"counts.{name}", f"water results {says}", (r.evidence[0] for r in found.results if r.verdict is verdict), "counts")
    yield counted("deviations", "deviations", (d.entry for d in found.deviations))
    yield counted("deviations.open", "deviations open", (d.entry for d in found.open), "deviations")
    yield counted("deviations.untouched", "deviations with nothing done", (d.entry for d in found.open if not d.followed), "deviations")


def _summed(rows: tuple[DutyRow, ...]) -> Iterator[Figure]:
    yield Figure("duties", "times a duty was owed", sum(len(row.occasions) for row in rows), sums="owed")
    for came, name in SUMS.items():
        yield Figure(f"duties.{name}", f"duties {came}", sum(row.count(came) for row in rows), "duties", sums=name)


def figures_data(found: Gathered, figures: Figures, head: Mapping[str, Any], kinds: Mapping[str, int]) -> dict[str, Any]:
    """Return figures.json as plain data; the head says of what book and stretch, `kinds` how many entries of each kind happened in it."""
    return {
        "form": FORM,
        **head,
        "kinds": dict(sorted(kinds.items())),
        "figures": [_figure_data(one) for one in figures.of.values()],
        "compliance": [_row_data(row) for row in figures.rows],
        "missing": [{"device": m.device, "first": m.first, "last": m.last} for m in found.missing],
        "verdicts": [
            {"subject": s.subject, "verdict": str(s.verdict), "evidence": sorted({e for c in s.conditions for e in c.evidence})}
            for s in found.standings
        ],
    }


def _figure_data(one: Figure) -> dict[str, Any]:
    held: dict[str, Any] = {"id": one.id, "says": one.says, "value": one.value}
    if one.of:
        held["of"] = one.of
    return held | ({"sums": one.sums} if one.sums else {"entries": list(one.entries)})


def _row_data(row: DutyRow) -> dict[str, Any]:
    counts = Counter(one.came for one in row.occasions)
    occasions = [
        {"owed_ms": one.owed_ms, "came": SUMS[one.came], "because": one.because, "evidence": list(one.evidence)} for one in row.occasions
    ]
    named = {"duty": row.duty, "name": row.name, "subject": row.subject, "when": str(row.when)}
    return named | {"owed": len(row.occasions)} | {name: counts[came] for came, name in SUMS.items()} | {"occasions": occasions}


def named_entries(found: Gathered, figures: Figures) -> set[str]:
    """Return the ids of all entries that a figure, a verdict or a deviation rests on: the bundle must hold each."""
    ids = {entry for one in figures.of.values() for entry in one.entries}
    for one in found.occasions:
        ids.add(one.because)
        ids.update(one.evidence)
    for d in found.deviations:
        ids.update((d.entry, *(f.entry for f in d.followed), *([d.closed_by] if d.closed_by else [])))
    for result in found.water.chairs:
        ids.update(entry for r in result.results for entry in r.evidence)
    for standing in found.standings:
        ids.update(entry for c in standing.conditions for entry in c.evidence)
    ids.update(entry for *_, entry in found.decided)
    ids.discard("")
    return ids
