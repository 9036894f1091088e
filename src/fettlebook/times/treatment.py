"""The computed steps: flush, fill, contact, rinse, suction contact, surface wet time.

Order matters: the contact clock of a label starts when the last outlet carries the feed strength, so the fill ends
before the contact begins, and the rinse begins when the contact has run in full.
"""

from fettlebook.practice.model import Practice, ProductUse, SupplyKind
from fettlebook.rules.model import Origin, Rulebook, When
from fettlebook.said import said
from fettlebook.times.dosing import dosed_level
from fettlebook.times.frame import Frame
from fettlebook.times.label import Gap, Label, feed_strength_mg_l, label_for, temperature_gap
from fettlebook.times.model import Candidate, RunningTime
from fettlebook.times.sure import Aims
from fettlebook.times.targets import FILL_MISSING, FLUSH_WHOLE, Target, flush_target_id, share_or_default, target
from fettlebook.times.through import line_step
from fettlebook.times.words import share


def aims_of(practice: Practice, rulebook: Rulebook) -> Aims:
    """Return the shares that flush, fill and rinse of this practice aim at; one that can't be said gets a stand-in."""
    aims = Aims(share_or_default(rulebook, FLUSH_WHOLE), share_or_default(rulebook, FILL_MISSING))
    label = label_for(practice, ProductUse.LINE_INTENSIVE)
    if isinstance(label, Gap) or label.use.residual_limit_mg_l is None:
        return aims
    feed = feed_strength_mg_l(label)
    if isinstance(feed, Gap) or label.use.residual_limit_mg_l >= feed:
        return aims
    return Aims(aims.flush, aims.fill_missing, label.use.residual_limit_mg_l / feed)


def flush_time(frame: Frame) -> RunningTime:
    """Time a flush: the whole line, or between visits the last hose of the outlets that reach the mouth."""
    step = frame.step
    rule = _floor(frame)
    if step.medium == "air":
        if not rule:
            return frame.missing(
                Gap(said("blowing out with air is not computed, and the rulebook gives no seconds"), said("Set the seconds from the IFU."))
            )
        return frame.single(rule, _told(frame, rule, said("Blowing out with air is not computed; the rule's time stands.")))
    last_hose = frame.duty.when is When.BETWEEN_VISITS
    aim = target(frame.rulebook, flush_target_id(frame.duty.when))
    if isinstance(aim, Gap):
        return frame.missing(aim, rule)
    what = said("the last hose's water") if last_hose else said("the standing water")
    told = said("Aim: at most {share} of {what} still comes out ({aim}).", share=share(aim.share), what=what, aim=_aim_source(aim))
    level = None if last_hose or frame.duty.when is When.END_OF_DAY else dosed_level(frame.practice, frame.chair, frame.aims.fill_missing)
    return line_step(frame, rule, _told(frame, rule, told), "flush", aim.share, last_hose_only=last_hose, level=level)


def fill_time(frame: Frame) -> RunningTime:
    """Time a fill: until the last outlet carries the feed strength."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    if gap := temperature_gap(label, frame.practice.practice.water_temperature_c):
        return frame.missing(gap, rule, label=label)
    aim = target(frame.rulebook, FILL_MISSING)
    if isinstance(aim, Gap):
        return frame.missing(aim, rule, label=label)
    told = said(
        "Aim: the last outlet carries at least {share} of the feed strength ({aim}).", share=share(1 - aim.share), aim=_aim_source(aim)
    )
    return line_step(frame, rule, _told(frame, rule, told), "fill", aim.share, label=label)


def contact_time(frame: Frame) -> RunningTime:
    """Time the contact in the lines: the label's, at the label's strength and temperature only."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    return _contact(frame, rule, label, check_water=True, start=said("The clock starts when the last outlet carries the feed strength."))


