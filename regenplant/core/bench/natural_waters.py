"""Waters as a laboratory reports them, mixed waters, and what leaves each kind of bed."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import replace
from typing import Any

from regenplant.core.bench import inputs as given
from regenplant.core.bench.quantity import Answer, Choice, Group, InputSpec, Quantity
from regenplant.core.engineering import bed_effluents, water_analysis, water_conductivity, waters
from regenplant.core.engineering.estimate import Estimate
from regenplant.core.engineering.waters import Water
from regenplant.core.errors import OutOfRange

_HIGH = 500.0
_IONS = (
    ("calcium", "Ca++", ("ca", "ca2", "ca_2")), ("magnesium", "Mg++", ("mg", "mg2")), ("sodium", "Na+", ("na",)), ("potassium", "K+", ("k",)),
    ("ammonium", "NH4+", ("nh4", "ammonia", "n_3")), ("chloride", "Cl-", ("cl",)), ("sulfate", "SO4--", ("so4", "sulphate", "s_6", "s6")),
    ("nitrate", "NO3-", ("no3", "n_5", "n5")), ("silica", "SiO2", ("sio2", "si", "silicon", "si_4")),
)  # fmt: skip
_CARBON = ("tic", "c_4", "c4", "inorganic_carbon", "dic", "total_carbonate", "total_inorganic_c", "carbonate", "ct", "carbon")  # fmt: skip


def _ion(name: str, species: str, aliases: tuple[str, ...], prefix: str = "") -> InputSpec:
    label = f"{prefix.removesuffix('_')} {name}".strip().replace("sio2", "silica")
    return given.number(
        f"{prefix}{name}", f"{label}, total", "amount_concentration", "mmol/L", 0.0, _HIGH, "0 mmol/L",
        tuple(f"{prefix}{alias}" for alias in aliases), species=species, help="Also mg/L, meq/L or mg/L as CaCO3.",
    )  # fmt: skip


def _water_inputs(prefix: str = "") -> tuple[InputSpec, ...]:
    """The totals of a water; carbon as such or as alkalinity with pH."""
    return (
        *(_ion(name, species, aliases, prefix) for name, species, aliases in _IONS),
        given.number(f"{prefix}total_inorganic_carbon", "total inorganic carbon (CO₂, HCO₃⁻, CO₃²⁻)", "amount_concentration", "mmol/L", 0.0, _HIGH, None, tuple(f"{prefix}{alias}" for alias in _CARBON), True, "Give this, or the alkalinity with the pH. Neither: no carbonate.", "CO2"),
        given.number(f"{prefix}alkalinity", "total alkalinity", "normality", "meq/L", 0.0, _HIGH, None, tuple(f"{prefix}{alias}" for alias in ("alk", "m_alkalinity", "hco3", "bicarbonate", "total_alkalinity")), True, "Also mg/L as CaCO3; needs the pH.", "HCO3-"),
        given.number(f"{prefix}ph", "measured pH", "ph", "-", 4.0, 11.0, None, (f"{prefix}measured_ph",), True, "Only with the alkalinity."),
    )  # fmt: skip


_T = given.temperature("temperature", "temperature of the water", 0.0, 60.0, "25 degC")


def _water(values: Mapping[str, Any], temperature_kelvin: float, prefix: str = "") -> Water:
    carbon = values[f"{prefix}total_inorganic_carbon_mol_per_m3"]
    alkalinity, ph = values[f"{prefix}alkalinity_eq_per_m3"], values[f"{prefix}ph"]
    found = Water(
        **{f"{name}_mol_per_m3": values[f"{prefix}{name}_mol_per_m3"] for name, _, _ in _IONS},
        total_inorganic_carbon_mol_per_m3=carbon or 0.0,
    )
    if alkalinity is None:
        return found
    if carbon is not None:
        raise OutOfRange(
            "Give either the total inorganic carbon or the alkalinity, not both.", code="one_of_two"
        )
    if ph is None:
        raise OutOfRange(
            "With the alkalinity the pH is needed, to know the carbonate.",
            code="missing",
            field=f"{prefix}ph",
        )
    return water_analysis.with_alkalinity(found, alkalinity, ph, temperature_kelvin)


def _figures(found: Water, temperature_kelvin: float) -> dict[str, Estimate]:
    return {
        "conductivity": water_conductivity.conductivity_of(found, temperature_kelvin),
        "ph": waters.ph_of(found, temperature_kelvin),
        "resistivity": water_conductivity.resistivity_of(found, temperature_kelvin),
        "alkalinity": _alkalinity(found),
        "hardness": waters.hardness(found),
    }


def _alkalinity(found: Water) -> Estimate:
    figure = waters.alkalinity(found)
    if figure.value >= 0.0:
        return figure
    said = "Below zero: this is free mineral acidity, more strong anions than cations. In a natural water check the analysis."
    return replace(figure, warnings=(*figure.warnings, said))


def _main(figures: Mapping[str, Estimate], key: str) -> Answer:
    return Answer(figures[key], {name: figure for name, figure in figures.items() if name != key})


def _of_water(key: str) -> Callable[..., Answer]:
    def work_out(temperature_kelvin: float, **values: Any) -> Answer:
        return _main(_figures(_water(values, temperature_kelvin), temperature_kelvin), key)

    return work_out


def _of_mixture(key: str) -> Callable[..., Answer]:
    def work_out(temperature_kelvin: float, first_volume_m3: float, second_volume_m3: float, **values: Any) -> Answer:  # fmt: skip
        first, second = (
            _water(values, temperature_kelvin, "first_"),
            _water(values, temperature_kelvin, "second_"),
        )
        found = waters.mixed(first, first_volume_m3, second, second_volume_m3)
        return _main(_figures(found, temperature_kelvin), key)

    return work_out


def _carbon(temperature_kelvin: float, **values: Any) -> Answer:
    ions = Water(**{f"{name}_mol_per_m3": values[f"{name}_mol_per_m3"] for name, _, _ in _IONS})
    return Answer(
        water_analysis.carbon_from_alkalinity(
            ions, values["alkalinity_eq_per_m3"], values["ph"], temperature_kelvin
        )
    )


# --- beds -----------------------------------------------------------------------------------------------------------
_STAGES = (
    Choice("feed", "the feed itself", ("raw", "raw water")),
    Choice("softener", "behind a softener", ("sac-na", "softened", "sac na")),
    Choice("cation", "behind a hydrogen-form strong-acid bed", ("sac-h", "sac", "strong acid cation", "sac h", "after cation", "hydrogen")),
    Choice("weak_acid", "behind a weak-acid bed", ("wac", "wac-h", "weak acid cation")),
    Choice("degasser", "behind cation bed and degasser", ("degassed", "degasifier", "decarbonator")),
    Choice("strong_base", "behind cation and strong-base anion bed", ("sba", "sba-oh", "strong base anion", "anion", "strong base")),
    Choice("weak_base", "behind cation and weak-base anion bed", ("wba", "weak base anion", "weak base")),
    Choice("mixed_bed", "behind a mixed bed", ("mb", "mixed", "polisher")),
)  # fmt: skip
_STAGE = given.word(
    "stage", "bed the water leaves", _STAGES, None, ("bed", "after", "behind", "effluent_of", "kind")
)


def _leak(name: str, label: str, species: str, unit: str, aliases: tuple[str, ...]) -> InputSpec:
    return given.number(
        name,
        label,
        "amount_concentration",
        unit,
        0.0,
        50.0,
        "0 mg/L",
        aliases,
        species=species,
        help=_LEAK_HELP,
    )


_LEAK_HELP = "mg/L of what is named; also mmol/L, meq/L, mg/L as CaCO3."


_LEAKS = (
    _leak("sodium_leak", "sodium that leaks through the cation bed, as Na", "Na+", "mg/L", ("na_leak", "sodium_leakage", "na_leakage", "leakage")),
    _leak("silica_leak", "silica that leaks through the strong-base or mixed bed, as SiO2", "SiO2", "mg/L", ("sio2_leak", "silica_leakage")),
    _leak("hardness_leak", "hardness that leaks through the softener, as CaCO3", "CaCO3", "mg/L", ("hardness_leakage",)),
    given.number("carbon_dioxide_left", "carbon dioxide left by the degasser, as CO2", "amount_concentration", "mg/L", 0.0, 10.0, None, ("co2_left", "degassed_to", "co2", "carbon_dioxide", "residual_co2"), True, "Left out: no degasser between cation and anion bed.", "CO2"),
)  # fmt: skip


def effluent(stage: str, feed: Water, values: Mapping[str, Any]) -> Water:
    """The water that leaves a bed; anion beds and degasser stand behind a cation bed."""
    left = values["carbon_dioxide_left_mol_per_m3"]
    sodium, silica = values["sodium_leak_mol_per_m3"], values["silica_leak_mol_per_m3"]
    if stage == "feed":
        return feed
    if stage == "softener":
        return bed_effluents.after_softener(feed, values["hardness_leak_mol_per_m3"])
    if stage == "weak_acid":
        return bed_effluents.after_weak_acid(feed)
    if stage == "mixed_bed":
        return bed_effluents.after_mixed_bed(
            sodium, silica_leak_mol_per_m3=silica, carbon_leak_mol_per_m3=left or 0.0
        )
    acid = bed_effluents.after_cation(_fed_at_least(feed, sodium), sodium)
    if stage == "cation":
        return acid if left is None else bed_effluents.after_degasser(acid, left)
    if stage == "degasser":
        if left is None:
            raise OutOfRange(
                "The carbon dioxide left by the degasser is needed.",
                code="missing",
                field="carbon_dioxide_left",
            )
        return bed_effluents.after_degasser(acid, left)
    before = acid if left is None else bed_effluents.after_degasser(acid, left)
    if stage == "weak_base":
        return bed_effluents.after_weak_base(before)
    if before.silica_mol_per_m3 == 0.0:  # not stated in the feed: it brings what leaks
        before = replace(before, silica_mol_per_m3=silica)
    return bed_effluents.after_strong_base(before, silica)


def _fed_at_least(feed: Water, sodium_mol_per_m3: float) -> Water:
    """The feed; one of which no cation is stated at all brings the sodium that leaks."""
    if feed.cations_eq_per_m3 > 0.0:
        return feed
    return replace(feed, sodium_mol_per_m3=sodium_mol_per_m3)


def _of_effluent(key: str) -> Callable[..., Answer]:
    def work_out(stage: str, temperature_kelvin: float, **values: Any) -> Answer:
        found = effluent(stage, _water(values, temperature_kelvin), values)
        return _main(_figures(found, temperature_kelvin), key)

    return work_out


def _air(temperature_kelvin: float) -> Estimate:
    return water_analysis.carbon_in_equilibrium_with_air(temperature_kelvin)


_KINDS = {
    "conductivity": ("conductivity", "uS/cm"), "ph": ("ph", "-"), "resistivity": ("resistivity", "Mohm.cm"),
    "alkalinity": ("normality", "meq/L"), "hardness": ("hardness", "mg/L"),
}  # fmt: skip
_NAMES = {"conductivity": "Conductivity", "ph": "pH", "resistivity": "Resistivity", "alkalinity": "Alkalinity", "hardness": "Hardness"}  # fmt: skip
_MODERATE = {"calcium": "1.1", "magnesium": "0.35", "sodium": "0.8", "potassium": "0.06", "chloride": "0.78", "sulfate": "0.35", "nitrate": "0.08", "silica": "8 mg/L", "total_inorganic_carbon": "2.27"}  # fmt: skip


def _with_ph(specs: tuple[InputSpec, ...]) -> tuple[InputSpec, ...]:
    """The inputs with alkalinity and pH needed, and no carbon beside them."""
    needed = ("alkalinity", "ph")
    return tuple(
        replace(spec, is_optional=False, low={"ph": 4.5}.get(spec.name, 1e-3), help="")
        if spec.name in needed
        else spec
        for spec in specs
        if spec.name != "total_inorganic_carbon"
    )


def quantities() -> tuple[Quantity, ...]:
    """The quantities of this group."""
    group = Group.WATERS
    plain, first, second = _water_inputs(), _water_inputs("first_"), _water_inputs("second_")
    volumes = tuple(
        given.number(
            f"{name}_volume", f"volume of the {name} water", "liquid_volume", "L", 1e-6, 500.0, "1 L"
        )
        for name in ("first", "second")
    )
    found: list[Quantity] = []
    for key in ("conductivity", "ph", "resistivity", "alkalinity", "hardness"):
        kind, unit = _KINDS[key]
        aliases = {
            "conductivity": ("conductivity", "conductivity_at_25_degc", "conductivity_of_water", "conductivity_of_a_water", "kappa"),
            "ph": ("ph", "ph_of_water"),
        }.get(key, ())  # fmt: skip
        found.append(Quantity(f"water_{key}", f"{_NAMES[key]} of a water", "From the totals of its ions, closed to the air.", group, (*plain, _T), kind, unit, _of_water(key), _MODERATE, aliases))  # fmt: skip
    for key in ("conductivity", "ph"):
        kind, unit = _KINDS[key]
        mixture_example = {"first_calcium": "1.1", "first_chloride": "2.2", "first_volume": "700 L", "second_sodium": "0.5", "second_chloride": "0.5", "second_volume": "300 L"}  # fmt: skip
        found.append(Quantity(f"mixed_water_{key}", f"{_NAMES[key]} of two waters mixed", "Totals and volumes of both.", group, (*first, volumes[0], *second, volumes[1], _T), kind, unit, _of_mixture(key), mixture_example))  # fmt: skip
    for key in ("conductivity", "ph", "resistivity"):
        kind, unit = _KINDS[key]
        found.append(Quantity(f"effluent_{key}", f"{_NAMES[key]} of what leaves a bed", "From the feed and the leakage, behind each kind of bed.", group, (_STAGE, *plain, *_LEAKS, _T), kind, unit, _of_effluent(key), {"stage": "cation", **_MODERATE, "sodium_leak": "2 mg/L"}, (f"bed_effluent_{key}", f"{key}_after_bed"), see=("mixed_bed_conductivity", "sodium_leakage")))  # fmt: skip
    found.append(Quantity("carbon_from_alkalinity", "Inorganic carbon from alkalinity and pH", "Total carbon of a water whose alkalinity and pH were measured.", group, (*_with_ph(plain), _T), "amount_concentration", "mmol/L", _carbon, {"calcium": "1 mmol/L", "chloride": "0.5 mmol/L", "alkalinity": "120 mg/L as CaCO3", "ph": "7.8"}, ("tic_from_alkalinity",)))  # fmt: skip
    found.append(Quantity("carbon_in_air_water", "Carbon of water at equilibrium with air", "Total inorganic carbon.", group, (_T,), "amount_concentration", "mmol/L", _air, {"temperature": "25 degC"}, ("co2_equilibrium",)))  # fmt: skip
    return tuple(found)
