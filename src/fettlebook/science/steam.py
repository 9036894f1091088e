"""Saturated steam: the pressure that belongs to a temperature and the other way round, and what air in the steam does to both.

Sources
-------
[R] IAPWS R7-97(2012), industrial formulation IF97, region 4 (section 8): saturation equation and its two explicit solutions,
    equations 29 to 31, range 273.15 to 647.096 K. secondary
[C] The same, table 34: the ten coefficients. memory
[A] Dalton: in a mixture each gas has the share of the pressure that it has of the volume. memory
[P] Chebyshev interpolation of [R] in ln p, made here from [R] when the module is read; 6e-9 K from [R] at most. computed
"""

import math
from collections.abc import Sequence
from typing import Any, Final, overload

import numpy as np
from numpy.polynomial import Chebyshev, Polynomial
from numpy.typing import ArrayLike, NDArray

from fettlebook.errors import Mendable

Real = NDArray[np.float64]
Many = Sequence[float] | NDArray[Any]
KELVIN: Final = 273.15
COLDEST_C, HOTTEST_C = 0.0, 373.946  # [R] triple point region to critical point
LEAST_KPA, MOST_KPA = 0.611213, 22_064.0  # [R]
FAST_KPA: Final = (5.0, 400.0)  # where a sterilizer works: the polynomial answers
_N: Final = (
    0.11670521452767e4, -0.72421316703206e6, -0.17073846940092e2, 0.12020824702470e5, -0.32325550322333e7,
    0.14915108613530e2, -0.48232657361591e4, 0.40511340542057e6, -0.23855557567849, 0.65017534844798e3,
)  # [C]  # fmt: skip
_DEGREE: Final = 10  # 6e-9 K [P]; degree 8 would leave 1.5e-7 K and save a seventh of the time
_PIECE: Final = 16_384  # values worked on at once: they stay in the processor's own memory


@overload
def saturation_pressure_kpa(temperature_c: float) -> float: ...
@overload
def saturation_pressure_kpa(temperature_c: Many) -> Real: ...
def saturation_pressure_kpa(temperature_c: float | Many) -> float | Real:
    """Return the absolute pressure at which water boils at a temperature.

    Parameters
    ----------
    temperature_c
        Temperature, any shape [degC], 0 to 373.946.

    Returns
    -------
    ndarray
        Saturation pressure [kPa absolute], same shape; a number for a number.

    Raises
    ------
    Mendable
        A temperature is no number or outside the range.

    Notes
    -----
    p = (2C / (-B + sqrt(B^2 - 4AC)))^4 in MPa, A, B, C quadratics of theta = T + n9/(T - n10) [R, eq. 30].
    """
    t = _within(temperature_c, COLDEST_C, HOTTEST_C, "temperature_c", "degC", mend="Give degrees Celsius; is it Fahrenheit or kelvin?")
    kelvin = t + KELVIN
    theta = kelvin + _N[8] / (kelvin - _N[9])
    a = theta * theta + _N[0] * theta + _N[1]
    b = _N[2] * theta * theta + _N[3] * theta + _N[4]
    c = _N[5] * theta * theta + _N[6] * theta + _N[7]
    root = 2.0 * c / (-b + np.sqrt(b * b - 4.0 * a * c))
    pressure: float | Real = (1e3 * (root * root) * (root * root))[()]
    return pressure


@overload
def saturation_temperature_c(pressure_kpa: float) -> float: ...
@overload
def saturation_temperature_c(pressure_kpa: Many) -> Real: ...
def saturation_temperature_c(pressure_kpa: float | Many) -> float | Real:
    """Return the temperature at which water boils under an absolute pressure.

    Parameters
    ----------
    pressure_kpa
        Absolute pressure, any shape [kPa], 0.611213 to 22,064.

    Returns
    -------
    ndarray
        Saturation temperature [degC], same shape; a number for a number.

    Raises
    ------
    Mendable
        A pressure is no number or outside the range; a negative one is most likely a gauge reading.

    Notes
    -----
    T = (n10 + D - sqrt((n10 + D)^2 - 4(n9 + n10 D)))/2, D from quadratics of beta = (p/MPa)^(1/4) [R, eq. 31].
    From 5 to 400 kPa a polynomial of degree 10 in ln p stands in for it, 6e-9 K from [R] at most [P]: a few times as fast.
    """
    if isinstance(pressure_kpa, float | int) and FAST_KPA[0] <= pressure_kpa <= FAST_KPA[1]:
        return _polynomial_of_one(float(pressure_kpa))
    p = np.asarray(pressure_kpa, np.float64)
    low, high = (float(p.min()), float(p.max())) if p.size else FAST_KPA
    if low >= FAST_KPA[0] and high <= FAST_KPA[1]:  # a NaN compares false and goes the careful way
        near: float | Real = _polynomial(p)[()]
        return near
    p = _within(p, LEAST_KPA, MOST_KPA, "pressure_kpa", "kPa absolute", mend="Give absolute pressure in kPa; a gauge shows about 101 less.")
    inside = (p >= FAST_KPA[0]) & (p <= FAST_KPA[1])
    anywhere: float | Real = np.where(inside, _polynomial(np.clip(p, *FAST_KPA)), if97_temperature_c(p))[()]
    return anywhere


