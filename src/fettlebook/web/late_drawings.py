"""Drawings of how days stand up: the chance of a late start visit by visit, slack that matters, and what purchases bring.

Bars of one visit lie in each other: the wide one starts more than 5 minutes late, the inner ones more than 10 and 15.
They differ in lightness and have an outline, so that grey paper shows them too; a table says the same.
"""

import csv
from collections.abc import Callable
from dataclasses import asdict, dataclass
from io import StringIO
from typing import Any, Final

from fettlebook.plan.capacity import Capacity
from fettlebook.plan.stress import LATE_MIN, Stress
from fettlebook.said import said
from fettlebook.web.tables import inert

WIDTH: Final = 760
LEFT: Final = 52
RIGHT: Final = 16
TOP: Final = 14
PLOT: Final = 190
BOTTOM: Final = 50
ROW: Final = 34
LABELS: Final = 12
Minute = Callable[[int], str]


@dataclass(frozen=True, slots=True)
class Bar:
    """A rectangle of a drawing and its look."""

    x: float
    y: float
    width: float
    height: float
    look: int


@dataclass(frozen=True, slots=True)
class Word:
    """A word beside it."""

    x: float
    y: float
    text: str
    anchor: str = "middle"


@dataclass(frozen=True, slots=True)
class Drawing:
    """Bars, words and lines across, in a box of this size."""

    width: int
    height: int
    bars: tuple[Bar, ...]
    words: tuple[Word, ...]
    across: tuple[tuple[float, str], ...]  # a line across at y with its word
    marks: tuple[tuple[float, str], ...] = ()  # a line down at x with its word


def late_chances(found: Stress, minute: Minute) -> Drawing:
    """Return the chance of a late start, visit by visit in order of booked time."""
    room = WIDTH - LEFT - RIGHT
    each = room / max(1, len(found.visits))
    zero = TOP + PLOT
    bars = [
        Bar(round(LEFT + i * each + each * (0.1 + 0.12 * k), 1), round(zero - PLOT * v.more_than[limit], 1),
            round(each * (0.8 - 0.24 * k), 1), round(PLOT * v.more_than[limit], 1), k)
        for i, v in enumerate(found.visits)
        for k, limit in enumerate(LATE_MIN)
        if v.more_than[limit] > 0
    ]  # fmt: skip
    step = max(1, -(-len(found.visits) // LABELS))
    words = [Word(round(LEFT + (i + 0.5) * each, 1), zero + 18, minute(v.booked)) for i, v in enumerate(found.visits) if i % step == 0]
    words.append(Word(LEFT + room / 2, zero + 40, said("visits, by booked time")))
    return Drawing(WIDTH, TOP + PLOT + BOTTOM, tuple(bars), tuple(words), _percents(zero))


def _percents(zero: int) -> tuple[tuple[float, str], ...]:
    return tuple((zero - PLOT * share / 100, said("{share} %", share=share)) for share in (0, 25, 50, 75, 100))


def purchases(found: Capacity) -> Drawing:
    """Return the share of visits on time as it is and after each purchase, as bars with the goal as a line down."""
    steps = [(said("as it is"), found.on_time), *((f"{n}. + 1 {b.id}", b.after) for n, b in enumerate(found.buys, 1))]
    left, room = 190, WIDTH - 190 - 70
    bars, words = [], []
    for k, (text, share) in enumerate(steps):
        y = TOP + 24 + k * ROW
        bars.append(Bar(left, y, round(room * share, 1), ROW - 10, 0 if k == 0 else 1))
        words += [Word(left - 8, y + 17, text, "end"), Word(left + 8, y + 17, said("{share:.0f} %", share=100 * share), "start")]
    marks = [(round(left + room * found.goal, 1), said("goal {goal:.0f} %", goal=100 * found.goal))]
    return Drawing(WIDTH, TOP + 24 + ROW * len(steps) + 8, tuple(bars), tuple(words), (), tuple(marks))


def stress_csv(found: Stress, minute: Minute) -> str:
    """Return a line for each visit."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(
        [
            "booked",
            "visit",
            *(f"chance more than {m} min late" for m in LATE_MIN),
            "not served",
            "mean min late",
            "1 day in 10",
        ]
    )
    for v in found.visits:
        shares = [f"{v.more_than[m]:.3f}" for m in LATE_MIN]
        writer.writerow([minute(v.booked), inert(v.visit), *shares, f"{v.never:.3f}", f"{v.mean_late:.1f}", f"{v.late_90:.0f}"])
    return out.getvalue()


def capacity_csv(found: Capacity) -> str:
    """Return a line for each purchase, then one for each need."""
    out = StringIO()
    writer = csv.writer(out, lineterminator="\r\n")
    writer.writerow(["kind", "what", "owned", "least", "on time before", "on time after", "weighted minutes saved a day"])
    for b in found.buys:
        writer.writerow(["buy", inert(b.id), b.owned, "", f"{b.before:.3f}", f"{b.after:.3f}", f"{b.minutes_saved:.0f}"])
    for n in found.needs:
        writer.writerow(["need", inert(n.id), n.owned, n.least, "", "", ""])
    return out.getvalue()


def stress_json(found: Stress, minute: Minute) -> dict[str, Any]:
    """Return the result as plain values."""
    return {
        "samples": found.samples,
        "overruns": asdict(found.overruns),
        "on_time": found.on_time,
        "weighted_minutes_late": {"mean": found.mean, "in_one_day_of_ten": found.late_90, "as_booked": found.as_booked},
        "never_a_day": found.never,
        "after_hours_min": found.after_hours,
        "visits": [
            {**asdict(v), "booked": minute(v.booked), "more_than": {f"{m}_min": p for m, p in v.more_than.items()}} for v in found.visits
        ],
        "slack": [{**asdict(s), "booked": minute(s.booked)} for s in found.slack],
    }
