"""Published grades: their figures against copies of the texts, and what may be claimed of them: only what was all measured."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.engineering.conductivity import Compensation
from regenplant.core.engineering.sources import SOURCES
from regenplant.core.process import grades
from regenplant.core.process.default_recipes import default_specifications
from regenplant.core.process.grades import BY_KEY, PUBLISHED, HowObtained, claimable, claims
from regenplant.core.process.measurements import MEASUREMENTS
from regenplant.core.process.specification import LabResult, RinseReading
from regenplant.unit_kinds import KINDS
from tests.core.reference_rows import Row, rows

MICRO = 1e-6
"""µg/L in kg/m³."""


def result(key: str, value: float, **more: object) -> LabResult:
    return replace(LabResult(key, value, 0.0, "C-3", True), **more)  # type: ignore[arg-type]


TYPE_II = {
    "conductivity": 0.8e-4,
    "toc": 40 * MICRO,
    "sodium": 4 * MICRO,
    "chloride": 4 * MICRO,
    "silica_total": 2 * MICRO,
}
"""A water inside every figure of type II: 0.8 µS/cm, that is 1.25 MΩ·cm."""


def results(**values: float) -> list[LabResult]:
    return [result(key, value) for key, value in values.items()]


# --- the figures ----------------------------------------------------------------------------------------------------
_ELEMENTS = {
    "Cu": "copper", "Zn": "zinc", "As": "arsenic", "Cd": "cadmium", "Cr": "chromium", "Pb": "lead", "Hg": "mercury",
    "Se": "selenium", "Ca": "calcium", "Mg": "magnesium", "K": "potassium", "Na": "sodium", "F": "fluoride",
    "nitrate as N": "nitrate_nitrogen", "sulfate": "sulfate", "free chlorine": "free_chlorine", "chloramines": "chloramines",
}  # fmt: skip


@pytest.mark.parametrize("row", rows("water_standards", quantity="^dialysis water maximum"))
def test_the_list_of_dialysis_water_is_as_reprinted(row: Row) -> None:
    test = BY_KEY["dialysis_aami"].test(_ELEMENTS[row.inputs])
    assert test is not None and test.high is not None
    row.check(test.high * 1e3, 1e-12)


_MICROBES = {
    "dialysis water, microbial limit": ("dialysis_iso", "viable_count"),
    "dialysis water, endotoxin limit": ("dialysis_iso", "endotoxin"),
    "ultrapure dialysis water, endotoxin limit": ("dialysis_ultrapure", "endotoxin"),
    "older dialysis water limit (RD62:2006), microbial": ("dialysis_rd62", "viable_count"),
    "older dialysis water limit (RD62:2006), endotoxin": ("dialysis_rd62", "endotoxin"),
}


@pytest.mark.parametrize("row", rows("verified_dialysis"))
def test_microbes_of_dialysis_water_are_as_read(row: Row) -> None:
    key, measurement = _MICROBES[row.quantity]
    test = BY_KEY[key].test(measurement)
    assert test is not None and test.high is not None
    row.check(test.high / 1e6, 1e-9)


@pytest.mark.parametrize(
    "row", rows("water_standards", quantity="^ASTM D1193-99e1 (TOC|sodium|chloride|total silica)")
)
def test_the_types_of_d1193_are_as_printed(row: Row) -> None:
    key = {"TOC": "toc", "sodium": "sodium", "chloride": "chloride", "total silica": "silica_total"}[
        row.quantity.removeprefix("ASTM D1193-99e1 ").removesuffix(" max")
    ]
    test = BY_KEY[f"astm_{row.inputs.removeprefix('Type ').lower()}"].test(key)
    if row.text == "no limit":
        assert test is None
    else:
        assert test is not None and test.high == pytest.approx(row.value * MICRO)


@pytest.mark.parametrize(
    "row", rows("water_standards", quantity="^ISO 3696:1987 (oxidisable|absorbance|residue|silica)")
)
def test_the_grades_of_iso_3696_are_as_printed(row: Row) -> None:
    words = row.quantity.removeprefix("ISO 3696:1987 ").split(" ")[0]
    key, scale = {
        "oxidisable": ("oxidizable", 1e-3), "absorbance": ("absorbance_254", 1.0), "residue": ("residue", 1e-3), "silica": ("silica", 1e-3),
    }[words]  # fmt: skip
    test = BY_KEY[f"iso_{row.inputs.removeprefix('grade ')}"].test(key)
    if row.text == "-":
        assert test is None
    else:
        assert test is not None and test.high == pytest.approx(row.value * scale)


@pytest.mark.parametrize("row", rows("water_standards", quantity="^USP <645> stage 1"))
def test_stage_1_is_as_reprinted(row: Row) -> None:
    (celsius,) = row.numbers(r"([\d.]+) degC")
    table = BY_KEY["usp_645_1"].tests[0].table
    assert dict(table)[float(celsius) + 273.15] == pytest.approx(row.value * 1e-4)


def test_of_two_rounded_figures_the_stricter_holds() -> None:
    """Type I prints 0.056 µS/cm and 18 MΩ·cm, which is 0.0556: a water of 0.0558 µS/cm has 17.9 MΩ·cm and is none."""
    test = BY_KEY["astm_i"].test("conductivity")
    assert test is not None and test.high == pytest.approx(1.0 / 18.0 * 1e-4)


def test_every_grade_names_its_source_and_tests_of_the_registry() -> None:
    assert len({grade.key for grade in PUBLISHED}) == len(PUBLISHED)
    for grade in PUBLISHED:
        assert grade.source in SOURCES and grade.tests
        for test in grade.tests:
            assert MEASUREMENTS[test.measurement].kind in KINDS


# --- what may be claimed --------------------------------------------------------------------------------------------
def test_a_grade_is_claimed_when_every_test_is_done_and_inside() -> None:
    claim = claims(BY_KEY["astm_ii"], results(**TYPE_II))
    assert claim.is_claimed
    assert claim.sentence == "ASTM D1193 type II: all 5 tests were done, and inside."


@pytest.mark.parametrize("left_out", sorted(TYPE_II))
def test_a_grade_is_not_claimed_while_one_test_is_missing(left_out: str) -> None:
    done = {key: value for key, value in TYPE_II.items() if key != left_out}
    claim = claims(BY_KEY["astm_ii"], results(**done))
    assert not claim.is_claimed
    assert claim.missing == (MEASUREMENTS[left_out].name,)
    assert "not measured" in claim.sentence
    assert "ASTM D1193 type II" not in [one.grade.name for one in claimable(results(**done))]


def test_no_type_of_d1193_follows_from_another() -> None:
    """The numbers are labels: this water is type II and not type III, whose 4 MΩ·cm it misses by far (D1193 scope 1.2)."""
    assert [claim.grade.key for claim in claimable(results(**TYPE_II))] == ["astm_ii"]
    third = claims(BY_KEY["astm_iii"], results(**TYPE_II))
    assert third.outside == ("Conductivity at 25 °C",)
    organic = results(**{**TYPE_II, "conductivity": 0.2e-4, "toc": 100 * MICRO})
    assert [claim.grade.key for claim in claimable(organic)] == ["astm_iii"]


def test_reactive_silica_is_no_proof_of_total_silica() -> None:
    done = {key: value for key, value in TYPE_II.items() if key != "silica_total"}
    assert claims(BY_KEY["astm_ii"], results(**done, silica=1 * MICRO)).missing == ("Total silica",)


def test_a_result_by_an_overdue_instrument_proves_nothing() -> None:
    doubtful = [replace(one, instrument_is_valid=one.measurement != "toc") for one in results(**TYPE_II)]
    assert claims(BY_KEY["astm_ii"], doubtful).missing == ("Total organic carbon",)


def test_the_latest_result_counts_and_of_several_tanks_all() -> None:
    late = result("toc", 60 * MICRO, at_s=9.0)
    assert claims(BY_KEY["astm_ii"], [late, *results(**TYPE_II)]).outside == ("Total organic carbon",)
    tanks = [result("toc", value * MICRO, tank=tank) for tank, value in (("T-1", 30), ("T-2", 70))]
    others = [one for one in results(**TYPE_II) if one.measurement != "toc"]
    assert claims(BY_KEY["astm_ii"], [*others, tanks[0]]).is_claimed
    assert claims(BY_KEY["astm_ii"], [*others, *tanks]).outside == ("Total organic carbon",)


def test_of_a_delivery_every_tank_was_tested_or_the_whole_batch() -> None:
    """A test done on one of two tanks says nothing of the other."""
    grade = next(one for one in PUBLISHED if not claims(one, results(**TYPE_II)).missing and not one.barred and claims(one, results(**TYPE_II)).is_claimed)  # fmt: skip
    on_tanks = [one for one in results(**TYPE_II) if one.measurement != "toc"]
    first, second = (result("toc", TYPE_II["toc"], tank=tank) for tank in ("T1", "T2"))
    assert claims(grade, [*on_tanks, first, second], tanks=("T1", "T2")).is_claimed
    claim = claims(grade, [*on_tanks, first], tanks=("T1", "T2"))
    assert not claim.is_claimed and "not measured: Total organic carbon" in claim.sentence
    assert claimable([*on_tanks, first], tanks=("T1", "T2")) == ()
    assert claims(grade, [*on_tanks, first], tanks=("T1",)).is_claimed
    assert claims(grade, results(**TYPE_II), tanks=("T1", "T2")).is_claimed


def test_what_is_known_from_memory_is_flagged_and_never_proves_or_limits_anything() -> None:
    guide = BY_KEY["astm_d5127_e-2"]
    assert {test.how for test in guide.tests} == {HowObtained.MEMORY}
    perfect = results(conductivity=0.056e-4, toc=1 * MICRO, silica_total=0.1 * MICRO)
    claim = claims(guide, perfect)
    assert not claim.is_claimed and len(claim.unproven) == 3
    assert grades.limits_of(guide) == ()
    assert all("from memory" in sentence for sentence in grades.not_copied(guide))
    for grade in PUBLISHED:
        remembered = {test.measurement for test in grade.tests if test.is_from_memory}
        assert not remembered & {limit.measurement for limit in grades.limits_of(grade)}


def test_dialysis_water_is_never_claimed_of_a_tank() -> None:
    for key in ("dialysis_aami", "dialysis_iso", "dialysis_ultrapure", "dialysis_rd62"):
        grade = BY_KEY[key]
        perfect = [result(test.measurement, 0.0) for test in grade.tests]
        assert not claims(grade, perfect).is_claimed
        assert "where it is used" in claims(grade, perfect).sentence


# --- USP <645> ------------------------------------------------------------------------------------------------------
def test_stage_1_takes_uncompensated_readings_with_their_temperature_only() -> None:
    grade = BY_KEY["usp_645_1"]
    # at 29 °C the row of 25 °C holds: 1.3 µS/cm
    assert claims(grade, [result("conductivity_uncompensated", 1.3e-4, temperature_kelvin=302.15)]).is_claimed
    assert claims(grade, [result("conductivity_uncompensated", 1.35e-4, temperature_kelvin=302.15)]).outside
    assert claims(grade, [result("conductivity_uncompensated", 1.0e-4)]).missing
    assert claims(grade, [result("conductivity", 1.0e-4, temperature_kelvin=302.15)]).missing


def test_stage_3_goes_by_the_ph_of_the_same_sample() -> None:
    grade = BY_KEY["usp_645_3"]

    def at(ph: float, microsiemens: float) -> grades.Claim:
        return claims(grade, results(ph_potassium_chloride=ph, conductivity_equilibrated=microsiemens * 1e-4))

    assert at(6.6, 2.1).is_claimed and at(5.0, 4.7).is_claimed
    assert at(6.6, 2.2).outside and at(7.2, 1.0).outside
    assert not claims(grade, results(conductivity_equilibrated=1e-4)).is_claimed


def test_a_rinse_gives_its_worst_reading_and_a_compensated_one_proves_no_stage_1() -> None:
    held = [
        RinseReading(minute * 60.0, 10.0, value, 298.15, kind, "C-3", True)
        for minute, value, kind in (
            (0, 0.9e-4, Compensation.NEUTRAL), (5, 0.7e-4, Compensation.NEUTRAL), (10, 0.8e-4, Compensation.NONE),
        )
    ]  # fmt: skip
    found = {one.measurement: one for one in grades.results_of_rinse(held, Compensation.NEUTRAL)}
    assert found["conductivity"].value == pytest.approx(0.9e-4)
    assert found["conductivity_uncompensated"].value == pytest.approx(0.8e-4)
    only_compensated = grades.results_of_rinse(held[:2], Compensation.NEUTRAL)
    assert [one.measurement for one in only_compensated] == ["conductivity"]
    assert grades.results_of_rinse([replace(held[0], instrument_is_valid=False)], Compensation.NEUTRAL) == ()


# --- a specification begun with one -----------------------------------------------------------------------------------
def test_a_specification_begun_with_a_grade_has_its_limits_and_says_so() -> None:
    mixed = next(one for one in default_specifications() if one.code == "Q-MB")
    begun = grades.begun_with(mixed, BY_KEY["astm_ii"])
    assert {limit.measurement for limit in begun.limits} == {*TYPE_II, "silica", "ph"}
    copied = begun.limit("toc")
    assert copied is not None and copied.grade == "ASTM D1193 type II" and copied.source == "astm_d1193"
    assert begun.limit("ph") == mixed.limit("ph")
