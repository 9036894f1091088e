"""The wash-out equation of one straight laminar line, solved directly: slow and exact, the source of the table in `washout`.

dc/dtheta + 2 (1 - r^2) dc/dxi = tau_D (1/r) d/dr(r dc/dr), no flux through the wall, c = 1 inside at the start, 0 at the
inlet. W is the flow-averaged content at the end of the line, H its integral from theta on, which is the share that the
line still holds. Diffusion along the axis is left out: it counts only if u d/D is below a few hundred, and dental lines
have 1e5 and more.

Sources
-------
[G] Ananthakrishnan, Gill and Barduhn 1965, AIChE J. 11:1063: the equation and its regimes. memory
[T] Talbot 1979, J. Inst. Math. Appl. 23:97: inverting a Laplace transform along a bent path. memory
[M] Al-Mohy and Higham 2009: the matrix exponential as scipy.linalg.expm has it. memory
"""

from functools import lru_cache
from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray
from scipy.linalg import expm

Real = NDArray[np.float64]
Complex = NDArray[np.complex128]
_BEND: Final = 0.3  # the path leans left by 17 degrees: fast decay, and still clear of where the transform grows
_STEP: Final = 0.05
_REACH: Final = 9.5
_SHARED: Final = 1.06  # times within 6 % of each other share one path


def solve(volume_changes: ArrayLike, tau_d: float) -> tuple[Real, Real]:
    """Return W and H of one line, solved in Laplace space.

    Parameters
    ----------
    volume_changes
        theta, shape (n,), each above 0.5 [volume changes].
    tau_d
        Dimensionless diffusion time D tbar/a^2 = pi D L/Q, 1e-6 to 30.

    Returns
    -------
    tuple of ndarray
        W and H, shape (n,); relative error about 1e-7, near theta = 0.5 absolute error about 1e-6 of W for tau_d < 0.01.

    Notes
    -----
    With Legendre polynomials in r^2 the transform is E(s) = v exp(tau K - s M) v, with K and M symmetric [G]. E is entire:
    left of the origin W = -1/(2 pi i) times the integral of E/s exp(s theta), right of it 1 more; H alike with E/s^2. The
    path runs through the saddle, where nothing cancels, and bends to the left [T]; the matrix exponential is that of [M].
    """
    theta = np.asarray(volume_changes, np.float64)
    residual, held = np.empty_like(theta), np.empty_like(theta)
    order = np.argsort(theta)
    start = 0
    while start < order.size:
        first = theta[order[start]] - 0.4
        stop = start + int(np.searchsorted(theta[order[start:]] - 0.4, first * _SHARED, side="right"))
        chunk = order[start:stop]
        residual[chunk], held[chunk] = _along_one_path(theta[chunk], tau_d)
        start = stop
    return residual, held


def variance(tau_d: float) -> float:
    """Return the variance of the residence time of one line, in squared volume changes: the second moment of E(s)."""
    k, m, v = _matrices(60)
    # expm of a block triangle carries the Taylor terms of exp(tau K - s M) in s along its first row.
    size = v.size
    block = np.zeros((3 * size, 3 * size))
    for i in range(3):
        block[i * size : (i + 1) * size, i * size : (i + 1) * size] = tau_d * k
    for i in range(2):
        block[i * size : (i + 1) * size, (i + 1) * size : (i + 2) * size] = m
    power = expm(block)
    mean = float(v @ power[:size, size : 2 * size] @ v)
    return 2.0 * float(v @ power[:size, 2 * size :] @ v) - mean**2


def far_end(tau_d: float, log_held: float) -> float:
    """Return about how many volume changes leave exp(log_held) inside, from the saddle point alone (2 % or better)."""
    sigma = -np.geomspace(1e-2, 3e3, 400)
    log_e = _log_transform(sigma, tau_d, 64)
    theta = -np.gradient(log_e, sigma) + 2.0 / sigma
    return float(np.interp(-log_held, -(sigma * theta + log_e - 2.0 * np.log(-sigma)), theta))


