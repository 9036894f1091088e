"""Steps of seconds cut into blocks of whole minutes, so that a step of 20 s costs no minute of its own.

Consecutive attended steps are summed and rounded up once, and what runs alone after them starts at the second at which
the hands are done. A step whose length can't be said holds a stand-in of time and is named in a finding.
"""

from collections.abc import Iterable
from dataclasses import dataclass
from itertools import groupby

from fettlebook.errors import Finding
from fettlebook.plan.instance import Step
from fettlebook.times.model import RunningTime

STAND_IN_S = 600  # held for a step of unknown length that no other chair knows either


@dataclass(frozen=True, slots=True)
class StepPart:
    """One step of a duty inside a block of the instance."""

    step_id: str
    name: str
    seconds: int
    attended: bool
    unknown: bool = False  # the seconds are a stand-in


@dataclass(frozen=True, slots=True)
class Block:
    """What one step of the instance stands for: the steps of a duty, and the second of its first minute at which they begin.

    `begins` is negative where unattended steps begin before the block, in the last minute of the hands before them.
    """

    parts: tuple[StepPart, ...]
    begins: int = 0


def blocks_of(parts: list[StepPart]) -> Iterable[tuple[Step, Block]]:
    """Cut a procedure into blocks of whole minutes.

    Hands for `a` seconds take ceil(a) minutes of a person. What runs alone for `u` seconds after them needs nobody to
    start it later, so it ends by ceil(a + u); where that is the hands' own last minute, it is part of their block.
    """
    runs = [tuple(run) for _, run in groupby(parts, key=lambda p: p.attended)]
    spare = 0  # seconds of the hands' last minute that are left
    k = 0
    while k < len(runs):
        run, seconds = runs[k], sum(p.seconds for p in runs[k])
        if not run[0].attended:
            minutes = -(-max(0, seconds - spare) // 60)
            yield Step(name=_name(run), minutes=max(1, minutes), attended=False), Block(run, -spare)
            spare, k = 0, k + 1
            continue
        minutes = max(1, -(-seconds // 60))
        spare = minutes * 60 - seconds
        k += 1
        if k < len(runs) and sum(p.seconds for p in runs[k]) <= spare:
            run, spare, k = run + runs[k], 0, k + 1
        yield Step(name=_name(run), minutes=minutes, attended=True), Block(run)


def part_of(t: RunningTime, elsewhere: int, findings: list[Finding]) -> StepPart:
    """Return a running time as a step of a block; one that can't be said holds what it takes `elsewhere` [s], and a finding is added."""
    if t.seconds is not None:
        return StepPart(t.step_id, t.name, t.seconds, t.attended)
    held = elsewhere or STAND_IN_S
    source = "as long as on another chair" if elsewhere else "a stand-in"
    findings.append(
        Finding(
            f"its length can't be said ({t.missing}); the plan holds {-(-held // 60)} min for it, {source}",
            f"{t.chair}, {t.step_id}",
            "Mend what is missing before anyone relies on this time: it is no proof that the step is long enough.",
        )
    )
    return StepPart(t.step_id, t.name, held, t.attended, unknown=True)


def _name(parts: tuple[StepPart, ...]) -> str:
    return "; ".join(p.name or p.step_id for p in parts)[:200]


def longest_known(times: tuple[RunningTime, ...]) -> dict[str, int]:
    """Return step -> the longest that it is known to take on any chair."""
    longest: dict[str, int] = {}
    for t in times:
        longest[t.step_id] = max(longest.get(t.step_id, 0), t.seconds or 0)
    return longest
