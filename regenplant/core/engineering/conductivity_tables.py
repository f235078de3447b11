"""Tables beside the conductivity model: ions at infinite dilution, and limits for uncompensated readings."""

from __future__ import annotations

from regenplant.core.errors import OutOfRange

LIMITING_IONIC_S_CM2_PER_EQ: dict[str, float] = {
    "H+": 349.65, "OH-": 198.0, "Na+": 50.08, "K+": 73.48, "NH4+": 73.5, "Ca++": 59.47, "Mg++": 53.0,
    "Cl-": 76.31, "HCO3-": 44.5, "SO4--": 80.0, "CO3--": 69.3, "NO3-": 71.42, "F-": 55.4, "Br-": 78.1,
    "HSO4-": 52.0, "H2PO4-": 36.0, "Sr++": 59.4, "Ba++": 63.6,
}  # fmt: skip
"""Limiting equivalent conductivities at 25 °C, CRC table; molar = equivalent times charge (a trap)."""

MCCLESKEY: dict[str, tuple[float, float, float]] = {
    "HCl": (-0.006766, 6.614, 262.4),
    "NaOH": (0.006936, 3.872, 148.3),
    "NaCl": (0.008967, 2.196, 67.03),
    "KCl": (0.009385, 2.533, 81.17),
    "NH4Cl": (0.006575, 2.684, 78.03),
    "CaCl2": (0.01124, 2.224, 72.36),
    "MgCl2": (0.009534, 2.247, 68.19),
    "Na2SO4": (0.009501, 2.317, 66.58),
    "NaHCO3": (0.0126, 1.543, 52.09),
    "KHCO3": (0.007807, 2.04, 63.03),
    "K2CO3": (0.01145, 2.726, 68.62),
    "KNO3": (0.009117, 2.309, 80.33),
}
"""Λ°(t) = c₁t² + c₂t + c₃ in S·cm²/eq, t in °C, 5 to 90 °C; for 1:1 electrolytes an equivalent is a mole."""

USP_645_STAGE_1: tuple[tuple[float, float], ...] = tuple(
    (celsius + 273.15, microsiemens * 1e-4)
    for celsius, microsiemens in (
        (0, 0.6), (5, 0.8), (10, 0.9), (15, 1.0), (20, 1.1), (25, 1.3), (30, 1.4), (35, 1.5), (40, 1.7), (45, 1.8),
        (50, 1.9), (55, 2.1), (60, 2.2), (65, 2.4), (70, 2.5), (75, 2.7), (80, 2.7), (85, 2.7), (90, 2.7), (95, 2.9),
        (100, 3.1),
    )
)  # fmt: skip
"""(temperature [K], highest conductivity [S/m]) for an uncompensated reading, temperature rounded down to a row."""


def table_limit_siemens_per_m(table: tuple[tuple[float, float], ...], temperature_kelvin: float) -> float:
    """Limit for an uncompensated reading from a table, the temperature rounded down to a row.

    Parameters
    ----------
    table : tuple
        Rows of (temperature [K], limit [S/m]) in rising order, as ``USP_645_STAGE_1``
    temperature_kelvin : float
        Temperature of the reading [K]

    Returns
    -------
    limit_siemens_per_m : float
        Highest conductivity allowed [S/m]

    Raises: OutOfRange below the first row.
    Source: usp_645.
    """
    # A thousandth of a kelvin forgives the float of "25 °C plus 273.15"; it never lifts a reading to the next row.
    rows = [limit for temperature, limit in table if temperature <= temperature_kelvin + 1e-3]
    if not rows:
        raise OutOfRange(
            f"The table begins at {table[0][0] - 273.15:g} °C; the reading was taken at {temperature_kelvin - 273.15:.3g} °C.",
            code="below_table",
        )
    return rows[-1]
