"""The water of a chair: counts against the limits in force, in date; boil-water notices; opened water paths."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Final

from fettlebook.practice.model import Chair, SupplyKind
from fettlebook.rules.model import Duty, Limit, Origin, Requirement, When
from fettlebook.said import listed, said, term
from fettlebook.standing.attempts import attempts
from fettlebook.standing.basis import BOOK, DAY_MS, WATER_TESTS
from fettlebook.standing.evidence import is_dosed
from fettlebook.standing.facts import Result, Taken
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.owed import duty_condition, minutes_of
from fettlebook.standing.sample_checks import sample_doubts
from fettlebook.standing.steps import AtChair, DutySays, duty_says

BINDING: Final = ("limit", "action", "alert", "aim")
PER_ML: Final = {"CFU/mL": 1.0, "CFU/L": 0.001, "CFU/100 mL": 0.01}


@dataclass(frozen=True, slots=True)
class Counted:
    """One result with the sample it belongs to."""

    result: Result
    outlets: tuple[str, ...] | None
    taken: int
    dated: bool  # whether the book says when it was taken: a result that came is no younger than its sample
    neutralised: bool | None
    evidence: tuple[str, ...]
    said: Taken | None = None  # what was said when the sample was taken


def water_conditions(at: AtChair) -> Iterator[Condition]:
    """Yield whether the counts of a chair, or of one line, are within the limits in force, and in date."""
    asked = _interval(at.look, ())
    for quantity in dict.fromkeys(limit.quantity for limit in at.look.basis.rulebook.limits if limit.role in BINDING and limit.quantity):
        limits = binding_limits(at.look, quantity)
        if not limits:
            continue
        counted = list(counted_results(at, quantity))
        required = quantity == "water count" and asked is not None
        # Rules ask for a sample of each chair: one line's is in date for all, and speaks for lines that have none of their own.
        dated = counted if at.only is None else list(counted_results(replace(at, only=None), quantity))
        if dated:
            yield _judged(at, quantity, limits, counted or dated, dated=dated if required else ())
        elif required and asked is not None:
            why = said("no {quantity} in the book", quantity=term(quantity))
            yield Condition(
                said("{quantity} within the limit", quantity=term(quantity)), Verdict.UNPROVEN, why, asked[1].origin, mend=_sample(at)
            )
    yield from _after_repair(at)


def binding_limits(look: Look, quantity: str) -> list[Limit]:
    """Return the limits of a quantity, the strictest of each role. An aim binds only where nobody sets a limit: it is then acted on."""
    found = [m for role in BINDING if (m := look.basis.rulebook.strictest(quantity, role)) is not None and m.unit in PER_ML]
    set_by_rule = any(limit.role in ("limit", "action") for limit in found)
    return [limit for limit in found if not (set_by_rule and limit.role == "aim")]


def _interval(look: Look, good: Sequence[Counted]) -> tuple[int, Requirement] | None:
    """Return how many days a result holds, and who says so: the shortest that is asked for; longer once two in a row were good."""
    found = ((after if len(good) >= 2 else first, asked) for first, after, asked in look.basis.intervals)
    return min(found, key=lambda one: one[0], default=None)


def counted_results(at: AtChair, quantity: str) -> Iterator[Counted]:
    """Yield the results of a quantity that concern the chair, or the one line, by when the sample was taken, newest first."""
    look, chair = at.look, at.chair.id
    # Each line of a chair asks for the same samples.
    for counted in look.once(("counted", chair, quantity), lambda: tuple(_counted_of_chair(look, chair, quantity))):
        if at.only is None or counted.outlets is None or at.only in counted.outlets:
            yield counted


def _counted_of_chair(look: Look, chair: str, quantity: str) -> Iterator[Counted]:
    seen = set[str]()
    for fact in look.back(f"chair:{chair}", "sample"):
        sample = fact.says.sample
        if sample in seen:
            continue
        seen.add(sample)
        result = next(
            (f for f in look.known(f"sample:{sample}", "result") if f.says.quantity == quantity),
            None,
        )
        if result is None:
            continue
        taken = look.latest(f"sample:{sample}", "taken")
        told: Taken | None = taken.says if taken else None
        outlets = result.says.outlets or (told.outlets if told else None)
        when = taken.happened if taken else fact.happened
        entries = (result.entry, *((taken.entry,) if taken else ()))
        dated = taken is not None or result.says.taken_ms is not None
        yield Counted(result.says, outlets, when, dated, told.neutralised if told else None, entries, told)


def _judged(at: AtChair, quantity: str, limits: Sequence[Limit], counted: Sequence[Counted], *, dated: Sequence[Counted]) -> Condition:
    """Hold the newest result of each line to the limits; the worst line speaks for the chair, the newest good sample for the date."""
    look, what = at.look, said("{quantity} within the limit", quantity=term(quantity))
    newest: dict[str, Counted] = {}
    for one in counted:
        for outlet in one.outlets or (said("the chair"),):
            newest.setdefault(outlet, one)
    held = [(*held_to_limits(at, one, limits), one) for one in dict.fromkeys(newest.values())]
    bad = [s for s in held if s[0] is not Verdict.FIT]
    if bad:
        verdict, why, origin, one = min(bad, key=lambda s: s[0] is not Verdict.UNFIT)
        return Condition(what, verdict, why, origin, one.evidence, one.taken, mend=_treat_and_sample(at))
    good = [one for one in dated if held_to_limits(at, one, limits)[0] is Verdict.FIT]
    in_row = good[:2] if good[:2] == list(dated[:2]) else ()
    asked = _interval(look, in_row)
    if not good or asked is None:
        verdict, why, origin, one = max(held, key=lambda s: s[3].taken)
        return Condition(what, verdict, why, origin, one.evidence, one.taken)
    one = good[0]
    verdict, why, origin = held_to_limits(at, one, limits)
    ends = look.basis.days_after(one.taken, asked[0] + 1)
    if look.over(ends):
        late = said(
            "last sample {taken}, {DAY_MS} days ago; a result holds {asked} days",
            taken=look.when(one.taken),
            DAY_MS=look.elapsed(one.taken, DAY_MS),
            asked=asked[0],
        )
        return Condition(what, Verdict.UNPROVEN, late, asked[1].origin, one.evidence, ends, mend=_sample(at))
    # Two in a row let it hold longer: both are evidence.
    entries = tuple(dict.fromkeys(entry for counted_one in in_row or (one,) for entry in counted_one.evidence))
    return Condition(what, Verdict.FIT, why, origin, entries, one.taken, ends)


def held_to_limits(at: AtChair, one: Counted, limits: Sequence[Limit]) -> tuple[Verdict, str, Origin]:
    """Return how one result stands to the limits, strictest role first."""
    result, where = one.result, said("{outlets} ", outlets=listed(one.outlets)) if one.outlets else ""
    mark = {"above": said("more than "), "below": said("less than "), None: ""}[result.mark]
    told = said(
        "{where}{mark}{result:g} {unit}, sample of {taken}",
        where=where,
        mark=mark,
        result=result.value,
        unit=result.unit,
        taken=at.look.when(one.taken),
    )
    if result.unit not in PER_ML:
        return Verdict.UNPROVEN, said("{told}: in another unit than the limits", told=told), BOOK
    value, pooled = result.value * PER_ML[result.unit], len(one.outlets or ())
    for limit in limits:
        most = max(limit.value) * PER_ML[limit.unit]
        named = said("{value:g} {unit} ({role})", value=max(limit.value), unit=limit.unit, role=term(limit.role))
        if value > most and result.mark == "below":
            return Verdict.UNPROVEN, said("{told}: the method can't tell whether it is over {named}", told=told, named=named), limit.origin
        if value > most or result.mark == "above":
            treated = limit.role == "aim" and _treated_since(at, one.taken)
            if limit.role == "alert" or treated:
                return Verdict.UNPROVEN, said("{told}: over {named}; a new sample must show it good", told=told, named=named), limit.origin
            return Verdict.UNFIT, said("{told}: over {named}", told=told, named=named), limit.origin
        if pooled > 1 and value * pooled > most:
            return (
                Verdict.UNPROVEN,
                said("{told}: pooled from {pooled}, so one line alone may be over {named}", told=told, pooled=pooled, named=named),
                limit.origin,
            )
    binding = limits[0]
    if not one.dated:
        return Verdict.UNPROVEN, said("{told}: when it was taken is not in the book", told=told), binding.origin
    if one.neutralised is not True and is_dosed(at.look, at.chair):
        return Verdict.UNPROVEN, said("{told}: not neutralised, so it may be too low", told=told), binding.origin
    doubt = next(sample_doubts(at.look, at.chair, result, one.said, one.taken), None)
    if doubt is not None:
        return Verdict.UNPROVEN, said("{what}: {why}", what=told, why=doubt[0]), doubt[1]
    aim = at.look.basis.rulebook.strictest(binding.quantity, "aim")
    over = aim is not None and aim.unit in PER_ML and value > max(aim.value) * PER_ML[aim.unit]
    note = said("; over the aim of {aim:g} {unit}", aim=max(aim.value), unit=aim.unit) if aim is not None and over else ""
    return (
        Verdict.FIT,
        said(
            "{told}; at most {binding:g} {unit} ({role}){note}",
            told=told,
            binding=max(binding.value),
            unit=binding.unit,
            role=term(binding.role),
            note=note,
        ),
        binding.origin,
    )


def _treated_since(at: AtChair, since: int) -> bool:
    return any(says.verdict is Verdict.FIT for says in _intensive(at, since))


def intensive_duty(look: Look, chair: Chair) -> Duty | None:
    """Return the intensive treatment of a chair: the duty that comes back from the longest rest; None where the rules have none."""
    duties = [duty for duty, _ in look.basis.chair_duties[chair.id, When.AFTER_STANDING_STILL] if duty.after_idle_h is not None]
    return max(duties, key=lambda duty: duty.after_idle_h or 0, default=None)


def _intensive(at: AtChair, since: int) -> list[DutySays]:
    """Return what the book says of the intensive treatment, since some moment."""
    duty = intensive_duty(at.look, at.chair)
    return [duty_says(AtChair(at.look, at.chair, since, at.outlets, at.only), duty)] if duty is not None else []


def _sample(at: AtChair) -> tuple[Owed, ...]:
    found = next(((d, s) for d, s in at.look.basis.steps.values() if "sample sheet" in s.evidence), None)
    culture = at.look.basis.limit_of("time of a culture")
    wait_h = min(culture.value) * 24 if culture else 0.0
    name = said("Take a water sample and wait for its result")
    asked = next((r for r in at.look.basis.rulebook.requirements if r.quantity == WATER_TESTS), None)
    origin = asked.origin if asked else BOOK
    if found is None:
        return (Owed(f"chair:{at.chair.id}", "sample", name, origin, wait_h=wait_h),)
    duty, step = found
    attended, unattended, missing = minutes_of(at.look.basis, at.chair.id, duty, [step])
    return (Owed(f"chair:{at.chair.id}", "sample", name, origin, attended, unattended, (step.id,), missing_time=missing, wait_h=wait_h),)


def _treat_and_sample(at: AtChair) -> tuple[Owed, ...]:
    window = at.look.basis.limit_of("time from treatment to the next sample")
    sample = _sample(at)[0]
    wait_h = (min(window.value) * 24 if window else 0.0) + sample.wait_h
    name = said("Look through procedure and dose, treat the lines intensively, then a new sample of each line")
    duty = intensive_duty(at.look, at.chair)
    origin = window.origin if window else sample.origin
    if duty is None:
        return (Owed(sample.subject, "treat", name, origin, sample.attended_s, 0, sample.steps, wait_h=wait_h),)
    steps = duty.steps_on(at.chair)
    attended, unattended, missing = minutes_of(at.look.basis, at.chair.id, duty, steps)
    return (Owed(sample.subject, duty.id, name, origin, attended, unattended, tuple(s.id for s in steps), duty.covers, missing, wait_h),)


def _after_repair(at: AtChair) -> Iterator[Condition]:
    """After the water path was opened: intensive treatment, and a sample taken since."""
    look, subject = at.look, f"chair:{at.chair.id}"
    opened = next(
        (f for f in look.back(subject, "service") if f.says.water_path and (at.only is None or _concerns(f.says.outlets, at.only))), None
    )
    if opened is None:
        return
    asked = look.basis.asks("work on the water path")
    for says in _intensive(at, opened.happened):
        yield duty_condition(
            look, subject, says, what=said("treated since the water path was opened"), since=opened.happened, expires=None, due=None
        )
    good = [one for one in counted_results(at, "water count") if one.taken >= opened.happened]
    what, why = (
        said("sampled since the water path was opened"),
        said("opened {opened}: {words}", opened=look.when(opened.happened), words=opened.says.words),
    )
    origin = asked.origin if asked else BOOK
    if good:
        yield Condition(what, Verdict.FIT, why, origin, good[0].evidence, good[0].taken)
    else:
        yield Condition(what, Verdict.UNPROVEN, why, origin, (opened.entry,), opened.happened, mend=_sample(at))


def _concerns(outlets: tuple[str, ...] | None, only: str) -> bool:
    return outlets is None or only in outlets


def notice_conditions(at: AtChair) -> Iterator[Condition]:
    """Yield what a boil-water notice means: while it holds no water from the mains; after it, treatment before use."""
    look, subject = at.look, f"chair:{at.chair.id}"
    notice = look.latest("practice:all", "notice:boil water")
    if notice is None:
        return
    mains = at.chair.supply.kind is not SupplyKind.BOTTLE
    asked = look.basis.asks("boil-water notice")
    origin = asked.origin if asked else BOOK
    what, begun = said("no boil-water notice"), look.when(notice.happened)
    if notice.says.begun and mains:
        wait = Owed(subject, "notice", said("Wait until the notice is lifted; until then sterile water by syringe only"), origin)
        yield Condition(
            what, Verdict.UNFIT, said("notice in force since {begun}", begun=begun), origin, (notice.entry,), notice.happened, mend=(wait,)
        )
    elif notice.says.begun:
        yield _bottle_filled(at, notice.happened, notice.entry, origin)
    elif mains:
        for says in _intensive(at, notice.happened):
            after = look.basis.asks("boil-water notice lifted") or asked
            found = duty_condition(
                look,
                subject,
                says,
                what=said("treated since the boil-water notice was lifted"),
                since=notice.happened,
                expires=None,
                due=None,
            )
            yield Condition(
                found.what, found.verdict, found.why, after.origin if after else found.origin, found.evidence,
                found.since_ms, None, found.mend,
            )  # fmt: skip


def _bottle_filled(at: AtChair, begun: int, notice: str, origin: Origin) -> Condition:
    look, what = at.look, said("bottle filled with safe water since the boil-water notice began")
    steps = [(d, s) for d, s in look.basis.steps.values() if s.only == "bottle" and "amount" in s.evidence]
    for _, step in steps:
        tries = attempts(look, f"chair:{at.chair.id}", step.id, begun)
        if tries and tries[-1].done is not None and not tries[-1].broken_off:
            done = tries[-1].done.happened
            return Condition(what, Verdict.FIT, said("filled {done}", done=look.when(done)), origin, tries[-1].rests_on(timed=False), done)
    why = said("notice in force since {begun}; no filling with treated or distilled water since", begun=look.when(begun))
    mend = tuple(
        Owed(f"chair:{at.chair.id}", d.id, s.name, origin, *minutes_of(look.basis, at.chair.id, d, [s])[:2], (s.id,)) for d, s in steps
    )
    return Condition(what, Verdict.UNPROVEN, why, origin, (notice,), begun, mend=mend)


def count_verdicts(look: Look, chair: Chair, quantity: str) -> list[tuple[int, Verdict, str]]:
    """Return (sample taken, how it stands to the limits in force, entry of the result) of a chair's counts, the newest first."""
    at = AtChair(look, chair, look.at, frozenset(outlet.id for outlet in chair.outlets))
    limits = binding_limits(look, quantity)
    if not limits:
        return []
    return [(one.taken, held_to_limits(at, one, limits)[0], one.evidence[0]) for one in counted_results(at, quantity)]