def if97_temperature_c(pressure_kpa: Real) -> Real:
    """Return what `saturation_temperature_c` does by the equation itself [R, eq. 31]; the range is the caller's affair."""
    beta = np.sqrt(np.sqrt(pressure_kpa * 1e-3))
    square = beta * beta
    e = square + _N[2] * beta + _N[5]
    f = _N[0] * square + _N[3] * beta + _N[6]
    g = _N[1] * square + _N[4] * beta + _N[7]
    d = 2.0 * g / (-f - np.sqrt(f * f - 4.0 * e * g))
    both = _N[9] + d
    return np.asarray(0.5 * (both - np.sqrt(both * both - 4.0 * (_N[8] + _N[9] * d))) - KELVIN)


def air_depression_k(temperature_c: ArrayLike, air_share: ArrayLike) -> Real:
    """Return how much colder steam is than its pressure says where a share of the gas is air.

    Parameters
    ----------
    temperature_c
        Saturation temperature of the total pressure, any shape [degC].
    air_share
        Share of the volume that is air, broadcastable, 0 to below 1.

    Returns
    -------
    ndarray
        Saturation temperature of the total pressure less that of the steam's own share of it [kelvin], 0 or more.

    Raises
    ------
    Mendable
        A share is outside 0 to 1, or so much air that no steam's pressure is left in range.

    Notes
    -----
    The steam alone has (1 - x) of the pressure [A]. Air and steam well mixed: a pocket of air in a hollow load is not seen by it.
    """
    share = _within(air_share, 0.0, 0.9999, "air_share", "", mend="Give the share of the volume, 0.02 for 2 %.")
    total = np.asarray(saturation_pressure_kpa(np.asarray(temperature_c, np.float64)))
    steam = total * (1.0 - share)
    return np.asarray(saturation_temperature_c(total) - saturation_temperature_c(steam))


def air_share(temperature_c: ArrayLike, pressure_kpa: ArrayLike) -> Real:
    """Return which share of mixed air would make steam of this pressure as cold as measured; 0 where it is not colder.

    Parameters
    ----------
    temperature_c, pressure_kpa
        Measured temperature [degC] and absolute pressure [kPa], broadcastable, within the ranges of the two functions above.

    Returns
    -------
    ndarray
        Share of the volume, 0 to 1: x = 1 - psat(T)/p [A]. One reading of three: the other two are a wrong thermometer or gauge.

    Raises
    ------
    Mendable
        A value is outside its range.
    """
    p = _within(pressure_kpa, LEAST_KPA, MOST_KPA, "pressure_kpa", "kPa absolute", mend="Give absolute pressure in kPa.")
    return np.asarray(np.maximum(0.0, 1.0 - saturation_pressure_kpa(np.asarray(temperature_c, np.float64)) / p))


def _polynomial(p: Real) -> Real:
    """Evaluate [P] in pieces that fit the processor's memory, with no array made anew on the way."""
    flat = p.reshape(-1)
    out = np.empty(flat.size)
    room = np.empty(min(_PIECE, flat.size))
    for begin in range(0, flat.size, _PIECE):
        value = out[begin : begin + _PIECE]
        x = room[: value.size]
        np.log(flat[begin : begin + _PIECE], out=x)
        x -= _MIDDLE
        np.multiply(x, _COEFFICIENTS[0], out=value)
        for coefficient in _COEFFICIENTS[1:-1]:
            value += coefficient
            value *= x
        value += _COEFFICIENTS[-1]
    return out.reshape(p.shape)


def _polynomial_of_one(pressure_kpa: float) -> float:
    """Evaluate [P] at one number, without the cost of an array."""
    x = math.log(pressure_kpa) - _MIDDLE
    value = 0.0
    for coefficient in _COEFFICIENTS:
        value = value * x + coefficient
    return value


def _within(values: ArrayLike, low: float, high: float, where: str, unit: str, *, mend: str) -> Real:
    v = np.asarray(values, np.float64)
    outside = ~((v >= low) & (v <= high))  # a NaN is outside as well
    if np.any(outside):
        place = f"{where}[{int(np.flatnonzero(outside)[0])}]" if v.ndim else where
        raise Mendable(f"{float(v[outside].flat[0]):g} {unit}".rstrip() + f" is outside {low:g} to {high:g}", where=place, mend=mend)
    return v


def _interpolated() -> tuple[float, tuple[float, ...]]:
    """Return the middle of ln p and the coefficients about it, highest power first [P]."""
    ends = np.log(FAST_KPA)
    middle = float(ends.mean())
    half = float(ends[1]) - middle
    fitted = Chebyshev.interpolate(lambda x: if97_temperature_c(np.exp(x + middle)), _DEGREE, domain=[-half, half])
    return middle, tuple(float(c) for c in fitted.convert(kind=Polynomial, domain=[-1.0, 1.0], window=[-1.0, 1.0]).coef[::-1])


_MIDDLE, _COEFFICIENTS = _interpolated()
