"""Solve the wash-out equation once for all lines and keep the result as the table that `fettlebook.science.washout` reads.

Run from the root of the repository: `python scripts/make_washout_table.py` (about 15 minutes on two cores). Two charts:

- slow diffusion, tau_D up to 2e-3: ln(4 theta H) over z = tau_D^(1/3) theta and u = tau_D^(1/3). It has a limit as u -> 0.
- the rest, tau_D 1.5e-3 to 12: ln H over a stretched theta (close steps at the front) and ln tau_D.

H, the share still held, is tabulated, and W is its slope: so the integral of W is 1 by construction.
"""

import sys
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from fettlebook.science.washout_solver import far_end, solve

TARGET = Path(__file__).parents[1] / "src" / "fettlebook" / "science" / "washout_table.npz"
Z = np.arange(0.0, 2.601, 0.02)
U = np.arange(0.0, 0.1301, 0.01)
LIMIT = 4
LOG_TAU = np.linspace(np.log(1.5e-3), np.log(12.6), 43)
STRETCH = 7.0
Q = np.linspace(0.0, 1.0, 221)
LOG_HELD_END = -32.0
EARLY = 0.0085  # tau_D theta^3 up to here: exact early law; the wall changes H by less than 1e-7


def early_held(theta: NDArray[np.float64], tau_d: float) -> NDArray[np.float64]:
    """Return H while the wall is not yet felt, tau_D theta^3 below 0.0085, to second order in tau_D.

    Every moment of the path of a diffusing particle is known as long as it meets no wall; what the front's own thickness
    of about tau_D/10 takes off is the sum at the end.
    """
    x = (theta - 0.5) / tau_d
    layer = sum((-1) ** (n + 1) * np.exp(-((n * np.pi) ** 2) * x) / n**4 for n in range(1, 12)) * 8.0 / np.pi**4
    return np.asarray(0.25 / theta - tau_d * (4.0 * theta**2 - 2.0 * theta) / 3.0 + tau_d**2 * (28.0 / 45.0 * theta**3 - layer))


def slow_row(u: float) -> NDArray[np.float64]:
    """Return ln(4 theta H) at every z for one u above 0."""
    tau_d = u**3
    theta = Z / u
    x = Z**3
    # 4 theta H of `early_held` in z and u, without the front: so it is smooth below theta = 1/2, where it is never read.
    row = np.log1p(np.where(x < EARLY, -16.0 / 3.0 * x + 8.0 / 3.0 * u * Z**2 + 112.0 / 45.0 * u**2 * Z**4, 0.0))
    far = x >= EARLY
    row[far] = np.log(4.0 * theta[far] * solve(theta[far], tau_d)[1])
    return np.asarray(row)


def fast_row(log_tau: float, span: float) -> NDArray[np.float64]:
    """Return ln H at every q for one tau_D; theta - 1/2 = span sinh(k q)/sinh(k)."""
    tau_d = float(np.exp(log_tau))
    theta = 0.5 + span * np.sinh(STRETCH * Q) / np.sinh(STRETCH)
    held = np.full(Q.size, 0.5)
    early = (tau_d < 0.03) & (tau_d * theta**3 < EARLY)  # where the front is thin the solver is noisiest, and this law exact
    held[early] = early_held(theta[early], tau_d)
    held[0] = 0.5
    far = ~early & (theta > 0.5)
    held[far] = solve(theta[far], tau_d)[1]
    return np.asarray(np.log(held))


def main() -> int:
    """Compute both charts, extend the first to u = 0, write the file."""
    ends = np.array([far_end(float(np.exp(p)), LOG_HELD_END) - 0.5 for p in LOG_TAU])
    span = np.polynomial.chebyshev.Chebyshev.fit(LOG_TAU, np.log(ends), 9).convert(kind=np.polynomial.Polynomial)
    with ProcessPoolExecutor(2) as pool:
        fast = np.array(list(pool.map(fast_row, LOG_TAU, np.exp(span(LOG_TAU)))))
        slow = np.array(list(pool.map(slow_row, U[LIMIT:])))
    # Rows near u = 0 would need ever more polynomials; the limit is smooth in u, so a curve through the other rows gives it.
    limit = np.polynomial.polynomial.polyfit(U[LIMIT:], slow, 5)
    slow = np.concatenate([np.polynomial.polynomial.polyval(U[:LIMIT], limit).T, slow])
    np.savez_compressed(TARGET, z=Z, u=U, slow=slow, q=Q, log_tau=LOG_TAU, fast=fast, stretch=STRETCH, span=np.asarray(span.coef), form=1)
    return 0


if __name__ == "__main__":
    sys.exit(main())
