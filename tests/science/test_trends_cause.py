"""Which of the things that chairs share rose: named where the chairs differ in it, never where they don't."""

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import quad
from scipy.stats import norm, poisson

from fettlebook.errors import Mendable
from fettlebook.science.trends import Sample
from fettlebook.science.trends.cause import _log_p, rise_cause

pytestmark = pytest.mark.invented
MAINS = frozenset({"chair 0", "chair 1", "chair 2"})
LOT = frozenset({"chair 0", "chair 3", "chair 4"})
ALL = frozenset(f"chair {i}" for i in range(6))


def practice(seed: int, rose: frozenset[str], shift: float = 1.2) -> tuple[list[Sample], list[Sample]]:
    chance = np.random.default_rng(seed)
    levels = chance.normal(1.8, 0.4, 6)

    def drawn(i: int, add: float) -> Sample:
        level = levels[i] + add + chance.normal(0, 0.3)
        return Sample(f"chair {i}", 30.0, "count", int(chance.poisson(0.1 * 10**level)), 0.1)

    return [drawn(i, 0.0) for i in range(6) for _ in range(5)], [drawn(i, shift if f"chair {i}" in rose else 0.0) for i in range(6)]


def test_what_the_risen_chairs_alone_share_is_named() -> None:
    touches = {"mains": MAINS, "lot": LOT, "laboratory": ALL}
    for cause, rose in touches.items():
        found = [rise_cause(*practice(seed, rose), touches) for seed in range(4)]
        named = [one.named.names if one.named else None for one in found]
        assert named.count((cause,)) >= 3
        assert set(named) <= {(cause,), None}


def test_what_touches_the_same_chairs_stands_together_whatever_the_numbers() -> None:
    found = rise_cause(*practice(1, ALL), {"mains": ALL, "laboratory": ALL | {"chair 99"}})
    assert found.suspected
    assert found.named is not None
    assert found.named.names == ("mains", "laboratory")
    assert found.named.probability == pytest.approx(1.0)


def test_nothing_and_one_chair_alone_are_no_shared_rise() -> None:
    touches = {"mains": MAINS, "lot": LOT, "laboratory": ALL}
    assert not any(rise_cause(*practice(seed, frozenset()), touches).suspected for seed in range(20, 28))
    alone = [rise_cause(*practice(seed, frozenset({"chair 1"}), 2.0), touches) for seed in range(30, 34)]
    assert not any(one.suspected for one in alone)


def test_a_candidate_of_a_single_chair_is_left_out_and_none_at_all_says_nothing() -> None:
    earlier, last = practice(2, ALL)
    assert rise_cause(earlier, last, {}).suspects == ()
    found = rise_cause(earlier, last, {"lot": frozenset({"chair 1"}), "mains": MAINS})
    assert [one.names for one in found.suspects] == [("mains",)]
    assert not rise_cause(earlier, last, {}).suspected


def test_too_few_chairs_with_a_past_are_refused() -> None:
    earlier, last = practice(3, ALL)
    with pytest.raises(Mendable, match="2 chairs"):
        rise_cause(earlier, last[:2], {"mains": MAINS})


@settings(max_examples=10, deadline=None)
@given(st.permutations(range(6)))
def test_the_order_of_results_says_nothing(order: list[int]) -> None:
    earlier, last = practice(4, MAINS)
    touches = {"mains": MAINS, "laboratory": ALL}
    one, two = rise_cause(earlier, last, touches), rise_cause(list(reversed(earlier)), [last[i] for i in order], touches)
    assert two.probability == pytest.approx(one.probability, abs=1e-9)
    assert [s.names for s in two.suspects] == [s.names for s in one.suspects]


@pytest.mark.published(source="Poisson probability blurred by a normal, by adaptive quadrature (scipy.integrate.quad)", sure="read")
@pytest.mark.parametrize(
    ("kind", "colonies"),
    [
        ("count", 0),
        ("count", 3),
        ("count", 9),
        ("count", 10),
        ("count", 40),
        ("count", 280),
        ("above", 300),
        ("below", 0),
        ("below", 9),
        ("above", 1),
    ],
)
def test_the_chance_of_a_result_agrees_with_quadrature_up_to_a_constant(kind: str, colonies: int) -> None:
    sample, sd = Sample("a", 0.0, kind, colonies, 0.1), 0.5  # type: ignore[arg-type]

    def exact(mean: float) -> float:
        def weighed(level: float) -> float:
            rate = 0.1 * 10**level
            p = {"count": poisson.pmf, "below": poisson.cdf, "above": lambda k, m: poisson.sf(k - 1, m)}[kind](colonies, rate)
            return float(p * norm.pdf(level, mean, sd))

        peak = min(max(math.log10(max(colonies, 0.5) / 0.1), mean - 6 * sd), mean + 6 * sd)
        return quad(weighed, mean - 8 * sd, mean + 8 * sd, points=[peak], limit=200)[0]

    means = np.array([1.0, 1.6, 2.2, 3.0])
    ours = _log_p(sample, means, np.full(4, sd**2))
    theirs = np.log([exact(float(mean)) for mean in means])
    assert np.ptp(ours - theirs) < 0.05  # what matters are ratios between shifts; thresholds stand at ln 9 and more
