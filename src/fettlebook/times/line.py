"""A chair's water line as `science` wants it, and what its outlets need, in the groups in which they are opened.

Outlets that run together share the flow of their common parts. Groups follow one another, and each is computed as if the
common parts were still full of old water: the safe side. A line that can't be followed is a `Gap`, never a time of zero.
"""

from typing import Any

from fettlebook.errors import Mendable
from fettlebook.practice.model import Chair, Outlet, OutletKind, SecondFeed, Segment, StirredVolume
from fettlebook.said import said
from fettlebook.science.circuits import Method, OutletSeconds, outlet_seconds
from fettlebook.times.label import Gap

# The patient's mouth is not reached by these; a rule on "outlets used" does not mean them.
NOT_IN_THE_MOUTH = frozenset({OutletKind.CUP_FILLER, OutletKind.BOWL_RINSE})
LITTLE = 0.001  # share of a fill that is not asked for, so that what thins it can't refuse the flush


def outlet_groups(chair: Chair, outlets: tuple[Outlet, ...]) -> tuple[tuple[Outlet, ...], ...]:
    """Return the groups in which these outlets are opened; an outlet that no group names runs alone, after the others."""
    by_id = {o.id: o for o in outlets}
    groups = [tuple(by_id[i] for i in names if i in by_id) for names in chair.run_together]
    named = {i for names in chair.run_together for i in names}
    return tuple(g for g in groups if g) + tuple((o,) for o in outlets if o.id not in named)


def line_needs(
    chair: Chair,
    groups: tuple[tuple[Outlet, ...], ...],
    share_left: float,
    *,
    water_c: float,
    last_hose_only: bool,
    method: Method,
) -> tuple[OutletSeconds, ...] | Gap:
    """Return what each outlet needs until at most `share_left` of the old content comes out, or why it can't be said.

    Parameters
    ----------
    chair
        The chair with its line.
    groups
        Its outlets as they are opened, one group after the other.
    share_left
        Share of old content aimed at, the same for flush and rinse; a fill aims at one less this share, or, where a second
        feed thins it, at next to nothing.
    water_c
        Water temperature [degC].
    last_hose_only
        Reckon from the last straight piece before each outlet only: what can be drawn back from a mouth stands there.
    method
        "safe bound" or "exact".
    """
    try:
        return outlet_seconds(
            circuit_of(chair, groups, water_c=water_c, last_hose_only=last_hose_only),
            flush_share=share_left,
            fill_share=LITTLE if chair.second_feeds else 1 - share_left,
            rinse_share=share_left,
            method=method,
        )
    except Mendable as error:
        return line_gap(error)


def line_gap(error: Mendable) -> Gap:
    """Return why the line can't be reckoned, as a reason with its mend."""
    return Gap(said("the line of this chair can't be computed: {where}: {what}", where=error.where, what=error.what), error.mend)


def circuit_of(chair: Chair, groups: tuple[tuple[Outlet, ...], ...], *, water_c: float, last_hose_only: bool) -> dict[str, Any]:
    """Return the part of a chair's line that these outlets draw through, as the plain data that `science` reads."""
    parts: dict[str, Segment | StirredVolume] = {p.id: p for p in chair.segments} | {p.id: p for p in chair.stirred}
    opened = [o for g in groups for o in g]
    wanted = set(parts)
    feeds = chair.second_feeds
    if len(opened) < len(chair.outlets) or last_hose_only:  # the hose of an outlet that stays shut is no dead leg here
        wanted = {name for o in opened for name in _way_up(parts, o, last_hose_only=last_hose_only)}
    data: dict[str, Any] = {
        "parts": [_part(p, cut=last_hose_only) for p in parts.values() if p.id in wanted],
        "outlets": [{"id": o.id, "part": o.from_, "flow_ml_min": o.flow_ml_min} for o in opened],
        "groups": [[o.id for o in g] for g in groups],
        "temperature_c": water_c,
    }
    if last_hose_only:  # what enters above a hose changes nothing in it
        feeds = tuple(feed for feed in feeds if feed.into in wanted)
    if feeds:
        data["second_feeds"] = [_feed(feed, parts, wanted) for feed in feeds]
    return data


def _feed(feed: SecondFeed, parts: dict[str, Segment | StirredVolume], wanted: set[str]) -> dict[str, Any]:
    """Return a second feed; from a part that is left out here, its water comes back to the end of the first one that isn't."""
    at: str | None = feed.into
    passed: set[str] = set()
    while at in parts and at not in wanted and at not in passed:
        passed.add(at)
        at = parts[at].from_
    return {"id": feed.id, "part": at, "flow_ml_min": feed.flow_ml_min, "at": "end" if passed else "start"}


def _way_up(parts: dict[str, Segment | StirredVolume], outlet: Outlet, *, last_hose_only: bool) -> list[str]:
    way: list[str] = []
    at: str | None = outlet.from_
    while at in parts and at not in way:  # a loop or an unknown part is named by `science`, which reads the same data
        way.append(at)
        part = parts[at]
        if last_hose_only and isinstance(part, Segment):
            break
        at = part.from_
    return way


def _part(part: Segment | StirredVolume, *, cut: bool) -> dict[str, Any]:
    # Where only the last hose counts, that hose begins at the supply; a mixing volume after it still hangs on it.
    data: dict[str, Any] = {"id": part.id, "from": None if cut and isinstance(part, Segment) else part.from_}
    if isinstance(part, StirredVolume):
        return data | {"kind": "stirred", "volume_ml": part.volume_ml}
    return data | {"kind": "tube", "length_m": part.length_m, "bore_mm": part.bore_mm, "shape": part.shape.value}
