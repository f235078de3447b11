"""Numbers as people write them: conversions against published definitions, every spelling, every refusal, round trips.

Outside values: the rows of ``reference/conversions.csv`` that are unit conversions (source beside each row), and factors worked
out here by hand from the exact definitions of the units (international yard and pound 1959: 1 in = 0.0254 m,
1 lb = 0.45359237 kg, 1 grain = 1/7000 lb; US liquid gallon = 231 cubic inches; from memory, exact by definition).
"""

from __future__ import annotations

import csv
import math
import re
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from regenplant import units
from regenplant.core.errors import DomainError, OutOfRange, UnitNotUnderstood
from regenplant.core.process.wording import say
from regenplant.unit_spellings import SPELLINGS
from regenplant.units import KINDS, SYSTEMS, understand

REFERENCE = Path(__file__).parent / "reference" / "conversions.csv"
ROWS = {row["id"]: row for row in csv.DictReader(REFERENCE.read_text("utf-8").splitlines())}

# --- against outside values -----------------------------------------------------------------------------------------------
CONVERSIONS = {
    "conversions-001": ("1 lb/ft3", "dose", "metric", 1.0),
    "conversions-003": ("1 gr/gal", "hardness", "metric", 1.0),
    "conversions-004": ("100 mg/L", "hardness", "us", 1.0),
    "conversions-005": ("1 eq/L", "capacity", "us", 1.0),
    "conversions-007": ("1 gpm/ft3", "bed_flow", "metric", 1.0),
    "conversions-008": ("1 BV/h", "bed_flow", "us", 1.0),
    "conversions-009": ("1 gpm/ft2", "velocity", "metric", 1.0),
    "conversions-010": ("10 m/h", "velocity", "us", 1.0),
    "conversions-011": ("1 ft3", "liquid_volume", "us", 1.0),
    "conversions-014": ("1 gal", "liquid_volume", "metric", 1.0),
    "conversions-015": ("1 psi/ft", "pressure_gradient", "metric", 1.0),
    "conversions-016": ("20 psi", "pressure", "metric", 0.01),  # the row is in bar, we show kPa
    "conversions-017": ("120 degF", "temperature", "metric", 1.0),
    "conversions-018": ("60 degF", "temperature", "metric", 1.0),
    "conversions-019": ("49 degC", "temperature", "us", 1.0),
}
"""Row of the reference: what a person types, as which kind, shown in which system, times a factor for the row's unit."""


@pytest.mark.parametrize("row", CONVERSIONS)
def test_a_conversion_agrees_with_the_reference(row: str) -> None:
    typed, kind, system, factor = CONVERSIONS[row]
    reference = ROWS[row]
    tolerance = float(reference["tolerance"].removesuffix("%")) / 100
    shown = units.shown_value(understand(typed, kind).value, kind, system) * factor
    assert shown == pytest.approx(float(reference["value"]), rel=tolerance), reference["source"]


INCH, POUND = 0.0254, 0.45359237
FOOT, GALLON, GRAIN = 12 * INCH, 231 * INCH**3, POUND / 7000
PSI = POUND * 9.80665 / INCH**2  # standard gravity 9.80665 m/s2, exact by definition

