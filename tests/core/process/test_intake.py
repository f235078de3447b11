"""Findings that stop a tank, remarks, what a declared service forbids, and the class rule."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from regenplant.core.process import intake
from regenplant.core.process.intake import (
    FittingCondition,
    InspectionData,
    Odour,
    OxidizerStrip,
    ShellCondition,
    WaterColour,
)
from regenplant.core.process.vocabulary import SegregationClass

SOUND = InspectionData(
    shell=ShellCondition.SOUND,
    head_and_fittings=FittingCondition.SOUND,
    odour=Odour.NONE,
    water_colour=WaterColour.CLEAR,
    oxidizer_strip=OxidizerStrip.NONE,
    first_drain_ph=7.0,
)

# --- findings. Source of the rules: common practice of exchange plants, a plant hold. ---
STOPS = [
    ({"shell": ShellCondition.CRACKED}, "The shell is cracked."),
    ({"shell": ShellCondition.LEAKING}, "The shell leaks."),
    ({"shell": ShellCondition.BULGED}, "may burst under pressure"),
    ({"shell": ShellCondition.FROZEN}, "Let it thaw slowly and closed"),
    ({"head_and_fittings": FittingCondition.DAMAGED}, "do not hold pressure"),
    ({"odour": Odour.CHLORINE}, "an oxidizer may be inside"),
    ({"odour": Odour.SOLVENT}, "solvent or oil"),
    ({"water_colour": WaterColour.YELLOW}, "The first water is yellow"),
    ({"water_colour": WaterColour.ORANGE}, "The first water is orange"),
    ({"water_colour": WaterColour.BLUE}, "The first water is blue"),
    ({"water_colour": WaterColour.GREEN}, "The first water is green"),
    ({"first_drain_ph": 3.1}, "First drain pH 3.1, at least 4."),
    ({"first_drain_ph": 10.4}, "First drain pH 10.4, at most 10."),
    ({"first_drain_ph": None}, "is not measured; it must be 4 to 10"),
    ({"oxidizer_strip": OxidizerStrip.COLOURED}, "The oxidizer strip is coloured"),
]


def test_a_sound_tank_is_stopped_by_nothing():
    assert intake.findings_that_stop(SOUND) == ()


@pytest.mark.parametrize(("changed", "sentence"), STOPS)
def test_each_finding_stops_with_its_own_sentence(changed, sentence):
    found = intake.findings_that_stop(replace(SOUND, **changed))
    assert len(found) == 1
    assert sentence in found[0]


def test_every_finding_is_told_not_only_the_first():
    bad = replace(
        SOUND, shell=ShellCondition.CRACKED, first_drain_ph=1.0, oxidizer_strip=OxidizerStrip.COLOURED
    )
    assert len(intake.findings_that_stop(bad)) == 3


@given(ph=st.floats(-2, 16, allow_nan=False))
def test_the_ph_window_stops_exactly_outside(ph):
    stopped = bool(intake.findings_that_stop(replace(SOUND, first_drain_ph=ph)))
    assert stopped is (ph < 4.0 or ph > 10.0)


@pytest.mark.parametrize("ph", [4.0, 10.0])
def test_the_ends_of_the_ph_window_are_allowed(ph):
    assert intake.findings_that_stop(replace(SOUND, first_drain_ph=ph)) == ()


@pytest.mark.parametrize("kind", [ShellCondition, FittingCondition, Odour, WaterColour, OxidizerStrip])
def test_what_the_form_calls_a_stop_is_what_the_rule_stops(kind):
    field = {
        ShellCondition: "shell",
        FittingCondition: "head_and_fittings",
        Odour: "odour",
        WaterColour: "water_colour",
        OxidizerStrip: "oxidizer_strip",
    }[kind]
    for item in kind:
        assert bool(intake.findings_that_stop(replace(SOUND, **{field: item}))) is intake.stops_by_itself(
            item
        )


# --- remarks ----------------------------------------------------------------------------------------------------------
def test_remarks_tell_and_do_not_stop():
    seen = replace(
        SOUND, head_and_fittings=FittingCondition.WORN, odour=Odour.SULFIDE, foreign_material="twigs"
    )
    assert intake.findings_that_stop(seen) == ()
    told = " ".join(intake.remarks(seen, 0.1186))
    assert "renew it before the tank is filled" in told
    assert "toxic hydrogen sulfide" in told
    assert "twigs" in told


def full_tanks() -> list[tuple[str, float, float]]:
    """(size, gross L, full weight in kg) from the trade’s table of sizes: the gross volumes are geometry
    and stand in ``tank_sizes.csv``; the weights are from memory, so they prove the remark's band and nothing else."""
    return [
        ("6x18", 8.3, 12), ("7x35", 22.1, 28), ("8x44", 36.2, 45), ("9x48", 50.0, 60), ("10x54", 69.5, 80),
        ("12x52", 96.4, 115), ("14x47", 118.6, 130), ("14x65", 164.0, 180), ("16x65", 214.2, 240), ("24x72", 533.8, 620),
    ]  # fmt: skip


