"""Potassium chloride standards: what a conductivity cell must show in them, to check its constant and its thermometer.

Standards are made by mass (mol per kg of water). They are not the older demal solutions (mol per cubic decimetre, 1 demal
is 2 % higher than 1 mol/kg), nor shop bottles named after their reading; check the label and the certificate.
"""

from __future__ import annotations

from regenplant.core.engineering import water
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.interpolation import smooth
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange

_CUBICS: dict[float, tuple[float, tuple[float, float, float, float]]] = {
    0.01: (273.15, (1408.2324, 684.38249, 39.941917, -9.1269322)),
    0.1: (273.15, (12824.624, 6111.2982, 324.26807, -79.288015)),
    1.0: (273.15, (108621.62, 47684.911, 1957.5447, -593.74902)),
}
"""By molality: lowest temperature [K] and a cubic in (t − 25 °C)/25 [µS/cm], through the read rows within 0.002 %."""

_OPEN_WATER: tuple[tuple[float, float], ...] = (
    (273.15, 0.58), (283.15, 0.79), (291.15, 0.95), (298.15, 1.10), (308.15, 1.30),
)  # fmt: skip
"""(temperature [K], conductivity [µS/cm]) of water open to air: the solvent correction of the standards."""

REFERENCE_SOLUTIONS_SIEMENS_PER_M: dict[str, float] = {"C": 0.14088, "D": 0.014693}
"""ASTM D1125 reference solutions at 25 °C, solvent not counted [S/m]."""


def kcl_standard(molality_mol_per_kg: float, temperature_kelvin: float) -> Estimate:
    """Conductivity of a potassium chloride standard, without the solvent.

    Parameters
    ----------
    molality_mol_per_kg : float
        0.01, 0.1 or 1.0 [mol/kg]
    temperature_kelvin : float
        Temperature, 273.15 to 323.15 [K]

    Returns
    -------
    conductivity : Estimate
        Add the solvent (``open_water``) to compare with a reading [S/m]

    Raises: OutOfRange for another molality or a temperature outside 0 to 50 °C.
    Source: pratt, fitted through the rows read within 0.002 %.
    """
    if molality_mol_per_kg not in _CUBICS:
        known = ", ".join(f"{value:g}" for value in _CUBICS)
        raise OutOfRange(
            f"No standard of {molality_mol_per_kg:g} mol/kg is known. Known are {known} mol/kg.",
            code="unknown_standard",
        )
    lowest, (a0, a1, a2, a3) = _CUBICS[molality_mol_per_kg]
    require_within(temperature_kelvin, lowest, 323.15, "temperature of the standard", "K")
    x = (temperature_kelvin - water.REFERENCE_KELVIN) / 25.0
    return Estimate(
        symbol="κ_s",
        name=f"conductivity of the {molality_mol_per_kg:g} mol/kg KCl standard, solvent not counted",
        value=(a0 + x * (a1 + x * (a2 + x * a3))) * 1e-4,
        unit="S/m",
        kind="conductivity",
        formula="(a_0 + a_1 · x + a_2 · x^2 + a_3 · x^3) · 0.0001",
        inputs=(
            *(
                Input(f"a_{i}", "coefficient, µS/cm", a, "dimensionless")
                for i, a in enumerate((a0, a1, a2, a3))
            ),
            Input("x", "(t − 25 °C) / 25 K", x, "dimensionless"),
        ),
        method="cubic through the rows of the IUPAC table",
        source="pratt",
        valid="0 to 50 °C; 0.1 mol/kg was read from 5 °C",
        uncertainty_frac=0.0004,
    )


def open_water(temperature_kelvin: float) -> Estimate:
    """Conductivity of water open to air: the solvent correction of a standard, and the floor of any open reading.

    Parameters
    ----------
    temperature_kelvin : float
        Temperature, 273.15 to 308.15 [K]

    Returns
    -------
    conductivity : Estimate
        Conductivity [S/m]

    Raises: OutOfRange outside 0 to 35 °C.
    Source: pratt.
    """
    temperatures = [temperature for temperature, _ in _OPEN_WATER]
    require_within(temperature_kelvin, temperatures[0], temperatures[-1], "temperature of the water", "K")
    value = smooth(temperatures, [entry for _, entry in _OPEN_WATER], temperature_kelvin)
    return Estimate(
        symbol="κ_o",
        name="conductivity of water open to air",
        value=value * 1e-4,
        unit="S/m",
        kind="conductivity",
        formula="table of the solvent correction at T",
        inputs=(Input("T", "temperature of the water", temperature_kelvin, "kelvin", "temperature"),),
        method="smooth curve through the rows of the table",
        source="pratt",
        valid="0 to 35 °C, laboratory air",
        uncertainty_frac=0.05,
    )