BY_DEFINITION = [
    ("1 ft3", "resin_volume", FOOT**3),
    ("1 gal", "liquid_volume", GALLON),
    ("1 gpm", "flow", GALLON / 60),
    ("1 gpm/ft3", "bed_flow", GALLON / 60 / FOOT**3),
    ("1 gpm/ft2", "velocity", GALLON / 60 / FOOT**2),
    ("1 lb", "mass", POUND),
    ("1 oz", "mass", POUND / 16),
    ("1 t", "mass", 1000.0),
    ("1 lb/ft3", "dose", POUND / FOOT**3),
    ("8.345 lb/gal", "density", 8.345 * POUND / GALLON),
    ("1 gpg", "hardness", GRAIN / GALLON),
    ("1 ppm as CaCO3", "hardness", 1e-3),
    ("1 psi", "pressure", PSI),
    ("1 bar", "pressure", 1e5),
    ("1 psi/ft", "pressure_gradient", PSI / FOOT),
    ("14 in", "length", 14 * INCH),
    ("2 ft", "length", 2 * FOOT),
    ("1 ft2", "area", FOOT**2),
    ("1 kgr/ft3", "capacity", 1000 * GRAIN / 0.0500435 / FOOT**3 * 1.0),
    ("1 meq/mL", "capacity", 1000.0),
    ("212 F", "temperature", 373.15),
    ("32 °F", "temperature", 273.15),
    ("0 °C", "temperature", 273.15),
    ("-40 C", "temperature", 233.15),
    ("300 K", "temperature", 300.0),
    ("9 °F", "temperature_rise", 5.0),
    ("5 °C", "temperature_rise", 5.0),
    ("5 K", "temperature_rise", 5.0),
    ("1.5 h", "duration", 5400.0),
    ("0:45", "duration", 2700.0),
    ("1:02:03", "duration", 3723.0),
    ("2 d", "duration", 172_800.0),
    ("5.1 %", "strength", 0.051),
    ("32 wt%", "strength", 0.32),
    ("1.159 g/mL", "density", 1159.0),
    ("1.159 sg", "density", 1159.0),
    ("0.112 µS/cm", "conductivity", 1.12e-5),
    ("1 mS/cm", "conductivity", 0.1),
    ("1 mS/m", "conductivity", 1e-3),
    ("1 umho/cm", "conductivity", 1e-4),
    ("18.2 Mohm-cm", "resistivity", 182_000.0),
    ("50 kohm-cm", "resistivity", 500.0),
    ("7.2", "ph", 7.2),
    ("7.2 pH", "ph", 7.2),
    ("6.5 BV", "bed_volumes", 6.5),
    ("2 min 30 s", "duration", 150.0),
    ("1min 5sec", "duration", 65.0),
    ("8 scfm/ft2", "air_velocity", 8 * 0.3048 / 60),
    ("56 ft3/min", "air_flow", 56 * 0.3048**3 / 60),
    ("95 m3/h", "air_flow", 95 / 3600),
]


@pytest.mark.parametrize(("typed", "kind", "si"), BY_DEFINITION, ids=[typed for typed, _, _ in BY_DEFINITION])
def test_what_is_typed_has_the_value_of_its_definition(typed: str, kind: str, si: float) -> None:
    assert understand(typed, kind).value == pytest.approx(si, rel=1e-9)


@pytest.mark.parametrize(
    ("kind", "typed", "si"),
    [
        # 1/rho is exact; 18.18 Mohm-cm is pure water at 25 °C (0.0550 uS/cm), iapws
        ("conductivity", "10 Mohm-cm", 1e-5),
        ("conductivity", "18.18 megohm", 1 / 181_800),
        ("resistivity", "0.1 uS/cm", 1e5),
        ("resistivity", "1 S/m", 1.0),
    ],
)
def test_conductivity_and_resistivity_are_each_others_reciprocal(kind: str, typed: str, si: float) -> None:
    assert understand(typed, kind).value == pytest.approx(si, rel=1e-12)


# --- the record keeps the words ---------------------------------------------------------------------------------------------
def test_the_words_as_typed_are_kept() -> None:
    found = understand("  3,6 cu ft ", "resin_volume")
    assert (found.text, found.value_as_typed, found.unit_as_typed) == ("3,6 cu ft", "3,6", "cu ft")
    assert found.sentence() == "101.9\u00a0L · 3.60\u00a0ft³"


@pytest.mark.parametrize(("system", "unit", "si"), [("metric", "L", 0.102), ("us", "ft³", 102 * FOOT**3)])
def test_a_bare_number_takes_the_unit_of_the_persons_system(
    system: units.UnitSystem, unit: str, si: float
) -> None:
    small = understand("10", "resin_volume", system=system)
    assert small.unit_as_typed == unit
    assert small.value == pytest.approx(si * 10 / 102)


