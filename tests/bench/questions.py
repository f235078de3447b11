"""Reference rows as questions to the bench: the words of a row, cut up and typed in as a person would."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from typing import Any

Question = tuple[str, dict[str, Any]]
"""(quantity, inputs)."""

_STRENGTH = r"([\d.]+) wt% (\S+?)[;,]"
_TEMPERATURE = r"([\d.]+ degC)"


def _found(pattern: str, text: str) -> tuple[str, ...]:
    match = re.search(pattern, text)
    assert match, f"{text!r} does not fit {pattern!r}"
    return match.groups()


def _solution(quantity: str, text: str) -> Question:
    strength, chemical = _found(_STRENGTH, text)
    return quantity, {"chemical": chemical, "strength": f"{strength} wt%", "temperature": _found(_TEMPERATURE, text)[0]}  # fmt: skip


def _bead(quantity: str, text: str) -> Question:
    diameter, density = _found(r"d=([\d.]+ mm), (?:wet density )?([\d.]+ kg/m3)", text)
    return quantity, {"d": diameter, "wet_density": density, "temperature": _found(_TEMPERATURE, text)[0]}


def _expansion(text: str) -> Question:
    quantity, given = _bead("backwash bed expansion", text)
    return quantity, given | {"superficial_velocity": _found(r"velocity ([\d.]+ m/h)", text)[0]}


def _ratio(text: str) -> Question:
    anion, light, cation, heavy = _found(r"anion d=([\d.]+ mm) ([\d.]+ kg/m3), cation d=([\d.]+ mm) ([\d.]+ kg/m3)", text)  # fmt: skip
    return "ratio of terminal velocities", {
        "cation_d": cation, "cation_density": heavy, "anion_d": anion, "anion_density": light, "t": _found(_TEMPERATURE, text)[0],
    }  # fmt: skip


def _ergun(text: str) -> Question:
    diameter, void, velocity = _found(
        r"d=([\d.]+ mm), voidage ([\d.]+), superficial velocity ([\d.]+ m/h)", text
    )
    return "ergun", {
        "d": diameter,
        "voidage": void,
        "u": velocity,
        "temperature": _found(_TEMPERATURE, text)[0],
    }


def _dilution(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        pattern = r"(\S+): resin ([\d.]+ L), dose ([\d.]+) g\(100 %\)/L, stock ([\d.]+) wt% \(density ([\d.]+) kg/m3\), diluted to ([\d.]+) wt% \(density ([\d.]+) kg/m3\)"
        chemical, resin, dose, stock, heavy, strength, light = _found(pattern, text)
        return quantity, {
            "chemical": chemical, "resin": resin, "dose": f"{dose} g(100 %)/L", "stock_strength": float(stock), "stock_density": float(heavy),
            "diluted_strength": float(strength), "diluted_density": float(light), "flow": "4 BV/h",
        }  # fmt: skip

    return ask


def _blend(text: str) -> Question:
    pattern = r"(\S+): ([\d.]+ wt%) at ([\d.]+ degC) diluted to ([\d.]+ wt%) with water at ([\d.]+ degC)"
    chemical, stock, warm, strength, cold = _found(pattern, text)
    return "final temperature of adiabatic dilution", {
        "chemical": chemical, "stock_strength": stock, "stock_temperature": warm, "strength": strength, "water_temperature": cold,
    }  # fmt: skip


def _heat(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        ratio, chemical = _found(r"r=([\d.]+) mol water/mol (\w+)", text)
        return quantity, {"chemical": chemical, "r": ratio}

    return ask


def _plain_water(quantity: str) -> Callable[[str], Question]:
    return lambda text: (quantity, {"temperature": _found(_TEMPERATURE, text)[0]})


def _uncompensated(text: str) -> Question:
    salt, kappa = _found(r"trace (\w+); kappa25=([\d.]+ uS/cm)", text)
    return "uncompensated conductivity", {
        "kappa25": kappa,
        "trace": salt,
        "t": _found(r"; ([\d.]+ degC)$", text)[0],
    }


def _ion(quantity: str) -> Callable[[str], Question]:
    return lambda text: (quantity, {"ion": _found(r"^(\S+);", text)[0]})


def _electrolyte(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        name, warm = _found(r"^(\w+); ([\d.]+ degC)", text)
        return quantity, {"electrolyte": name} | ({"temperature": warm} if "l0" in quantity else {})

    return ask


def _tanks(text: str) -> Question:
    number, accessible, displaced = _found(r"N=(\d+), total accessible volume ([\d.]+ BV), displaced ([\d.]+ BV)", text)  # fmt: skip
    return "tanks in series", {"n": number, "accessible_volume": accessible, "displaced": displaced}


def _dispersion(text: str) -> Question:
    peclet, accessible, displaced = _found(r"Pe=([\d.]+), accessible volume ([\d.]+ BV), displaced ([\d.]+ BV)", text)  # fmt: skip
    return "axial dispersion", {"pe": peclet, "accessible_volume": accessible, "displaced": displaced}


def _endpoint(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        start, floor, tail, end = _found(r"kappa\(0\)=([\d.]+ uS/cm), floor ([\d.]+ uS/cm), tail ([\d.]+ BV).*endpoint ([\d.]+ uS/cm)", text)  # fmt: skip
        given = {"kappa_0": start, "floor": floor, "tail": tail, "endpoint": end}
        flow = re.search(r"flow ([\d.]+ BV/h)", text)
        return quantity, given | ({"flow": flow[1]} if flow else {})

    return ask


def _weight(quantity: str) -> Callable[[str], Question]:
    return lambda text: (quantity, {"species": text.split(" ")[0]})


def _dose(text: str) -> Question:
    dose, chemical = _found(r"([\d.]+ lb/ft3) (\w+)", text)
    return "regenerant dose to eq per litre resin", {"chemical": chemical, "dose": dose}


def _sodium(text: str) -> Question:
    k, y, anions = _found(r"K\(Na/H\)=([\d.]+), .*y=([\d.]+), .*feed ([\d.]+ meq/L)", text)
    return "equilibrium sodium leakage", {"K": k, "y": y, "strong_acid_anions": anions}


def _caustic(text: str) -> Question:
    return "caustic conductivity", {"sodium": _found(r"^([\d.]+) mg Na/L", text)[0] + " mg/L"}


def _capacity_ratio(text: str) -> Question:
    chemical, capacity, dose = _found(
        r"(HCl|NaOH|NaCl)?: operating capacity ([\d.]+ eq/L), dose ([\d.]+ g/L)", text
    )
    return "regenerant ratio", {"chemical": chemical, "operating_capacity": capacity, "dose": dose}


def _efficiency(text: str) -> Question:
    capacity, dose = _found(r"([\d.]+ kgr/ft3) at ([\d.]+) lb NaCl/ft3", text)
    return "salt efficiency", {"capacity": capacity, "salt_dose": f"{dose} lb/ft3"}


def _water(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        ions = re.findall(
            r"(Ca|Mg|Na|K|Cl|S\(6\)|N\(5\)|Si|C\(4\)) ([\d.e\-]+)(?=[, ])", text.split("mmol/kgw")[0]
        )
        return quantity, {name: f"{amount} mmol/kgw" for name, amount in ions} | {"temperature": "25 degC"}

    return ask


def _wastes(quantity: str) -> Callable[[str], Question]:
    def ask(text: str) -> Question:
        given: dict[str, Any] = {}
        for prefix, volume, ions in re.findall(r"([\d.]+ L) spent (acid|caustic) \{([^}]*)\}", text) and [
            (kind, volume, ions) for volume, kind, ions in re.findall(r"([\d.]+ L) spent (acid|caustic) \{([^}]*)\}", text)
        ]:  # fmt: skip
            given[f"{prefix}_volume"] = volume
            for name, amount in re.findall(r"(\w+(?:\(\d\))?) ([\d.]+)", ions):
                given[f"{prefix}_{name}"] = f"{amount} mol/L"
        target = re.search(r"target pH ([\d.]+)", text)
        warm = re.search(r"kg water; ([\d.]+ degC)", text)
        given |= {"temperature": warm[1]} if warm else {}
        return quantity, given | ({"target_ph": target[1]} if target else {})

    return ask


def _gypsum(text: str) -> Question:
    strength, calcium, warm = _found(r"([\d.]+) wt% H2SO4, ([\d.]+ %) of acid .* ([\d.]+ degC)", text)
    return "gypsum saturation index", {"strength": f"{strength} wt%", "calcium": calcium, "temperature": warm}


def _most_calcium(text: str) -> Question:
    strength, warm = _found(r"([\d.]+) wt% H2SO4; ([\d.]+ degC)", text)
    return "largest calcium fraction", {"strength": f"{strength} wt%", "temperature": warm}


def _baume(quantity: str, **more: str) -> Callable[[str], Question]:
    return lambda text: (quantity, {"baume": _found(r"([\d.]+ degBe)", text)[0], **more})


QUESTIONS: Mapping[str, Callable[[str], Question]] = {
    r"^density of aqueous": lambda text: _solution("density of aqueous solution", text),
    r"^backwash bed expansion": _expansion,
    r"^superficial velocity for 50": lambda text: _bead("superficial velocity for 50 % expansion", text),
    r"^superficial velocity for 75": lambda text: _bead("superficial velocity for 75 % expansion", text),
    r"^terminal velocity of": lambda text: _bead("terminal velocity of a single bead", text),
    r"^minimum fluidisation": lambda text: _bead("minimum fluidisation velocity (Wen-Yu)", text),
    r"^ratio of terminal": _ratio,
    r"Ergun": _ergun,
    r"^mass of 100 % chemical": _dilution("mass of chemical"),
    r"^mass of stock": _dilution("mass of stock"),
    r"^volume of stock": _dilution("volume of stock"),
    r"^mass of dilution water": _dilution("mass of dilution water"),
    r"^volume of diluted": _dilution("volume of diluted regenerant"),
    r"^bed volumes of diluted": _dilution("bed volumes of diluted regenerant"),
    r"^contact time at": _dilution("contact time"),
    r"^equivalents applied": _dilution("equivalents applied"),
    r"^final temperature of adiabatic": _blend,
    r"heat released on dilution": _heat("heat of dilution to infinity"),
    r"integral heat of solution": _heat("integral heat of solution"),
    r"^resistivity of pure water": _plain_water("resistivity of pure water"),
    r"^conductivity of pure water": _plain_water("conductivity of pure water"),
    r"^pKw": _plain_water("pKw molal basis"),
    r"^density of water$": _plain_water("density of water"),
    r"^dynamic viscosity of water": _plain_water("dynamic viscosity of water"),
    r"^resistivity with 1.0 ug/L": lambda text: ("resistivity with NaCl", {"NaCl": "1.0 ug/L", "temperature": _found(_TEMPERATURE, text)[0]}),
    r"^uncompensated conductivity": _uncompensated,
    r"^limiting equivalent ionic": _ion("limiting equivalent ionic conductivity"),
    r"^limiting molar ionic": _ion("limiting molar ionic conductivity"),
    r"^limiting molar conductivity of electrolyte": _electrolyte("limiting molar conductivity of electrolyte"),
    r"^limiting conductivity of electrolyte": _electrolyte("limiting conductivity of electrolyte l0"),
    r"tanks in series": _tanks,
    r"axial dispersion": _dispersion,
    r"^bed volumes to endpoint, exp": _endpoint("bed volumes to endpoint"),
    r"^time to endpoint, exp": _endpoint("time to endpoint"),
    r"^equivalent weight": _weight("equivalent weight"),
    r"^factor ion": _weight("factor ion -> as CaCO3"),
    r"^regenerant dose to eq": _dose,
    r"^equilibrium sodium leakage": _sodium,
    r"^silica-free caustic": _caustic,
    r"^regenerant ratio": _capacity_ratio,
    r"^salt efficiency": _efficiency,
    r"^conductivity at 25 degC": _water("conductivity of a water"),
    r"^pH$": _water("pH of a water"),
    r"^pH of the mixture": _wastes("pH of the mixture"),
    r"^reagent to bring": _wastes("reagent to bring the mixture to target pH"),
    r"^adiabatic temperature rise": _wastes("adiabatic temperature rise on mixing"),
    r"^gypsum saturation index": _gypsum,
    r"^largest fraction": _most_calcium,
    r"^gypsum solubility": _plain_water("gypsum solubility"),
    r"^specific gravity 60F/60F from deg Baume, heavier": _baume("specific gravity from deg Baume", scale="heavier than water"),
    r"^specific gravity 60F/60F from deg Baume, lighter": _baume("specific gravity from deg Baume", scale="lighter than water"),
    r"^HCl wt% from deg Baume": _baume("strength from baume", chemical="hydrochloric acid"),
    r"^H2SO4 wt% from deg Baume": _baume("strength from baume", chemical="sulfuric acid"),
    r"^HCl mass per volume": lambda text: ("mass per volume from baume", {"chemical": "HCl", "baume": _found(r"([\d.]+ degBe)", text)[0], "strength": _found(r"wt% ([\d.]+)", text)[0]}),
    r"^deg Baume from SG": lambda text: ("deg Baume from SG", {"sg": _found(r"SG ([\d.]+)", text)[0]}),
    r"^USP <645> stage 1": lambda text: ("usp stage 1", {"temperature": _found(_TEMPERATURE, text)[0]}),
    r"^USP <645> stage 3": lambda text: ("usp stage 3", {"pH": _found(r"pH ([\d.]+)", text)[0]}),
    r"^conductivity of KCl": lambda text: ("KCl standard", {"molality": _found(r"([\d.]+ mol/kg)", text)[0], "temperature": _found(_TEMPERATURE, text)[0]}),
    r"^conductivity of air-sat": _plain_water("conductivity of air-saturated water"),
    r"^dynamic viscosity of aqueous": lambda text: _solution("solution viscosity", text),
    r"^temperature slope of density": lambda text: ("temperature slope of density", {"chemical": "NaOH", "strength": _found(r"([\d.]+ wt%)", text)[0], "low": "20 degC", "high": "40 degC"}),
    r"^amount concentration of 50 wt% NaOH": lambda text: ("molarity", {"chemical": "NaOH", "strength": "50 wt%", "temperature": _found(_TEMPERATURE, text)[0]}),
    r"^softener capacity": lambda text: ("softener capacity", {"salt_dose": _found(r"^(\d+ lb)", text)[0] + "/ft3"}),
    r"^ASTM D1125 reference solution|^conductivity of ASTM D1125": lambda text: ("astm_d1125_solution", {"solution": _found(r"\b([CD])\b", text)[0]}),
    r"^freezing point depression": lambda text: ("freezing point depression", {"chemical": _found(r"wt% (\w+)", text)[0], "strength": _found(r"([\d.]+ wt%)", text)[0]}),
}  # fmt: skip
"""By a pattern of the row's quantity: how it is asked."""

