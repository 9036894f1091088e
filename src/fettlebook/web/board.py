"""The day as a score: lanes for chairs, people or machines, broken into bands of a few hours as music is into lines.

A band is short enough that a ten-minute turnover is wide enough to read and to touch on a tablet held upright. Short
pieces of work that follow each other are one block. A short block's card is drawn wide enough for a finger; its effort
strip keeps the true time: high where hands are needed, low where it runs alone.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from itertools import zip_longest
from typing import Literal
from zoneinfo import ZoneInfo

from fettlebook.plan.day import DayPlan, PlannedVisit, Task
from fettlebook.practice.model import Practice
from fettlebook.said import joined, said, term
from fettlebook.web.presence import Away, away_of
from fettlebook.web.wording import clock

By = Literal["chair", "person", "machine"]
BANDS_WANTED = 4
BAND_MINUTES = (120, 150, 180, 210, 240)
TOUCH_MIN = 14  # minutes: 48 px where a band of 180 min with its margin takes 680 px, a tablet held upright
WORD_MIN = 25  # minutes of a band that a short word takes
MARGIN_MIN = TOUCH_MIN  # a band's right margin, into which its last cards may reach
JOIN_GAP_MIN = 5  # steps of one turnover this close together are one block

WORD = {
    "opening": "Opening",
    "turnover": "Turnover",
    "closing": "Closing",
    "visit": "Visit",
    "load": "Load",
    "cycle": "Cycle",
    "unload": "Unload",
    "pack": "Pack",
    "test": "Test",
    "duty": "Duty",
}


@dataclass(frozen=True, slots=True)
class Effort:
    """A stretch of a block's strip [min from the block's start]: hands are needed, or it runs alone."""

    start: float
    length: float
    attended: bool


@dataclass(frozen=True, slots=True)
class Block:
    """One thing to touch and read: a visit, or work without a pause."""

    id: str
    family: Literal["visit", "chair work", "machine work", "test"]
    word: str
    short: str  # what a narrow card shows; empty: the minutes
    title: str
    where: str
    who: str
    start: datetime
    end: datetime
    tasks: tuple[Task, ...]
    visit: PlannedVisit | None
    said: str  # what the card does not show, for those who hear the page
    strip: tuple[Effort, ...]

    @property
    def minutes(self) -> int:
        """Length [min], rounded up."""
        return -int(-(self.end - self.start).total_seconds() // 60)


@dataclass(frozen=True, slots=True)
class Lane:
    """A chair, a person or a machine through the day."""

    id: str
    name: str
    note: str
    blocks: tuple[Block, ...]
    away: tuple[Away, ...] = ()  # when a person is not at work


@dataclass(frozen=True, slots=True)
class Piece:
    """What of a block stands in one band [min]: a block over a band's end continues in the next."""

    block: Block
    start: int
    length: int
    goes_on: bool
    went_on: bool


@dataclass(frozen=True, slots=True)
class Gap:
    """What of an absence stands in one band [min]."""

    start: int
    length: int
    word: str


@dataclass(frozen=True, slots=True)
class Tick:
    """A time on a band's ruler."""

    start: int
    text: str


@dataclass(frozen=True, slots=True)
class Band:
    """Some hours of the day, all lanes."""

    start: datetime
    end: datetime
    minutes: int
    ticks: tuple[Tick, ...]
    rows: tuple[tuple[Lane, tuple[Piece, ...], tuple[Gap, ...]], ...]
    title: str


@dataclass(frozen=True, slots=True)
class Board:
    """All bands of the day, and all blocks once."""

    by: By
    bands: tuple[Band, ...]
    lanes: tuple[Lane, ...]

    @property
    def blocks(self) -> tuple[Block, ...]:
        """Every block, lane by lane."""
        return tuple(block for lane in self.lanes for block in lane.blocks)


def lay_out(plan: DayPlan, practice: Practice, by: By) -> Board:
    """Return the day's board by chair, by person or by machine.

    Parameters
    ----------
    plan
        The day's plan.
    practice
        Names of chairs, rooms, machines, people and visit kinds.
    by
        What the lanes are.

    Returns
    -------
    Board
        No bands where nothing is planned.
    """
    # In one zone Python subtracts wall clocks; on the night of a clock change only UTC gives true lengths.
    plan = replace(plan, tasks=tuple(replace(t, start=t.start.astimezone(UTC), end=t.end.astimezone(UTC)) for t in plan.tasks))
    zone = ZoneInfo(practice.practice.time_zone)
    away = {person.id: tuple(away_of(person, plan.day, zone)) for person in practice.people} if by == "person" else {}
    lanes = tuple(
        Lane(key, name, note, tuple(_blocks(f"{by[0]}{n}", tasks, plan, practice, by)), away.get(key, ()))
        for n, (key, name, note, tasks) in enumerate(_lanes(plan, practice, by), 1)
    )
    return Board(by, _bands(plan, lanes, zone, by), lanes)