def test_a_space_between_thousands_is_read_and_a_decimal_comma_too() -> None:
    for typed in ("12 500 L", "12\u202f500 L", "12\u00a0500 L", "12500 L", "12,5 m3", "12.5 m³"):
        assert understand(typed, "liquid_volume").value == pytest.approx(12.5), typed


@pytest.mark.parametrize(
    "typed", ["8.9 MΩ·cm", "8.9 M\u2126·cm", "8.9 Mohm.cm", "8.9 MOHM-CM", "8.9 megohm-cm", "8.9 meg"]
)
def test_every_way_of_writing_megohm_centimetre_is_one(typed: str) -> None:
    assert understand(typed, "resistivity").value == pytest.approx(89_000.0)


@pytest.mark.parametrize(
    "typed", ["0.112 µS/cm", "0.112 \u03bcS/cm", "0.112 uS/cm", "0.112 US/CM", "0.112 µS/cm at 25 °C"]
)
def test_every_way_of_writing_microsiemens_is_one(typed: str) -> None:
    assert understand(typed, "conductivity").value == pytest.approx(1.12e-5)


def accepted_by(spelling: str) -> list[str]:
    """Kinds that take this spelling with some number."""
    takes = []
    for kind in KINDS:
        for number in ("1", "20", "300", "1000", "0.01"):
            try:
                understand(f"{number} {spelling}", kind)
            except DomainError:
                continue
            takes.append(kind)
            break
    return takes


@pytest.mark.parametrize("spelling", sorted(SPELLINGS))
def test_every_spelling_is_of_use_and_case_does_not_matter(spelling: str) -> None:
    kinds = accepted_by(spelling)
    assert kinds, f"no kind of quantity takes {spelling!r}"
    assert accepted_by(spelling.upper()) == kinds


@pytest.mark.parametrize("system", SYSTEMS)
@pytest.mark.parametrize("kind", KINDS)
def test_the_example_and_the_unit_shown_for_a_kind_can_be_typed(kind: str, system: units.UnitSystem) -> None:
    for example in re.split(r" or ", KINDS[kind].example):
        assert understand(example, kind).value >= KINDS[kind].low
    middle = 1.0 if KINDS[kind].low < 1.0 < KINDS[kind].high else (KINDS[kind].low + KINDS[kind].high) / 2
    typed = f"{units.shown_value(middle, kind, system):.12g} {units.unit_text(kind, system)}"
    assert understand(typed, kind, system=system).value == pytest.approx(middle, rel=1e-9)


# --- refusals ---------------------------------------------------------------------------------------------------------------
REFUSED = [
    ("", "resin_volume", "empty", "Nothing is written. Write a resin volume, for example 102 L or 3.6 ft3."),
    ("   ", "flow", "empty", "Nothing is written."),
    ("about ten", "mass", "no_number", "“about ten” is not a number with a unit."),
    ("L 10", "resin_volume", "no_number", "is not a number with a unit"),
    ("10 L 5", "resin_volume", "unknown_unit", "The unit “L 5”"),
    ("--5 L", "resin_volume", "no_number", "is not a number"),
    ("1.2.3 L", "resin_volume", "unknown_unit", "is not known"),
    ("nan", "mass", "no_number", "is not a number"),
    ("inf kg", "mass", "no_number", "is not a number"),
    ("1e400 kg", "mass", "too_large", "is too large to be a mass"),
    ("9" * 61, "mass", "too_long", "Too long"),
    ("1,416 L", "liquid_volume", "ambiguous_comma", "can be read in two ways. Write 1416 or 1.416."),
    ("10 furlongs", "length", "unknown_unit", "The unit “furlongs”"),
    ("10 kg", "resin_volume", "wrong_unit", "“10 kg” is not a resin volume."),
    ("10 L/min", "bed_flow", "wrong_unit", "is not a flow per bed volume"),
    ("7 %", "ph", "wrong_unit", "pH has no unit"),
    ("10 L", "conductivity", "wrong_unit", "is not a conductivity"),
    ("-1 L", "resin_volume", "out_of_range", "cannot be a resin volume here. Possible is"),
    ("51 m3", "resin_volume", "out_of_range", "cannot be a resin volume here."),
    ("120 %", "strength", "out_of_range", "cannot be a strength here."),
    ("-300 °C", "temperature", "out_of_range", "cannot be a temperature here."),
    ("0 Mohm-cm", "conductivity", "out_of_range", "is above zero"),
    ("-3 uS/cm", "resistivity", "out_of_range", "is above zero"),
    ("31 days", "duration", "out_of_range", "cannot be a time here."),
    ("0:75", "duration", "unknown_unit", "The unit “:75” in “0:75” is not known for a time."),
    ("17", "ph", "out_of_range", "cannot be a pH here."),
    ("95 Nm3/h", "air_flow", "normal_air", "is counted at 0 °C"),
    ("1500 NL/min", "air_flow", "normal_air", "One Nm³ is 1.057 m³ of standard air"),
    ("2 min 75 s", "duration", "unknown_unit", "is not known for a time"),
    ("10 <script>", "mass", "unknown_unit", "is not known for a mass"),
]


