"""Spent regenerant: what it holds, how acid or alkaline it is, what it carries to the sewer.

Mass and charge are counted from three things: the equivalents applied, the equivalents the resin gave up, and the ions
it held, as far as the feed says. What is not counted: ions of the dilution and rinse water, leakage of the service run,
organic matter, metals. Metals or unknown resin never enter this calculation or the tank it is meant for.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from regenplant.core.engineering import equilibria, neutralization, neutralization_heat
from regenplant.core.engineering.equilibria import Composition
from regenplant.core.engineering.estimate import Estimate, Input
from regenplant.core.engineering.held_ions import HELD_IONS, HeldIons, waste_ion
from regenplant.core.engineering.ranges import require_positive, require_within
from regenplant.core.engineering.waste_figures import figures_of, loads_of
from regenplant.core.errors import OutOfRange

RESIN_KEEPS_THE_REST = "Less regenerant is applied than the resin holds; it gives up no more than was applied and keeps the rest."
IONS_ASSUMED = (
    "What the resin held is not on record; all of it is counted as {ion}. A feed analysis says more."
)
RISE_WORTH_SAYING_KELVIN = 0.3
"""Two methods of the rise that lie further apart than this are both named."""

_GIVES: dict[str, tuple[tuple[str, float], ...]] = {
    "hcl": (("chloride", 1.0),),
    "h2so4": (("sulfate", 0.5),),
    "naoh": (("sodium", 1.0),),
    "na2co3": (("sodium", 1.0), ("carbonate", 0.5)),
    "nh3": (("ammonia", 1.0),),
    "nacl": (("sodium", 1.0), ("chloride", 1.0)),
}
"""What one equivalent of a regenerant brings into its waste [mol]."""

_CHARACTER = {"hcl": "acid", "h2so4": "acid", "naoh": "base", "na2co3": "base", "nh3": "base", "nacl": "salt"}
_NAMES = {
    "hcl": "spent hydrochloric acid", "h2so4": "spent sulfuric acid", "naoh": "spent caustic",
    "na2co3": "spent soda ash", "nh3": "spent ammonia", "nacl": "spent brine",
}  # fmt: skip


def brings_mol_per_eq(chemical: str) -> Mapping[str, float]:
    """What one equivalent of a regenerant brings into its waste, by ion [mol]; nothing for a chemical that is not counted.

    Parameters
    ----------
    chemical : str
        Value of ``Chemical`` [-]

    Returns
    -------
    moles : dict
        Moles per equivalent by the name of the ion [mol/eq]
    """
    return dict(_GIVES.get(chemical, ()))


@dataclass(frozen=True, slots=True)
class SpentStream:
    """One spent regenerant, or several poured together.

    ``estimates``: ``ph``, ``ionic_strength_mol_per_m3``, ``dissolved_kg_per_m3``, one ``..._kg`` per ion it carries
    (chloride, sodium, sulfate, calcium, magnesium, nitrate, carbonate as CO₃, silica as SiO₂, ammonia as NH₄); a single
    stream also ``excess_eq``; streams poured together also ``temperature_kelvin``, ``neutralized_eq`` and
    ``rise_kelvin``.
    """

    name: str
    composition: Composition
    volume_m3: float
    temperature_kelvin: float
    estimates: Mapping[str, Estimate]

    @property
    def ph(self) -> Estimate:
        return self.estimates["ph"]

    @property
    def free_acid_eq(self) -> float:
        """Acid that would give the heat of neutralization [eq]."""
        return self.composition.free_acid_eq_per_m3 * self.volume_m3

    @property
    def free_base_eq(self) -> float:
        """Hydroxide that would give the heat of neutralization [eq]."""
        return self.composition.free_base_eq_per_m3 * self.volume_m3


def spent_stream(
    chemical: str,
    applied_eq: Estimate,
    eluted_eq: Estimate,
    held: HeldIons,
    volume: Estimate,
    temperature_kelvin: float,
) -> SpentStream:
    """The waste of one regenerant on one bed, from what was applied and what the resin gave up.

    Parameters
    ----------
    chemical : str
        "hcl", "h2so4", "naoh", "na2co3", "nh3" or "nacl"
    applied_eq : Estimate
        Equivalents applied, > 0 [eq]
    eluted_eq : Estimate
        Equivalents on the resin, >= 0; no more than was applied comes off [eq]
    held : HeldIons
        Which ions they are: cations for an acid, anions for a base, either for brine
    volume : Estimate
        All that goes to this waste: injection, displacement, first rinse, > 0 [m^3]
    temperature_kelvin : float
        Temperature of the waste, 273.15 to 333.15 [K]

    Returns
    -------
    stream : SpentStream
        Composition and figures

    Raises: OutOfRange for a chemical that leaves no counted waste, ions of the wrong sign, a volume not above zero,
    more than 8 mol/L of anything, a temperature outside 0 to 60 °C.
    Source: charge_balance, phreeqc_constants.
    """
    if chemical not in _GIVES:
        known = ", ".join(_GIVES)
        raise OutOfRange(
            f"The waste of {chemical!r} is not counted here; known are {known}.", code="unknown_waste"
        )
    require_positive(applied_eq.value, "equivalents applied", "eq")
    require_within(eluted_eq.value, 0.0, 1e9, "load on the resin", "eq")
    require_positive(volume.value, "volume of the waste", "m³")
    character = _CHARACTER[chemical]
    if character != "salt" and (character == "acid") != (held.cations_frac > 0.5):
        seen, wanted = ("anions", "cations") if character == "acid" else ("cations", "anions")
        raise OutOfRange(
            f"The resin is said to hold {seen}, but {chemical} takes off {wanted}.", code="wrong_ions"
        )
    loads = _loads(chemical, applied_eq, _coming_off(applied_eq, eluted_eq), held)
    composition = Composition(
        **{
            f"{name}_mol_per_m3": load.value / waste_ion(name).molar_mass_kg_per_mol / volume.value
            for name, load in loads.items()
        }
    )
    warnings = _assumptions(applied_eq, eluted_eq, held)
    figures = {
        "excess_eq": neutralization.excess(applied_eq, eluted_eq, character),
        **figures_of(
            composition,
            volume,
            temperature_kelvin,
            {f"{name}_kg": load for name, load in loads.items()},
            warnings,
        ),
    }
    return SpentStream(_NAMES[chemical], composition, volume.value, temperature_kelvin, figures)


def _assumptions(applied_eq: Estimate, eluted_eq: Estimate, held: HeldIons) -> tuple[str, ...]:
    found: list[str] = []
    if eluted_eq.value > applied_eq.value:
        found.append(RESIN_KEEPS_THE_REST)
    if held.is_assumed:
        ion = next(name for name in HELD_IONS if getattr(held, f"{name}_frac") > 0.5)
        found.append(IONS_ASSUMED.format(ion=ion))
    return tuple(found)


def _coming_off(applied_eq: Estimate, eluted_eq: Estimate) -> Estimate:
    """What the resin gives up: its load, or what was applied where that is less."""
    if eluted_eq.value <= applied_eq.value:
        return eluted_eq
    return applied_eq.named(eluted_eq.symbol, "load that comes off the resin: as much as was applied")


def _loads(chemical: str, applied_eq: Estimate, eluted_eq: Estimate, held: HeldIons) -> dict[str, Estimate]:
    gives = dict(_GIVES[chemical])
    taken = "sodium" if held.cations_frac > 0.5 else "chloride"
    found: dict[str, Estimate] = {}
    for name in (*HELD_IONS, "ammonia"):
        share = getattr(held, f"{name}_frac", 0.0)
        if chemical == "nacl" and name == taken:
            share -= 1.0  # the resin takes up sodium (an anion resin chloride) for what it gives
        if gives.get(name) or share:
            found[name] = _load(name, gives.get(name, 0.0), share, applied_eq, eluted_eq)
    return found


def _load(
    name: str, mol_per_eq_applied: float, share: float, applied_eq: Estimate, eluted_eq: Estimate
) -> Estimate:
    """Mass of one ion in the waste, from regenerant and resin together."""
    ion = waste_ion(name)
    inputs, terms, amount = [], [], 0.0
    if mol_per_eq_applied:
        inputs.append(applied_eq.as_input())
        terms.append(applied_eq.symbol if mol_per_eq_applied == 1.0 else f"{applied_eq.symbol} / 2")
        amount += applied_eq.value * mol_per_eq_applied
    if share:
        symbol = f"x_{ion.symbol}"
        inputs.append(eluted_eq.as_input())
        words = (
            f"share of {name} in what the resin held"
            if share > 0.0
            else f"{name} for each equivalent given up"
        )
        inputs.append(Input(symbol, words, share, "dimensionless", "fraction"))
        terms.append(f"{eluted_eq.symbol} · {symbol}" + (" / 2" if ion.held_eq_per_mol == 2.0 else ""))
        amount += eluted_eq.value * share / ion.held_eq_per_mol
    weight = f"M_{ion.symbol}"
    inputs.append(Input(weight, f"molar mass of {ion.words}", ion.molar_mass_kg_per_mol, "kg/mol"))
    body = " + ".join(terms)
    return Estimate(
        symbol=f"m_{ion.symbol}",
        name=f"{ion.words}: load in the spent regenerant",
        value=max(amount, 0.0) * ion.molar_mass_kg_per_mol,
        unit="kg",
        kind="mass",
        formula=f"({body}) · {weight}" if len(terms) > 1 else f"{body} · {weight}",
        inputs=tuple(inputs),
        method="mass balance of regenerant and resin",
        source="charge_balance",
        valid="ions of the dilution and rinse water are not counted",
        uncertainty_frac=0.1 if share else None,
    )


def known_stream(
    name: str, composition: Composition, volume: Estimate, temperature_kelvin: float
) -> SpentStream:
    """A waste whose composition is known, from an analysis or for a trial calculation.

    Parameters
    ----------
    name : str
        What it is, in words
    composition : Composition
        Totals
    volume : Estimate
        Volume, > 0 [m^3]
    temperature_kelvin : float
        Temperature, 273.15 to 333.15 [K]

    Returns
    -------
    stream : SpentStream
        Figures of the waste

    Raises: OutOfRange for a volume not above zero or a temperature outside 0 to 60 °C.
    Source: charge_balance, phreeqc_constants.
    """
    require_positive(volume.value, "volume of the waste", "m³")
    loads = loads_of(composition, volume)
    return SpentStream(name, composition, volume.value, temperature_kelvin, figures_of(composition, volume, temperature_kelvin, loads))  # fmt: skip


def pour_together(streams: Sequence[SpentStream]) -> SpentStream:
    """Several wastes in one tank: composition, pH, and the temperature they reach without loss.

    Parameters
    ----------
    streams : Sequence[SpentStream]
        At least one waste; what already stands in the tank is one of them

    Returns
    -------
    mixture : SpentStream
        Figures of the mixture

    Raises: OutOfRange without a stream, or where the mixture is hotter than 60 °C.
    Source: charge_balance, neutralization_heat. Volumes are taken as adding, all with the heat capacity of the mixture.
    """
    if not streams:
        raise OutOfRange("No waste was named; name at least one.", code="no_waste")
    composition = streams[0].composition
    volume_m3 = streams[0].volume_m3
    for stream in streams[1:]:
        composition = equilibria.mixed(composition, volume_m3, stream.composition, stream.volume_m3)
        volume_m3 += stream.volume_m3
    heat = _heat_figures(streams, composition, volume_m3)
    volume = _whole_volume(streams)
    kelvin = heat["temperature_kelvin"].value
    figures = figures_of(composition, volume, kelvin, loads_of(composition, volume))
    return SpentStream(
        " and ".join(s.name for s in streams),
        composition,
        volume_m3,
        kelvin,
        figures | heat | {"volume_m3": volume},
    )


def _whole_volume(streams: Sequence[SpentStream]) -> Estimate:
    inputs = tuple(
        Input(f"V_{index}", f"volume of {stream.name}", stream.volume_m3, "m^3", "liquid_volume")
        for index, stream in enumerate(streams, start=1)
    )
    return Estimate(
        "V_x", "volume of the wastes together", sum(entry.value for entry in inputs), "m^3", "liquid_volume",
        " + ".join(entry.symbol for entry in inputs), inputs, "volumes taken as adding", "mass_balance",
    )  # fmt: skip


def _rise_with_weak_species(
    streams: Sequence[SpentStream], composition: Composition, volume_m3: float
) -> float:
    """Rise by the heats of formation of all species [K]; the second method."""
    before = sum(
        s.volume_m3 * equilibria.enthalpy_j_per_m3(s.composition, s.temperature_kelvin) for s in streams
    )
    blend = sum(s.volume_m3 * s.temperature_kelvin for s in streams) / volume_m3
    heat = before - volume_m3 * equilibria.enthalpy_j_per_m3(composition, blend)
    mass = volume_m3 * neutralization_heat.MIX_DENSITY_KG_PER_M3
    return heat / (mass * neutralization_heat.MIX_HEAT_CAPACITY_J_PER_KG_K)


def _heat_figures(
    streams: Sequence[SpentStream], composition: Composition, volume_m3: float
) -> dict[str, Estimate]:
    acid, base = sum(s.free_acid_eq for s in streams), sum(s.free_base_eq for s in streams)
    met = neutralization_heat.neutralized(acid, base)
    rise = neutralization_heat.temperature_rise(
        met.value, volume_m3 * neutralization_heat.MIX_DENSITY_KG_PER_M3
    )
    by_species = _rise_with_weak_species(streams, composition, volume_m3)
    if abs(by_species - rise.value) > RISE_WORTH_SAYING_KELVIN:
        said = f"Counted with weak species and ion pairs the rise is {by_species:.1f} K, by strong acid and base alone {rise.value:.1f} K."
        rise = replace(rise, warnings=(*rise.warnings, said))
    inputs: list[Input] = []
    for index, stream in enumerate(streams, start=1):
        inputs.append(
            Input(f"V_{index}", f"volume of {stream.name}", stream.volume_m3, "m^3", "liquid_volume")
        )
        inputs.append(
            Input(
                f"T_{index}",
                f"temperature of {stream.name}",
                stream.temperature_kelvin,
                "kelvin",
                "temperature",
            )
        )
    weighted = " + ".join(f"V_{index} · T_{index}" for index in range(1, len(streams) + 1))
    whole = " + ".join(f"V_{index}" for index in range(1, len(streams) + 1))
    blend = sum(s.volume_m3 * s.temperature_kelvin for s in streams) / sum(s.volume_m3 for s in streams)
    return {
        "neutralized_eq": met,
        "rise_kelvin": rise,
        "temperature_kelvin": Estimate(
            "T_x", "temperature of the wastes together, neutralized", blend + rise.value, "kelvin", "temperature",
            f"({weighted}) / ({whole}) + {rise.symbol}", (*inputs, rise.as_input()), "mixing by volume and heat of neutralization",
            "neutralization_heat", "equal heat capacity per volume, no loss", uncertainty_frac=0.003,
        ),
    }  # fmt: skip