def rinse_time(frame: Frame) -> RunningTime:
    """Time a rinse: until every outlet is at or under the label's residual limit, never shorter than the label's rinse."""
    label = _line_label(frame)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    known = rule
    if label.use.rinse_s is not None:
        known += (Candidate("label", label.use.rinse_s, said("shortest rinse of the label"), _label_origin(label)),)
    limit = label.use.residual_limit_mg_l
    if limit is None:
        why = said('the label of "{name}" gives no residual limit, so what this line needs can\'t be said', name=label.product.name)
        return frame.missing(Gap(why, said("Ask the maker for the limit, and set residual_limit_mg_l.")), known, label=label)
    feed = feed_strength_mg_l(label)
    if isinstance(feed, Gap):
        return frame.missing(feed, known, label=label)
    if limit >= feed:
        why = said("the residual limit of {it:g} mg/L is not under the feed strength of {feed:,.0f} mg/L", it=limit, feed=feed)
        return frame.missing(Gap(why, said("Read both again from the label: one of them is in another unit.")), known, label=label)
    told: tuple[str, ...] = (
        said(
            "Aim: at most {it:g} mg/L at every outlet ({label}), from {feed:,.0f} mg/L in the line: {feed2}.",
            it=limit,
            label=_label_ref(label),
            feed=feed,
            feed2=share(limit / feed),
        ),
    )
    lowest = label.use.strip_lowest_mg_l
    if lowest is not None and lowest > limit:
        blind = said("the strips in use show {lowest:g} mg/L at the lowest, and the limit is {it:g} mg/L", lowest=lowest, it=limit)
        told += (
            said(
                "A clear strip proves nothing here: {blind}. Get strips that show {it:g} mg/L; until then run at least this time.",
                blind=blind,
                it=limit,
            ),
        )
        return line_step(frame, known, _told(frame, known, *told), "rinse", limit / feed, label=label, notes=(blind,))
    return line_step(frame, known, _told(frame, known, *told), "rinse", limit / feed, label=label)


def suction_contact_time(frame: Frame) -> RunningTime:
    """Time the contact in the suction hoses, by the label."""
    label = label_for(frame.practice, ProductUse.SUCTION)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    start = said("The clock starts when the solution has been drawn through every suction hose.")
    if not frame.chair.suction:
        start += said(" The practice file lists no suction hose for this chair.")
    return _contact(frame, rule, label, check_water=True, start=start)


def surface_wet_time(frame: Frame) -> RunningTime:
    """Time the wetness of surfaces, by the label; the air of the room is not in the practice file, so its range is told."""
    label = label_for(frame.practice, ProductUse.SURFACES)
    rule = _floor(frame)
    if isinstance(label, Gap):
        return frame.missing(label, rule)
    low, high = label.use.temperature_c
    start = said(
        "Visibly wet all that time; the label holds from {low:g} to {high:g} degC in the room: not checked here.", low=low, high=high
    )
    return _contact(frame, rule, label, check_water=False, start=start)


def _contact(frame: Frame, rule: tuple[Candidate, ...], label: Label, *, check_water: bool, start: str) -> RunningTime:
    water_c = frame.practice.practice.water_temperature_c
    candidates = (*rule, Candidate("label", label.use.contact_s, said("contact time of the label"), _label_origin(label)))
    if check_water and (gap := temperature_gap(label, water_c)):
        return frame.missing(gap, rule, label=label)
    low, high = label.use.temperature_c
    holds = (
        (said("The label holds from {low:g} to {high:g} degC; the water is {water_c:g} degC.", low=low, high=high, water_c=water_c),)
        if check_water
        else ()
    )
    return frame.single(
        candidates,
        (*_told(frame, candidates, said("At the label's strength only: {label}.", label=_strength(label))), *holds, start),
        label=label,
    )


def _floor(frame: Frame) -> tuple[Candidate, ...]:
    step = frame.step
    return () if step.seconds is None else (Candidate("rule", step.seconds, said("floor of the rulebook"), step.origin),)


def _told(frame: Frame, candidates: tuple[Candidate, ...], *more: str) -> tuple[str, ...]:
    names = {"rule": said("Rule asks at least"), "label": said("Label asks at least")}
    told = [frame.asks(names[c.set_by], c.seconds, c.origin) for c in candidates if c.origin]
    if frame.step.floor_range_s:
        low, high = frame.step.floor_range_s
        told.append(said("The rule names {low:g} to {high:g} s; the longer end is used.", low=low, high=high))
    return (*told, *more)


def _line_label(frame: Frame) -> Label | Gap:
    supply = frame.chair.supply
    if supply.kind is SupplyKind.DOSING and supply.product is None and frame.practice.in_use.line_continuous is None:
        return Gap(
            said("this chair doses a product all day and the practice file does not say which, so nothing else may be put into its line"),
            said("Set supply.product of the chair, and ask its maker whether an intensive treatment is allowed."),
        )
    return label_for(frame.practice, ProductUse.LINE_INTENSIVE)


def _label_origin(label: Label) -> Origin:
    return Origin("label", label.product.id, _label_ref(label), "practice", "practice")


def _label_ref(label: Label) -> str:
    return label.product.label_ref or said("label of {name}", name=label.product.name)


def _strength(label: Label) -> str:
    use = label.use
    return str(use.strength_unit) if use.strength is None else f"{use.strength:g} {use.strength_unit}"


def _aim_source(aim: Target) -> str:
    return aim.origin.source
