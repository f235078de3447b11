"""Numbers as people write them, to and from the plant's SI floats. The only module that imports pint.

Inside the program a number is a float in coherent SI. At the edge a person types "18 Mohm-cm", "30 ft3" or
"6 lb/ft3", and reads both unit systems. A ``QuantityKind`` says for each kind of quantity which units are
shown, how many digits make sense, which spellings are understood, and what is physically possible at all.

Two bases are not units and are kept beside the number by those who store it: "as CaCO3" and "as 100 %".
"""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from typing import Any, Literal

import pint

from regenplant.core.errors import OutOfRange, UnitNotUnderstood
from regenplant.core.process.wording import cut_below, falls_short, finer, short_time, tiny
from regenplant.unit_kinds import KINDS, QuantityKind
from regenplant.unit_spellings import ATOMS, CASED_ATOMS, SPELLINGS

UnitSystem = Literal["metric", "us"]
SYSTEMS: tuple[UnitSystem, ...] = ("metric", "us")

NO_BREAK_SPACE = "\u00a0"
THIN_SPACE = "\u202f"
MINUS = "\u2212"


@lru_cache(maxsize=1)
def registry() -> pint.UnitRegistry:
    """The one registry, made on first use, with what the trade writes and pint lacks."""
    ureg: pint.UnitRegistry = pint.UnitRegistry(autoconvert_offset_to_baseunit=True, cache_folder=None)
    ureg.define("equivalent = [equivalent] = eq")
    ureg.define("us_gallon_per_minute = gallon / minute = gpm")
    # 1 grain as CaCO3 = 64.79891 mg; the equivalent weight of CaCO3 is 50.04 g/eq (CaCO3 100.087 g/mol / 2)
    ureg.define("kilograin_as_caco3 = 64.79891 / 50.0435 equivalent = kgr")
    ureg.define("grain_as_caco3 = kilograin_as_caco3 / 1000")
    # hardness as CaCO3: 10 mg/L of CaO (56.077 g/mol), 10 mg/L, and one grain per imperial gallon
    ureg.define("german_degree = 10 * 100.0869 / 56.077 * mg / L")
    ureg.define("french_degree = 10 * mg / L")
    ureg.define("clark_degree = grain / imperial_gallon")
    # counts by agreed procedures, which nothing converts into anything else
    ureg.define("nephelometric_turbidity_unit = [turbidity]")
    ureg.define("colony_forming_unit = [colony]")
    ureg.define("endotoxin_unit = [endotoxin]")
    return ureg


# --- reading --------------------------------------------------------------------------------------------------------
@dataclass(frozen=True, slots=True)
class Understood:
    """What was made of the text a person typed: the SI value, and the words kept as the record."""

    text: str
    value_as_typed: str
    unit_as_typed: str
    value: float
    kind: str

    def sentence(self) -> str:
        """Both unit systems, for "understood as ..."."""
        return twin(self.value, self.kind)


_NUMBER = re.compile(r"^\s*([+\-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+\-]?\d{1,3})?)\s*(.*?)\s*$")
_POWER = re.compile(r"(?<=\d)\s*\*\s*10(?:\^?(-?\d{1,3})|([⁻⁰¹²³⁴⁵⁶⁷⁸⁹]{1,4}))(?=\D|$)")
"""A power of ten as we show it ourselves ("1.2×10⁻⁷"), or as typed ("1.2*10^-7")."""
_CLOCK = re.compile(r"^\s*(\d{1,3}):([0-5]\d)(?::([0-5]\d))?\s*$")
_MINUTES_AND_SECONDS = re.compile(
    r"^(\d{1,3})\s*min(?:ute)?s?\s*([0-5]?\d)\s*s(?:ec(?:ond)?s?)?$", re.IGNORECASE
)


