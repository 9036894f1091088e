"""A step that runs through the outlets, group after group: what the line needs, beside what rule and label ask."""

from dataclasses import replace
from typing import Final

from fettlebook.errors import Mendable
from fettlebook.practice.model import Outlet
from fettlebook.rules.model import Origin
from fettlebook.said import listed, said
from fettlebook.science.circuits import Method
from fettlebook.times.calibrated import known_now, old_flows, strips_words, with_strips
from fettlebook.times.derivation import common_words, group_words, level_words
from fettlebook.times.dosing import Level
from fettlebook.times.frame import Frame, GroupNeed
from fettlebook.times.label import Gap, Label
from fettlebook.times.line import NOT_IN_THE_MOUTH, line_gap, outlet_groups
from fettlebook.times.model import Candidate, OutletTime, RunningTime, SetBy
from fettlebook.times.second_feeds import LENIENT, as_filled, feed_words
from fettlebook.times.sure import Aim, Aims, LineNeed, sure_needs, typical_line
from fettlebook.times.words import LEFT_OUT, METHOD

LINE_ORIGIN: Final = Origin("fettlebook", "times.line", "computed from this chair's line as the practice file gives it", "practice", "own")
PEROXIDE: Final = "hydrogen peroxide"  # the one active substance whose diffusion is known here
WHY: Final = said("what this chair's line needs, long enough in 95 of 100 cases")


def line_step(
    frame: Frame,
    known: tuple[Candidate, ...],
    told: tuple[str, ...],
    aim: Aim,
    left: float,
    *,
    label: Label | None = None,
    last_hose_only: bool = False,
    level: Level | Gap | None = None,
    notes: tuple[str, ...] = (),
) -> RunningTime:
    """Return the time of a flush, fill or rinse.

    Parameters
    ----------
    frame
        The step, its chair, practice and rulebook.
    known
        What rule and label ask of each group.
    told
        What is already said of rule, label and aim.
    aim
        What the step is reckoned as.
    left
        The share aimed at, above 0 and below 1.
    label
        The product's label, where one is used.
    last_hose_only
        Reckon from the last hose of each outlet only.
    level
        A dosed level that a flush must bring to the last outlet too, or why it can't.
    notes
        Shown beside the time.
    """
    aged = old_flows(frame.chair)
    frame = replace(frame, chair=known_now(frame.chair))
    outlets, passed_over = _meant(frame)
    words = [*told]
    if not outlets:
        return frame.missing(
            Gap(said("the chair has no outlet that this step runs"), said("Add the chair's outlets with their measured flow.")), known
        )
    if passed_over:
        words.append(
            said(
                "Not part of this step, since nothing from the mouth reaches it: {passed_over}.",
                passed_over=listed(tuple(o.id for o in passed_over)),
            )
        )
    if last_hose_only:
        words.append(said("Between visits only the last hose of each outlet is meant: what can be drawn back from a mouth stands there."))
    unknown_solute = label is not None and frame.method == "exact" and not is_peroxide(label)
    if unknown_solute:
        frame = replace(frame, method="safe bound")
    opened = outlet_groups(frame.chair, outlets)
    water_c = frame.practice.practice.water_temperature_c
    aims = _aims(frame, aim, left)
    needs = _needs(frame, opened, aims, aim, last_hose_only=last_hose_only)
    if isinstance(needs, Gap):
        return frame.missing(needs, known, label=label)
    by_outlet = {n.best.outlet: n for n in needs}
    level, dosed = _dosed(frame, level, opened)
    groups: list[GroupNeed] = []
    for number, group in enumerate(opened, start=1):
        found = tuple(by_outlet[o.id] for o in group)
        times = tuple(_outlet_time(o, number, need, aim, left) for o, need in zip(group, found, strict=True))
        if isinstance(level, Level) and dosed:
            level_times = tuple(_outlet_time(o, number, dosed[o.id], "fill", level.missing) for o in group)
            times = tuple(max(pair, key=lambda t: t.seconds) for pair in zip(times, level_times, strict=True))
        asks: dict[SetBy, float] = {c.set_by: c.seconds for c in known} | {"line": max(t.seconds for t in times)}
        groups.append(GroupNeed(times, asks))
        name = said("Group {number}", number=number) if len(opened) > 1 else "Outlets"
        words += group_words(
            frame, aim, zip(times, found, strict=True), head=name, way=said("its last hose") if last_hose_only else said("its whole way")
        )
    told_unit, unit_notes = _unit_words(frame, opened, groups, aged, filling=aim == "fill")
    words += told_unit
    notes += unit_notes
    if typical_line(frame.chair):
        notes += (said("bores and lengths are typical ones, not measured"),)
    if level is not None:
        told_level, level_note = level_words(level, opened, dosed)
        words += told_level
        notes += level_note
    words += common_words(frame, aim, water_c, len(opened))
    if unknown_solute and label is not None:
        words.append(
            said(
                "How fast {active} spreads in water is not known here, so the safe bound counts. Strip readings can bear out less.",
                active=label.product.active,
            )
        )
    cautions = tuple(dict.fromkeys(c for n in needs for c in n.best.cautions))
    flow_words = tuple(c for c in cautions if "Reynolds" in c or ": coiled" in c)  # how it was reckoned, not something to beware of
    words += [*flow_words, said("Line: {method}", method=METHOD[frame.method]), LEFT_OUT]
    candidates = (
        *(Candidate(c.set_by, c.seconds * len(groups), c.why, c.origin) for c in known),
        Candidate("line", sum(g.asks["line"] for g in groups), WHY, LINE_ORIGIN),
    )
    dead_legs = tuple(c for c in cautions if c not in flow_words)
    return frame.grouped(
        tuple(groups), candidates, tuple(words), label=label, fills=aim == "fill", line_cautions=dead_legs, line_notes=notes
    )


