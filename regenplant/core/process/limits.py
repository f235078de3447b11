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
    excess_ratio_warn: float = 10.0
    """A regenerant ratio above this is more likely a slip than a recipe, double doses included; common practice."""
    neutralizer_first_share_frac: float = 0.90
    """Share of the neutralizer given before the pH is measured; common practice."""
    strength_change_limit_frac: float = 0.03
    """3 %: how far the strength in a tank may have moved since a plan was made, as a share of the planned one; the dose comes out
    otherwise by as much. About what a hydrometer and its temperature leave open; the plant's own rule, not read."""
    # --- recipes: what no recipe of the plant may go beyond ---
    hydrochloric_strength_max_frac: float = 0.10
    """10 % HCl at the bed (5 to 10 % read); above it the lining and the seals of the vessel decide, ask their maker."""
    sulfuric_strength_max_frac: float = 0.08
    """8 % H2SO4 in the last step (6 to 8 %, from memory)."""
    sulfuric_first_strength_max_frac: float = 0.02
    """2 % in the first step on resin that may hold calcium (from memory; the saturation index of the plan is computed)."""
    sulfuric_weak_acid_strength_max_frac: float = 0.008
    """0.8 % on weak-acid cation, which holds mostly calcium (0.7 to 1 %, from memory)."""
    caustic_strength_max_frac: float = 0.10
    """10 % NaOH: the strongest read for a single bed (training text); 4 to 6 % is usual."""
    oxidizer_strength_max_frac: float = 0.005
    """0.5 % of an oxidizer on resin or in an emptied tank (0.1 to 0.25 %, common practice and from memory)."""
    caustic_type_1_max_kelvin: float = 322.15
    """49 °C (120 °F) on strong-base type 1, for silica; common practice, the resin's data sheet decides."""
    caustic_type_2_max_kelvin: float = 308.15
    """35 °C on strong-base type 2, which ages fast in warm caustic (from memory; the data sheet decides)."""
    caustic_acrylic_max_kelvin: float = 308.15
    """35 °C on acrylic strong base in hydroxide form (one data sheet, read; the resin's own decides)."""
    gypsum_index_warn: float = 0.3
    """Saturation index of gypsum that warns where the recipe sets none; a proposal, gypsum lags by minutes."""
    gypsum_index_stop: float = 1.0
    """Saturation index of gypsum that stops where the recipe sets none: tenfold, about where the usual first step of 2 % on
    a resin half in calcium form stands. A proposal, not read; the plant sets it from its own beds."""
    # --- mixed beds ---
    interface_band_warn_m: float = 0.05
    """How far the settled interface may lie off the interface collector; common practice."""
    interface_band_limit_m: float = 0.15
    """Further off than this, one regenerant reaches the other resin; common practice."""
    leg_imbalance_warn_frac: float = 0.35
    """Imbalance of acid and caustic that warns where each leg has its own vessel; common practice."""
    leg_imbalance_limit_frac: float = 0.10
    """Imbalance that stops both legs in one vessel where the recipe sets none: unbalanced flows heat and can steam (read)."""
    float_caustic_strength_max_frac: float = 0.16
    """16 % NaOH in a float separation (8 to 16 %, common practice); it stands in the bed, so the recipe also bounds its warmth."""
    float_anion_share_warn_frac: float = 0.95
    """Least share of the anion beads that should float once they are soaked; a proposal, the model is good to 15 kg/m³."""
    float_anion_share_limit_frac: float = 0.5
    """Share of the anion beads, as they are in water, below which a float separation stops: most of them would sink."""
    float_cation_share_limit_frac: float = 0.99
    """Share of the cation beads that must sink: what floats ends in the anion resin. As the cross-contamination borne (practice)."""
    float_clear_height_warn_m: float = 0.15
    """Least clear solution between the two resins of a float separation; common practice."""
    float_hardness_share_warn_frac: float = 0.05
    """Hardness among the cations of the feed above which caustic may drop solids from the cation resin; common practice."""
    velocity_ratio_warn: float = 1.5
    """Ratio of settling velocities, cation over anion, below which two resins part badly; from memory."""
    # --- weak resins ---
    weak_ratio_low: float = 1.05
    """Least regenerant ratio of a weak resin: near-stoichiometric, 105 to 120 % of the load; common practice."""
    weak_ratio_high: float = 1.20
    """Above it weak-acid cation only wastes acid; common practice."""
    weak_base_ratio_high: float = 2.0
    """The same for weak base: caustic 110 to 140 %, soda ash and ammonia up to 200 %; common practice and from memory."""
    calcium_share_seen_frac: float = 0.05
    """Share of calcium above which calcium on the resin is worth a word at the acid step; common practice."""
    caustic_solids_warn_kg_per_m3: float = 0.02
    """20 mg/L of solids dropping from the dilution water of caustic; from memory. Soft tap water drops about 12 (computed)."""
    displacement_cooler_warn_kelvin: float = 10.0
    """How much cooler than a warm regenerant the water of its displacement may come; common practice: about as warm."""
    brine_cold_kelvin: float = 278.15
    """5 °C: nearly saturated brine below it drops salt in the line (26 % is saturated near 0 °C, from memory)."""


DEFAULT_LIMITS = PlantLimits()
