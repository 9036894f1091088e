"""Flow in a round line: Reynolds number, friction, pressure drop, and which regime it is.

Sources
-------
[H] Hagen-Poiseuille law, textbook. memory
[R] Reynolds number Re = 4 Q/(pi d nu), textbook; laminar below about 2000, turbulent above about 4000. memory
[D] Darcy-Weisbach equation, textbook. memory
[C] Churchill 1977, Chem. Eng. 84(24):91: one friction factor for all regimes. memory
"""

from functools import lru_cache
from typing import Final, Literal

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.science.water import density_kg_m3, viscosity_pa_s

Regime = Literal["laminar", "transitional", "turbulent"]
LAMINAR_BELOW: Final = 2000.0  # [R]
TURBULENT_ABOVE: Final = 4000.0  # [R]
M3_S_PER_ML_MIN: Final = 1e-6 / 60.0


def reynolds(flow_ml_min: ArrayLike, bore_mm: ArrayLike, temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the Reynolds number of a full round line.

    Parameters
    ----------
    flow_ml_min
        Flow [mL/min].
    bore_mm
        Inner diameter [mm].
    temperature_c
        Water temperature [degC], 1 to 45.

    Returns
    -------
    ndarray
        Reynolds number, broadcast shape.

    Notes
    -----
    Re = 4 rho Q/(pi d mu) [R].
    """
    q = np.asarray(flow_ml_min, np.float64) * M3_S_PER_ML_MIN
    d = np.asarray(bore_mm, np.float64) * 1e-3
    rho, mu = _water(temperature_c)
    return np.asarray(4.0 * rho * q / (np.pi * d * mu))


def regime(reynolds_number: float) -> Regime:
    """Return how the water flows at this Reynolds number [R]."""
    if reynolds_number < LAMINAR_BELOW:
        return "laminar"
    return "transitional" if reynolds_number < TURBULENT_ABOVE else "turbulent"


def laminar_drop_kpa(flow_ml_min: ArrayLike, length_m: ArrayLike, bore_mm: ArrayLike, temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the pressure drop of laminar flow, 128 mu L Q/(pi d^4) [H].

    Parameters
    ----------
    flow_ml_min
        Flow [mL/min].
    length_m
        Length [m].
    bore_mm
        Inner diameter [mm].
    temperature_c
        Water temperature [degC], 1 to 45.

    Returns
    -------
    ndarray
        Pressure drop [kPa]; holds below Re 2000 only, `pressure_drop_kpa` chooses.
    """
    q = np.asarray(flow_ml_min, np.float64) * M3_S_PER_ML_MIN
    d = np.asarray(bore_mm, np.float64) * 1e-3
    return np.asarray(1e-3 * 128.0 * _water(temperature_c)[1] * np.asarray(length_m) * q / (np.pi * d**4))


def churchill_friction(reynolds_number: ArrayLike, roughness: ArrayLike = 0.0) -> NDArray[np.float64]:
    """Return the Darcy friction factor of Churchill, valid for every Reynolds number above 0.

    Parameters
    ----------
    reynolds_number
        Reynolds number, > 0.
    roughness
        Height of the wall's roughness over the bore, 0 for a smooth hose.

    Returns
    -------
    ndarray
        Darcy friction factor, broadcast shape.

    Notes
    -----
    f = 8 [(8/Re)^12 + (A + B)^-1.5]^(1/12), A = [2.457 ln(1/((7/Re)^0.9 + 0.27 e/d))]^16, B = (37530/Re)^16 [C].
    """
    re = np.asarray(reynolds_number, np.float64)
    a = (-2.457 * np.log((7.0 / re) ** 0.9 + 0.27 * np.asarray(roughness))) ** 16
    b = (37530.0 / re) ** 16
    return np.asarray(8.0 * ((8.0 / re) ** 12 + (a + b) ** -1.5) ** (1.0 / 12.0))


def pressure_drop_kpa(flow_ml_min: ArrayLike, length_m: ArrayLike, bore_mm: ArrayLike, temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the pressure drop of a smooth straight line: Hagen-Poiseuille while laminar, else Churchill.

    Parameters
    ----------
    flow_ml_min
        Flow [mL/min], > 0.
    length_m
        Length [m].
    bore_mm
        Inner diameter [mm].
    temperature_c
        Water temperature [degC], 1 to 45.

    Returns
    -------
    ndarray
        Pressure drop [kPa], broadcast shape.

    Notes
    -----
    dp = f (L/d) rho u^2/2 [D] with f of [C] from Re 2000 on [R]; fittings, valves and filters are not in it.
    """
    re = reynolds(flow_ml_min, bore_mm, temperature_c)
    d = np.asarray(bore_mm, np.float64) * 1e-3
    u = np.asarray(flow_ml_min, np.float64) * M3_S_PER_ML_MIN / (np.pi / 4.0 * d**2)
    rough = 1e-3 * churchill_friction(re) * np.asarray(length_m) / d * _water(temperature_c)[0] * u**2 / 2.0
    return np.asarray(np.where(re < LAMINAR_BELOW, laminar_drop_kpa(flow_ml_min, length_m, bore_mm, temperature_c), rough))


def _water(temperature_c: ArrayLike) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return density and viscosity; kept for a plain number, since all parts of a chair share one temperature."""
    if isinstance(temperature_c, float):
        return _kept(temperature_c)
    return density_kg_m3(temperature_c), viscosity_pa_s(temperature_c)


@lru_cache(maxsize=64)
def _kept(temperature_c: float) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    return density_kg_m3(temperature_c), viscosity_pa_s(temperature_c)
