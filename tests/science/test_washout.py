"""The wash-out of one line: the table against closed forms, solved values, and a finite-volume solution of our own."""

import json
import math
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from scipy.integrate import quad

from fettlebook.errors import Mendable
from fettlebook.science import washout, washout_solver
from fettlebook.science.washout import bound_held_volume_changes, bound_volume_changes, held_fraction, residual_fraction, volume_changes

CHECKS = json.loads((Path(__file__).parent / "line_checks.json").read_text())
SOLVED = "wash-out equation solved in Laplace space by another program, confirmed by finite volumes and 4e5 random walkers"
TAU = st.one_of(st.just(0.0), st.floats(-6, 1).map(lambda p: 10**p))


@pytest.mark.published(source=SOLVED, sure="computed")
@pytest.mark.parametrize("row", CHECKS["W"], ids=lambda row: f"{row['tauD']}-{row['theta']}")
def test_the_residual_has_the_solved_value(row):
    assert float(residual_fraction(row["theta"], row["tauD"])) == pytest.approx(row["W"], rel=row["tolerance_rel"])


@pytest.mark.published(source=SOLVED, sure="computed")
@pytest.mark.parametrize("row", CHECKS["theta"], ids=lambda row: f"{row['tauD']}-{row['W']:.2g}")
def test_the_volume_changes_have_the_solved_value(row):
    assert float(volume_changes(row["W"], row["tauD"])) == pytest.approx(row["theta"], rel=row["tolerance_rel"])


@pytest.mark.published(source="4e5 random walkers: one standard error in the last digits", sure="computed")
@pytest.mark.parametrize(
    ("tau_d", "theta", "seen", "error"),
    [(0.01, 1, 0.2694, 7e-4), (0.01, 2, 0.0942, 5e-4), (0.01, 3, 0.0362, 3e-4), (0.01, 5, 0.00147, 6e-5), (0.1, 1, 0.3922, 8e-4)],
)
def test_the_residual_is_what_random_walkers_see(tau_d, theta, seen, error):
    assert float(residual_fraction(theta, tau_d)) == pytest.approx(seen, abs=3 * error)


@pytest.mark.published(source="Levenspiel 1999 pp. 343-344: 1 - F = 1/(4 theta^2)", sure="secondary")
def test_without_diffusion_the_residual_is_that_of_the_textbook():
    for point in (row for row in CHECKS["published"] if row["what"].startswith("pure convection")):
        assert residual_fraction(point["theta"], 0.0) == pytest.approx(point["one_minus_F"], rel=1e-6)


@pytest.mark.published(source="first-order survival in pure laminar convection 2 E3(k tbar/2) = 0.4432 at k tbar = 1", sure="computed")
def test_a_decaying_solute_survives_as_the_closed_form_says():
    lost = quad(lambda theta: math.exp(-theta) * float(residual_fraction(theta, 0.0)), 0, 60, points=[0.5], limit=200)[0]
    assert 1 - lost == pytest.approx(0.44320873, rel=1e-6)


@pytest.mark.published(source="Taylor 1953, Aris 1956: variance of the residence time 2/(48 tau_D) for slow lines", sure="memory")
def test_a_slow_line_spreads_as_taylor_and_aris_say():
    assert washout_solver.variance(30.0) * 24 * 30.0 == pytest.approx(1.0, abs=0.003)
    theta = np.linspace(0.5, 3.0, 20_001)
    spread = 2 * (np.trapezoid(held_fraction(theta, 10.0), theta) + 0.375) - 1
    assert spread == pytest.approx(washout_solver.variance(10.0), rel=1e-4)


@pytest.mark.parametrize(("tau_d", "thetas"), [(0.003, (1, 2, 4)), (0.02, (0.8, 1.5, 3)), (0.3, (0.8, 1.2, 1.8))])
def test_a_finite_volume_solution_agrees(tau_d, thetas):
    residual, held = finite_volumes(tau_d, thetas)
    assert residual_fraction(thetas, tau_d) == pytest.approx(residual, rel=4e-3)
    assert held_fraction(thetas, tau_d) == pytest.approx(held, rel=4e-3)


def finite_volumes(tau_d, thetas, rings=64, cells=160):
    """Upwind with a van Leer limiter along equal-area rings, exact exchange between rings: shares no idea with the solver."""
    y = np.linspace(0, 1, rings + 1)
    speed = 2 * (1 - (y[:-1] + y[1:]) / 2)
    exchange = np.zeros((rings, rings))
    for i in range(1, rings):
        rate = 4 * tau_d * y[i] * rings**2
        exchange[i, i - 1] += rate
        exchange[i, i] -= rate
        exchange[i - 1, i] += rate
        exchange[i - 1, i - 1] -= rate
    values, vectors = np.linalg.eigh(exchange)
    step = 0.5 / cells / 2
    mix = vectors @ np.diag(np.exp(values * step)) @ vectors.T
    courant = (speed * step * cells)[:, None]
    old, residual, held, now = np.ones((rings, cells)), [], [], 0.0
    for theta in thetas:
        out = before = 0.0
        while now < theta - step / 2:
            wide = np.concatenate([np.zeros((rings, 2)), old, old[:, -1:]], axis=1)
            back, ahead = wide[:, 1:-1] - wide[:, :-2], wide[:, 2:] - wide[:, 1:-1]
            both = back * ahead
            tilt = np.where(both > 0, 2 * both / np.where(both > 0, back + ahead, 1), 0)
            face = wide[:, 1:-1] + 0.5 * (1 - courant) * tilt
            old = mix @ (old - courant * np.diff(face, axis=1))
            before, out, now = out, float(np.mean(speed * face[:, -1])), now + step
        residual.append(out + (out - before) / 2)  # the flux of a step belongs to its middle
        held.append(float(old.mean()))
    return residual, held


