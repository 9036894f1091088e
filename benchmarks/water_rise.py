"""How often a rise of all chairs is told where there is none, and where there is one.

    python benchmarks/water_rise.py [PRACTICES]

Practices of 3, 6 and 12 chairs are drawn from the model's own priors, five rounds each; the last round is shifted by 0, 0.5 and 1 log10.
"""

import sys

import numpy as np

from fettlebook.science.trends import PRIORS, Sample, regrowth_x
from fettlebook.science.trends.supply import FALSE_ALARM, common_rise
from machine import machine


def drawn(chance: np.random.Generator, chairs: int, shift: float) -> tuple[list[Sample], list[Sample]]:
    """Return earlier results and the last round of one practice."""
    mu, beta = chance.normal(*PRIORS.mu), chance.normal(*PRIORS.beta)
    sd_a, sd_b = abs(chance.normal(0, PRIORS.sd_level)), abs(chance.normal(0, PRIORS.sd_rise))
    sd = float(np.exp(chance.normal(*PRIORS.log_sd_sample)))
    earlier: list[Sample] = []
    last: list[Sample] = []
    for i in range(chairs):
        a, b = chance.normal(mu, sd_a), chance.normal(beta, sd_b)
        for number in range(6):
            days = float(chance.uniform(0, 90))
            level = a + b * float(regrowth_x(days)) + chance.normal(0, sd) + (shift if number == 5 else 0.0)
            colonies = int(chance.poisson(0.1 * 10 ** min(level, 7.0)))
            kind = "above" if colonies >= 300 else "count"
            (last if number == 5 else earlier).append(Sample(f"chair {i}", days, kind, min(colonies, 300), 0.1))  # type: ignore[arg-type]
    return earlier, last


def main() -> None:
    """Print the shares."""
    practices = int(sys.argv[1]) if len(sys.argv) > 1 else 300
    print(machine("numpy", "scipy"))
    print(f"{practices} practices each; told where p < {FALSE_ALARM:g}")
    for chairs in (3, 6, 12):
        for shift in (0.0, 0.5, 1.0):
            chance = np.random.default_rng(1000 * chairs + round(10 * shift))
            told = sum(common_rise(*drawn(chance, chairs, shift)).suspected for _ in range(practices))
            print(
                f"{chairs:>3} chairs, last round {shift:+.1f} log10: told in {told} of {practices} ({100 * told / practices:.1f} %)",
                flush=True,
            )


if __name__ == "__main__":
    main()
