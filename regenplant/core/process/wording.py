"""Numbers inside sentences: metric, few digits, no-break space before the unit.

Screens show every figure in both unit systems beside the sentence; the sentence itself is part of the stored plan
and is written in one. The factors here are checked against ``regenplant.units`` by a test, so that there is one truth.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

NO_BREAK_SPACE = "\u00a0"
THIN_SPACE = "\u202f"
MINUS = "\u2212"
_SUPERSCRIPTS = str.maketrans("-0123456789", "⁻⁰¹²³⁴⁵⁶⁷⁸⁹")

# kind: (factor, offset, unit, decimals at most, significant digits)
_SHOWN: dict[str, tuple[float, float, str, int, int]] = {
    "resin_volume": (1000.0, 0.0, "L", 1, 4),
    "liquid_volume": (1000.0, 0.0, "L", 1, 4),
    "flow": (60000.0, 0.0, "L/min", 1, 4),
    "velocity": (3600.0, 0.0, "m/h", 1, 3),
    "air_flow": (60000.0, 0.0, "L/min", 0, 4),
    "air_velocity": (3600.0, 0.0, "m/h", 1, 3),
    "air_volume": (1.0, 0.0, "m³", 2, 4),
    "mass": (1.0, 0.0, "kg", 1, 4),
    "dose": (1.0, 0.0, "g/L", 1, 3),
    "strength": (100.0, 0.0, "%", 2, 4),
    "fraction": (100.0, 0.0, "%", 1, 3),
    "temperature": (1.0, -273.15, "°C", 1, 4),
    "temperature_rise": (1.0, 0.0, "°C", 1, 3),
    "duration": (1.0 / 60.0, 0.0, "min", 0, 4),
    "length": (1.0, 0.0, "m", 3, 4),
    "hardness": (1000.0, 0.0, "mg/L as CaCO₃", 2, 3),
    "concentration": (1000.0, 0.0, "mg/L", 3, 3),
    "trace_concentration": (1e6, 0.0, "µg/L", 4, 3),
    "equivalents": (1.0, 0.0, "eq", 1, 4),
    "pressure": (0.001, 0.0, "kPa", 1, 3),
    "power": (0.001, 0.0, "kW", 1, 3),
    "density": (1.0, 0.0, "kg/m³", 1, 5),
    "conductivity": (10000.0, 0.0, "µS/cm", 3, 4),
    "resistivity": (0.0001, 0.0, "MΩ·cm", 2, 4),
    "flow_bv_per_h": (1.0, 0.0, "BV/h", 2, 3),
    "bed_volumes": (1.0, 0.0, "BV", 2, 3),
    "bed_flow": (3600.0, 0.0, "BV/h", 2, 3),
    "capacity": (0.001, 0.0, "eq/L", 3, 3),
    "pressure_gradient": (0.001, 0.0, "kPa/m", 1, 3),
    "area": (1.0, 0.0, "m²", 3, 4),
    "viscosity": (1000.0, 0.0, "mPa·s", 3, 4),
    "ph": (1.0, 0.0, "", 2, 3),
    "ratio": (1.0, 0.0, "", 2, 3),
    "count": (1.0, 0.0, "", 0, 6),
    "normality": (1.0, 0.0, "meq/L", 4, 4),
    "amount_concentration": (1.0, 0.0, "mmol/L", 4, 4),
    "index": (1.0, 0.0, "", 2, 3),
    "energy": (1e-6, 0.0, "MJ", 2, 4),
    "heat_per_amount": (0.001, 0.0, "kJ/mol", 2, 4),
    "molar_conductivity": (10000.0, 0.0, "S·cm²/mol", 2, 5),
    "amount": (1.0, 0.0, "mol", 3, 4),
    "baume": (1.0, 0.0, "°Bé", 2, 4),
    "density_difference": (1.0, 0.0, "kg/m³", 1, 3),
    "scalar": (1.0, 0.0, "", 6, 6),
    "equivalent_conductivity": (10000.0, 0.0, "S·cm²/eq", 2, 5),
    "equivalent_weight": (1000.0, 0.0, "g/eq", 4, 6),
    "bead_diameter": (1000.0, 0.0, "mm", 3, 3),
    "molality": (1.0, 0.0, "mol/kg", 4, 4),
    "mass_ratio": (1000.0, 0.0, "g/kg", 3, 4),
    "salt_efficiency": (1.0, 0.0, "eq/kg", 3, 4),
    "specific_heat": (0.001, 0.0, "kJ/(kg·K)", 3, 4),
    "specific_gravity": (1.0, 0.0, "", 5, 6),
    "density_slope": (1.0, 0.0, "kg/(m³·K)", 3, 3),
    "turbidity": (1.0, 0.0, "NTU", 2, 3),
    "colony_count": (1e-6, 0.0, "CFU/mL", 2, 3),
    "endotoxin": (1e-6, 0.0, "EU/mL", 4, 3),
    "absorbance": (1.0, 0.0, "", 4, 3),
}


FINER_BELOW: dict[str, tuple[tuple[float, int], ...]] = {
    "liquid_volume": ((1.0, 3),),
    "mass": ((1.0, 3),),
    "dose": ((1.0, 3),),
    "resistivity": ((0.01, 6), (1.0, 3)),
    "conductivity": ((0.1, 4),),
    "concentration": ((0.01, 5),),
    "hardness": ((0.01, 5),),
}
"""Kind: (below this number as shown, decimals), the smallest first. 0.42 L of sanitizer is not 0.4 L; 0.0556 µS/cm (18.0 MΩ·cm) is not 0.056;
0.0005 mg/L of silica is not 0.001 mg/L, and the 0.001659 MΩ·cm of an acid water (602.9 µS/cm) is not 0.002."""


def finer(kind: str, shown: float, decimals: int) -> int:
    """Decimals at most, for a number in the unit shown."""
    bands = FINER_BELOW.get(kind, ()) if shown else ()
    return max((decimals, *(more for below, more in bands if abs(shown) < below)))


def shown_digits() -> dict[str, tuple[int, int]]:
    """(decimals at most, significant digits) by kind, for the test that compares them with ``regenplant.units``."""
    return {kind: entry[3:] for kind, entry in _SHOWN.items()}


def shown_units() -> dict[str, tuple[float, float, str]]:
    """(factor, offset, unit) by kind, for the test that compares them with ``regenplant.units``."""
    return {kind: entry[:3] for kind, entry in _SHOWN.items()}


def tiny(value: float, *, digits: int, decimals: int) -> str:
    """A number that its decimals would round to nothing, by its digits: "0.0004", "1.2×10⁻⁷"; "" for any other."""
    if not 0.0 < abs(value) < 10.0**-decimals / 2:
        return ""
    mantissa = f"{value:.{max(digits - 1, 0)}g}"
    base, _, exponent = mantissa.partition("e")
    text = f"{base}×10{str(int(exponent)).translate(_SUPERSCRIPTS)}" if exponent else base
    return text.replace("-", MINUS)


def number(value: float, *, decimals: int, digits: int) -> str:
    """A bare number with sensible digits; integers keep all of theirs."""
    if not math.isfinite(value):
        return "no number" if math.isnan(value) else f"{MINUS if value < 0 else ''}∞"
    magnitude = abs(value)
    places = decimals
    if small := tiny(value, digits=digits, decimals=decimals):
        return small
    if magnitude > 0:
        places = max(0, min(decimals, digits - 1 - math.floor(math.log10(magnitude))))
    text = f"{magnitude:,.{places}f}"
    if "." in text:
        text = text.rstrip("0").rstrip(".")
    is_zero = not text.strip("0.,")
    return (MINUS if value < 0 and not is_zero else "") + text.replace(",", THIN_SPACE)


MOST_PLACES = 9
"""So many decimals tell any two figures apart that are not the same measurement."""

SHORT_TIME_S = 300.0
"""Below five minutes a time that is no whole number of minutes is said to the second."""


def short_time(seconds: float) -> str:
    """ "40 s", "2 min 30 s", "4.5 s"; "" where minutes say it: from five minutes on, and for whole minutes [s]."""
    size = abs(seconds)
    if not 0.0 < size < SHORT_TIME_S:
        return ""
    if size < 9.5:
        parts = [f"{number(size, decimals=3, digits=2)}{NO_BREAK_SPACE}s"]
    else:
        minutes, rest = divmod(int(size + 0.5), 60)
        if not rest:
            return ""
        parts = [f"{minutes}{NO_BREAK_SPACE}min"] if minutes else []
        parts.append(f"{rest}{NO_BREAK_SPACE}s")
    return (MINUS if seconds < 0.0 else "") + NO_BREAK_SPACE.join(parts)


def say(value: float, kind: str) -> str:
    """The value with its unit, for a sentence: "66.6 L/min"; a short time to the second."""
    if kind == "duration" and (short := short_time(value)):
        return short
    unit = _SHOWN[kind][2]
    text = _said(value, kind)
    return f"{text}{NO_BREAK_SPACE}{unit}" if unit else text


def _said(value: float, kind: str) -> str:
    factor, offset, _, decimals, digits = _SHOWN[kind]
    shown = value * factor + offset
    return number(shown, decimals=finer(kind, shown, decimals), digits=digits)


def say_so_far(value: float, needed: float, kind: str) -> str:
    """What is reached, beside what is needed: what falls short is never rounded to look met, "14.9 min" of 15 min."""
    text = say(value, kind)
    if not falls_short(value, needed) or text != say(needed, kind):
        return text
    factor, offset, unit, decimals, _ = _SHOWN[kind]
    cut = cut_below(value * factor + offset, needed * factor + offset, decimals)
    return f"{cut}{NO_BREAK_SPACE}{unit}" if unit else cut


def falls_short(value: float, needed: float) -> bool:
    """Whether a figure is less than needed, by more than the arithmetic of units costs."""
    return value < needed and not math.isclose(value, needed, rel_tol=1e-9)


def cut_below(shown: float, needed: float, decimals: int) -> str:
    """A number below ``needed``, cut off at the first decimal that tells them apart, from ``decimals`` on; both in the unit shown."""
    for places in range(max(decimals, 1), MOST_PLACES):
        cut = math.floor(shown * 10.0**places) / 10.0**places
        if cut < round(needed, places):
            break
    return number(cut, decimals=places, digits=MOST_PLACES + 6)


def say_range(low: float, high: float, kind: str) -> str:
    """Two values with one unit: "35 to 49 °C"."""
    if kind == "duration" and (short_time(low) or short_time(high)):
        return f"{say(low, kind)} to {say(high, kind)}"
    unit = _SHOWN[kind][2]
    texts = [_said(value, kind) for value in (low, high)]
    return f"{texts[0]} to {texts[1]}" + (f"{NO_BREAK_SPACE}{unit}" if unit else "")


def listed(words: Iterable[str]) -> str:
    """ "a, b and c"."""
    items = list(words)
    if len(items) < 2:
        return "".join(items)
    return f"{', '.join(items[:-1])} and {items[-1]}"
