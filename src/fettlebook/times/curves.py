"""A chair's wash-out as curves: what still comes out of each outlet when, with the aims and the running times to mark.

The curves are the cautious ones: an outlet's best estimate is stretched by as much as its running time is, so that a curve
reaches its aim at the running time that the line needs, in 95 of 100 cases.
"""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from fettlebook.practice.model import Chair, Outlet, Practice, ProductUse
from fettlebook.rules.model import Computed, Rulebook, When
from fettlebook.said import said
from fettlebook.science.curves import outlet_curves
from fettlebook.science.second_feed import supply_shares
from fettlebook.science.tree import read_tree
from fettlebook.times.label import Gap, feed_strength_mg_l, label_for
from fettlebook.times.line import circuit_of
from fettlebook.times.model import RunningTime
from fettlebook.times.second_feeds import as_filled
from fettlebook.times.words import share

What = Literal["flush", "between", "fill", "rinse"]
POINTS: Final = 480  # one to every one and a half units of the picture's width, so that the tail is smooth
_MOMENTS: Final[dict[What, tuple[Computed, bool]]] = {
    "flush": (Computed.FLUSH, False),
    "between": (Computed.FLUSH, True),
    "fill": (Computed.FILL, False),
    "rinse": (Computed.RINSE, False),
}


@dataclass(frozen=True, slots=True)
class Line:
    """One outlet's curve: shares at evenly spaced times from 0 to the end of the picture; when it is down to the aim."""

    outlet: str
    group: int
    shares: tuple[float, ...]
    aim_s: float


@dataclass(frozen=True, slots=True)
class Mark:
    """A time that a rule, a label or the line sets for each group of outlets."""

    name: str
    seconds: float


@dataclass(frozen=True, slots=True)
class Picture:
    """The curves of one kind of step on one chair."""

    what: What
    title: str
    aim: float
    aim_words: str
    end_s: int
    lines: tuple[Line, ...]
    marks: tuple[Mark, ...]
    full_mg_l: float | None = None  # what a share of 1 is, where shares are strengths
    out_of: str = said("old water")


def chair_pictures(practice: Practice, rulebook: Rulebook, times: Sequence[RunningTime], chair: Chair) -> tuple[Picture, ...]:
    """Return the curves of a chair for each kind of step that has a time: flush, between visits, fill, rinse."""
    own = [t for t in times if t.chair == chair.id and t.outlets and t.seconds is not None]
    steps = {s.id: s for d in rulebook.duties for s in d.steps}
    found: list[Picture] = []
    for what, (computes, between) in _MOMENTS.items():
        time = next((t for t in own if steps[t.step_id].computes is computes and (t.when is When.BETWEEN_VISITS) is between), None)
        if time is not None:
            found.append(_picture(practice, chair, what, time))
    return tuple(found)


def _picture(practice: Practice, chair: Chair, what: What, time: RunningTime) -> Picture:
    by_id = {o.outlet: o for o in time.outlets}
    groups = _groups(chair, time)
    if what == "fill":
        chair, groups = as_filled(chair, groups, water_c=practice.practice.water_temperature_c)
    circuit = circuit_of(chair, groups, water_c=practice.practice.water_temperature_c, last_hose_only=what == "between")
    marks = _marks(time)
    end_s = _rounded(1.15 * max([m.seconds for m in marks if m.name != "rule" or m.seconds <= 150] + [o.seconds for o in time.outlets]))
    tree = read_tree(circuit)
    reached = dict(zip((o.id for o in tree.outlets), supply_shares(tree), strict=True))  # below 1 where other water thins a fill
    drawn: dict[str, list[float]] = {}
    for curve in outlet_curves(circuit, float(end_s), POINTS):
        of = by_id[curve.outlet]
        slow = of.seconds / of.nominal_s  # the cautious curve is the best estimate, later: read that one earlier
        known = of.reading != "bound"  # else nobody knows how fast the product spreads: the slowest curve
        shares = (
            (curve.missing if known else curve.missing_most)
            if what == "fill"
            else curve.solute
            if what == "rinse" and known
            else curve.old_water
        )
        left = np.interp(curve.time_s / slow, curve.time_s, shares)
        drawn[curve.outlet] = (1.0 - reached[curve.outlet] * (1.0 - left) if what == "fill" else left).tolist()
    aim = time.outlets[0].residual
    full, out_of, title, words = _words(practice, what, aim)
    return Picture(
        what=what,
        title=title,
        aim=aim,
        aim_words=words,
        end_s=end_s,
        lines=tuple(Line(o.outlet, o.group, tuple(round(s, 8) for s in drawn[o.outlet]), o.seconds) for o in time.outlets),
        marks=marks,
        full_mg_l=full,
        out_of=out_of,
    )


def _words(practice: Practice, what: What, aim: float) -> tuple[float | None, str, str, str]:
    if what == "flush":
        return None, said("old water"), said("Flush: old water that still comes out"), said("aim {aim}", aim=share(aim))
    if what == "between":
        return (
            None,
            said("old water"),
            said("Between visits: water of the last hose that still comes out"),
            said("aim {aim}", aim=share(aim)),
        )
    label = label_for(practice, ProductUse.LINE_INTENSIVE)
    feed = None if isinstance(label, Gap) else feed_strength_mg_l(label)
    full = feed if isinstance(feed, float | int) else None
    if what == "fill":
        return (
            full,
            said("strength missing"),
            said("Fill: share of the feed strength that is still missing"),
            said("aim {aim} missing", aim=share(aim)),
        )
    limit = said("limit {aim:,.4g} mg/L", aim=full * aim) if full else said("aim {aim}", aim=share(aim))
    return full, "product", said("Rinse: product that still comes out"), limit


def _groups(chair: Chair, time: RunningTime) -> tuple[tuple[Outlet, ...], ...]:
    by_id = {o.id: o for o in chair.outlets}
    return tuple(tuple(by_id[name] for name in g.outlets) for g in time.groups)


def _marks(time: RunningTime) -> tuple[Mark, ...]:
    count = max(1, len(time.groups))
    asked = [Mark(c.set_by, c.seconds / count) for c in time.candidates if c.set_by in ("rule", "label")]
    return (*asked, Mark("line", max(o.seconds for o in time.outlets)))


def _rounded(seconds: float) -> int:
    """Round up to what an axis can be marked in."""
    step = 10 if seconds <= 60 else 30 if seconds <= 300 else 60
    return int(-(-seconds // step) * step)


def at_seconds(picture: Picture, line: Line, seconds: float) -> float:
    """Return the share at a time of the picture."""
    return float(np.interp(seconds, np.linspace(0.0, picture.end_s, len(line.shares)), line.shares))


def spoken(picture: Picture, value: float) -> str:
    """Return a share as the picture's own quantity: per cent, per cent reached, or mg/L."""
    told = said("under 1 part in 100,000") if value < 1e-5 else share(value)
    if picture.what == "fill":
        return said("{there:.3g} %", there=(1 - value) * 100)
    if picture.full_mg_l is None:
        return told
    left = picture.full_mg_l * value
    return said("{left:,.0f} mg/L", left=left) if left >= 100 else said("{left:.3g} mg/L", left=left)