@pytest.mark.parametrize(("size", "gross_l", "weight_kg"), full_tanks())
def test_a_full_tank_of_every_usual_size_gets_no_remark_on_its_weight(size, gross_l, weight_kg):
    assert intake.remarks(replace(SOUND, weight_kg=float(weight_kg)), gross_l / 1000) == ()


@pytest.mark.parametrize(("weight_kg", "told"), [(80.0, "resin may be missing"), (200.0, "sediment or ice")])
def test_a_light_or_heavy_tank_gets_a_remark(weight_kg, told):
    assert told in intake.remarks(replace(SOUND, weight_kg=weight_kg), 0.1186)[0]


def test_the_possible_weights_hold_the_usual_ones():
    low, high = intake.possible_weight_kg(0.1186)
    usual_low, usual_high = intake.usual_weight_kg(0.1186)
    assert low < usual_low < usual_high < high


# --- fill. Outside check: every usual fill of the trade's table of sizes is allowed. -----------------------------------
def table_of_sizes() -> list[dict[str, str]]:
    path = Path(__file__).parents[2] / "reference" / "tank_sizes.csv"
    with path.open(newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", table_of_sizes(), ids=lambda row: f"{row['diameter_in']}x{row['height_in']}")
def test_every_usual_fill_of_the_table_of_sizes_is_allowed(row):
    """``tank_sizes.csv``: gross volumes by geometry, fills from memory of the trade."""
    gross_l, most_l = float(row["gross_cylinder_L"]), float(row["nominal_resin_L"].split("-")[-1])
    assert not intake.is_too_full(most_l / 1000, gross_l / 1000)
    assert intake.is_too_full(0.96 * gross_l / 1000, gross_l / 1000)


# --- the declared service. The oxidizer list is requirement CS-02. ----------------------------------------------------
@pytest.mark.requirement("CS-02")
@pytest.mark.parametrize(
    "words",
    [
        "Nitric acid rinse", "perchloric digestion", "chromic acid bath", "PERMANGANATE polishing", "hydrogen peroxide",
        "an unknown oxidizer", "some oxidising agent", "bleach", "nickel plating", "silver recovery", "cyanide strip line",
        "uranium removal", "PFAS removal", "solvent wash",
    ],
)  # fmt: skip
def test_a_forbidden_service_is_found_in_the_customers_words(words):
    assert intake.service_findings(words)


@pytest.mark.parametrize(
    "words", ["", "slow", "boiler feed", "car wash, spot-free rinse", "humidifier", "dialysis room 2"]
)
def test_an_ordinary_service_stops_nothing(words):
    assert intake.service_findings(words) == ()


def test_the_sentence_quotes_the_word_it_found():
    assert intake.service_findings("rinse after Electroplating, hall 2")[0].startswith(
        "The declared service names “electroplating”"
    )


def test_service_and_words_are_both_read():
    assert len(intake.service_findings("nickel plating", "peroxide got in")) == 2


# --- classes ------------------------------------------------------------------------------------------------------------
def test_the_whole_table_of_classes():
    """Every pair: the same class, C to D, and E to D with a disposition; nothing else, and nothing ever upwards."""
    for own in SegregationClass:
        for wanted in SegregationClass:
            is_same, is_down = own is wanted, (own.value, wanted.value) == ("C", "D")
            is_judged = (own.value, wanted.value) == ("E", "D")
            assert (intake.class_blocker(own, wanted) is None) is (is_same or is_down), (own, wanted)
            blocker = intake.class_blocker(own, wanted, has_disposition=True)
            assert (blocker is None) is (is_same or is_down or is_judged), (own, wanted)


def test_a_downgrade_happens_once_because_the_tank_is_then_industrial():
    assert intake.is_downgrade(SegregationClass.HIGH_PURITY, SegregationClass.INDUSTRIAL)
    assert intake.class_blocker(SegregationClass.INDUSTRIAL, SegregationClass.HIGH_PURITY) is not None


def test_the_refusal_of_a_class_names_both_classes():
    blocker = intake.class_blocker(SegregationClass.INDUSTRIAL, SegregationClass.POTABLE)
    assert blocker is not None
    assert "class D (industrial); it cannot be accepted to class B" in blocker.sentence


def test_only_classes_that_are_regenerated_are_offered_the_own_one_first():
    offered = {own.value: [item.value for item in intake.classes_on_offer(own)] for own in SegregationClass}
    assert offered == {"A": ["A"], "B": ["B"], "C": ["C", "D"], "D": ["D"], "E": [], "F": [], "X": []}
    assert intake.classes_on_offer(SegregationClass.SUSPECT, has_disposition=True) == (
        SegregationClass.INDUSTRIAL,
    )


def test_the_caution_at_the_door_names_the_authority_and_the_gear():
    assert "SDS" in intake.DOOR_CAUTION.measures[-1]
    assert "goggles" in intake.DOOR_CAUTION.protective_equipment
