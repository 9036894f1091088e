"""How long a step ran, by two clocks. The shorter counts; where they disagree, or one is missing, the length is not proven.

The wall clock of a tablet may be set while a disinfectant acts, and the clock that only runs forward may stand still while the tablet
sleeps. Where one device began a step and another ended it they share no forward clock: then the server's receipts serve as the second
clock, if both entries came at once.
"""

from dataclasses import dataclass
from typing import Final

from fettlebook.said import said
from fettlebook.standing.facts import Clocks, Step
from fettlebook.standing.streams import Fact

AGREE_WITHIN_MS: Final = 2_000


@dataclass(frozen=True, slots=True)
class Length:
    """A length of time [ms]; `doubt` says why it proves nothing, empty where two clocks agree."""

    ms: int
    doubt: str = ""


def length_of(begun: Fact | None, done: Fact) -> Length | None:
    """Return how long a step ran, from the entries of its start and end; None where nothing says how long."""
    step: Step = done.says
    wall, mono = step.lasted
    if wall is not None or mono is not None:
        if wall is None or mono is None:
            return Length(wall if wall is not None else mono or 0, said("only one clock timed it"))
        return _shorter(wall, mono, AGREE_WITHIN_MS, "the two clocks differ by {} s")
    if begun is None:
        return None
    wall = done.happened - begun.happened
    one, two = begun.says.clocks, step.clocks
    if one.session is not None and one.session == two.session:
        return _shorter(wall, two.mono_ms - one.mono_ms, AGREE_WITHIN_MS, "the two clocks differ by {} s")
    return _by_receipts(wall, one, two)


def clocks_of(begun: Fact | None, done: Fact) -> tuple[int | None, int | None]:
    """Return what each clock says of a step [ms]: the wall clock, and the one that only runs forward; None where it says nothing.

    Where two devices share no forward clock the server's receipts stand for it, if both entries came at once.
    """
    if done.says.lasted != (None, None) or begun is None:
        wall, mono = done.says.lasted
        return wall, mono
    one, two = begun.says.clocks, done.says.clocks
    if one.session is not None and one.session == two.session:
        return done.happened - begun.happened, two.mono_ms - one.mono_ms
    return done.happened - begun.happened, two.received - one.received if one.live and two.live else None


def _by_receipts(wall: int, one: Clocks, two: Clocks) -> Length:
    if one.live and two.live:
        return Length(max(0, min(wall, two.received - one.received)))
    return Length(max(0, wall), said("only one clock timed it"))


def _shorter(wall: int, other: int, within: int, words: str) -> Length:
    if abs(wall - other) > within:
        return Length(max(0, min(wall, other)), words.format(round(abs(wall - other) / 1000)))
    return Length(max(0, min(wall, other)))
