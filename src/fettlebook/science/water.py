"""Water at 0.1 MPa between 1 and 45 degC: density, viscosity, and how fast hydrogen peroxide diffuses in it.

Sources
-------
[K] Kell 1975, J. Chem. Eng. Data 20:97, eq. 16 (density, ITS-27 scale, air-free). memory
[V] IAPWS SR6-08, supplementary release for liquid water at 0.1 MPa: viscosity equation. memory
[E] Einstein 1905, Stokes-Einstein relation: D is proportional to T/mu for one solute. memory
[P] Diffusion coefficient of hydrogen peroxide at 25 degC, 1.2 to 1.5e-9 m2/s in electrochemical papers. memory
"""

from typing import Final

import numpy as np
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable

COLDEST_C: Final = 1.0
WARMEST_C: Final = 45.0
PEROXIDE_25C_M2_S: Final = 1.4e-9  # [P] +-15 %: the weakest input of the wash-out; 15 % moves a 1/3000 rinse by about 4 %
KELVIN: Final = 273.15
_VISCOSITY: Final = ((280.68, -1.9), (511.45, -7.7), (61.131, -19.6), (0.45903, -40.0))  # [V]
_DENSITY: Final = (999.83952, 16.945176, -7.9870401e-3, -46.170461e-6, 105.56302e-9, -280.54253e-12)  # [K]
_DENSITY_BELOW: Final = 16.879850e-3  # [K]


def density_kg_m3(temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the density of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature_c
        Water temperature, any shape [degC], 1 to 45.

    Returns
    -------
    ndarray
        Density [kg/m3], same shape.

    Raises
    ------
    Mendable
        A temperature is not a number or outside 1 to 45 degC.

    Notes
    -----
    Kell's rational polynomial [K]; within 0.01 kg/m3 of IAPWS R6-95 over the range.
    """
    t = _range(temperature_c)
    top = np.zeros_like(t)
    for coefficient in reversed(_DENSITY):
        top = top * t + coefficient
    return np.asarray(top / (1.0 + _DENSITY_BELOW * t))


def viscosity_pa_s(temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the dynamic viscosity of liquid water at 0.1 MPa.

    Parameters
    ----------
    temperature_c
        Water temperature, any shape [degC], 1 to 45.

    Returns
    -------
    ndarray
        Viscosity [Pa s], same shape.

    Raises
    ------
    Mendable
        A temperature is not a number or outside 1 to 45 degC.

    Notes
    -----
    mu = 1e-6 sum a_i (T/300 K)^b_i [V]. A 3 % peroxide solution is about 1 % thinner; that is not taken into account.
    """
    ratio = (_range(temperature_c) + KELVIN) / 300.0
    total = np.zeros_like(ratio)
    for a, b in _VISCOSITY:
        total = total + a * ratio**b
    return np.asarray(1e-6 * total)


def peroxide_diffusivity_m2_s(temperature_c: ArrayLike) -> NDArray[np.float64]:
    """Return the diffusion coefficient of hydrogen peroxide in water.

    Parameters
    ----------
    temperature_c
        Water temperature, any shape [degC], 1 to 45.

    Returns
    -------
    ndarray
        Diffusion coefficient [m2/s], same shape.

    Raises
    ------
    Mendable
        A temperature is not a number or outside 1 to 45 degC.

    Notes
    -----
    The value at 25 degC [P] scaled by T/mu [E]. Cold water diffuses less, so the coldest water needs the longest rinse.
    """
    t = _range(temperature_c)
    at_25 = 298.15 / float(viscosity_pa_s(25.0))
    return np.asarray(PEROXIDE_25C_M2_S * (t + KELVIN) / viscosity_pa_s(t) / at_25)


def _range(temperature_c: ArrayLike) -> NDArray[np.float64]:
    t = np.asarray(temperature_c, np.float64)
    outside = ~((t >= COLDEST_C) & (t <= WARMEST_C))  # a NaN is outside as well
    if np.any(outside):
        raise Mendable(
            f"{float(t[outside].flat[0]):g} degC is outside {COLDEST_C:g} to {WARMEST_C:g} degC",
            where="temperature_c",
            mend="Give the temperature of the water that reaches the chair, in degrees Celsius.",
        )
    return t
