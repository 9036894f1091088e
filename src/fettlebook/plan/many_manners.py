"""Many runs of the list scheduler, each in another manner; the best plan is kept."""

import random
from collections.abc import Callable

from fettlebook.plan.check import Figures, figures
from fettlebook.plan.dispatch import dispatch
from fettlebook.plan.instance import Instance, Plan
from fettlebook.plan.manner import Manner, near, wide


def best_of(
    day: Instance,
    *,
    seed: int,
    go_on: Callable[[int], bool],
    first: Manner | None = None,
    told: Callable[[Figures], None] | None = None,
) -> tuple[Plan, Figures, Manner]:
    """Return the best plan of many manners: some drawn wide, then changes of the best so far.

    Parameters
    ----------
    day
        The instance.
    seed
        Same seed, same number of rounds: same plan.
    go_on
        Asked before each further round with its number; False ends the search.
    first
        The manner to begin with.
    told
        Called with the figures of each better plan.
    """
    draw = random.Random(seed)  # noqa: S311 - a search, no secret
    manner = first or Manner()
    best = dispatch(day, manner)
    best_figures = figures(day, best)
    if told:
        told(best_figures)
    n = 1
    try:
        while go_on(n):
            trial = wide(draw) if n < 12 or draw.random() < 0.05 else near(draw, manner, day, best)
            plan = dispatch(day, trial)
            found = figures(day, plan)
            if found.rank <= best_figures.rank:
                if told and found.rank < best_figures.rank:
                    told(found)
                best, best_figures, manner = plan, found, trial
            n += 1
    except KeyboardInterrupt:  # the reader has waited long enough: the best so far is the answer
        pass
    return best, best_figures, manner