@pytest.mark.parametrize(
    ("typed", "kind", "code", "sentence"), REFUSED, ids=[f"{t[:12]} {k}" for t, k, _, _ in REFUSED]
)
def test_what_cannot_be_is_refused_with_a_sentence(typed: str, kind: str, code: str, sentence: str) -> None:
    with pytest.raises((UnitNotUnderstood, OutOfRange)) as refused:
        understand(typed, kind)
    assert refused.value.code == code
    assert sentence in refused.value.message
    assert refused.value.message.endswith(".")


def test_a_refusal_of_range_carries_the_numbers_in_si() -> None:
    with pytest.raises(OutOfRange) as refused:
        understand("51 m3", "resin_volume")
    assert refused.value.context == {"seen": 51.0, "allowed_low": 0, "allowed_high": 50}
    assert "0\u00a0L to 50\u202f000\u00a0L" in refused.value.message


def test_an_unknown_kind_is_a_defect_not_a_refusal() -> None:
    with pytest.raises(KeyError):
        understand("1 L", "no_such_kind")


@settings(max_examples=150, deadline=None, derandomize=True)
@given(text=st.text(max_size=70), kind=st.sampled_from(sorted(KINDS)))
def test_any_text_is_understood_or_refused_and_nothing_else(text: str, kind: str) -> None:
    try:
        found = understand(text, kind)
    except DomainError as refused:
        assert refused.message.endswith(".")
    else:
        assert KINDS[kind].low <= found.value <= KINDS[kind].high


# --- round trips ------------------------------------------------------------------------------------------------------------
def possible(kind: str) -> st.SearchStrategy[float]:
    """SI values of a kind over its whole range, small ones as often as large ones."""
    low, high = KINDS[kind].low, KINDS[kind].high
    logarithmic = st.floats(math.log10(max(high * 1e-9, 1e-12)), math.log10(high)).map(
        lambda x: min(10**x, high)
    )
    return st.one_of(st.floats(low, high), logarithmic.filter(lambda x: x >= low))


@settings(max_examples=200, deadline=None, derandomize=True)
@given(data=st.data(), kind=st.sampled_from(sorted(KINDS)), system=st.sampled_from(SYSTEMS))
def test_a_value_shown_in_full_and_typed_again_is_the_same(
    data: st.DataObject, kind: str, system: units.UnitSystem
) -> None:
    value = data.draw(possible(kind))
    shown = units.shown_value(value, kind, system)
    try:
        again = understand(f"{shown!r} {units.unit_text(kind, system)}", kind, system=system).value
    except OutOfRange:
        # only the very edge may fall out, by the rounding of the last digit
        edge = (KINDS[kind].low, KINDS[kind].high)
        assert min(abs(value - end) for end in edge) <= 1e-9 * max(abs(value), 1.0)
        return
    assert again == pytest.approx(value, rel=1e-9, abs=1e-9 if KINDS[kind].affine else 1e-300)


