"""What a waste tank holds: volume, ions, temperature, and what of it nobody knows. Pouring in, taking out, reading the level.

Hydrogen and hydroxide are not counted: they follow from the charge balance of the ions, so a composition can never be out of balance.
Nothing is lost to the air and nothing falls out; the measured pH decides.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from regenplant.core.engineering import neutralization_heat
from regenplant.core.engineering.equilibria import HIGHEST_KELVIN, LOWEST_KELVIN, MOST_MOL_PER_M3, Composition
from regenplant.core.engineering.held_ions import HELD_IONS, waste_ion
from regenplant.core.engineering.ranges import require_within
from regenplant.core.errors import OutOfRange
from regenplant.core.process.drained_steps import ENDING, IONS

NOTHING_M3 = 1e-6
"""A millilitre: below it a tank is empty [m^3]."""
ION_WEIGHTS_KG_PER_MOL: dict[str, float] = {
    name: 0.0390983 if name == "potassium" else waste_ion(name).molar_mass_kg_per_mol for name in IONS
}
"""Molar mass of each total as it is counted: carbonate as CO₃, silica as SiO₂, ammonia as NH₄ [kg/mol]."""
assert {*HELD_IONS, "ammonia", "potassium"} == {*IONS}


@dataclass(frozen=True, slots=True)
class WasteHeld:
    """What stands in a waste tank."""

    volume_m3: float = 0.0
    unknown_m3: float = 0.0
    """Of the volume, what nobody knows the composition of [m^3]. What is supposed of it (a cleaner as it was fed, a step as planned) is
    in ``amounts_mol`` all the same: then never too little is counted."""
    temperature_kelvin: float | None = None
    """By mixing and neutralizing, without loss to the surroundings; None where nothing is known [K]."""
    amounts_mol: Mapping[str, float] = field(default_factory=dict)
    """Ions by total [mol]."""

    @property
    def is_empty(self) -> bool:
        return self.volume_m3 <= NOTHING_M3

    @property
    def unknown_frac(self) -> float:
        return 0.0 if self.is_empty else self.unknown_m3 / self.volume_m3

    @property
    def composition(self) -> Composition:
        """Over the whole volume, the unknown part counted as water. Raises: OutOfRange where it cannot be."""
        if self.is_empty:
            return Composition()
        return Composition(
            **{f"{name}{ENDING}": self.amounts_mol.get(name, 0.0) / self.volume_m3 for name in IONS}
        )

    @property
    def excess_eq(self) -> float:
        """Acid (+) or alkali (−): strong anions less strong cations [eq]."""
        have = self.amounts_mol.get
        anions = have("chloride", 0.0) + have("nitrate", 0.0) + 2.0 * have("sulfate", 0.0)
        cations = have("sodium", 0.0) + have("potassium", 0.0)
        return anions - cations - 2.0 * (have("calcium", 0.0) + have("magnesium", 0.0))

    def mass_kg(self, ion: str) -> float:
        """Mass of one ion as it is counted [kg]."""
        return self.amounts_mol.get(ion, 0.0) * ION_WEIGHTS_KG_PER_MOL[ion]

    @property
    def dissolved_kg(self) -> float:
        """Sum of all ions [kg]."""
        return sum(self.mass_kg(name) for name in IONS)


def poured_in(
    held: WasteHeld,
    volume_m3: float,
    amounts_mol: Mapping[str, float],
    temperature_kelvin: float | None,
    *,
    is_known: bool = True,
) -> WasteHeld:
    """The tank after something came in: ions add up, temperatures mix by volume, acid that meets alkali warms.

    Parameters
    ----------
    held : WasteHeld
        What stands in it
    volume_m3 : float
        What comes in, >= 0 [m^3]
    amounts_mol : Mapping[str, float]
        Its ions, none below zero [mol]
    temperature_kelvin : float | None
        Of what comes in; None where nobody knows it [K]
    is_known : bool
        Whether its ions are counted

    Returns
    -------
    held : WasteHeld
        The tank afterwards

    Raises: OutOfRange for a volume below zero, an ion nobody knows or an amount below zero.
    Source: mass_balance, neutralization_heat.
    """
    require_within(volume_m3, 0.0, 1e5, "volume that comes in", "m³")
    unknown = set(amounts_mol) - set(IONS)
    if unknown or any(moles < 0.0 for moles in amounts_mol.values()):
        raise OutOfRange(
            f"Ions that come in are named and not below zero; seen {dict(amounts_mol)}.", code="no_ions"
        )
    volume = held.volume_m3 + volume_m3
    incoming = WasteHeld(volume_m3, 0.0, temperature_kelvin, amounts_mol)
    amounts = {
        name: held.amounts_mol.get(name, 0.0) + amounts_mol.get(name, 0.0)
        for name in IONS
        if name in held.amounts_mol or name in amounts_mol
    }
    return WasteHeld(
        volume,
        held.unknown_m3 + (0.0 if is_known else volume_m3),
        _mixed_kelvin(held, incoming),
        amounts,
    )


def _mixed_kelvin(held: WasteHeld, incoming: WasteHeld) -> float | None:
    if incoming.temperature_kelvin is None:
        return held.temperature_kelvin
    if held.temperature_kelvin is None or held.is_empty:
        return incoming.temperature_kelvin
    volume = held.volume_m3 + incoming.volume_m3
    if volume <= NOTHING_M3:
        return held.temperature_kelvin
    weighted = held.volume_m3 * held.temperature_kelvin + incoming.volume_m3 * incoming.temperature_kelvin
    acid = max(held.excess_eq, 0.0) + max(incoming.excess_eq, 0.0)
    base = max(-held.excess_eq, 0.0) + max(-incoming.excess_eq, 0.0)
    met = neutralization_heat.neutralized(acid, base).value
    mass = volume * neutralization_heat.MIX_DENSITY_KG_PER_M3
    return weighted / volume + neutralization_heat.temperature_rise(met, mass).value


def taken_out(held: WasteHeld, volume_m3: float) -> tuple[WasteHeld, dict[str, float]]:
    """The tank after a volume left, well mixed, and the ions that went with it.

    Parameters
    ----------
    held : WasteHeld
        What stands in it
    volume_m3 : float
        What leaves, 0 to what is there [m^3]

    Returns
    -------
    held, amounts : tuple
        The tank afterwards, and what left by ion [mol]

    Raises: OutOfRange for more than is there.
    Source: mass_balance.
    """
    require_within(volume_m3, 0.0, held.volume_m3, "volume that leaves", "m³", "No more is in the tank.")
    share = 0.0 if held.is_empty else volume_m3 / held.volume_m3
    left = {name: moles * share for name, moles in held.amounts_mol.items()}
    after = WasteHeld(
        held.volume_m3 - volume_m3,
        min(held.unknown_m3 * (1.0 - share), held.volume_m3 - volume_m3),
        held.temperature_kelvin,
        {name: moles - left[name] for name, moles in held.amounts_mol.items()},
    )
    return (WasteHeld(0.0, 0.0, None, {}) if after.is_empty else after), left


def level_read(held: WasteHeld, level_m3: float, temperature_kelvin: float | None = None) -> WasteHeld:
    """The tank after its level was read: less than the books took its ions along, more is of unknown composition.

    Parameters
    ----------
    held : WasteHeld
        By the books
    level_m3 : float
        As read, >= 0 [m^3]
    temperature_kelvin : float | None
        As measured; None where it was not [K]

    Returns
    -------
    held : WasteHeld
        The tank afterwards

    Raises: OutOfRange for a level below zero or a temperature outside 0 to 60 °C.
    Source: mass_balance.
    """
    require_within(level_m3, 0.0, 1e5, "level", "m³")
    if temperature_kelvin is not None:
        require_within(temperature_kelvin, LOWEST_KELVIN, HIGHEST_KELVIN, "temperature of the waste", "K")
    gap = level_m3 - held.volume_m3
    after = taken_out(held, -gap)[0] if gap < 0.0 else poured_in(held, gap, {}, None, is_known=False)
    if temperature_kelvin is None:
        return after
    return WasteHeld(after.volume_m3, after.unknown_m3, temperature_kelvin, after.amounts_mol)


def put_right(
    held: WasteHeld, volume_m3: float, amounts_mol: Mapping[str, float], unknown_m3: float
) -> WasteHeld:
    """The tank after the books of something that came in earlier were put right; nothing comes in or leaves, so it is no warmer.

    Parameters
    ----------
    held : WasteHeld
        By the books until now
    volume_m3 : float
        More (+) or less (−) than was counted [m^3]
    amounts_mol : Mapping[str, float]
        Ions more (+) or less (−) than were counted [mol]
    unknown_m3 : float
        Of unknown composition, more (+) or less (−) than was counted [m^3]

    Returns
    -------
    held : WasteHeld
        By the books from now on; nothing below zero, and never more unknown than there is

    Raises: OutOfRange for an ion nobody knows.
    Source: mass_balance.
    """
    if strange := set(amounts_mol) - set(IONS):
        raise OutOfRange(f"Ions are named; seen {sorted(strange)}.", code="no_ions")
    volume = max(held.volume_m3 + volume_m3, 0.0)
    if volume <= NOTHING_M3:
        return WasteHeld()
    names = [name for name in IONS if name in held.amounts_mol or name in amounts_mol]
    return WasteHeld(
        volume,
        min(max(held.unknown_m3 + unknown_m3, 0.0), volume),
        held.temperature_kelvin,
        {name: max(held.amounts_mol.get(name, 0.0) + amounts_mol.get(name, 0.0), 0.0) for name in names},
    )


def can_be_modelled(held: WasteHeld) -> bool:
    """Whether a pH can be predicted of it: something known stands in it, not too strong and not too warm."""
    if held.is_empty or held.unknown_frac > 0.5:
        return False
    kelvin = held.temperature_kelvin
    if kelvin is not None and not LOWEST_KELVIN <= kelvin <= HIGHEST_KELVIN:
        return False
    return all(moles / held.volume_m3 <= MOST_MOL_PER_M3 for moles in held.amounts_mol.values())
