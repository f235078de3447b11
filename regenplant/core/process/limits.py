"""Plant limits that a plan is checked against, with the defaults of the trade.

All of them are the plant's to set: the records above the core hold the plant's own values and hand them in with the
request. Each default says where it comes from; "practice" and "memory" figures start as warnings, not as blockers.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class PlantLimits:
    """What a plan is checked against. SI units, as the names say."""

    bed_depth_warn_m: float = 0.60
    """Least depth for even flow: 0.6 to 0.75 m, common practice. Softening designs ask for 0.9 m (read)."""
    height_kept_free_frac: float = 0.05
    """Share of the straight height that the expanded bed leaves free; common practice."""
    velocity_warn_m_per_s: float = 0.0101865
    """Downflow design limit, 36.7 m/h, about 15 gpm/ft² (handbook extract, read)."""
    velocity_limit_m_per_s: float = 0.0135819
    """Downflow limit, 48.9 m/h, about 20 gpm/ft² (handbook extract, read)."""
    pressure_drop_limit_pascal: float = 137_895.0
    """20 psi across a bed (handbook extract, read); bead breakage is expected near 50 psi."""
    caustic_hardness_warn_eq_per_m3: float = 0.04
    """2 mg/L as CaCO3 in water that meets caustic (1 to 2, from memory)."""
    caustic_hardness_limit_eq_per_m3: float = 0.40
    """20 mg/L as CaCO3; hard tap water (280 mg/L) drops about 200 mg solids per kg at 4 % NaOH (computed)."""
    blend_temperature_limit_kelvin: float = 333.15
    """60 °C by heat of dilution alone: scalding, and plastic pipe softens (common practice)."""
    caustic_cold_kelvin: float = 288.15
    """15 °C: 50 % caustic below it is about to freeze (solid from 12.3 °C, read) and hardly pumps."""
    rinse_to_waste_bv: float = 3.0
    """Bed volumes of fast rinse that still go to the waste tank; common practice, the measured pH decides."""
    excess_ratio_warn: float = 8.0
    """A regenerant ratio above this is more likely a slip than a recipe; common practice."""
    neutralizer_first_share_frac: float = 0.90
    """Share of the neutralizer given before the pH is measured; common practice."""


DEFAULT_LIMITS = PlantLimits()
