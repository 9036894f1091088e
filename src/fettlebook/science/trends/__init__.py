"""Where each chair's water stands, how sure that is, and when it will pass a limit: one model for a whole practice.

Y ~ Poisson(v 10^(a_i + b_i x + e)), x = ln(1 + d/7) with d days since the last intensive treatment, e ~ N(0, s) between
samples; a_i ~ N(mu, s_a), b_i ~ N(beta, s_b) between chairs; all in log10 CFU/mL. The level of a chair is the geometric mean
m = a_i + b_i x. No sampling: the answer is the same each time.

Sources
-------
[E] El-Shaarawi, Esterby, Dutka, Appl Environ Microbiol 41 (1981) 107: samples over place and time scatter far more than
    Poisson, log-normal or negative binomial. abstract read
[P] The priors are weakly informative and invented; that regrowth goes with ln(1 + d/7) is a choice. Both carry a version.
"""

from fettlebook.science.trends.answers import ChairTrend, Trend
from fettlebook.science.trends.looks import OddResult, TurnOfLevel, odd_results, turns_of_level
from fettlebook.science.trends.model import PRIORS, Priors, Sample, regrowth_x
from fettlebook.science.trends.practice import LEAST_POINTS, fit_practice

__all__ = [
    "LEAST_POINTS",
    "PRIORS",
    "ChairTrend",
    "OddResult",
    "Priors",
    "Sample",
    "Trend",
    "TurnOfLevel",
    "fit_practice",
    "odd_results",
    "regrowth_x",
    "turns_of_level",
]