@settings(max_examples=200, deadline=None, derandomize=True)
@given(data=st.data(), kind=st.sampled_from(sorted(KINDS)), system=st.sampled_from(SYSTEMS))
def test_what_a_person_reads_can_be_typed_as_it_stands(
    data: st.DataObject, kind: str, system: units.UnitSystem
) -> None:
    """The text on the screen, thin spaces, units and all, is understood, to the digits shown."""
    value = data.draw(possible(kind))
    text = units.format_quantity(value, kind, system)
    digits = KINDS[kind].digits
    decimals = KINDS[kind].decimals[1 if system == "us" else 0]
    step = abs(units.shown_value(1.0, kind, system) - units.shown_value(0.0, kind, system))
    allowed = max(abs(value) * 10.0 ** -(digits - 1), 0.5 * 10.0**-decimals / step) * 1.01
    try:
        again = understand(text, kind, system=system).value
    except OutOfRange:
        edge = (KINDS[kind].low, KINDS[kind].high)
        assert min(abs(value - end) for end in edge) <= allowed
        return
    assert abs(again - value) <= allowed


@pytest.mark.parametrize("kind", sorted(KINDS))
def test_both_systems_show_the_same_quantity(kind: str) -> None:
    value = 1.0 if KINDS[kind].low <= 1.0 <= KINDS[kind].high else 300.0
    for system in SYSTEMS:
        unit = (KINDS[kind].us if system == "us" else KINDS[kind].metric)[0]
        again = float(
            units.registry()
            .Quantity(units.shown_value(value, kind, system), unit)
            .to(KINDS[kind].si_unit)
            .magnitude
        )
        assert again == pytest.approx(value, rel=1e-12)


# --- showing ----------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("value", "kind", "system", "text"),
    [
        (3.322, "liquid_volume", "metric", "3\u202f322\u00a0L"),
        (3.322, "liquid_volume", "us", "877.6\u00a0US gal"),
        (0.1019, "resin_volume", "us", "3.60\u00a0ft³"),
        (None, "mass", "metric", "–"),
        (0.0, "mass", "metric", "0.0\u00a0kg"),
        (-3.5, "temperature_rise", "metric", "−3.5\u00a0°C"),
        (294.55, "temperature", "metric", "21.4\u00a0°C"),
        (294.55, "temperature", "us", "71\u00a0°F"),
        (1.12e-5, "conductivity", "metric", "0.112\u00a0µS/cm"),
        (182_000.0, "resistivity", "metric", "18.20\u00a0MΩ·cm"),
        (181_800.0, "resistivity", "metric", "18.18\u00a0MΩ·cm"),
        (5.56e-6, "conductivity", "metric", "0.0556\u00a0µS/cm"),
        (89_000.0, "resistivity", "metric", "8.90\u00a0MΩ·cm"),
        (120.0, "resistivity", "metric", "0.012\u00a0MΩ·cm"),
        (16.587, "resistivity", "metric", "0.001659\u00a0MΩ·cm"),
        (0.0, "concentration", "metric", "0.000\u00a0mg/L"),
        (5e-7, "concentration", "metric", "0.00050\u00a0mg/L"),
        (1.4e-6, "concentration", "us", "0.00140\u00a0mg/L"),
        (4e-5, "concentration", "metric", "0.040\u00a0mg/L"),
        (6e-6, "hardness", "metric", "0.00600\u00a0mg/L as CaCO₃"),
        (4e-4, "hardness", "metric", "0.40\u00a0mg/L as CaCO₃"),
        (0.026, "air_flow", "metric", "1\u202f560\u00a0L/min"),
        (0.026, "air_flow", "us", "55.1\u00a0ft³/min"),
        (0.04, "air_velocity", "us", "7.87\u00a0ft/min"),
        (19.2, "air_volume", "us", "678.0\u00a0ft³"),
        (40.0, "duration", "metric", "40\u00a0s"),
        (150.0, "duration", "us", "2\u00a0min\u00a030\u00a0s"),
        (180.0, "duration", "metric", "3\u00a0min"),
        (4.5, "duration", "metric", "4.5\u00a0s"),
        (299.6, "duration", "metric", "5\u00a0min"),
        (301.0, "duration", "metric", "5\u00a0min"),
        (0.0, "duration", "metric", "0\u00a0min"),
        (-40.0, "duration", "metric", "−40\u00a0s"),
        (7.2, "ph", "metric", "7.20"),
        (0.051, "strength", "metric", "5.10\u00a0%"),
        (2700.0, "duration", "metric", "45\u00a0min"),
    ],
)
def test_a_quantity_is_shown_with_sensible_digits(
    value: float | None, kind: str, system: str, text: str
) -> None:
    assert units.format_quantity(value, kind, system) == text


