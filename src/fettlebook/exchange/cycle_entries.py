"""A judged log as entries of the book: the raw file by its digest, what was read out of it in small whole units, verdict and reasons.

The file's bytes are kept as they came. `cycle.recorded` says what ran and what the machine said; `cycle.judged` refers to it and says what
the log is worth. Where only the first of the two arrived, the cycle counts as not judged, and that is unproven.
"""

import math
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Final, Literal

from fettlebook import __version__
from fettlebook.book.door import Door
from fettlebook.book.entries import Moment
from fettlebook.book.kinds import CycleJudged, CycleRecorded, HeldFile, MachineTest
from fettlebook.book.received import Receipt, Received
from fettlebook.book.stores import Store
from fettlebook.errors import Mendable
from fettlebook.science.cycles.outcome import Judgement

Said = Literal["passed", "failed", "aborted", "nothing"]
PROGRAM: Final = f"fettlebook {__version__}"
LINE_MOST: Final = 500
READINGS_MOST: Final = 40
# ending of a value -> ending of the reading, and how many of the small unit make one
_SMALL: Final[Mapping[str, tuple[str, float]]] = {
    "_kpa_min": ("_pa_min", 1000.0),
    "_k_min": ("_mk_min", 1000.0),
    "_share": ("_milli_pct", 100_000.0),
    "_kpa": ("_pa", 1000.0),
    "_min": ("_milli_min", 1000.0),
    "_ml": ("_ml", 1.0),
    "_c": ("_mc", 1000.0),
    "_k": ("_mk", 1000.0),
    "_s": ("_ms", 1000.0),
}


@dataclass(frozen=True, slots=True)
class Ran:
    """What is said of a run beside its log. Moments [ms since 1970 UTC]."""

    machine: str
    cycle: str
    said: Said
    ended_ms: int
    load: str | None = None
    number: int | None = None


def readings_of(values: Mapping[str, float]) -> dict[str, int]:
    """Return the values of a judgement as readings: whole numbers of a small unit, the ending says which."""
    found: dict[str, int] = {}
    for name, value in values.items():
        if not math.isfinite(value):
            continue
        ending = next((one for one in _SMALL if name.endswith(one)), None)
        small, times = _SMALL[ending] if ending else ("_count", 1.0)
        found[name.removesuffix(ending or "") + small] = round(value * times)
    return dict(list(found.items())[:READINGS_MOST])


def values_of(readings: Mapping[str, int]) -> dict[str, float]:
    """Return readings of a judged log as the values they came from, to within half of the small unit."""
    found: dict[str, float] = {}
    for name, number in readings.items():
        ending = next((one for one, (small, _) in _SMALL.items() if name.endswith(small)), None)
        if ending is None:
            found[name.removesuffix("_count")] = float(number)
        else:
            small, times = _SMALL[ending]
            found[name.removesuffix(small) + ending] = number / times
    return found


def length_s(judgement: Judgement) -> float:
    """Return how long the run took by its phases [s]; 0 where none was found."""
    return judgement.phases[-1].to_s - judgement.phases[0].from_s if judgement.phases else 0.0


def write_cycle(
    store: Store, door: Door, ran: Ran, log: tuple[bytes, str], judgement: Judgement, *, moment: Moment, by: str, now: int
) -> tuple[Receipt, Receipt]:
    """Write a run with its log, and what the log is worth; return both receipts.

    Parameters
    ----------
    log
        The file's bytes as they came, and its name.

    Raises
    ------
    Mendable
        The gate refuses it, or this log is in the book already. Nothing is written then.
    """
    without = CycleRecorded(
        machine=ran.machine,
        cycle=ran.cycle,
        load=ran.load,
        number=ran.number,
        said=ran.said,
        began_ms=max(0, ran.ended_ms - round(1000 * length_s(judgement))),
        ended_ms=ran.ended_ms,
        readings=readings_of(judgement.values) or None,
        reader=PROGRAM,
    )
    door.refuse(without, moment=moment, by=by, now=now)
    whole = without.model_copy(update={"log": _kept(store, ran.machine, log)})
    recorded = door.note(whole, moment=moment, by=by, now=now)
    judged = judged_entry(ran.machine, ran.load, judgement)
    return recorded, door.note(judged, moment=moment, by=by, refers_to=recorded.id, now=now)


def judged_entry(machine: str, load: str | None, judgement: Judgement) -> CycleJudged:
    """Return the judgement of a kept log as an entry that refers to its cycle."""
    reasons = tuple(reason[:LINE_MOST] for reason in judgement.reasons)[:20]
    judged_with = f"{PROGRAM}, {judgement.criteria_id or 'no criteria'}"
    return CycleJudged(machine=machine, load=load, verdict=judgement.verdict, reasons=reasons, judged_with=judged_with)


def write_test(
    store: Store, door: Door, ran: Ran, log: tuple[bytes, str], judgement: Judgement, *, test: str, moment: Moment, by: str, now: int
) -> Receipt:
    """Write a machine's test with its log and the outcome that the log shows: what can't be told is `unproven`, never passed."""
    outcomes: dict[str, Literal["passed", "failed", "unproven"]] = {"fit": "passed", "unfit": "failed", "unproven": "unproven"}
    without = MachineTest(
        machine=ran.machine,
        test=test,
        outcome=outcomes[judgement.verdict],
        ran_ms=ran.ended_ms,
        cycle=ran.cycle or None,
        judged_with=f"{PROGRAM}, {judgement.criteria_id or 'no criteria'}",
        readings=readings_of(judgement.values) or None,
    )
    door.refuse(without, moment=moment, by=by, now=now)
    whole = without.model_copy(update={"log": _kept(store, ran.machine, log)})
    return door.note(whole, moment=moment, by=by, now=now)


def _kept(store: Store, machine: str, log: tuple[bytes, str]) -> HeldFile:
    content, name = log
    held = store.keep_file(content, media="text/csv", name=name[-LINE_MOST:] or None)
    for received in store.read(kinds=[CycleRecorded.KIND, MachineTest.KIND], subjects=[f"machine:{machine}"]):
        there = getattr(received.entry.data, "log", None)
        if there is not None and there.digest == held.digest:
            mend = f"Look at entry {received.entry.id}: it holds the same file. Correct that one where it says something wrong."
            raise Mendable("this log is in the book already", where=name or "log", mend=mend)
    return held


def past_runs(store: Store, machine: str, cycle: str, *, before: int | None = None) -> Iterator[tuple[Received, CycleRecorded, str]]:
    """Yield the runs of a machine's cycle whose log was judged, oldest first: (entry, what it says, newest verdict)."""
    verdicts: dict[str, str] = {}
    runs: list[Received] = []
    for received in store.read(kinds=[CycleRecorded.KIND, CycleJudged.KIND], subjects=[f"machine:{machine}"], until=before):
        data = received.entry.data
        if isinstance(data, CycleJudged) and received.entry.refers_to:
            verdicts[received.entry.refers_to] = data.verdict
        elif isinstance(data, CycleRecorded) and data.cycle == cycle:
            runs.append(received)
    for received in runs:
        data = received.entry.data
        if isinstance(data, CycleRecorded) and received.entry.id in verdicts:
            yield received, data, verdicts[received.entry.id]


def past_values(store: Store, machine: str, cycle: str, *, before: int | None = None) -> list[dict[str, float]]:
    """Return the values of a machine's earlier cycles that were fit, oldest first: what a new one is charted against."""
    return [values_of(d.readings) for _, d, verdict in past_runs(store, machine, cycle, before=before) if verdict == "fit" and d.readings]
