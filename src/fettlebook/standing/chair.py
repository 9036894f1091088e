"""May I seat the next patient? The conditions of a chair, or of one of its lines."""

from collections.abc import Callable, Iterator

from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Duty, When
from fettlebook.said import said
from fettlebook.standing.attempts import attempts
from fettlebook.standing.basis import BOOK, HOUR_MS
from fettlebook.standing.dosing import dosing_conditions
from fettlebook.standing.look import Look
from fettlebook.standing.model import Condition, Owed, Verdict
from fettlebook.standing.owed import duty_condition, owed_duty, steps_to_do, weekly_due
from fettlebook.standing.steps import AtChair, DutySays, duty_says, step_says
from fettlebook.standing.still import last_moved, last_rest, moving_sorts
from fettlebook.standing.streams import Fact
from fettlebook.standing.surgery import surgery_condition
from fettlebook.standing.upkeep import service_conditions
from fettlebook.standing.water import notice_conditions, water_conditions

WEEK_DAYS = 7


def chair_conditions(look: Look, chair: Chair, only: str | None = None) -> tuple[Condition, ...]:
    """Return the conditions of a chair; with `only`, those of the line to this outlet: nothing but its water and its service."""
    at = AtChair(look, chair, 0, frozenset(outlet.id for outlet in chair.outlets), only)
    return (
        *service_conditions(look, f"chair:{chair.id}", out_of_service=chair.out_of_service, outlet=only),
        *_between(at),
        *_first(at),
        *_rinsed(at),
        *_since_visit(at, When.END_OF_DAY),
        *_since_visit(at, When.END_OF_SESSION),
        *_still(at),
        *(_weekly(at) if only is None else ()),
        *notice_conditions(at),
        *water_conditions(at),
        *dosing_conditions(at),
        *(surgery_condition(look, chair) if only is None else ()),
    )


def duty_conditions(look: Look, chair: Chair, when: When) -> tuple[Condition, ...]:
    """Return what is said at a look's moment of the duties that a chair owes by one of its moments alone."""
    at = AtChair(look, chair, 0, frozenset(outlet.id for outlet in chair.outlets))
    said: dict[When, Callable[[], Iterator[Condition]]] = {
        When.BEFORE_FIRST_VISIT: lambda: _first(at),
        When.BETWEEN_VISITS: lambda: _between(at),
        When.END_OF_SESSION: lambda: _since_visit(at, When.END_OF_SESSION),
        When.END_OF_DAY: lambda: _since_visit(at, When.END_OF_DAY),
        When.AFTER_STANDING_STILL: lambda: _still(at),
        When.WEEKLY: lambda: _weekly(at),
    }
    return tuple(said[when]()) if when in said else ()


def _since(at: AtChair, since: int, outlets: frozenset[str] | None = None) -> AtChair:
    return AtChair(at.look, at.chair, since, at.outlets if outlets is None else outlets, at.only)


def _duties(at: AtChair, when: When) -> Iterator[Duty]:
    return (duty for duty, _ in at.look.basis.chair_duties[at.chair.id, when])


def _subject(at: AtChair) -> str:
    return f"chair:{at.chair.id}"


def _between(at: AtChair) -> Iterator[Condition]:
    """The turnover after the last visit of today; where a visit hasn't ended, it can't have begun."""
    look, today = at.look, at.look.today
    last = look.latest(_subject(at), "visit")
    if last is not None and not any(fact.says.ended for fact in look.back(f"visit:{last.says.ref}", "visit")):
        since = look.when(last.happened)
        why = said("a visit began {last}; its end is not entered yet", last=since)
        busy = said("in use since {since}", since=since)
        mend = tuple(owed_duty(look, _subject(at), d, d.steps_on(at.chair), since=last.happened) for d in _duties(at, When.BETWEEN_VISITS))
        yield Condition(
            said("free for the next patient"), Verdict.UNPROVEN, why, BOOK, (last.entry,), last.happened, mend=mend, failed=busy
        )
        return
    if last is None or last.happened < today:
        return
    for duty in _duties(at, When.BETWEEN_VISITS):
        says = duty_says(_since(at, last.happened, _used(at, duty, today)), duty)
        if says.steps:
            yield duty_condition(
                look, _subject(at), says, what=said("{name}: done since the last visit", name=duty.name), since=last.happened,
                expires=None, due=_booked(at, last.happened),
            )  # fmt: skip


