"""The computed steps: flush, fill, contact, rinse, suction contact, surface wet time.

Order matters: the contact clock of a label starts when the last outlet carries the feed strength, so the fill ends
before the contact begins, and the rinse begins when the contact has run in full.
"""

from fettlebook.practice.model import Outlet, ProductUse, SupplyKind
from fettlebook.rules.model import Computed, Origin, When
from fettlebook.science.circuits import OutletSeconds
from fettlebook.times.frame import Frame, GroupNeed
from fettlebook.times.label import Gap, Label, feed_strength_mg_l, label_for, temperature_gap
from fettlebook.times.line import NOT_IN_THE_MOUTH, line_needs, outlet_groups
from fettlebook.times.model import Candidate, OutletTime, RunningTime, SetBy
from fettlebook.times.targets import FILL_MISSING, Target, flush_target_id, target
from fettlebook.times.words import LEFT_OUT, SAFE_BOUND, clock, listed, part_line, part_size, share

LINE_ORIGIN = Origin("fettlebook", "times.line", "computed from this chair's line as the practice file gives it", "practice", "own")


def flush_time(frame: Frame) -> RunningTime:
    """Time a flush: the whole line, or between visits the last hose of the outlets that reach the mouth."""
    step = frame.step
    rule = _floor(frame)
    if step.medium == "air":
        if not rule:
            return frame.missing(
                Gap("blowing out with air is not computed, and the rulebook gives no seconds", "Set the seconds from the IFU.")
            )
        return frame.single(rule, _told(frame, rule, "Blowing out with air is not computed; the rule's time stands."))
    last_hose = frame.duty.when is When.BETWEEN_VISITS
    aim = target(frame.rulebook, flush_target_id(frame.duty.when))
    what = "the last hose's water" if last_hose else "the standing water"
    told = f"Aim: at most {share(aim.share)} of {what} still comes out ({_aim_source(aim)})."
    return _line_step(frame, rule, aim.share, (told,), last_hose_only=last_hose)


def fill_time(frame: Frame) -> RunningTime:
    """Time a fill: until the last outlet carries the feed strength."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    if gap := temperature_gap(label, frame.practice.practice.water_temperature_c):
        return frame.missing(gap, rule, label=label)
    aim = target(frame.rulebook, FILL_MISSING)
    told = f"Aim: the last outlet carries at least {share(1 - aim.share)} of the feed strength ({_aim_source(aim)})."
    return _line_step(frame, rule, aim.share, (told,), label=label, fills=True)


def contact_time(frame: Frame) -> RunningTime:
    """Time the contact in the lines: the label's, at the label's strength and temperature only."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    return _contact(frame, rule, label, check_water=True, start="The clock starts when the last outlet carries the feed strength.")