def _lanes(plan: DayPlan, practice: Practice, by: By) -> Iterable[tuple[str, str, str, list[Task]]]:
    tasks = sorted(plan.tasks, key=lambda task: (task.start, task.end))
    rooms = {room.id: room.name for room in practice.rooms}
    chairs = {chair.id for chair in practice.chairs}
    if by == "chair":
        for chair in practice.chairs:
            yield chair.id, chair.id, rooms.get(chair.room, ""), [t for t in tasks if t.place == chair.id]
    elif by == "person":
        for person in practice.people:
            yield person.id, person.name, "", [t for t in tasks if t.person == person.id]
    else:
        known = [machine.id for machine in practice.machines]
        kinds = {machine.id: machine.kind.value for machine in practice.machines}
        more = sorted({task.place for task in tasks} - chairs - set(known))  # the packing place
        for place in known + more:
            yield place, place, kinds.get(place, ""), [t for t in tasks if t.place == place]


def _blocks(prefix: str, tasks: list[Task], plan: DayPlan, practice: Practice, by: By) -> Iterable[Block]:
    runs: list[list[Task]] = []
    for task in tasks:
        if runs and _joins(runs[-1], task, by):
            runs[-1].append(task)
        else:
            runs.append([task])
    visits = {visit.ref: visit for visit in plan.visits}
    for n, run in enumerate(runs, 1):
        yield _block(f"{prefix}-{n}", run, visits, practice, by)


def _joins(run: list[Task], task: Task, by: By) -> bool:
    last, start = run[-1], run[0].start
    if "visit" in (last.kind, task.kind):
        return False
    gap_min = (task.start - max(t.end for t in run)).total_seconds() / 60
    if by != "chair" and task.start - start < timedelta(minutes=TOUCH_MIN):
        return True  # cards of one lane never stand closer than a finger
    if by == "person":
        return gap_min <= JOIN_GAP_MIN and _same(last, task)
    if by == "machine" and last.kind != "pack":
        # a load stays one block until it is out of the machine, however long it waits for hands
        return last.kind == task.kind == "test" or ("test" not in (last.kind, task.kind) and task.kind != "load")
    return gap_min <= JOIN_GAP_MIN and task.kind == last.kind


def _same(one: Task, other: Task) -> bool:
    return one.place == other.place and one.kind == other.kind


def _block(key: str, run: list[Task], visits: dict[str, PlannedVisit], practice: Practice, by: By) -> Block:
    zone = ZoneInfo(practice.practice.time_zone)
    start, end = run[0].start, max(task.end for task in run)
    visit = visits.get(run[0].visit or "") if run[0].kind == "visit" else None
    names = {person.id: person.name for person in practice.people}
    who = _list(names.get(task.person, task.person) for task in run if task.person)
    where = joined(", ", dict.fromkeys(term(task.place) for task in run))
    word = _word(run, visit, practice, by)
    title, short, told = joined(", ", (word, where)), "", said(", {where}, to {zone}", where=where, zone=clock(end, zone))
    if by == "person":  # whoever reads their own lane asks where to go
        kinds = joined(", ", dict.fromkeys(term(WORD[task.kind].lower()) for task in run))
        title, short, told = (
            said("{what}: {why}", what=where, why=kinds),
            word,
            said(", {where}, {kinds}, to {zone}", where=where, kinds=kinds, zone=clock(end, zone)),
        )
    elif who:
        told += joined("", (", ", who))
    strip = tuple(_effort(task, start) for task in run if task.kind != "visit")
    return Block(key, _family(run[0]), word, short, title, where, who, start, end, tuple(run), visit, told, strip)