def _used(at: AtChair, duty: Duty, today: int) -> frozenset[str]:
    """Return the outlets that the turnover must flush: those of the last visit, and of earlier ones today that nobody flushed since."""
    everything = frozenset(outlet.id for outlet in at.chair.outlets)
    needed: set[str] = set()
    flush = next((step for step in duty.steps_on(at.chair) if step.computes is Computed.FLUSH), None)
    newest = True
    for visit in at.look.back(_subject(at), "visit", since=today):
        if not visit.says.ended:
            continue
        used = everything if visit.says.outlets is None else frozenset(visit.says.outlets) & everything
        for outlet in used - needed:
            if newest or flush is None:
                needed.add(outlet)
            else:
                says = duty_says(AtChair(at.look, at.chair, visit.happened, frozenset({outlet}), outlet), duty)
                if says.verdict is not Verdict.FIT:
                    needed.add(outlet)
        newest = False
        if needed == everything:
            break
    return frozenset(needed)  # none where the visit used no water: every outlet is then asked for


def _first(at: AtChair) -> Iterator[Condition]:
    """The duties before the first visit: done today, by the local day."""
    look = at.look
    today, tomorrow = look.today, look.days(1)
    for duty in _duties(at, When.BEFORE_FIRST_VISIT):
        says = duty_says(_since(at, today), duty)
        if says.steps:
            what = said("{name}: done today", name=duty.name)
            yield duty_condition(look, _subject(at), says, what=what, since=today, expires=tomorrow, due=_opens(at))


def _since_visit(at: AtChair, when: When) -> Iterator[Condition]:
    """What is owed at the end of a day or session: done since the last visit before this day or session began.

    Done late, it is done. Where there was no visit, nothing is owed. The suction of the last session of a day is cleaned with
    the end of the day.
    """
    look, basis = at.look, at.look.basis
    begin = look.today
    if when is When.END_OF_SESSION:
        ended = [end for _, end in basis.openings(basis.day_of(look.today))[:-1] if look.over(end)]
        if not ended:
            return
        begin = max(ended)
    last = look.latest(_subject(at), "visit", until=begin - 1)
    if last is None or (when is When.END_OF_SESSION and last.happened < look.today):
        return
    due = begin if when is When.END_OF_SESSION else basis.days_after(last.happened, 1)
    for duty in _duties(at, when):
        says = duty_says(_since(at, last.happened), duty)
        if says.steps:
            what = said("{name}: done since the last visit before", name=duty.name)
            yield duty_condition(look, _subject(at), says, what=what, since=last.happened, expires=None, due=due)


def _rinsed(at: AtChair) -> Iterator[Condition]:
    """No disinfectant is left in the lines: after the last fill, broken off or not, every outlet was rinsed."""
    look = at.look
    fills = [(duty, step) for duty, step in look.basis.steps.values() if step.computes is Computed.FILL]
    newest: tuple[int, Duty, str] | None = None
    for duty, step in fills:
        tries = [a for a in attempts(look, _subject(at), step.id, _last_of(at, step.id)) if _reaches(a.newest, at.only)]
        if tries and (newest is None or tries[-1].newest.happened > newest[0]):
            newest = (tries[-1].newest.happened, duty, tries[-1].newest.entry)
    if newest is None:
        return
    filled, duty, entry = newest
    steps = duty.steps_on(at.chair)
    numbers = [number for number, step in enumerate(steps) if step.computes is Computed.RINSE]
    rinse = tuple(step_says(_since(at, filled), duty, steps[number]) for number in numbers)
    what = said("no disinfectant left in the lines")
    if rinse and all(one.verdict is Verdict.FIT for one in rinse):
        done = max(one.done or filled for one in rinse)
        origin = rinse[0].step.asked_by or duty.origin
        yield Condition(what, Verdict.FIT, said("rinsed {done}", done=look.when(done)), origin, DutySays(duty, rinse).evidence, done)
        return
    to_do = steps[max(0, numbers[0] - 1) : numbers[0] + 2] if numbers else ()  # open the outlets, rinse, strip
    why = said("filled {filled}; ", filled=look.when(filled)) + (
        said("rinse {why}", why=rinse[0].why) if rinse else said("the rulebook has no rinse for it")
    )
    mend = owed_duty(look, _subject(at), duty, to_do, since=filled)
    failed = said("disinfectant may be left in the lines: {why}", why=why)
    yield Condition(what, Verdict.UNFIT, why, duty.origin, (entry,), filled, mend=(mend,), failed=failed)