NO_CALCULATION = ("density of aqueous H2SO4 (second source)",)
"""Rows that say how far sources lie apart."""

CONVERSIONS: Mapping[str, tuple[str, str]] = {
    "lb/ft3 to g/L": (r"([\d.]+ lb/ft3)", "g/L"), "grain per US gallon to mg/L": (r"([\d.]+ gr/gal)", "mg/L"),
    "mg/L to grain per US gallon": (r"([\d.]+ mg/L)", "gr/gal"), "kilograin(as CaCO3)/ft3 per eq/L": (r"([\d.]+ eq/L)", "kgr/ft3"),
    "BV/h per gpm/ft3": (r"([\d.]+ gpm/ft3)", "BV/h"), "gpm/ft3 per BV/h": (r"([\d.]+ BV/h)", "gpm/ft3"),
    "m/h per gpm/ft2": (r"([\d.]+ gpm/ft2)", "m/h"), "gpm/ft2 per m/h": (r"([\d.]+ m/h)", "gpm/ft2"), "US gal per ft3": (r"([\d.]+ ft3)", "gal"),
    "L per US gallon": (r"([\d.]+ gal)", "L"), "psi/ft to kPa/m": (r"([\d.]+ psi/ft)", "kPa/m"), "psi to bar": (r"([\d.]+ psi)", "bar"),
    "degF to degC": (r"([\d.]+ degF)", "degC"), "degC to degF": (r"([\d.]+ degC)", "degF"), "hardness German degree": (r"([\d.]+ dH)", "mg/L as CaCO3"),
    "unit": (r"([\d.]+ eq/L)", "kgr/ft3"),
}  # fmt: skip


def question_of(quantity: str, inputs: str, *, probe: bool = False) -> Question | None:
    """How this row is asked; None where it is no calculation. ``probe`` only asks whether it is one."""
    if probe:
        known = quantity in CONVERSIONS or any(re.search(pattern, quantity) for pattern in QUESTIONS)
        return ("", {}) if known and quantity not in NO_CALCULATION else None
    if quantity in CONVERSIONS:
        pattern, unit = CONVERSIONS[quantity]
        return "convert", {"amount": _found(pattern, inputs)[0], "to": unit}
    for pattern, ask in QUESTIONS.items():
        if re.search(pattern, quantity):
            return ask(inputs)
    return None