def _normal(text: str) -> str:
    """One spelling for characters that look alike (micro, ohm, minus, spaces)."""
    for old, new in (
        ("\u03bc", "µ"),
        ("\u2126", "Ω"),
        ("\u2212", "-"),
        ("\u00a0", " "),
        ("\u202f", " "),
        ("\u2009", " "),
        ("−", "-"),
        ("×", "*"),
        ("⋅", "·"),
        ("∙", "·"),
    ):
        text = text.replace(old, new)
    return text


def _as_exponent(match: re.Match[str]) -> str:
    return f"e{match[1] or match[2].translate(_PLAIN)}"


def _a(name: str) -> str:
    """The name with its article: "a mass", "an area"."""
    return f"{'an' if name[0] in 'aeio' else 'a'} {name}"


def kind_named(key: str) -> QuantityKind:
    """The kind with this key. KeyError for an unknown one: kinds come from code, never from people."""
    return KINDS[key]


def understand(text: str, kind_key: str, *, system: UnitSystem = "metric") -> Understood:
    """Read what a person typed as a quantity of one kind.

    A number without a unit is taken in the display unit of ``system``; "0:45" and "2 min 30 s" are durations. A decimal comma
    is understood; a thousands comma is not, because "1,416 L" would then be read wrongly by a thousand:
    a comma followed by exactly three digits is refused with a sentence.

    Raises: UnitNotUnderstood when the text is no number or the unit does not fit; OutOfRange when no such
    quantity can exist (the number seen and the number allowed are in the message).
    """
    kind = KINDS[kind_key]
    raw = _normal(str(text)).strip()
    if not raw:
        raise UnitNotUnderstood(
            f"Nothing is written. Write {_a(kind.name)}, for example {kind.example}.", code="empty"
        )
    if len(raw) > 60:
        raise UnitNotUnderstood(
            f"Too long for {_a(kind.name)}. Write for example {kind.example}.", code="too_long"
        )
    if kind.key == "duration" and (clock := _CLOCK.match(raw)):
        hours, minutes, seconds = int(clock[1]), int(clock[2]), int(clock[3] or 0)
        value = hours * 3600.0 + minutes * 60.0 + seconds
        return _within(Understood(str(text).strip(), raw, "h:min", value, kind.key), kind)
    if kind.key == "duration" and (both := _MINUTES_AND_SECONDS.match(raw)):
        value = int(both[1]) * 60.0 + int(both[2])
        return _within(Understood(str(text).strip(), raw, "", value, kind.key), kind)
    compact = re.sub(r"(?<=\d) (?=\d{3}(?:\D|$))", "", _POWER.sub(_as_exponent, raw))
    match = _NUMBER.match(compact)
    if match is None:
        raise UnitNotUnderstood(
            f"“{raw}” is not a number with a unit. Write {_a(kind.name)}, for example {kind.example}.",
            code="no_number",
        )
    number, unit_text = match[1], match[2]
    if re.search(r",\d{3}(?:\D|$)", number):
        raise UnitNotUnderstood(
            f"“{number}” can be read in two ways. Write {number.replace(',', '')} or {number.replace(',', '.')}.",
            code="ambiguous_comma",
        )
    magnitude = float(number.replace(",", "."))
    if not math.isfinite(magnitude):
        raise UnitNotUnderstood(f"“{number}” is too large to be {_a(kind.name)}.", code="too_large")
    unit = _unit_for(unit_text, kind, system, raw)
    value = _to_si(magnitude, unit, kind, raw)
    shown = unit_text or _display(kind, system)[1]
    return _within(Understood(str(text).strip(), number, shown, value, kind.key), kind)


def _display(kind: QuantityKind, system: str) -> tuple[str, str]:
    return kind.us if system == "us" else kind.metric