def _last_of(at: AtChair, step: str) -> int:
    """Return the moment from which the last attempt at a step shows: its newest start, or its newest end where none began it."""
    newest = [at.look.latest(_subject(at), f"{sort}:{step}") for sort in ("begun", "done")]
    return max((fact.happened for fact in newest if fact is not None), default=0)


def _reaches(fact: Fact, only: str | None) -> bool:
    return only is None or fact.says.outlets is None or only in fact.says.outlets


def _still(at: AtChair) -> Iterator[Condition]:
    """The duties to come back from a rest: of the last rest that was long enough, done since it ended."""
    look, sorts = at.look, moving_sorts(at.look.basis)
    moved = last_moved(look, _subject(at), sorts, at.only)
    for duty in _duties(at, When.AFTER_STANDING_STILL):
        if duty.after_idle_h is None:
            continue
        threshold = round(duty.after_idle_h * HOUR_MS)
        rest = last_rest(look, _subject(at), sorts, threshold, at.only)
        # What was still done at the begin of the rest belongs to the day before; what is done in its second half, to the coming back.
        since = 0 if rest.began is None else rest.began + threshold // 2
        says = duty_says(_since(at, since), duty)
        if not says.steps:
            continue
        what = said("{name}: nothing owed from standing still", name=duty.name)
        expires = moved + threshold if moved is not None else None
        condition = duty_condition(look, _subject(at), says, what=what, since=since, expires=expires, due=_opens(at))
        if moved is not None and rest.ended is None and condition.verdict is not Verdict.FIT:
            hours = look.elapsed(moved, HOUR_MS)
            condition = _said(condition, said("no water moved for {hours} h, since {moved}", hours=hours, moved=look.when(moved)))
        yield condition


def _said(condition: Condition, why: str) -> Condition:
    return Condition(
        condition.what,
        condition.verdict,
        why,
        condition.origin,
        condition.evidence,
        condition.since_ms,
        condition.expires_ms,
        condition.mend,
    )


def _weekly(at: AtChair) -> Iterator[Condition]:
    """Weekly duties: done within seven local days, so that Monday to Monday is in time."""
    look, basis = at.look, at.look.basis
    since = look.days(-WEEK_DAYS)
    for duty in _duties(at, When.WEEKLY):
        says = duty_says(_since(at, since), duty)
        if not says.steps:
            continue
        oldest = min((one.done for one in says.steps if one.done is not None), default=None)
        expires = basis.days_after(oldest, WEEK_DAYS + 1) if oldest is not None else None
        what, due = said("{name}: done in the last week", name=duty.name), weekly_due(look, _subject(at), says)
        yield duty_condition(look, _subject(at), says, what=what, since=since, expires=expires, due=due)


def close_owed(look: Look, chair: Chair) -> Iterator[Owed]:
    """Yield what is owed at the end of today after the last visit so far: not a condition of the next visit, but of the next day."""
    at = AtChair(look, chair, 0, frozenset(outlet.id for outlet in chair.outlets))
    today = look.today
    last = look.latest(_subject(at), "visit")
    if last is None or last.happened < today:
        return
    for duty in _duties(at, When.END_OF_DAY):
        says = duty_says(_since(at, last.happened), duty)
        if says.steps and says.verdict is not Verdict.FIT:
            due = max((end for _, end in look.basis.openings(look.basis.day_of(today))), default=look.days(1))
            yield owed_duty(look, _subject(at), duty, steps_to_do(says), since=last.happened, due=due)


def _opens(at: AtChair) -> int | None:
    """Return when the first visit of today was booked or began on this chair; where none is known, when the practice opens."""
    look, basis = at.look, at.look.basis
    today = look.today
    first = look.first(_subject(at), "visit", since=today)
    opened = min((start for start, _ in basis.openings(basis.day_of(today))), default=None)
    found = [moment for moment in (_booked(at, today), first.happened if first else None) if moment is not None]
    return min(found, default=opened)


def _booked(at: AtChair, since: int) -> int | None:
    """Return when the first visit of today from `since` on is booked on this chair, by the newest reading of the appointment book."""
    look = at.look
    booked = look.latest(f"day:{look.basis.day_of(look.today)}", "booked")
    if booked is None:
        return None
    return min((start for chair, start, _, _ in booked.says.visits if chair == at.chair.id and start >= since), default=None)
