"""Sentences, cautions, default recipes: the words and figures a person meets."""

from __future__ import annotations

import pytest

from regenplant import units
from regenplant.core.engineering.sources import SOURCES, HowKnown, source
from regenplant.core.process import hazards, wording
from regenplant.core.process.limits import PlantLimits
from regenplant.core.process.plan import SignalWord
from regenplant.core.process.vocabulary import Chemical, LegArrangement, StepKind


# --- numbers in sentences -------------------------------------------------------------------------------------------
@pytest.mark.parametrize("kind", sorted(wording.shown_units()))
def test_a_sentence_shows_a_number_in_the_metric_unit_of_the_house(kind: str) -> None:
    """One truth for units: the factors of sentences are those of the unit module."""
    factor, offset, unit = wording.shown_units()[kind]
    for value in (300.0, 1.0, 0.25):
        assert value * factor + offset == pytest.approx(
            units.shown_value(value, kind, "metric"), rel=1e-9, abs=1e-9
        )
    assert unit == units.unit_text(kind, "metric")


def test_every_kind_of_the_house_can_be_said() -> None:
    assert wording.shown_units().keys() == units.KINDS.keys()


@pytest.mark.parametrize("kind", sorted(wording.shown_units()))
def test_a_sentence_rounds_as_the_screen_does(kind: str) -> None:
    known = units.KINDS[kind]
    assert wording.shown_digits()[kind] == (known.decimals[0], known.digits)


def test_a_short_time_is_said_to_the_second() -> None:
    assert wording.say(40.0, "duration") == "40\u00a0s"
    assert wording.say(90.0, "duration") == "1\u00a0min\u00a030\u00a0s"
    assert wording.say_range(40.0, 120.0, "duration") == "40\u00a0s to 2\u00a0min"
    assert wording.say_range(600.0, 900.0, "duration") == "10 to 15\u00a0min"
    assert [wording.short_time(seconds) for seconds in (0.0, 60.0, 299.7, 300.0, 1e6)] == [""] * 5


@pytest.mark.parametrize(
    ("value", "needed", "kind", "said"),
    [
        (899.6, 900.0, "duration", "14.9 min"),
        (872.0, 900.0, "duration", "14.5 min"),
        (900.0, 900.0, "duration", "15 min"),
        (840.0, 900.0, "duration", "14 min"),
        (239.8, 240.0, "duration", "3.9 min"),
        (7.9979, 8.0, "bed_volumes", "7.99 BV"),
        (7.99999, 8.0, "bed_volumes", "7.99 BV"),
        (8.0 - 1e-13, 8.0, "bed_volumes", "8 BV"),
    ],
)
def test_what_falls_short_is_never_rounded_to_look_met(
    value: float, needed: float, kind: str, said: str
) -> None:
    for told in (wording.say_so_far(value, needed, kind), units.format_so_far(value, needed, kind)):
        assert told.replace("\u00a0", " ").replace(".00", "") == said


def test_numbers_are_short_and_keep_their_unit() -> None:
    assert wording.say(0.00111, "flow") == "66.6\u00a0L/min"
    assert wording.say(1.6619, "liquid_volume") == "1\u202f662\u00a0L"
    assert wording.say(283.15, "temperature") == "10\u00a0°C"
    assert wording.say(263.15, "temperature") == "\u221210\u00a0°C"
    assert wording.say_range(308.15, 322.15, "temperature") == "35 to 49\u00a0°C"
    assert wording.listed(["a", "b", "c"]) == "a, b and c"
    assert wording.listed([]) == ""
    assert wording.say(float("inf"), "resistivity") == "∞\u00a0MΩ·cm"
    assert wording.say(float("nan"), "ph") == "no number"


# --- sources --------------------------------------------------------------------------------------------------------
def test_every_source_has_a_title_and_says_how_it_is_known() -> None:
    for key, entry in SOURCES.items():
        assert entry.key == key
        assert entry.title
        assert entry.how_known in HowKnown
        assert entry.how_known.value in entry.citation()
    assert source("crc_solutions").citation() == (
        "CRC Handbook of Chemistry and Physics, 102nd ed. 2021, Concentrative Properties of Aqueous Solutions: "
        "density, viscosity, freezing point (read)"
    )


