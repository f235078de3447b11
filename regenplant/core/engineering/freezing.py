"""When a solution freezes or drops crystals: read rows, and the words of a cold warning."""

from __future__ import annotations

from regenplant.core.engineering import solution_tables as tables
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import smooth
from regenplant.core.engineering.substances import substance
from regenplant.core.errors import OutOfRange

_ICE_KELVIN = 273.15
STRONG_CAUSTIC_FRAC = 0.45
"""Caustic from this strength on is watched for the monohydrate, not for ice."""
MONOHYDRATE_LOW_FRAC, MONOHYDRATE_HIGH_FRAC = 0.49, 0.51
"""The strengths of stock for which 12.3 °C is a fair figure."""
COLD_MARGIN_KELVIN = 3.0
"""A solution less than this above its freezing point is called cold; common practice."""


def _range(key: str) -> tuple[float, float]:
    rows = tables.FREEZING_DEPRESSION_K.get(key, ())
    return (0.0, rows[-1][0]) if rows else (0.0, 0.0)


def is_freezing_known(chemical: str, strength_frac: float) -> bool:
    """Whether ``freezing_point`` answers for this strength.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    """
    key = substance(chemical).key
    low, high = _range(key)
    is_stock = key == "naoh" and MONOHYDRATE_LOW_FRAC <= strength_frac <= MONOHYDRATE_HIGH_FRAC
    return is_stock or (key in tables.FREEZING_DEPRESSION_K and low <= strength_frac <= high)


def freezing_point(chemical: str, strength_frac: float) -> Estimate:
    """Temperature at which ice (in strong caustic: the monohydrate) begins to form.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]

    Returns
    -------
    temperature : Estimate
        Temperature [K]

    Raises: OutOfRange for a strength without a read row near it.
    Source: crc_solutions; naoh_monohydrate.
    """
    material = substance(chemical)
    if not is_freezing_known(chemical, strength_frac):
        _, high = _range(material.key)
        also = " and near 50 %" if material.key == "naoh" else ""
        words = f"known up to {high * 100:g} wt%{also}" if high else "not known here"
        raise OutOfRange(
            f"{material.formula} of {strength_frac * 100:.4g} wt%: its freezing point is {words}. Ask the supplier.",
            code="freezing_point_not_known",
            seen=strength_frac,
            allowed_low=0.0,
            allowed_high=high,
        )
    is_stock = strength_frac > _range(material.key)[1]
    return Estimate(
        symbol="T_f",
        name=f"temperature at which {material.formula} begins to {'crystallize' if is_stock else 'freeze'}",
        value=tables.NAOH_MONOHYDRATE_KELVIN if is_stock else _ice(material.key, strength_frac),
        unit="kelvin",
        kind="temperature",
        formula="table T_f(w)",
        inputs=(
            Input("w", f"strength, weight of {material.formula} per weight of solution", strength_frac, "dimensionless", "strength"),
        ),
        method="read point of the monohydrate" if is_stock else "read rows, smooth between them",
        source="naoh_monohydrate" if is_stock else "crc_solutions",
        valid="49 to 51 wt%" if is_stock else f"0 to {_range(material.key)[1] * 100:g} wt%",
        uncertainty_abs=2.0 if is_stock else 0.3,
    )  # fmt: skip


def _ice(key: str, strength_frac: float) -> float:
    rows = ((0.0, 0.0), *tables.FREEZING_DEPRESSION_K[key])
    return _ICE_KELVIN - smooth([w for w, _ in rows], [fall for _, fall in rows], strength_frac)


def cold_warnings(chemical: str, strength_frac: float, temperature_kelvin: float) -> tuple[str, ...]:
    """What to say of a solution that stands near or below its freezing point; nothing when it is warm enough.

    Parameters
    ----------
    chemical : str
        Key of ``substances.SUBSTANCES``
    strength_frac : float
        Weight of pure substance per weight of solution [-]
    temperature_kelvin : float
        Temperature of the solution or of the room it stands in [K]

    Returns
    -------
    sentences : tuple[str, ...]
        None or one
    """
    material, celsius = substance(chemical), temperature_kelvin - _ICE_KELVIN
    if material.key == "naoh" and strength_frac >= STRONG_CAUSTIC_FRAC:
        limit = tables.NAOH_MONOHYDRATE_KELVIN
        solid = "the monohydrate crystallizes"
    elif is_freezing_known(chemical, strength_frac):
        limit = freezing_point(chemical, strength_frac).value
        solid = "ice forms"
    else:
        return ()
    if temperature_kelvin >= limit + COLD_MARGIN_KELVIN:
        return ()
    return (
        f"{material.formula} of {strength_frac * 100:.3g} wt% at {celsius:.3g} °C: {solid} below about "
        f"{limit - _ICE_KELVIN:.3g} °C. Keep tank and lines warmer, and never thaw with a flame.",
    )
