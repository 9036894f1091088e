"""How often the right one of supply, lot and laboratory is named, how often a wrong one, and how often none where nothing rose.

    python benchmarks/water_cause.py [PRACTICES]

Practices of 6 and 12 chairs are drawn from the model's own priors, five earlier rounds and a last one. Half of the chairs are on the
mains, half use the new lot, half went to the second laboratory, each half drawn by lot; in `shared` all went to one laboratory and all
use the new lot, so that only the supply can be told from the rest. The last round of those that the true cause touches is shifted.
"""

import sys
from collections import Counter

import numpy as np

from fettlebook.science.trends import PRIORS, Sample, regrowth_x
from fettlebook.science.trends.cause import NAMED, TOLD, rise_cause
from machine import machine

CAUSES = ("supply", "lot", "laboratory")


def drawn(chance: np.random.Generator, chairs: int, touched: frozenset[str], shift: float) -> tuple[list[Sample], list[Sample]]:
    """Return earlier results and the last round of one practice."""
    mu, beta = chance.normal(*PRIORS.mu), chance.normal(*PRIORS.beta)
    sd_a, sd_b = abs(chance.normal(0, PRIORS.sd_level)), abs(chance.normal(0, PRIORS.sd_rise))
    sd = float(np.exp(chance.normal(*PRIORS.log_sd_sample)))
    earlier: list[Sample] = []
    last: list[Sample] = []
    for i in range(chairs):
        name, a, b = f"chair {i}", chance.normal(mu, sd_a), chance.normal(beta, sd_b)
        for number in range(6):
            days = float(chance.uniform(0, 90))
            moved = shift if number == 5 and name in touched else 0.0
            level = a + b * float(regrowth_x(days)) + chance.normal(0, sd) + moved
            colonies = int(chance.poisson(0.1 * 10 ** min(level, 7.0)))
            kind = "above" if colonies >= 300 else "count"
            (last if number == 5 else earlier).append(Sample(name, days, kind, min(colonies, 300), 0.1))  # type: ignore[arg-type]
    return earlier, last


def halves(chance: np.random.Generator, chairs: int, shared: bool) -> dict[str, frozenset[str]]:
    """Return which chairs each cause touches."""
    every = [f"chair {i}" for i in range(chairs)]
    found = {name: frozenset(chance.permutation(every)[: chairs // 2].tolist()) for name in CAUSES}
    if shared:
        found |= {"lot": frozenset(every), "laboratory": frozenset(every)}
    return found


def tally(chairs: int, shared: bool, truth: str, shift: float, practices: int) -> Counter[str]:
    """Return how often nothing was told, the truth named (alone or with what touches the same chairs), another named, none named."""
    chance = np.random.default_rng([chairs, shared, round(10 * shift), len(truth)])
    found: Counter[str] = Counter()
    for _ in range(practices):
        touches = halves(chance, chairs, shared)
        said = rise_cause(*drawn(chance, chairs, touches.get(truth, frozenset()), shift), touches)
        named = said.named
        found["quiet" if not said.suspected else "can't tell" if named is None else "right" if truth in named.names else "wrong"] += 1
    return found


def main() -> None:
    """Print the shares."""
    practices = int(sys.argv[1]) if len(sys.argv) > 1 else 200
    print(machine("numpy", "scipy"))
    print(f"{practices} practices each; told from {100 * TOLD:g} % on, a cause named from {100 * NAMED:g} % on")
    for shared in (False, True):
        for chairs in (6, 12):
            for truth, shift in (("nothing", 0.0), ("supply", 1.0), ("supply", 1.5), ("laboratory", 1.0), ("laboratory", 1.5)):
                found = tally(chairs, shared, truth, shift, practices)
                told = ", ".join(f"{name} {100 * found[name] / practices:.1f} %" for name in ("quiet", "right", "wrong", "can't tell"))
                setting = "all share lot and laboratory" if shared else "half each"
                print(f"{chairs:>3} chairs, {setting}, {truth} {shift:+.1f}: {told}", flush=True)


if __name__ == "__main__":
    main()