def test_limits_of_the_trade_agree_with_the_units_they_are_quoted_in() -> None:
    limits = PlantLimits()
    assert limits.velocity_warn_m_per_s == pytest.approx(units.convert(15.0, "gpm/ft^2", "m/s"), rel=1e-4)
    assert limits.velocity_limit_m_per_s == pytest.approx(units.convert(20.0, "gpm/ft^2", "m/s"), rel=1e-4)
    assert limits.pressure_drop_limit_pascal == pytest.approx(units.convert(20.0, "psi", "pascal"), rel=1e-4)
    assert limits.caustic_hardness_warn_eq_per_m3 == pytest.approx(0.002 / 0.0500435, rel=1e-3)


# --- cautions -------------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("chemical", list(Chemical))
def test_every_caution_names_its_authority_and_its_source(chemical: Chemical) -> None:
    for kind in StepKind:
        for caution in hazards.step_cautions(kind, chemical, 0.05, 0.30, 293.15):
            assert caution.measures[-1] == hazards.AUTHORITY
            assert caution.source in SOURCES
            assert caution.headline.endswith(".")
            assert "!" not in caution.headline


@pytest.mark.parametrize(
    "chemical",
    [Chemical.HYDROCHLORIC_ACID, Chemical.SULFURIC_ACID, Chemical.SODIUM_HYDROXIDE, Chemical.AMMONIA],
)
def test_concentrates_are_danger_with_face_shield_and_shower(chemical: Chemical) -> None:
    cautions = hazards.step_cautions(StepKind.INJECT, chemical, 0.05, 0.30, 293.15)
    concentrate = cautions[0]
    assert concentrate.signal is SignalWord.DANGER
    assert "GHS05" in concentrate.pictograms
    assert "goggles and face shield" in hazards.protective_equipment(cautions)
    assert any("shower" in measure for measure in concentrate.measures)
    assert any("water flows before" in measure for measure in concentrate.measures)


@pytest.mark.parametrize("chemical", [Chemical.HYDROCHLORIC_ACID, Chemical.SODIUM_HYDROXIDE])
def test_gear_stays_on_through_displacement(chemical: Chemical) -> None:
    cautions = hazards.step_cautions(StepKind.DISPLACE, chemical, 0.04, None, 293.15)
    assert "goggles" in hazards.protective_equipment(cautions)


def test_five_percent_caustic_is_more_than_a_warning() -> None:
    """Skin corrosion 1A from 5 %, 1B from 2 %: classification of sodium hydroxide (read)."""
    assert (
        hazards.step_cautions(StepKind.DISPLACE, Chemical.SODIUM_HYDROXIDE, 0.05, None, 293.15)[0].signal
        is SignalWord.DANGER
    )
    assert (
        hazards.step_cautions(StepKind.DISPLACE, Chemical.SODIUM_HYDROXIDE, 0.04, None, 293.15)[0].signal
        is SignalWord.WARNING
    )


def test_a_hot_feed_has_its_own_caution() -> None:
    codes = {
        caution.code
        for caution in hazards.step_cautions(StepKind.INJECT, Chemical.SODIUM_HYDROXIDE, 0.04, 0.5, 318.15)
    }
    assert "hot_line" in codes
    cold = {
        caution.code
        for caution in hazards.step_cautions(StepKind.INJECT, Chemical.SODIUM_HYDROXIDE, 0.04, 0.5, 293.15)
    }
    assert "hot_line" not in cold


def test_loading_warns_of_oxidizers_and_of_the_vessel() -> None:
    codes = {caution.code for caution in hazards.step_cautions(StepKind.LOAD, None, None, None, 293.15)}
    assert {"oxidizer", "opening_vessel", "beads_on_floor"} <= codes


def test_gear_is_listed_once_and_the_stronger_piece_replaces_the_weaker() -> None:
    cautions = hazards.step_cautions(StepKind.INJECT, Chemical.HYDROCHLORIC_ACID, 0.05, 0.32, 293.15)
    gear = hazards.protective_equipment(cautions)
    assert len(gear) == len(set(gear))
    assert "goggles" not in gear
    assert "goggles and face shield" in gear