def _unit_for(unit_text: str, kind: QuantityKind, system: UnitSystem, raw: str) -> str:
    if not unit_text:
        return _display(kind, system)[0]
    if kind.key in ("air_flow", "air_volume") and _NORMAL_AIR.match(_normal(unit_text)):
        raise UnitNotUnderstood(
            f"“{raw}” is counted at 0 °C; air is counted here as the field says. One Nm³ is 1.057 m³ of standard air "
            f"(15.6 °C). Write for example {kind.example}.",
            code="normal_air",
        )
    # The case of "M" matters for nothing on this floor; a lower-case table keeps gloves from mattering.
    key = _normal(re.sub(r"\s+", " ", unit_text.strip().lower()))
    key = key if key in SPELLINGS else key.rstrip(".")
    key = key.removesuffix(" at 25 °c").removesuffix(" at 25 c").strip()
    unit = SPELLINGS.get(key) or _composed(unit_text)
    if unit is None:
        raise UnitNotUnderstood(
            f"The unit “{unit_text}” in “{raw}” is not known for {_a(kind.name)}. Write for example {kind.example}.",
            code="unknown_unit",
        )
    return unit


_NORMAL_AIR = re.compile(r"^(N[mlL]|nm[3³^]|nl/)")
"""Normal cubic metres and litres: air counted at 0 °C and 101.325 kPa."""
_FACTOR = re.compile(r"^([A-Za-zµΩω°%]+)\^?([-⁻]?[1-4¹²³⁴])?$")
_BRACKETED = re.compile(r"/\s*\(([^()/]*)\)")
_APART = re.compile(r"[*·.\s]+")


@lru_cache(maxsize=1024)
def _composed(unit_text: str) -> str | None:
    """A unit put together of known ones ("m3/m2/h", "J/(kg K)", "kg m-3"), as pint reads it; None where one is unknown."""
    text = _normal(unit_text.strip())
    text = _BRACKETED.sub(lambda match: "/" + "/".join(_APART.split(match[1].strip())), text)
    product: list[str] = []
    for place, part in enumerate(text.split("/")):
        for position, name in enumerate(_APART.split(part.strip())):
            if name == "1" and place == 0:
                continue
            match = _FACTOR.match(name)
            atom = _atom(match[1]) if match else None
            if match is None or atom is None:
                return None
            power = int((match[2] or "1").translate(_PLAIN))
            # "J/kg K" means per kilogram and kelvin only in brackets; outside, what follows the first divides nothing
            divides = place > 0 and position == 0
            product.append(f"({atom})**{-power if divides else power}")
    return "*".join(product) or None


def _atom(name: str) -> str | None:
    return CASED_ATOMS.get(name) or ATOMS.get(name.lower())


@lru_cache(maxsize=2048)
def _scale(unit: str, si_unit: str) -> tuple[float, float]:
    """(factor, offset) from a unit to SI. Raises pint.DimensionalityError where they do not fit."""
    ureg = registry()
    zero = float(ureg.Quantity(0.0, unit).to(si_unit).magnitude)
    if zero == 0.0:
        return float(ureg.Quantity(1.0, unit).to(si_unit).magnitude), 0.0
    return (float(ureg.Quantity(1000.0, unit).to(si_unit).magnitude) - zero) / 1000.0, zero


def _to_si(magnitude: float, unit: str, kind: QuantityKind, raw: str) -> float:
    if kind.key in ("conductivity", "resistivity") and not same_dimension(unit, kind.si_unit):
        return _reciprocal(magnitude, unit, kind, raw)
    if kind.key == "ph" and unit != "dimensionless":
        raise UnitNotUnderstood(f"pH has no unit; “{raw}” has one. Write for example 7.2.", code="wrong_unit")
    try:
        if kind.key == "temperature_rise":
            unit = {"degC": "delta_degC", "degF": "delta_degF"}.get(unit, unit)
        factor, offset = _scale(unit, kind.si_unit)
        return magnitude * factor + offset
    except pint.DimensionalityError as error:
        raise UnitNotUnderstood(
            f"“{raw}” is not {_a(kind.name)}. Write for example {kind.example}.", code="wrong_unit"
        ) from error


