"""Inputs that many quantities share, with the names and spellings people type for them."""

from __future__ import annotations

from collections.abc import Mapping

from regenplant.core.bench.quantity import Choice, InputSpec
from regenplant.core.engineering.density_models import RANGES
from regenplant.core.engineering.ions import EQUIVALENT_WEIGHTS_KG_PER_EQ
from regenplant.core.engineering.substances import SUBSTANCES

ZERO_CELSIUS = 273.15

_CHEMICAL_SPELLINGS: dict[str, tuple[str, ...]] = {
    "hcl": ("hydrochloric acid", "muriatic acid", "muriatic", "hydrogen chloride", "7647-01-0"),
    "h2so4": ("sulfuric acid", "sulphuric acid", "sulfuric", "7664-93-9"),
    "naoh": ("sodium hydroxide", "caustic", "caustic soda", "lye", "1310-73-2"),
    "nacl": ("sodium chloride", "salt", "brine", "7647-14-5"),
    "na2co3": ("sodium carbonate", "soda ash", "soda", "497-19-8"),
    "nh3": ("ammonia", "ammonium hydroxide", "nh4oh", "aqua ammonia", "7664-41-7"),
    "na2s2o4": ("sodium dithionite", "sodium hydrosulfite", "dithionite", "7775-14-6"),
    "naocl": ("sodium hypochlorite", "hypochlorite", "bleach", "7681-52-9"),
    "paa": ("peracetic acid", "peroxyacetic acid", "79-21-0"),
}


def chemical(
    *keys: str, name: str = "chemical", label: str = "chemical", default: str | None = None
) -> InputSpec:
    """A regenerant by formula or name; all with equivalents unless ``keys`` names some."""
    wanted = keys or tuple(key for key, entry in SUBSTANCES.items() if entry.charge_eq_per_mol > 0)
    choices = tuple(
        Choice(key, f"{SUBSTANCES[key].formula}, {SUBSTANCES[key].name}", (SUBSTANCES[key].name, *_CHEMICAL_SPELLINGS.get(key, ())))
        for key in wanted
        if key in SUBSTANCES
    )  # fmt: skip
    aliases = (
        ("regenerant", "substance", "solute", "reagent", "acid", "species") if name == "chemical" else ()
    )
    return InputSpec(name, label, choices=choices, default=default, aliases=aliases)