def _aims(frame: Frame, aim: Aim, left: float) -> Aims:
    """Return the shares that the line is reckoned for: all three, or, where a second feed may bar one, the one that is asked."""
    all_three = LENIENT if frame.chair.second_feeds else frame.aims
    return replace(all_three, **{"fill_missing" if aim == "fill" else aim: left})


def _dosed(
    frame: Frame, level: Level | Gap | None, opened: tuple[tuple[Outlet, ...], ...]
) -> tuple[Level | Gap | None, dict[str, LineNeed]]:
    """Return when a dosed level is at each outlet; a line that keeps it from ever getting there makes a gap of it."""
    if not isinstance(level, Level):
        return level, {}
    method: Method = frame.method if is_peroxide(level.label) else "safe bound"
    aims = _aims(frame, "fill", level.missing)
    water_c = frame.practice.practice.water_temperature_c
    reach = sure_needs(frame.lines, frame.chair, opened, aims, water_c=water_c, last_hose_only=False, method=method)
    if isinstance(reach, Gap):
        return reach, {}
    reach = with_strips(frame.chair, opened, reach, aims, water_c=water_c, last_hose_only=False, method=method)
    return level, {n.best.outlet: n for n in reach}


def _unit_words(
    frame: Frame, opened: tuple[tuple[Outlet, ...], ...], groups: list[GroupNeed], aged: tuple[str, ...], *, filling: bool
) -> tuple[list[str], tuple[str, ...]]:
    """Say what strips, a second feed and a change of the lines do to this step; and, short, what must be seen beside the time."""
    words, notes = feed_words(frame.chair, opened, water_c=frame.practice.practice.water_temperature_c, filling=filling)
    for group, need in zip(opened, groups, strict=True):
        told, seen = strips_words(frame.chair, group, need.outlets)
        words += told
        notes += seen
    if aged:
        notes += (
            said(
                "flow measured before the lines were changed on {changed_on}, measure again: {aged}",
                changed_on=frame.chair.changed_on,
                aged=listed(aged),
            ),
        )
    return words, notes


def _needs(
    frame: Frame, opened: tuple[tuple[Outlet, ...], ...], aims: Aims, aim: Aim, *, last_hose_only: bool
) -> tuple[LineNeed, ...] | Gap:
    """Return what each outlet needs, as the line is during this step and with what strips ask for."""
    chair, water_c = frame.chair, frame.practice.practice.water_temperature_c
    if aim == "fill":
        try:
            chair, opened = as_filled(chair, opened, water_c=water_c)
        except Mendable as error:
            return line_gap(error)
    needs = sure_needs(frame.lines, chair, opened, aims, water_c=water_c, last_hose_only=last_hose_only, method=frame.method)
    if isinstance(needs, Gap):
        return needs
    return with_strips(chair, opened, needs, aims, water_c=water_c, last_hose_only=last_hose_only, method=frame.method)


def _outlet_time(outlet: Outlet, group: int, need: LineNeed, aim: Aim, left: float) -> OutletTime:
    return OutletTime(
        outlet=outlet.id,
        group=group,
        seconds=need.sure(aim),
        residual=left,
        flow_ml_min=outlet.flow_ml_min,
        measured=outlet.measured_on is not None,
        nominal_s=need.nominal(aim),
        bound_s=need.bound_s(aim),
        reading=need.reading(aim),
        measure_first=need.measure_first,
        strips_s=need.strips(aim),
    )


def is_peroxide(label: Label) -> bool:
    """Return whether the product's active substance is the one whose diffusion is known here."""
    return PEROXIDE in label.product.active.lower()


def _meant(frame: Frame) -> tuple[tuple[Outlet, ...], tuple[Outlet, ...]]:
    """Return the outlets that the step means and those that it passes over."""
    outlets = frame.chair.outlets
    if frame.step.outlets != "used":
        return outlets, ()
    passed_over = tuple(o for o in outlets if o.kind in NOT_IN_THE_MOUTH)
    return tuple(o for o in outlets if o not in passed_over), passed_over
