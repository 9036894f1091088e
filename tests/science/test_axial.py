"""Diffusion along the axis, which the wash-out equation leaves out: what it would change, and that dental lines are far from it."""

import json
from pathlib import Path

import numpy as np
import pytest

from fettlebook.science import washout_solver as solver
from fettlebook.science.tree import read_tree
from fettlebook.science.washout import volume_changes
from fettlebook.science.ways import ways_of

TYPICAL = json.loads((Path(__file__).parent / "typical_chairs.json").read_text())["circuits"]
SMALL = 1e-5  # D/(u L), below which it is left out: docs/carry-on/lines.md


def residual(theta, tau_d, axial, count=24):
    """W with axial = D/(u L) in the equation, a line that goes on behind its end; the solver's path, a transform of our own.

    The modes v exp(k xi) of axial M k^2 v - k v + (tau K - s M) v = 0 that don't grow against the flow.
    """
    k, m, v = solver._matrices(count)
    sigma, width = solver._saddle(theta, tau_d, count, right=False)
    u = np.arange(0.0, 4.0, 0.1)
    s = sigma + width * (1j * np.sinh(u) - 0.3 * (np.cosh(u) - 1.0))
    step = 0.1 * width * (1j * np.cosh(u) - 0.3 * np.sinh(u))
    step[0] /= 2.0
    terms = []
    for at, ds in zip(s, step, strict=True):
        a, inverse = tau_d * k - at * m, np.linalg.inv(m) / axial
        rates, modes = np.linalg.eig(np.block([[np.zeros_like(a), np.eye(count)], [-inverse @ a, inverse]]))
        kept = np.argsort(rates.real)[:count]
        rates, modes = rates[kept], modes[:count, kept]
        transform = v @ (modes @ (np.exp(rates) * np.linalg.solve(modes, v.astype(complex))))
        terms.append(np.exp(at * theta) * transform * ds / at)
        if abs(terms[-1]) < 1e-13 * abs(terms[0]):
            break
    return -np.imag(sum(terms)) / np.pi


@pytest.mark.parametrize("share", [0.05, 1 / 3000])
def test_where_it_is_left_out_it_changes_a_time_by_less_than_a_thousandth(share):
    theta = float(volume_changes(share, 0.01))
    apart = np.log(residual(1.001 * theta, 0.01, 1e-9) / residual(0.999 * theta, 0.01, 1e-9)) / 0.002
    assert residual(theta, 0.01, 1e-9) == pytest.approx(share, rel=1e-4)
    for axial, most in ((SMALL, 1e-3), (100 * SMALL, 0.05)):
        longer = np.log(residual(theta, 0.01, axial) / share) / -apart
        assert abs(longer) < most
    assert abs(longer) > 1e-3  # a hundred times nearer it would be seen


@pytest.mark.invented
@pytest.mark.parametrize("circuit", TYPICAL, ids=lambda circuit: circuit["name"])
def test_no_typical_line_comes_near_where_it_counts(circuit):
    ways = ways_of([read_tree(circuit)])
    residence_s, tubes = ways.series().residence_s[:-1], ways.length_m[:-1] > 0.0
    axial = ways.diffusivity_m2_s[0] * residence_s[tubes] / ways.length_m[:-1][tubes] ** 2
    assert axial.max() < SMALL / 100