def _reciprocal(magnitude: float, unit: str, kind: QuantityKind, raw: str) -> float:
    """Conductivity typed as resistivity and the other way round: exact reciprocal (WQ-03)."""
    ureg = registry()
    other = "ohm*m" if kind.key == "conductivity" else "S/m"
    if ureg.Unit(unit).dimensionality != ureg.Unit(other).dimensionality:
        raise UnitNotUnderstood(
            f"“{raw}” is not {_a(kind.name)}. Write for example {kind.example}.", code="wrong_unit"
        )
    value = float(ureg.Quantity(magnitude, unit).to(other).magnitude)
    if value <= 0:
        raise OutOfRange(f"“{raw}” cannot be: {_a(kind.name)} is above zero.", code="out_of_range")
    return 1.0 / value


def _within(understood: Understood, kind: QuantityKind) -> Understood:
    # the last digit of a float is no reason to refuse a number that stands at the edge ("50000 L" of 50 m³)
    slack = 1e-12
    if not kind.low - slack * abs(kind.low) <= understood.value <= kind.high + slack * abs(kind.high):
        allowed = f"{format_quantity(kind.low, kind.key)} to {format_quantity(kind.high, kind.key)}"
        raise OutOfRange(
            f"“{understood.text}” cannot be {_a(kind.name)} here. Possible is {allowed}.",
            code="out_of_range",
            seen=understood.value,
            allowed_low=kind.low,
            allowed_high=kind.high,
        )
    return understood


# --- showing --------------------------------------------------------------------------------------------------------
@lru_cache(maxsize=256)
def _linear(kind_key: str, system: str) -> tuple[float, float]:
    """(factor, offset) from SI to the display unit: shown = value * factor + offset. Pint is slow, this is not."""
    kind = KINDS[kind_key]
    ureg = registry()
    unit = _display(kind, system)[0]
    zero = float(ureg.Quantity(0.0, kind.si_unit).to(unit).magnitude) if kind.affine else 0.0
    one = float(ureg.Quantity(1.0, kind.si_unit).to(unit).magnitude)
    return one - zero, zero


def shown_value(value: float, kind_key: str, system: str = "metric") -> float:
    """The SI value in the display unit, unrounded."""
    factor, offset = _linear(kind_key, system)
    return value * factor + offset


def shown_values(values: Iterable[float], kind_key: str, system: str = "metric") -> list[float]:
    """SI values in the display unit, unrounded, all at once."""
    factor, offset = _linear(kind_key, system)
    return [value * factor + offset for value in values]


def unit_text(kind_key: str, system: str = "metric") -> str:
    """The unit as shown to people, "" if there is none."""
    return _display(KINDS[kind_key], system)[1]


def _named_unit(unit: str) -> str:
    """A unit as people write it, as pint reads it. Raises UnitNotUnderstood for an unknown one."""
    text = _normal(re.sub(r"\s+", " ", unit.strip()))
    if text in ("", "-"):
        return "dimensionless"
    found = SPELLINGS.get(text.lower()) or _composed(text)
    if found is None:
        raise UnitNotUnderstood(f"The unit “{unit[:30]}” is not known here.", code="unknown_unit")
    return found


@lru_cache(maxsize=512)
def si_unit_of(unit: str) -> str:
    """The SI unit a unit of the trade is measured in. Raises UnitNotUnderstood for an unknown one."""
    named = registry().Unit(_named_unit(unit))
    for kind in KINDS.values():
        if registry().Unit(kind.si_unit).dimensionality == named.dimensionality:
            return kind.si_unit
    return str(registry().get_base_units(named)[1])


@lru_cache(maxsize=512)
def same_dimension(first: str, second: str) -> bool:
    """Whether two units (in pint's spelling) measure the same."""
    ureg = registry()
    return bool(ureg.Unit(first).dimensionality == ureg.Unit(second).dimensionality)


def measured(number: float, unit: str) -> tuple[float, str]:
    """A number in any unit of the trade as (SI value, SI unit). Raises UnitNotUnderstood for an unknown unit."""
    si = si_unit_of(unit)
    factor, offset = _scale(_named_unit(unit), si)
    return number * factor + offset, si