@given(TAU, st.floats(0.0, 3), st.floats(0.1, 20))
def test_what_leaves_is_what_is_no_longer_held(tau_d, start, length):
    end = start + length
    nodes, weights = np.polynomial.legendre.leggauss(8)
    # W jumps at the front, somewhere behind the first half volume change: no piece may lie across it.
    front = first_arrival(tau_d)
    ahead = max(0.0, min(front, end) - start)  # nothing has come through yet: all that leaves is old
    pieces = max(front, start) + np.concatenate([[0.0], np.geomspace(1e-7, max(end - max(front, start), 2e-7), 800)])
    half = np.diff(pieces)[:, None] / 2
    left = ahead + float(np.sum(half * weights * residual_fraction(pieces[:-1, None] + half * (1 + nodes), tau_d))) * (end > front)
    assert left == pytest.approx(float(held_fraction(start, tau_d) - held_fraction(end, tau_d)), abs=1e-9)


def first_arrival(tau_d):
    """The last theta at which W is still exactly 1."""
    low, high = 0.25, 1.0
    for _ in range(60):
        middle = (low + high) / 2
        low, high = (middle, high) if float(residual_fraction(middle, tau_d)) >= 1.0 else (low, middle)
    return high


@given(TAU)
def test_everything_leaves_in_the_end(tau_d):
    assert float(held_fraction(0.5, tau_d)) == pytest.approx(0.5, abs=1e-12)  # so the integral of W over all theta is 1
    assert float(held_fraction(np.nextafter(0.5, 1), tau_d)) == pytest.approx(0.5, abs=1e-9)
    if tau_d > 1e-4:
        assert float(held_fraction(60.0, tau_d)) < 1e-12


@given(st.floats(1e-4, 30))
def test_the_solver_loses_nothing(tau_d):
    k, _, v = washout_solver._matrices(60)
    values, vectors = np.linalg.eigh(tau_d * k)
    assert float((v @ vectors) ** 2 @ np.exp(values)) == pytest.approx(1.0, abs=1e-10)


@given(TAU)
def test_the_residual_only_falls(tau_d):
    residual = residual_fraction(np.linspace(0, 40, 2000), tau_d)
    steps = np.diff(residual)
    assert np.all(steps <= 1e-6)  # rounding of the table where almost nothing has come through yet
    assert np.all(steps[residual[:-1] < 0.999] <= 0)
    assert residual[0] == 1.0
    assert np.all(residual >= 0)


@given(st.floats(1e-6, 0.9), TAU)
def test_the_way_back_is_never_too_short(share, tau_d):
    theta = float(volume_changes(share, tau_d))
    assert float(residual_fraction(theta, tau_d)) <= share
    assert float(residual_fraction(theta * (1 - 1e-9), tau_d)) >= share * (1 - 1e-6)
    assert float(held_fraction(washout.held_volume_changes(share, tau_d), tau_d)) <= share


@given(st.floats(1e-6, 0.9), TAU)
def test_no_line_needs_more_than_the_safe_bound(share, tau_d):
    assert float(volume_changes(share, tau_d)) <= float(bound_volume_changes(share))
    assert float(washout.held_volume_changes(share, tau_d)) <= float(bound_held_volume_changes(share)) * (1 + 1e-9)


@pytest.mark.parametrize("tau_d", [3e-4, 0.06, 3.0])
def test_the_table_is_the_solver_between_its_nodes(tau_d):
    theta = float(volume_changes(1e-4, tau_d)) * np.ones(1)
    residual, held = washout_solver.solve(theta, tau_d)
    assert residual_fraction(theta, tau_d) == pytest.approx(residual, rel=1e-4)
    assert held_fraction(theta, tau_d) == pytest.approx(held, rel=1e-4)


def test_arrays_broadcast_and_many_lines_are_read_as_one_by_one():
    theta, tau = np.linspace(0.3, 6, 40)[:, None], np.concatenate([[0.0], np.geomspace(1e-5, 30, 30)])
    together = residual_fraction(theta, tau)
    assert together.shape == (40, 31)
    one_by_one = np.stack([residual_fraction(theta[:, 0], t) for t in tau], axis=1)
    assert together == pytest.approx(one_by_one, rel=1e-10, abs=1e-14)


def test_beyond_the_table_the_time_stays_near_one_change():
    assert float(volume_changes(1e-4, 100.0)) == pytest.approx(1 + 3.9 * math.sqrt(1 / 2400), abs=0.02)


@pytest.mark.parametrize(
    ("theta", "tau_d", "where"), [(-1, 0.1, "volume_changes"), (1, -0.1, "tau_d"), (float("nan"), 0, "volume_changes")]
)
def test_a_value_that_is_no_number_is_named(theta, tau_d, where):
    with pytest.raises(Mendable) as caught:
        residual_fraction([1.0, theta], tau_d)
    assert caught.value.where == where


@pytest.mark.parametrize("share", [0, 1, -0.2, float("nan")])
def test_nothing_is_ever_washed_out_wholly(share):
    with pytest.raises(Mendable, match="residual"):
        volume_changes(share, 0.01)