def _word(run: list[Task], visit: PlannedVisit | None, practice: Practice, by: By) -> str:
    if visit:
        return {kind.id: kind.name for kind in practice.visit_kinds}.get(visit.visit_kind, visit.visit_kind)
    if by == "machine" and any(task.kind == "cycle" for task in run):
        units = sum(len(task.units) for task in run if task.kind == "cycle")
        return said("Load of {units}", units=units) if units else said("Cycle")
    if by == "person":
        places = list(dict.fromkeys(said("pack") if task.kind == "pack" else _brief(task.place) for task in run))
        return joined("", (places[0], f" +{len(places) - 1}")) if len(places) > 1 else places[0]
    words = list(dict.fromkeys(WORD[task.kind] for task in run))
    return joined(", ", [term(words[0]), *(term(w.lower()) for w in words[1:])])


def _brief(place: str) -> str:
    """Return a place for a narrow card: `steril. 1`."""
    return " ".join(word if len(word) < 9 else f"{word[:6]}." for word in place.split(" "))


def _family(task: Task) -> Literal["visit", "chair work", "machine work", "test"]:
    if task.kind == "visit":
        return "visit"
    if task.kind in ("test", "duty"):
        return "test"
    return "chair work" if task.kind in ("opening", "turnover", "closing") else "machine work"


def _effort(task: Task, start: datetime) -> Effort:
    return Effort((task.start - start).total_seconds() / 60, (task.end - task.start).total_seconds() / 60, task.attended)


def _list(words: Iterable[str]) -> str:
    return ", ".join(dict.fromkeys(words))


def _bands(plan: DayPlan, lanes: tuple[Lane, ...], zone: ZoneInfo, by: By) -> tuple[Band, ...]:
    if not plan.tasks:
        return ()
    first = min(task.start for task in plan.tasks)
    last = max(task.end for task in plan.tasks)
    local = first.astimezone(zone)
    start = first - timedelta(minutes=local.minute % 30, seconds=local.second, microseconds=local.microsecond)
    whole_min = (last - start).total_seconds() / 60
    minutes = next((m for m in BAND_MINUTES if m * BANDS_WANTED >= whole_min), BAND_MINUTES[-1])
    bands = []
    while start < last:
        end = start + timedelta(minutes=minutes)
        ticks = tuple(Tick(m, clock(start + timedelta(minutes=m), zone)) for m in range(0, minutes, 30))
        rows = tuple(_row(lane, start, minutes, by) for lane in lanes)
        bands.append(Band(start, end, minutes, ticks, rows, said("{zone} to {zone2}", zone=clock(start, zone), zone2=clock(end, zone))))
        start = end
    while bands and not any(pieces for _, pieces, _ in bands[-1].rows):
        bands.pop()  # the chairs are done before the machines
    return tuple(bands)


def _row(lane: Lane, start: datetime, minutes: int, by: By) -> tuple[Lane, tuple[Piece, ...], tuple[Gap, ...]]:
    pieces = tuple(_pieces(lane, start, minutes, by))
    return lane, pieces, tuple(_gaps(lane, start, minutes, pieces))


def _pieces(lane: Lane, start: datetime, minutes: int, by: By) -> Iterable[Piece]:
    shown_to = minutes + MARGIN_MIN
    for block, after in zip_longest(lane.blocks, lane.blocks[1:]):
        begin, end = _floor_min(block.start - start), -_floor_min(start - block.end)
        if begin >= minutes or end <= 0 or (begin < 0 and end <= MARGIN_MIN):
            continue  # not here, or whole in the margin of the band before
        low = max(0, begin)
        high = end if end <= shown_to else max(minutes, min(shown_to, low + TOUCH_MIN))
        free_to = _floor_min(after.start - start) if after and by == "chair" else shown_to
        if block.family != "visit":  # a short card may be wider than its time where nothing follows; a visit's never is
            high = max(high, min(low + TOUCH_MIN, free_to, shown_to))
        yield Piece(block, low, max(1, high - low), goes_on=end > shown_to, went_on=begin < 0)


def _gaps(lane: Lane, start: datetime, minutes: int, pieces: tuple[Piece, ...]) -> Iterable[Gap]:
    for away in lane.away:
        low, high = max(0, _floor_min(away.start - start)), min(minutes, _floor_min(away.end - start))
        if low < high:
            free = high - low >= WORD_MIN and not any(p.start < low + WORD_MIN and low < p.start + p.length for p in pieces)
            yield Gap(low, high - low, away.word if free else "")


def _floor_min(span: timedelta) -> int:
    return int(span.total_seconds() // 60)