@pytest.mark.parametrize(
    ("number", "text"),
    [
        (1234567.0, "1\u202f234\u202f567"),
        (-1234.5, "−1\u202f234"),
        (0.5, "0.500"),
        (-0.0, "0.000"),
        (-0.0001, "−0.0001"),
        (1.2e-7, "1.2×10⁻⁷"),
        (math.inf, "∞"),
        (-math.inf, "−∞"),
    ],
)
def test_a_bare_number_is_shown_for_people(number: float, text: str) -> None:
    assert units.format_number(number) == text


def test_not_a_number_is_never_shown() -> None:
    with pytest.raises(ValueError):
        units.format_number(math.nan)


def test_a_twin_names_both_systems_and_the_reciprocal() -> None:
    assert units.twin(0.00111, "flow") == "66.6\u00a0L/min · 17.6\u00a0US gpm"
    assert units.twin(0.00111, "flow", "us") == "17.6\u00a0US gpm · 66.6\u00a0L/min"
    assert units.twin(1e-5, "conductivity") == "0.100\u00a0µS/cm · 10.00\u00a0MΩ·cm"
    assert units.twin(7.2, "ph") == "7.20"
    assert units.other_system(0.0, "conductivity") == ""


def test_a_literal_of_a_set_up_file_is_converted() -> None:
    assert units.convert(14, "inch", "m") == pytest.approx(14 * INCH)
    assert units.convert(20, "degC", "kelvin") == pytest.approx(293.15)


# --- limits -----------------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("low", "high", "kind", "system", "text"),
    [
        (0.001, 0.00122, "flow", "metric", "60 to 73.2\u00a0L/min"),
        (181_800.0, None, "resistivity", "metric", "at least 18.18\u00a0MΩ·cm"),
        (None, 1e-3, "hardness", "metric", "at most 1\u00a0mg/L as CaCO₃"),
        (6.0, 8.0, "ph", "metric", "6 to 8"),
        (0.4, 0.4, "length", "metric", "0.4\u00a0m"),
        (40.0, 180.0, "duration", "metric", "40\u00a0s to 3\u00a0min"),
        (600.0, 900.0, "duration", "metric", "10 to 15\u00a0min"),
        (None, None, "mass", "metric", ""),
    ],
)
def test_a_limit_is_worded_once(
    low: float | None, high: float | None, kind: str, system: units.UnitSystem, text: str
) -> None:
    assert units.limit_words(low, high, kind, system) == text


@settings(max_examples=300, deadline=None, derandomize=True)
@given(data=st.data(), kind=st.sampled_from(sorted(KINDS)))
def test_a_sentence_and_a_bar_round_a_limit_alike(data: st.DataObject, kind: str) -> None:
    """The same limit never stands twice with two roundings, once in a sentence of the core and once on the screen."""
    value = data.draw(possible(kind))
    assert units.limit_words(value, None, kind) == f"at least {say(value, kind)}"