@dataclass(frozen=True, slots=True)
class Scale:
    """From a unit that was written once, over a column, to SI."""

    factor: float
    offset: float
    is_reciprocal: bool
    """The unit measures the reciprocal of the quantity, such as a resistivity for a conductivity."""
    low: float
    high: float
    """What is physically possible of this kind [SI]."""

    def to_si(self, magnitude: Any) -> Any:
        """A number, or an array of them, in SI; not held against what is possible."""
        found = magnitude * self.factor + self.offset
        return 1.0 / found if self.is_reciprocal else found


def scale_of(unit: str, kind_key: str) -> Scale:
    """How a unit scales a whole column of one kind. Raises UnitNotUnderstood for a unit that is unknown or does not fit."""
    kind = KINDS[kind_key]
    raw = f"1 {unit.strip()}"
    name = _unit_for(unit.strip(), kind, "metric", raw)
    if kind.key in ("conductivity", "resistivity") and not same_dimension(name, kind.si_unit):
        _reciprocal(1.0, name, kind, raw)  # refuses what is neither
        return Scale(
            *_scale(name, "ohm*m" if kind.key == "conductivity" else "S/m"), True, kind.low, kind.high
        )
    try:
        return Scale(*_scale(name, kind.si_unit), False, kind.low, kind.high)
    except pint.DimensionalityError as error:
        raise UnitNotUnderstood(
            f"“{unit[:30]}” is no unit of {_a(kind.name)}. Write for example {kind.example}.",
            code="wrong_unit",
        ) from error


def in_unit(value: float, si_unit: str, unit: str) -> float:
    """An SI value in a unit as people write it. Raises UnitNotUnderstood when the unit does not fit."""
    name = _named_unit(unit)
    try:
        factor, offset = _scale(name, si_unit)
    except pint.DimensionalityError as error:
        raise UnitNotUnderstood(
            f"The answer is in {plain_unit(si_unit)}; it cannot be shown in “{unit}”.", code="wrong_unit"
        ) from error
    return (value - offset) / factor


_PLAIN_UNIT = str.maketrans(
    {"µ": "u", "Ω": "ohm", "°": "deg", "²": "2", "³": "3", "·": ".", "₃": "3", "*": ".", "^": ""}
)


def plain_unit(unit: str) -> str:
    """A unit without special letters, as a program or a keyboard has it ("uS/cm", "m3", "degC"); "-" for none."""
    plain = unit.replace("kelvin", "K").replace("pascal", "Pa").replace("watt", "W").replace("joule", "J")
    plain = plain.replace("dimensionless", "").replace("siemens", "S").translate(_PLAIN_UNIT)
    return plain.strip() or "-"


def format_quantity(
    value: float | None, kind_key: str, system: str = "metric", *, with_unit: bool = True
) -> str:
    """The value for people: sensible digits, U+202F between thousands, U+2212 as minus, no-break space.

    None is shown as an en dash ("not written"), a short time to the second ("40 s", "2 min 30 s"). Never used to make a number that is computed with.
    """
    if value is None:
        return "–"
    if kind_key == "duration" and with_unit and (short := short_time(value)):
        return short
    text = format_shown(shown_value(value, kind_key, system), kind_key, system)
    unit = unit_text(kind_key, system)
    return f"{text}{NO_BREAK_SPACE}{unit}" if with_unit and unit else text


def format_so_far(
    value: float, needed: float, kind_key: str, system: str = "metric", *, with_unit: bool = True
) -> str:
    """What is reached, beside what is needed: what falls short is never rounded to look met, "14.9 min" of 15 min."""
    text = format_quantity(value, kind_key, system, with_unit=with_unit)
    if not falls_short(value, needed) or text != format_quantity(
        needed, kind_key, system, with_unit=with_unit
    ):
        return text
    shown, wanted = (shown_value(one, kind_key, system) for one in (value, needed))
    cut = cut_below(shown, wanted, KINDS[kind_key].decimals[1 if system == "us" else 0])
    unit = unit_text(kind_key, system)
    return f"{cut}{NO_BREAK_SPACE}{unit}" if with_unit and unit else cut