def temperature(
    name: str = "temperature",
    label: str = "temperature",
    low: float = 0.0,
    high: float = 100.0,
    default: str | None = None,
    aliases: tuple[str, ...] = (),
    optional: bool = False,
    help: str = "",
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> InputSpec:
    """A temperature; ``low`` and ``high`` in °C."""
    common = (
        "t",
        "temp",
        "water_temperature",
        "solution_temperature",
        "sample_temperature",
        "liquid_temperature",
    )
    return InputSpec(
        name, label, "temperature", "degC", low + ZERO_CELSIUS, high + ZERO_CELSIUS, default, optional,
        aliases=(*(common if name == "temperature" else ()), *aliases), help=help, ranges=ranges or {},
    )  # fmt: skip


def solution_ranges(high_frac: float = 1.0, low_frac: float = 0.0) -> dict[str, tuple[float, float]]:
    """Strengths [fraction] between which a solution is known, by chemical, cut to what a quantity takes."""
    return {
        key: (low_frac, min(limits.strength_high_frac, high_frac))
        for key, limits in RANGES.items()
        if limits.strength_high_frac < high_frac
    }


def temperature_ranges() -> dict[str, tuple[float, float]]:
    """Temperatures [K] between which the density of a solution is known, by chemical."""
    return {
        key: (limits.temperature_low_kelvin, limits.temperature_high_kelvin) for key, limits in RANGES.items()
    }


def strength(
    name: str = "strength",
    label: str = "strength, weight per weight",
    low: float = 0.0,
    high: float = 1.0,
    default: str | None = None,
    aliases: tuple[str, ...] = (),
    optional: bool = False,
    help: str = "",
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> InputSpec:
    """A strength by weight; ``low`` and ``high`` as fractions."""
    common = ("w", "wt", "weight_percent", "wt_percent", "mass_percent", "percent", "concentration", "mass_fraction", "weight_fraction", "acid_strength")  # fmt: skip
    return InputSpec(
        name, label, "strength", "%", low, high, default, optional,
        aliases=(*(common if name == "strength" else ()), *aliases), help=help, ranges=ranges or {},
    )  # fmt: skip


def number(
    name: str,
    label: str,
    kind: str,
    unit: str,
    low: float | None = None,
    high: float | None = None,
    default: str | None = None,
    aliases: tuple[str, ...] = (),
    optional: bool = False,
    help: str = "",
    species: str = "",
    ranges: Mapping[str, tuple[float, float]] | None = None,
) -> InputSpec:
    """A number of any kind; ``low`` and ``high`` in SI, ``unit`` the one a bare number is taken in."""
    return InputSpec(
        name, label, kind, unit, low, high, default, optional, (), help, aliases, species, ranges or {}
    )


def word(
    name: str,
    label: str,
    choices: tuple[Choice, ...],
    default: str | None = None,
    aliases: tuple[str, ...] = (),
    help: str = "",
) -> InputSpec:
    """One of several words."""
    return InputSpec(name, label, choices=choices, default=default, aliases=aliases, help=help)


# --- beds -----------------------------------------------------------------------------------------------------------
def resin_volume(default: str | None = None, optional: bool = False) -> InputSpec:
    """Settled resin volume in the form the dose is stated for."""
    return number(
        "resin_volume", "resin volume, settled, reference form", "resin_volume", "L", 1e-6, 50.0, default,
        ("volume", "resin", "bed_volume", "v_r", "volume_of_resin"), optional,
    )  # fmt: skip


def bead_diameter(prefix: str = "", default: str | None = None) -> InputSpec:
    label = f"{prefix.removesuffix('_')} bead diameter".strip()
    aliases = (f"{prefix}d", f"{prefix}diameter", f"{prefix}bead_size", f"{prefix}particle_diameter", f"{prefix}bead", f"{prefix}size", f"{prefix}mean_diameter", f"d_{prefix.removesuffix('_')}")  # fmt: skip
    return number(f"{prefix}bead_diameter", label, "bead_diameter", "mm", 1e-4, 3e-3, default, aliases)


def bead_density(prefix: str = "", default: str | None = None) -> InputSpec:
    label = f"{prefix.removesuffix('_')} wet density of the bead".strip()
    aliases = (f"{prefix}density", f"{prefix}wet_density", f"{prefix}particle_density", f"{prefix}rho_p", f"{prefix}rho", f"{prefix}resin_density", f"{prefix}wet_bead_density", f"rho_{prefix.removesuffix('_')}")  # fmt: skip
    return number(f"{prefix}bead_density", label, "density", "kg/m3", 1000.0, 2000.0, default, aliases)


VOID = number(
    "settled_void", "void fraction of the settled bed", "fraction", "-", 0.2, 0.6, "0.38",
    ("voidage", "void", "void_fraction", "porosity", "settled_voidage", "epsilon", "eps", "bed_voidage", "settled_porosity"),
)  # fmt: skip

VELOCITY = number(
    "velocity", "flow on the bed (superficial velocity)", "velocity", "m/h", 0.0, 0.1, None,
    ("u", "v", "superficial_velocity", "linear_velocity", "backwash_velocity", "backwash_rate", "flow_rate", "surface_loading", "flux", "rise_rate"),
)  # fmt: skip

EXPANSION = number(
    "expansion", "bed expansion wanted", "fraction", "%", 0.0, 2.0, "50 %",
    ("bed_expansion", "target_expansion", "e", "expansion_percent"),
)  # fmt: skip

DEPTH = number("depth", "settled bed depth", "length", "m", 0.01, 10.0, None, ("bed_depth", "height", "bed_height", "l", "length", "h"))  # fmt: skip

DIAMETER = number("internal_diameter", "internal diameter of the vessel", "length", "m", 0.02, 10.0, None, ("vessel_diameter", "diameter", "tank_diameter", "id", "bed_diameter"))  # fmt: skip

DOSE = number("dose", "dose as 100 % substance per resin volume", "dose", "g/L", 0.01, 1000.0, None, ("regeneration_level", "level", "regenerant_dose", "salt_dose", "dosage", "q"))  # fmt: skip


# --- ions -----------------------------------------------------------------------------------------------------------
SPECIES_SPELLINGS: dict[str, tuple[str, ...]] = {
    "Ca++": ("ca", "calcium", "ca2+", "ca+2"), "Mg++": ("mg", "magnesium", "mg2+", "mg+2"),
    "Na+": ("na", "sodium"), "K+": ("k", "potassium"), "NH4+": ("nh4", "ammonium"),
    "Fe++": ("fe", "iron", "fe2+", "fe+2", "ferrous iron", "iron(ii)"), "H+": ("h", "hydrogen", "acidity"),
    "Cl-": ("cl", "chloride"), "SO4--": ("so4", "sulfate", "sulphate", "so42-", "so4-2", "so4 2-"),
    "NO3-": ("no3", "nitrate"), "HCO3-": ("hco3", "bicarbonate", "hydrogen carbonate"),
    "CO3--": ("co3", "carbonate", "co32-", "co3-2"), "OH-": ("oh", "hydroxide"), "F-": ("f", "fluoride"),
    "SiO2": ("silica", "sio2"), "CO2": ("carbon dioxide", "free co2"), "CaCO3": ("calcium carbonate", "hardness", "alkalinity"),
    "NaHCO3": ("sodium bicarbonate",), "Na2CO3": ("sodium carbonate", "soda ash"), "Ca(OH)2": ("lime", "calcium hydroxide", "caoh2"),
    "HCl": ("hydrochloric acid",), "H2SO4": ("sulfuric acid",), "NaOH": ("sodium hydroxide", "caustic"),
    "NaCl": ("sodium chloride", "salt"), "NH3": ("ammonia",), "HNO3": ("nitric acid",), "MgSO4": ("magnesium sulfate", "epsom salt"),
    "CaSO4": ("calcium sulfate", "gypsum"), "Ba++": ("ba", "barium", "ba2+"), "Sr++": ("sr", "strontium", "sr2+"),
    "Mn++": ("mn", "manganese", "mn2+"), "Al+++": ("al", "aluminium", "aluminum", "al3+"),
}  # fmt: skip


def species(default: str | None = None) -> InputSpec:
    """An ion or substance with a known equivalent weight."""
    choices = tuple(Choice(key, key, SPECIES_SPELLINGS.get(key, ())) for key in EQUIVALENT_WEIGHTS_KG_PER_EQ)
    return InputSpec("species", "ion or substance", choices=choices, default=default, aliases=("ion", "substance", "chemical", "formula"))  # fmt: skip