def _along_one_path(theta: Real, tau_d: float) -> tuple[Real, Real]:
    middle = float(np.sqrt(theta[0] * theta[-1]))
    right = middle < max(0.9, (0.05 / tau_d) ** (1.0 / 3.0))
    count = _polynomials(middle, tau_d)
    sigma, width = _saddle(middle, tau_d, count, right=right)
    v = np.arange(0.0, _REACH, _STEP)
    s = sigma + width * (1j * np.sinh(v) - _BEND * (np.cosh(v) - 1.0))
    step = _STEP * width * (1j * np.cosh(v) - _BEND * np.sinh(v))
    step[0] /= 2.0
    terms = np.zeros((theta.size, v.size), np.complex128)
    alive = np.ones(theta.size, np.bool_)
    for block in np.array_split(np.arange(v.size), 12):
        with np.errstate(all="ignore"):
            part = np.exp(s[block] * theta[:, None]) * _transform(s[block], tau_d, count) * step[block]
            size = np.abs(part / s[block])
        if block[0] == 0:
            scale = size[:, :1]
        # Once the integrand has sunk into rounding (or where expm overflows), the rest of the path adds only noise.
        dead = ~((size > 1e-16 * scale) & (size < 10.0 * scale))
        reach = np.where(dead.any(axis=1), dead.argmax(axis=1), block.size) * alive
        terms[:, block] = np.where(np.arange(block.size) < reach[:, None], part, 0.0)
        alive &= reach == block.size
        if not alive.any():
            break
    residual = -np.imag(terms / s).sum(axis=1) / np.pi
    held = np.imag(terms / s**2).sum(axis=1) / np.pi
    if right:
        return 1.0 + residual, 1.0 - theta + held
    return residual, held


def _polynomials(theta: float, tau_d: float) -> int:
    if theta < 1.0 and tau_d < 0.05:  # the front is as thin as tau_d/10
        return 110
    for below, count in ((1e-3, 90), (1e-2, 72), (0.3, 56)):
        if tau_d < below:
            return count
    return 44


def _saddle(theta: float, tau_d: float, count: int, *, right: bool) -> tuple[float, float]:
    """Return where the path crosses the real axis and how wide the saddle is."""
    sigma = np.geomspace(1e-3, 60.0, 160) if right else -np.geomspace(1e-3, 2e3, 240)
    count = min(count, 64)
    height = sigma * theta + _log_transform(sigma, tau_d, count) - 2.0 * np.log(np.abs(sigma))
    at = float(sigma[np.nanargmin(height)])
    apart = 0.02 * abs(at)
    three = _log_transform(np.array([at - apart, at, at + apart]), tau_d, count)
    curvature = (three[0] - 2.0 * three[1] + three[2]) / apart**2
    return at, 1.0 / np.sqrt(max(float(curvature), 0.0) + 2.0 / at**2)


@lru_cache(maxsize=8)
def _matrices(count: int) -> tuple[Real, Real, Real]:
    """Return K, M and v: the Laplacian, the mass and the flow average in the basis that makes the speed the unit matrix."""
    k = np.arange(count)
    beside = (k[:-1] + 1) / np.sqrt((2.0 * k[:-1] + 1) * (2.0 * k[:-1] + 3))
    speed = np.eye(count) - np.diag(beside, 1) - np.diag(beside, -1)
    x, weight = np.polynomial.legendre.leggauss(count + 2)
    slopes = np.array([np.polynomial.legendre.legval(x, np.polynomial.legendre.legder(row)) for row in np.diag(np.sqrt(2.0 * k + 1))])
    # y = r^2 = (1 + x)/2, so d/dy = 2 d/dx and dy = dx/2; the weak form has no term at the wall: no flux through it.
    laplacian = -4.0 * (2.0 * slopes * (weight / 2.0 * (1.0 + x) / 2.0)) @ (2.0 * slopes).T
    root = np.linalg.cholesky(speed)
    inverse = np.linalg.inv(root)
    return np.asarray(inverse @ laplacian @ inverse.T), np.asarray(inverse @ inverse.T), np.asarray(root.T[:, 0])


def _transform(s: Complex, tau_d: float, count: int) -> Complex:
    k, m, v = _matrices(count)
    with np.errstate(all="ignore"):  # far out on the path expm may overflow; the caller cuts that part off
        return np.asarray(v @ expm(tau_d * k - s[:, None, None] * m) @ v)


def _log_transform(sigma: Real, tau_d: float, count: int) -> Real:
    k, m, v = _matrices(count)
    roots, vectors = np.linalg.eigh(tau_d * k - sigma[:, None, None] * m)
    top = roots[:, -1]
    share = np.einsum("i,kij->kj", v, vectors) ** 2
    return np.asarray(top + np.log((share * np.exp(roots - top[:, None])).sum(axis=1)))
