"""Strengths of disinfectants: w/v, w/w, mg/L and volumes of oxygen, and how much to measure out for a dilution.

Per cent by weight and per cent by volume of solution are never mixed up: between them stands the density, and without it
there is no answer. The label says what strength to use and whether the product may be diluted at all; this only counts.

Sources
-------
[M] Molar masses of hydrogen peroxide, 34.0147 g/mol, from standard atomic weights. memory
[O] "x volumes": litres of oxygen at 0 degC and 1 atm (22.414 L/mol) from one litre, 2 H2O2 -> 2 H2O + O2. secondary
"""

from dataclasses import dataclass
from typing import Final

from fettlebook.errors import Mendable

PEROXIDE_G_MOL: Final = 34.0147  # [M]
OXYGEN_L_MOL: Final = 22.414  # [O]
MG_L_PER_PCT_WV: Final = 10_000.0  # 1 g in 100 mL
PCT_WV, PCT_WW, MG_L, VOLUMES = "% w/v", "% w/w", "mg/L", "volumes"
LIGHTEST_G_ML: Final = 0.6
HEAVIEST_G_ML: Final = 2.0


def strength_mg_l(value: float, unit: str, density_g_ml: float | None = None) -> float:
    """Return a strength as the label states it in mg of active substance in a litre of solution.

    Parameters
    ----------
    value
        The number on the label, above 0.
    unit
        "% w/v", "% w/w", "mg/L", or "volumes" (hydrogen peroxide only).
    density_g_ml
        Density of this very solution [g/mL], 0.6 to 2; needed for "% w/w" and used for nothing else.

    Returns
    -------
    float
        Strength [mg/L].

    Raises
    ------
    Mendable
        The number is no strength, the unit is unknown, or "% w/w" comes without density.

    Notes
    -----
    1 % w/v is 10 g/L. 1 % w/w is 10 g/kg, times the density in kg/L. x volumes are x 2 34.0147/22.414 g/L [M, O].
    """
    if not 0.0 < value <= 1e6:
        raise Mendable(f"{value!r} is no strength", where="value", mend="Give the number on the label, above 0.")
    if unit in (PCT_WV, PCT_WW) and value > (100.0 if unit == PCT_WW else 100.0 * HEAVIEST_G_ML):
        raise Mendable(f"{value:g} {unit} is more than there can be", where="value", mend="Check the number and the unit on the label.")
    if unit == MG_L:
        return float(value)
    if unit == PCT_WV:
        return MG_L_PER_PCT_WV * value
    if unit == VOLUMES:
        return 1000.0 * value * 2.0 * PEROXIDE_G_MOL / OXYGEN_L_MOL
    if unit == PCT_WW:
        return MG_L_PER_PCT_WV * value * _density(density_g_ml, "% w/w says grams in 100 g of solution, not in 100 mL")
    raise Mendable(f"unit is {unit!r}", where="unit", mend=f"Write {PCT_WV}, {PCT_WW}, {MG_L} or {VOLUMES}, as the label does.")


def strength_in(mg_l: float, unit: str, density_g_ml: float | None = None) -> float:
    """Return a strength in mg/L in another unit: the way back of `strength_mg_l`, with the same refusals."""
    return mg_l / strength_mg_l(1.0, unit, density_g_ml)


@dataclass(frozen=True, slots=True)
class Dilution:
    """What to measure out, and the strengths that the measuring jug can end at."""

    product_ml: float
    water_ml: float
    strength_mg_l: float
    weakest_mg_l: float
    strongest_mg_l: float


def dilution(stock_mg_l: float, wanted_mg_l: float, batch_ml: float, *, jug_error_ml: float = 0.0) -> Dilution:
    """Return how much product is made up to a batch with water.

    Parameters
    ----------
    stock_mg_l
        Strength of the product as it comes [mg/L]; from `strength_mg_l`.
    wanted_mg_l
        Strength that the label asks for [mg/L]; not above the product's.
    batch_ml
        Volume of the finished solution [mL].
    jug_error_ml
        Most by which a volume may be misread [mL].

    Returns
    -------
    Dilution
        Volumes [mL], and the strengths for a jug misread either way [mg/L].

    Raises
    ------
    Mendable
        A number is not above 0, the product is weaker than wanted, or the jug is too coarse for the volume.

    Notes
    -----
    V1 = V2 c2/c1 in mg/L; `water_ml` is what the batch still lacks. Volumes of a strong product and water do not quite add
    up, so the product is made up to the mark and not mixed with a counted volume of water.
    """
    for name, value in (("stock_mg_l", stock_mg_l), ("wanted_mg_l", wanted_mg_l), ("batch_ml", batch_ml)):
        if not 0.0 < value < 1e9:
            raise Mendable(f"{value!r} is not above 0", where=name, mend="Give the number from the label or the jug.")
    if wanted_mg_l > stock_mg_l:
        raise Mendable(
            f"{wanted_mg_l:g} mg/L can't be made from {stock_mg_l:g} mg/L",
            where="wanted_mg_l",
            mend="Use a product that is at least as strong as the label's use asks for; no dilution makes it stronger.",
        )
    product_ml = batch_ml * wanted_mg_l / stock_mg_l
    if not 0.0 <= jug_error_ml < min(product_ml, batch_ml) / 2.0:
        raise Mendable(
            f"a jug that may be {jug_error_ml!r} mL out can't measure {product_ml:.3g} mL",
            where="jug_error_ml",
            mend="Use a finer measure, or make a larger batch.",
        )
    return Dilution(
        product_ml=product_ml,
        water_ml=batch_ml - product_ml,
        strength_mg_l=wanted_mg_l,
        weakest_mg_l=stock_mg_l * (product_ml - jug_error_ml) / (batch_ml + jug_error_ml),
        strongest_mg_l=min(stock_mg_l, stock_mg_l * (product_ml + jug_error_ml) / (batch_ml - jug_error_ml)),
    )


def rinse_share(limit_mg_l: float, strength_in_line_mg_l: float) -> float:
    """Return the share of the strength that may be left after a rinse, for `outlet_seconds`.

    Parameters
    ----------
    limit_mg_l
        Most that may be left at an outlet [mg/L]; from the label, IFU or rulebook, and not below what the strip can show.
    strength_in_line_mg_l
        Strength that stands in the lines [mg/L].

    Returns
    -------
    float
        Share, above 0 and below 1.

    Raises
    ------
    Mendable
        A number is not above 0, or the limit is not below the strength.
    """
    if not 0.0 < limit_mg_l < strength_in_line_mg_l < 1e9:
        raise Mendable(
            f"a limit of {limit_mg_l!r} mg/L is not below the strength of {strength_in_line_mg_l!r} mg/L",
            where="limit_mg_l",
            mend="Give both in mg/L: the limit of the label, and the strength in the lines (3 % w/v is 30000 mg/L).",
        )
    return limit_mg_l / strength_in_line_mg_l


def _density(density_g_ml: float | None, why: str) -> float:
    if density_g_ml is None:
        mend = "Give the density from the safety data sheet, in g/mL, or the label's strength in % w/v."
        raise Mendable(f"no density: {why}", where="density_g_ml", mend=mend)
    if not LIGHTEST_G_ML <= density_g_ml <= HEAVIEST_G_ML:
        outside = f"{density_g_ml!r} is outside {LIGHTEST_G_ML:g} to {HEAVIEST_G_ML:g} g/mL"
        raise Mendable(outside, where="density_g_ml", mend="Give the density in g/mL; water has 1.0.")
    return density_g_ml