def format_shown(shown: float, kind_key: str, system: str = "metric") -> str:
    """A number that is already in the unit shown, with the digits of its kind: what ``format_quantity`` writes before the unit."""
    kind = KINDS[kind_key]
    decimals = kind.decimals[1 if system == "us" else 0]
    if kind_key == "duration" and short_time(shown * 60.0):
        decimals = 2 if abs(shown) < 1.0 else 1
    return format_number(shown, digits=kind.digits, decimals=finer(kind_key, shown, decimals))


def limit_number(value: float, kind_key: str, system: str = "metric") -> str:
    """The number at a limit, without unit and without idle zeros: the same on screen, paper and tag."""
    text = format_quantity(value, kind_key, system, with_unit=False)
    return text.rstrip("0").rstrip(".") if "." in text and "×" not in text else text


def limit_words(low: float | None, high: float | None, kind_key: str, system: str = "metric") -> str:
    """The limits in words: "60 to 73 L/min", "at least 10 MΩ·cm", "at most 1 mg/L", "" for none.

    The one text of a limit: screen, sheet and tag take it from here, and sentences of the core say the same in metric.
    """
    unit = unit_text(kind_key, system)
    tail = f"{NO_BREAK_SPACE}{unit}" if unit else ""

    def said(value: float) -> str:
        short = short_time(value) if kind_key == "duration" else ""
        return short or f"{limit_number(value, kind_key, system)}{tail}"

    if low is not None and high is not None:
        first, second = said(low), said(high)
        if first == second:
            return first
        return f"{first.removesuffix(tail) if tail and second.endswith(tail) else first} to {second}"
    if low is not None:
        return f"at least {said(low)}"
    return f"at most {said(high)}" if high is not None else ""


def format_number(shown: float, *, digits: int = 4, decimals: int = 3) -> str:
    """A bare number with sensible digits; large integers are never cut to significant digits."""
    if math.isinf(shown):
        return "∞" if shown > 0 else f"{MINUS}∞"
    if math.isnan(shown):
        raise ValueError("not a number has no text")
    magnitude = abs(shown)
    places = decimals
    if magnitude > 0:
        places = max(0, min(decimals, digits - 1 - math.floor(math.log10(magnitude))))
        if small := tiny(shown, digits=digits, decimals=decimals):
            return small
    text = f"{magnitude:,.{places}f}".replace(",", THIN_SPACE)
    is_zero = all(character in f"0.{THIN_SPACE}" for character in text)
    return f"{MINUS}{text}" if shown < 0 and not is_zero else text


_PLAIN = str.maketrans("⁻⁰¹²³⁴⁵⁶⁷⁸⁹", "-0123456789")


def has_twin(kind_key: str) -> bool:
    """Whether the two unit systems show this kind differently, or it has a natural reciprocal twin."""
    kind = KINDS[kind_key]
    return kind.metric != kind.us or kind_key in ("conductivity", "resistivity")


def other_system(value: float, kind_key: str, system: str = "metric") -> str:
    """The same value in the other system (or as reciprocal), "" where there is no other."""
    if kind_key == "conductivity":
        return format_quantity(1.0 / value, "resistivity") if value > 0 else ""
    if kind_key == "resistivity":
        return format_quantity(1.0 / value, "conductivity") if value > 0 else ""
    if not has_twin(kind_key):
        return ""
    return format_quantity(value, kind_key, "us" if system == "metric" else "metric")


def twin(value: float, kind_key: str, system: str = "metric") -> str:
    """The value in both systems, the person's own first: "66.6 L/min · 17.6 US gpm"."""
    own, other = format_quantity(value, kind_key, system), other_system(value, kind_key, system)
    return f"{own} · {other}" if other else own


def convert(value: float, unit: str, si_unit: str) -> float:
    """A literal with its unit as SI, for reference data and set-up ("14", "inch" -> metres)."""
    return float(registry().Quantity(value, unit).to(si_unit).magnitude)
