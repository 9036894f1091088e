"""Surfaces: how long they stayed wet against the label, and checks of cleaning as shares with their interval.

Shares stand per place and per round. Who cleaned or checked is not read: a count of people's failures says who drew the hard spots.
"""

from collections.abc import Iterable
from dataclasses import dataclass, replace

from fettlebook.book.kinds import PRACTICE
from fettlebook.practice.model import Chair
from fettlebook.rules.model import Computed, Origin, Subject
from fettlebook.science.sampling import wilson_interval
from fettlebook.standing.attempts import attempts
from fettlebook.standing.facts import Cleaned
from fettlebook.standing.lengths import length_of
from fettlebook.standing.look import Look
from fettlebook.standing.model import Verdict
from fettlebook.standing.steps import AtChair, step_says


@dataclass(frozen=True, slots=True)
class WetTime:
    """One time that surfaces were to stay wet. `ran_s` is by the shorter clock; None: the book doesn't say."""

    chair: str
    duty_id: str
    step_id: str
    done_ms: int
    planned_s: int | None
    ran_s: int | None
    verdict: Verdict
    why: str
    origin: Origin
    evidence: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Share:
    """Clean among those checked, of one place and way, in one round (None: all of them together); `low`, `high` by Wilson at 95 %.

    `untold` checks have no limit to be held to and are in neither number.
    """

    place: str
    method: str
    round: str | None
    clean: int
    of: int
    low: float | None
    high: float | None
    untold: int


def wet_times(look: Look, chair: Chair, since: int = 0) -> tuple[WetTime, ...]:
    """Return each time that a chair's surfaces were to stay wet, from `since` [ms] on, oldest first."""
    found: list[WetTime] = []
    for duty in look.basis.rulebook.duties:
        for step in duty.steps_on(chair) if duty.subject is Subject.CHAIR else ():
            if step.computes is not Computed.SURFACE_WET:
                continue
            tries = attempts(look, f"chair:{chair.id}", step.id, since)
            for number, one in enumerate(tries):
                first = min(fact.happened for fact in (one.begun, one.done) if fact is not None)
                later = tries[number + 1] if number + 1 < len(tries) else None
                end = one.newest.happened if later is None else min(one.newest.happened, later.newest.happened)
                then = replace(look, moment=end, basis=look.then(end), memo={})
                says = step_says(AtChair(then, chair, first, frozenset()), duty, step)
                time = then.basis.times.get((chair.id, duty.id, step.id))
                length = length_of(one.begun, one.done) if one.done is not None else None
                origin = (
                    next((c.origin for c in time.candidates if c.set_by == time.set_by and c.origin), step.origin) if time else step.origin
                )
                found.append(
                    WetTime(
                        chair.id,
                        duty.id,
                        step.id,
                        end,
                        time.seconds if time else None,
                        length.ms // 1000 if length else None,
                        says.verdict,
                        says.why,
                        origin,
                        says.evidence,
                    )
                )
    return tuple(sorted(found, key=lambda one: (one.done_ms, one.step_id)))


def cleaning_shares(look: Look, since: int = 0) -> tuple[Share, ...]:
    """Return the checks of cleaning from `since` [ms] on: each place and way in each round, then all rounds together."""
    checks: list[Cleaned] = [fact.says for fact in look.forward(PRACTICE, "cleaned", since=since)]
    keys = sorted({(one.place, one.method) for one in checks})
    shares: list[Share] = []
    for place, method in keys:
        mine = [one for one in checks if (one.place, one.method) == (place, method)]
        rounds = sorted({one.round for one in mine if one.round is not None})
        shares.extend(share_of(place, method, name, (one for one in mine if one.round == name)) for name in rounds)
        shares.append(share_of(place, method, None, mine))
    return tuple(shares)


def share_of(place: str, method: str, name: str | None, checks: Iterable[Cleaned]) -> Share:
    """Return the share of clean ones among some checks; without one that can be told, no interval."""
    said = [one.clean for one in checks]
    told = [clean for clean in said if clean is not None]
    low, high = wilson_interval(sum(told), len(told)) if told else (None, None)
    return Share(place, method, name, sum(told), len(told), low, high, len(said) - len(told))
