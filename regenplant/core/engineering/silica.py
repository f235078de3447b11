"""Silica on strong-base resin: what a regeneration should bring so that silica comes off. Advice, no number.

Silica sits on the resin as polymer and leaves slowly: strength, warmth, time and dose work together, and no formula read so
far says how much. So this compares a regeneration with what texts and the trade say, and lists what falls short.
"""

from __future__ import annotations

from dataclasses import dataclass

from regenplant.core.engineering.capacity_data import practice_range
from regenplant.core.engineering.ranges import require_positive, require_within

_WARM_KELVIN = (308.15, 322.15)
"""35 to 49 °C for type 1 (common practice)."""
_TYPE_2_WARMEST_KELVIN = 308.15
"""35 °C for type 2 and acrylic in hydroxide form (common practice; the resin's data sheet decides)."""
_USUAL_DOSE_KG_PER_M3 = 96.0
"""6 lb/ft³: exchange plants use more than 4 to 6 lb/ft³ (read) where silica matters."""
_HELD_BACK_FRAC = 0.3
"""Silica above this share of the anions is called silica-rich here (common practice)."""

TYPE_1, TYPE_2, ACRYLIC, WEAK_BASE = "sba_1", "sba_2", "sba_a", "wba"


@dataclass(frozen=True, slots=True)
class CausticTreatment:
    """How a strong base is regenerated: dose [kg/m^3], strength [-], temperature in the bed [K], contact [s]."""

    family: str
    dose_kg_per_m3: float
    strength_frac: float
    temperature_kelvin: float
    contact_s: float
    silica_frac: float = 0.0
    """Silica as a share of the anion load, 0 to 1."""


def silica_advice(treatment: CausticTreatment) -> tuple[str, ...]:
    """What in a regeneration falls short for silica; empty when nothing does.

    Parameters
    ----------
    treatment : CausticTreatment
        Dose > 0, strength 0 to 0.2, temperature 273.15 to 353.15 K, contact > 0

    Returns
    -------
    advice : tuple
        Sentences with the number seen and the number usual

    Raises: OutOfRange for values that cannot be.
    Source: wtpd for strength and contact (read); trade_practice for temperature and dose.
    """
    require_positive(treatment.dose_kg_per_m3, "dose as 100 %", "kg/m³")
    require_within(treatment.strength_frac, 0.001, 0.2, "strength of the caustic")
    require_within(treatment.temperature_kelvin, 273.15, 353.15, "temperature of the caustic", "K")
    require_positive(treatment.contact_s, "contact time", "s")
    require_within(treatment.silica_frac, 0.0, 1.0, "share of silica in the anion load")
    if treatment.family == WEAK_BASE:
        return (
            "A weak base takes up neither carbon dioxide nor silica; both pass it. Put a strong base behind it where they matter.",
        )
    return (*_strength(treatment), *_time(treatment), *_temperature(treatment), *_dose(treatment))


def _strength(treatment: CausticTreatment) -> tuple[str, ...]:
    usual = practice_range("naoh_strength")
    if usual.low <= treatment.strength_frac <= usual.high:
        return ()
    return (
        f"Caustic of {treatment.strength_frac * 100:.3g} %; {usual.low * 100:g} to {usual.high * 100:g} % is usual. "
        "Below it silica hardly moves, above it the resin shrinks and the caustic channels.",
    )


def _time(treatment: CausticTreatment) -> tuple[str, ...]:
    usual = practice_range("contact_silica").low
    if treatment.contact_s >= usual:
        return ()
    return (
        f"Contact {treatment.contact_s / 60:.0f} min; where silica matters {usual / 60:.0f} min is usual. Silica leaves "
        "slowly: lower the flow rather than raise the strength.",
    )


def _temperature(treatment: CausticTreatment) -> tuple[str, ...]:
    celsius, low, high = (
        treatment.temperature_kelvin - 273.15,
        _WARM_KELVIN[0] - 273.15,
        _WARM_KELVIN[1] - 273.15,
    )
    if treatment.family in (TYPE_2, ACRYLIC):
        if treatment.temperature_kelvin > _TYPE_2_WARMEST_KELVIN:
            return (
                f"Caustic of {celsius:.0f} °C on this resin; about 35 °C is the most usual in hydroxide form. Warmer caustic "
                "destroys strong groups; the resin's data sheet decides.",
            )
        return (
            ("Type 2 and acrylic resin may not be warmed as type 1 is: expect more silica leakage.",)
            if treatment.silica_frac
            else ()
        )
    if treatment.temperature_kelvin > _WARM_KELVIN[1]:
        return (
            f"Caustic of {celsius:.0f} °C; {low:.0f} to {high:.0f} °C is usual for type 1. The resin's data sheet decides.",
        )
    if treatment.temperature_kelvin < _WARM_KELVIN[0]:
        return (
            f"Caustic of {celsius:.0f} °C; {low:.0f} to {high:.0f} °C is usual for type 1 where silica matters. Cold caustic "
            "leaves silica behind; warm the bed before, too.",
        )
    return ()


def _dose(treatment: CausticTreatment) -> tuple[str, ...]:
    advice = []
    if treatment.dose_kg_per_m3 < _USUAL_DOSE_KG_PER_M3:
        advice.append(
            f"Dose {treatment.dose_kg_per_m3:.3g} kg/m³; exchange plants use more than about {_USUAL_DOSE_KG_PER_M3:g} kg/m³ "
            "(6 lb/ft³) where silica matters."
        )
    if treatment.silica_frac > _HELD_BACK_FRAC:
        advice.append(
            f"Silica is {treatment.silica_frac * 100:.0f} % of the anion load: silica-rich. Regenerate soon after exhaustion and "
            "warm from the first drop, or silica gels in the bed."
        )
    return tuple(advice)