def rinse_time(frame: Frame) -> RunningTime:
    """Time a rinse: until every outlet is at or under the label's residual limit, never shorter than the label's rinse."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    known = rule
    if label.use.rinse_s is not None:
        known += (Candidate("label", label.use.rinse_s, "shortest rinse of the label", _label_origin(label)),)
    limit = label.use.residual_limit_mg_l
    if limit is None:
        why = f'the label of "{label.product.name}" gives no residual limit, so what this line needs can\'t be said'
        return frame.missing(Gap(why, "Ask the maker for the limit, and set residual_limit_mg_l."), known, label=label)
    feed = feed_strength_mg_l(label)
    if isinstance(feed, Gap):
        return frame.missing(feed, known, label=label)
    if limit >= feed:
        why = f"the residual limit of {limit:g} mg/L is not under the feed strength of {feed:,.0f} mg/L"
        return frame.missing(Gap(why, "Read both again from the label: one of them is in another unit."), known, label=label)
    told = (
        f"Aim: at most {limit:g} mg/L at every outlet ({_label_ref(label)}), from {feed:,.0f} mg/L in the line: {share(limit / feed)}.",
    )
    return _line_step(frame, known, limit / feed, told, label=label)


def suction_contact_time(frame: Frame) -> RunningTime:
    """Time the contact in the suction hoses, by the label."""
    label = label_for(frame.practice, ProductUse.SUCTION)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    start = "The clock starts when the solution has been drawn through every suction hose."
    if not frame.chair.suction:
        start += " The practice file lists no suction hose for this chair."
    return _contact(frame, rule, label, check_water=True, start=start)


def surface_wet_time(frame: Frame) -> RunningTime:
    """Time the wetness of surfaces, by the label; the air of the room is not in the practice file, so its range is told."""
    label = label_for(frame.practice, ProductUse.SURFACES)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    low, high = label.use.temperature_c
    start = f"Visibly wet all that time; the label holds from {low:g} to {high:g} degC in the room: not checked here."
    return _contact(frame, rule, label, check_water=False, start=start)


def _contact(frame: Frame, rule: tuple[Candidate, ...], label: Label, *, check_water: bool, start: str) -> RunningTime:
    water_c = frame.practice.practice.water_temperature_c
    candidates = (*rule, Candidate("label", label.use.contact_s, "contact time of the label", _label_origin(label)))
    if check_water and (gap := temperature_gap(label, water_c)):
        return frame.missing(gap, rule, label=label)
    low, high = label.use.temperature_c
    holds = (f"The label holds from {low:g} to {high:g} degC; the water is {water_c:g} degC.",) if check_water else ()
    return frame.single(
        candidates, (*_told(frame, candidates, f"At the label's strength only: {_strength(label)}."), *holds, start), label=label
    )


def _line_step(
    frame: Frame,
    known: tuple[Candidate, ...],
    left: float,
    aim: tuple[str, ...],
    *,
    label: Label | None = None,
    last_hose_only: bool = False,
    fills: bool = False,
) -> RunningTime:
    """Time a step that runs through the outlets, group after group."""
    outlets, passed_over = _meant(frame)
    told = [*_told(frame, known), *aim]
    if not outlets:
        return frame.missing(Gap("the chair has no outlet that this step runs", "Add the chair's outlets with their measured flow."), known)
    if passed_over:
        told.append(f"Not part of this step, since nothing from the mouth reaches it: {listed(tuple(o.id for o in passed_over))}.")
    if last_hose_only:
        told.append("Between visits only the last hose of each outlet is meant: what can be drawn back from a mouth stands there.")
    opened = outlet_groups(frame.chair, outlets)
    water_c = frame.practice.practice.water_temperature_c
    needs = line_needs(frame.chair, opened, left, water_c=water_c, last_hose_only=last_hose_only, method=frame.method)
    if isinstance(needs, Gap):
        return frame.missing(needs, known, label=label)
    need_s = {n.outlet: n.fill_s if fills else n.flush_s if frame.step.computes is Computed.FLUSH else n.rinse_s for n in needs}
    groups: list[GroupNeed] = []
    for number, group in enumerate(opened, start=1):
        times = tuple(OutletTime(o.id, number, need_s[o.id], left, o.flow_ml_min, o.measured_on is not None) for o in group)
        asks: dict[SetBy, float] = {c.set_by: c.seconds for c in known} | {"line": max(t.seconds for t in times)}
        groups.append(GroupNeed(times, asks))
        name = f"Group {number}" if len(opened) > 1 else "Outlets"
        way = "its last hose" if last_hose_only else "its whole way"
        told += _group_words(frame, times, tuple(n for n in needs if n.group == number - 1), name, way)
    if fills:
        told.append("A fill is judged by the outlet and by what the line still holds on the way, whichever takes longer.")
    if len(opened) > 1:
        told.append(
            "Each group is computed as if the common parts still held old water (the safe side), and the rule and the label are counted "
            "for each group, since every outlet must run that long."
        )
    said = tuple(dict.fromkeys(c for n in needs for c in n.cautions))
    flow_words = tuple(c for c in said if "Reynolds" in c)  # how it was reckoned, not something to beware of
    told += [*flow_words, *([SAFE_BOUND] if frame.method == "safe bound" else []), LEFT_OUT]
    candidates = (
        *(Candidate(c.set_by, c.seconds * len(groups), c.why, c.origin) for c in known),
        Candidate("line", sum(g.asks["line"] for g in groups), "what this chair's line needs", LINE_ORIGIN),
    )
    dead_legs = tuple(c for c in said if c not in flow_words)
    return frame.grouped(tuple(groups), candidates, tuple(told), label=label, fills=fills, line_cautions=dead_legs)


def _group_words(frame: Frame, times: tuple[OutletTime, ...], needs: tuple[OutletSeconds, ...], group: str, way: str) -> list[str]:
    flows = listed(tuple(f"{t.outlet} {t.flow_ml_min:g}{'' if t.measured else ' (not measured)'}" for t in times))
    words = [f"{group}, opened {'together' if len(times) > 1 else 'alone'}: {flows} mL/min."]
    sizes = {p.id: part_size(p) for p in frame.chair.segments} | {p.id: part_size(p) for p in frame.chair.stirred}
    parts = {p.id: p for n in needs for p in n.path}
    words += [part_line(p, sizes[p.id]) for p in parts.values()]
    asks = "the safe bound asks" if frame.method == "safe bound" else "the wash-out asks"
    for time, found in zip(times, needs, strict=True):
        changes = time.seconds / found.nominal_s
        words.append(
            f"{time.outlet}: one volume change of {way} takes {found.nominal_s:.1f} s; {asks} {changes:.1f} volume changes "
            f"for {share(time.residual)} left: {time.seconds:.1f} s."
        )
    if len(times) > 1:
        slowest = max(times, key=lambda t: t.seconds)
        words.append(f"The slowest, {slowest.outlet}, sets what the line needs: {clock(slowest.seconds)}.")
    return words


def _meant(frame: Frame) -> tuple[tuple[Outlet, ...], tuple[Outlet, ...]]:
    """Return the outlets that the step means and those that it passes over."""
    outlets = frame.chair.outlets
    if frame.step.outlets != "used":
        return outlets, ()
    passed_over = tuple(o for o in outlets if o.kind in NOT_IN_THE_MOUTH)
    return tuple(o for o in outlets if o not in passed_over), passed_over


def _floor(frame: Frame) -> tuple[Candidate, ...]:
    step = frame.step
    return () if step.seconds is None else (Candidate("rule", step.seconds, "floor of the rulebook", step.origin),)


def _told(frame: Frame, candidates: tuple[Candidate, ...], *more: str) -> tuple[str, ...]:
    names = {"rule": "Rule asks at least", "label": "Label asks at least"}
    told = [frame.asks(names[c.set_by], c.seconds, c.origin) for c in candidates if c.origin]
    if frame.step.floor_range_s:
        low, high = frame.step.floor_range_s
        told.append(f"The rule names {low:g} to {high:g} s; the longer end is used.")
    return (*told, *more)


def _line_label(frame: Frame) -> Label | Gap:
    supply = frame.chair.supply
    if supply.kind is SupplyKind.DOSING and supply.product is None and frame.practice.in_use.line_continuous is None:
        return Gap(
            "this chair doses a product all day and the practice file does not say which, so nothing else may be put into its line",
            "Set supply.product of the chair, and ask its maker whether an intensive treatment is allowed.",
        )
    return label_for(frame.practice, ProductUse.LINE_INTENSIVE)


def _label_origin(label: Label) -> Origin:
    return Origin("label", label.product.id, _label_ref(label), "practice", "practice")


def _label_ref(label: Label) -> str:
    return label.product.label_ref or f"label of {label.product.name}"


def _strength(label: Label) -> str:
    use = label.use
    return str(use.strength_unit) if use.strength is None else f"{use.strength:g} {use.strength_unit}"


def _aim_source(aim: Target) -> str:
    return aim.origin.source
