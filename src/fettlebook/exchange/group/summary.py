"""A practice's standing in short, for the group that it belongs to: chairs, machines, duties, water. No visit, no person, no free text.

Comes in: a view of the book and the book. Goes out: plain values, which a queue carries from the machine that worked them out.
"""

from dataclasses import asdict, dataclass
from typing import Any, Final

from fettlebook.book.kinds import RestoreTried
from fettlebook.book.stores import Store
from fettlebook.exchange.laboratory.from_book import judge_book
from fettlebook.standing.due import due_duties
from fettlebook.standing.model import Verdict
from fettlebook.standing.standings import View

NAMED: Final = 5  # things of one sort that are named; the others are counted


@dataclass(frozen=True, slots=True)
class WaterNow:
    """A chair whose water is over the limit or likely so: the chance today, and that of the next sample."""

    chair: str
    p_above: float
    p_next_above: float


@dataclass(frozen=True, slots=True)
class Summary:
    """How a practice stands at a moment. Counts are of all, names of the first few."""

    practice: str
    name: str
    invented: bool
    at_ms: int
    verdict: str
    due: int
    overdue: int
    overdue_named: tuple[str, ...]
    chairs: int
    chairs_unfit: tuple[str, ...]
    chairs_unproven: int
    machines: int
    machines_unfit: tuple[str, ...]
    machines_unproven: int
    limit_cfu_ml: float
    water_unproven: int  # chairs without a count that says anything
    water_above: tuple[WaterNow, ...]
    water_passes_on: str | None  # the first day on which another chair's chance reaches the risk; ISO
    entries: int
    last_received_ms: int | None
    backup_tried_ms: int | None  # a backup was restored as a trial; None: never, or a group's database, which the group backs up
    backup_whole: bool | None

    @classmethod
    def of(cls, data: dict[str, Any]) -> "Summary":
        """Return the summary that was written as plain values; raises `TypeError` or `KeyError` where it is none."""
        water = tuple(WaterNow(**one) for one in data["water_above"])
        lists = {k: tuple(data[k]) for k in ("overdue_named", "chairs_unfit", "machines_unfit")}
        return cls(**{**data, **lists, "water_above": water})

    def as_data(self) -> dict[str, Any]:
        """Return it as plain values."""
        return asdict(self)


def summary_of(view: View, store: Store) -> Summary:
    """Return how a practice stands at a view's moment."""
    practice = view.look.basis.practice
    chairs = {c.id: view.standing(f"chair:{c.id}").verdict for c in practice.chairs if not c.out_of_service}
    machines = {m.id: view.standing(f"machine:{m.id}").verdict for m in practice.machines if not m.out_of_service}
    owed = due_duties(view)
    overdue = [one for one in owed if one.overdue]
    water = judge_book(view.look)
    judged = [one for one in water.judged.chairs if one.chair in chairs]
    verdicts = {one.chair: water.judged.verdict(one) for one in judged}
    coming = sorted(one.passes_on for one in judged if one.passes_on is not None and verdicts[one.chair] == "fit")
    head, tried = store.head(), store.latest(RestoreTried.KIND)
    return Summary(
        practice=practice.practice.id,
        name=practice.practice.name,
        invented=practice.practice.invented,
        at_ms=view.look.at,
        verdict=str(view.standing("practice:all").verdict.value),
        due=len(owed),
        overdue=len(overdue),
        overdue_named=tuple(f"{one.subject.partition(':')[2]}: {one.duty_id}" for one in overdue[:NAMED]),
        chairs=len(chairs),
        chairs_unfit=tuple(name for name, verdict in chairs.items() if verdict is Verdict.UNFIT),
        chairs_unproven=sum(verdict is Verdict.UNPROVEN for verdict in chairs.values()),
        machines=len(machines),
        machines_unfit=tuple(name for name, verdict in machines.items() if verdict is Verdict.UNFIT),
        machines_unproven=sum(verdict is Verdict.UNPROVEN for verdict in machines.values()),
        limit_cfu_ml=water.judged.limit_cfu_ml,
        water_unproven=sum(verdict == "unproven" for verdict in verdicts.values()),
        water_above=tuple(
            WaterNow(one.chair, round(one.p_above_limit, 3), round(one.p_next_above_limit, 3))
            for one in sorted(judged, key=lambda one: -one.p_above_limit)
            if verdicts[one.chair] == "unfit"
        ),
        water_passes_on=coming[0].isoformat() if coming else None,
        entries=head.size,
        last_received_ms=head.received if head.size else None,
        backup_tried_ms=tried.received if tried is not None else None,
        backup_whole=tried.entry.data.whole if tried is not None else None,  # type: ignore[attr-defined]  # of its kind
    )