SAID = {
    Chemical.AMMONIA: ("gas", "hypochlorite"),
    Chemical.SODIUM_CARBONATE: ("carbon dioxide", "acid"),
    Chemical.SODIUM_HYPOCHLORITE: ("chlorine", "ammonia"),
    Chemical.PERACETIC_ACID: ("vented", "carbon"),
    Chemical.SODIUM_DITHIONITE: ("sulfur dioxide", "damp"),
    Chemical.SULFURIC_ACID: ("never water into acid", "boils"),
}


@pytest.mark.parametrize("chemical", SAID)
def test_a_concentrate_says_what_it_gives_off_and_what_it_must_not_meet(chemical: Chemical) -> None:
    (found,) = hazards.stock_cautions(chemical, 0.2)
    text = " ".join((found.headline, *found.measures))
    for word in SAID[chemical]:
        assert word in text.lower(), word


@pytest.mark.parametrize("chemical", [one for one in Chemical if one is not Chemical.SODIUM_CHLORIDE])
def test_the_line_keeps_its_caution_through_displacement_and_rinse(chemical: Chemical) -> None:
    for kind in (StepKind.DISPLACE, StepKind.RINSE, StepKind.SOAK):
        cautions = hazards.step_cautions(kind, chemical, 0.02, None, 293.15)
        assert any(caution.code.endswith("_in_line") for caution in cautions), kind
        assert "chemical-resistant gloves" in hazards.protective_equipment(cautions)


def test_only_settling_needs_no_caution_whatever_came_before() -> None:
    """Every other kind of step has one once a chemical was in the bed."""
    without = {
        kind
        for kind in StepKind
        if not hazards.step_cautions(kind, Chemical.HYDROCHLORIC_ACID, 0.05, 0.3, 293.15)
    }
    assert without == {StepKind.SETTLE}


def test_both_legs_in_one_vessel_is_a_danger_of_its_own() -> None:
    together = hazards.step_cautions(
        StepKind.INJECT, Chemical.HYDROCHLORIC_ACID, 0.04, 0.32, 293.15, LegArrangement.TOGETHER
    )
    apart = hazards.step_cautions(StepKind.INJECT, Chemical.HYDROCHLORIC_ACID, 0.04, 0.32, 293.15)
    assert together[0].code == "unbalanced_legs" and together[0].signal is SignalWord.DANGER
    assert "steam" in together[0].headline
    assert together[1:] == apart
    brine = hazards.step_cautions(
        StepKind.INJECT, Chemical.SODIUM_CHLORIDE, 0.1, 0.26, 293.15, LegArrangement.TOGETHER
    )
    assert "unbalanced_legs" not in {caution.code for caution in brine}


def test_carbon_and_air_say_what_kills() -> None:
    empty = hazards.step_cautions(StepKind.EMPTY, None, None, None, 293.15)
    oxygen = next(caution for caution in empty if caution.code == "carbon_takes_oxygen")
    assert oxygen.signal is SignalWord.DANGER and "permit" in " ".join(oxygen.measures)
    assert any("decided in writing" in measure for caution in empty for measure in caution.measures)
    (air,) = hazards.step_cautions(StepKind.AIR_MIX, None, None, None, 293.15)
    assert "relief valve" in " ".join(air.measures) and "Oil-free" in " ".join(air.measures)


def test_hot_caustic_asks_for_the_face_shield_at_every_tap() -> None:
    cautions = hazards.step_cautions(StepKind.SOAK, Chemical.SODIUM_HYDROXIDE, 0.04, None, 318.15)
    assert "goggles and face shield" in hazards.protective_equipment(cautions)


def test_sulfuric_acid_is_told_never_to_pause() -> None:
    standing = hazards.standing_caution(Chemical.SULFURIC_ACID)
    assert any("never pauses" in measure for measure in standing.measures)


@pytest.mark.parametrize("chemical", list(Chemical))
def test_cautions_are_in_the_house_voice(chemical: Chemical) -> None:
    for kind in StepKind:
        for caution in hazards.step_cautions(kind, chemical, 0.05, 0.30, 318.15):
            for text in (caution.headline, *caution.measures):
                assert text.endswith(".") and "!" not in text, text
                assert text[0].isupper() or text[0].isdigit(), text
                assert not {"please", "oops", "successfully", "error", "invalid"} & set(text.lower().split())
