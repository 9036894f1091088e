"""A waiting chain on the day's board: which blocks are lit, the lines between them, and the same in words as a list."""

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Final

from fettlebook.plan.basis import Basis
from fettlebook.plan.day import DayPlan, Task
from fettlebook.plan.waiting import Chain, Link, chains_of
from fettlebook.said import said, term
from fettlebook.web.board import MARGIN_MIN, Band, Block, Board

LANE: Final = 10  # height of a lane in the drawing; it is stretched over the true one
_BATCH: Final = ("load", "cycle", "unload")
_WORK: Final = {
    "visit": "visit", "opening": "opening", "turnover": "turnover", "closing": "closing", "load": "load", "cycle": "cycle",
    "unload": "unload", "pack": "packing", "test": "test", "duty": "duty",
}  # fmt: skip
FOR: Final = {
    "hands": said("for hands"),
    "set": said("for a set"),
    "machine": said("for the machine"),
    "shift": said("for somebody to be there"),
    "out": said("for the chair"),
    "plan": said("because the plan begins it later"),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One link of a chain in words; `seen`: whether its block stands on the board as it is shown."""

    number: int
    span: str
    what: str
    wait: str
    seen: bool


@dataclass(frozen=True, slots=True)
class Stroke:
    """A line of the drawing, in minutes of its band and tenths of a lane; `wait`: time spent waiting, drawn dashed."""

    x1: int
    y1: int
    x2: int
    y2: int
    wait: bool


@dataclass(frozen=True, slots=True)
class Shown:
    """A chain as the day's page shows it."""

    chain: Chain
    ref: str
    lines: tuple[Line, ...]
    lit: dict[str, int]  # block -> number of its link
    strokes: tuple[tuple[Stroke, ...], ...]  # of each band

    @property
    def links(self) -> int:
        """How many links."""
        return len(self.lines)


def chains(plan: DayPlan) -> tuple[Chain, ...]:
    """Return the chains of a day's late visits; none where it is not known what the timetable was made of."""
    return chains_of(plan.basis.day, plan.basis.plan, plan.basis.words) if plan.basis else ()


def show_chain(plan: DayPlan, board: Board, found: tuple[Chain, ...], asked: str) -> Shown | None:
    """Return the chain that is asked for by the visit's reference; without one, that of the visit that is most late."""
    basis = plan.basis
    if basis is None or not found or asked == "none":
        return None
    chosen = next((c for c in found if basis.refs.get(c.visit, c.visit) == asked), None)
    chain = chosen or max(found, key=lambda c: c.minutes_late)
    places = {link: _block_of(board, basis, link) for link in chain.links}
    lit = {block.id: n for n, link in reversed(list(enumerate(chain.links, 1))) if (block := places[link])}
    lines = tuple(_line(n, link, basis, seen=places[link] is not None) for n, link in enumerate(chain.links, 1))
    strokes = tuple(tuple(_strokes(band, chain, basis, places)) for band in board.bands)
    return Shown(chain, basis.refs.get(chain.visit, chain.visit), lines, lit, strokes)


def _line(number: int, link: Link, basis: Basis, *, seen: bool) -> Line:
    minute = basis.words.minute
    what = said("{what}: {why}", what=link.place, why=term(_WORK[link.kind])) if link.kind != "pack" else link.what
    who = f", {link.person}" if link.person else ""
    wait = (
        said(
            "waits {minutes} min since {since} {reason}: {words}",
            minutes=link.wait.minutes,
            since=minute(link.wait.since),
            reason=FOR[link.wait.reason],
            words=link.wait.words,
        )
        if link.wait
        else ""
    )
    return Line(number, said("{start} to {end}", start=minute(link.start), end=minute(link.end)), f"{what}{who}", wait, seen)


def _block_of(board: Board, basis: Basis, link: Link) -> Block | None:
    """Return the first block on the board that holds some of a link's work."""
    clock = basis.maps.clock
    start, end = clock.moment(link.start).timestamp(), clock.moment(link.end).timestamp()
    ref = basis.refs.get(link.visit or "", link.visit)

    def holds(task: Task) -> bool:
        if task.place != link.place or not (task.start.timestamp() < end and start < task.end.timestamp()):
            return False
        if link.kind in _BATCH:
            return task.kind in _BATCH
        return task.kind == link.kind and (task.visit == ref or task.visit is None)

    return next((block for block in board.blocks if any(holds(task) for task in block.tasks)), None)


def _strokes(band: Band, chain: Chain, basis: Basis, places: dict[Link, Block | None]) -> Iterable[Stroke]:
    """Yield the waits and the lines between links, as far as they lie in one band."""
    lane_of = {block.id: n for n, (lane, _, _) in enumerate(band.rows) for block in lane.blocks}
    clock, last = basis.maps.clock, band.minutes + MARGIN_MIN

    def x(minute: int) -> int:
        return round((clock.moment(minute).timestamp() - band.start.timestamp()) / 60)

    def y(link: Link) -> int | None:
        block = places[link]
        return None if block is None else lane_of[block.id] * LANE + LANE // 2

    before: tuple[int, int] | None = None
    for link in chain.links:
        at = y(link)
        if at is None:
            continue
        if link.wait is not None:
            low, high = max(0, x(link.wait.since)), min(last, x(link.start))
            if low < high:
                yield Stroke(low, at, high, at, wait=True)
        start = x(link.start)
        if before is not None and before[1] != at and 0 <= before[0] <= last and 0 <= start <= last:
            yield Stroke(before[0], before[1], start, at, wait=False)
        before = (x(link.end), at)
