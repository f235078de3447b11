"""Laboratory figures, fouling and advice: what each rule says at its level, just beside it, and that nothing is promised."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.default_recipes import default_recipes
from regenplant.core.process.resin_advice import Advice, Standing, Step, advise
from regenplant.core.process.resin_ageing import Belief, Curve
from regenplant.core.process.resin_fouling import BY_CODE, FOULANTS, Answer, Seen, Suspect, suspects
from regenplant.core.process.resin_losses import Cycle, loss_rate
from regenplant.core.process.resin_tests import Figure, Finding, Property, findings
from regenplant.core.process.vocabulary import Purpose, ResinFamily

CATION, TYPE_1 = ResinFamily.SAC_HYDROGEN, ResinFamily.SBA_TYPE_1


def said(family: ResinFamily, *figures: Figure) -> dict[Finding, str]:
    return {one.finding: one.sentence for one in findings(family, figures)}


# --- figures of the laboratory --------------------------------------------------------------------------------------------
@pytest.mark.parametrize(
    ("figure", "finding"),
    [
        (Figure(Property.MOISTURE, 0.53, 0.48), Finding.MOISTURE_UP),
        (Figure(Property.MOISTURE, 0.43, 0.48), Finding.MOISTURE_DOWN),
        (Figure(Property.WHOLE_BEADS, 0.94), Finding.BROKEN_BEADS),
        (Figure(Property.FINES, 0.011), Finding.FINES),
        (Figure(Property.IRON, 0.0051), Finding.IRON),
    ],
)
def test_a_figure_past_its_level_is_said(figure: Figure, finding: Finding) -> None:
    assert set(said(CATION, figure)) == {finding}


@pytest.mark.parametrize(
    "figure",
    [
        Figure(Property.MOISTURE, 0.505, 0.48),
        Figure(Property.MOISTURE, 0.53),
        Figure(Property.WHOLE_BEADS, 0.95),
        Figure(Property.FINES, 0.01),
        Figure(Property.IRON, 0.005),
        Figure(Property.TOC, 0.02),
    ],
)
def test_a_figure_at_its_level_is_not(figure: Figure) -> None:
    assert said(CATION, figure) == {}


def test_strong_base_that_turned_weak_is_seen_on_anion_only() -> None:
    pair = (Figure(Property.TOTAL_CAPACITY, 1200.0, 1300.0), Figure(Property.SALT_SPLITTING, 900.0, 1250.0))
    assert "75% of the total capacity splits salt" in said(TYPE_1, *pair)[Finding.WEAK_BASE]
    assert said(CATION, *pair) == {}


# --- fouling ------------------------------------------------------------------------------------------------------------------
@pytest.mark.requirement("RS-07")
def test_signs_put_foulants_in_order_and_the_quick_test_decides() -> None:
    seen = {Seen.DARK, Seen.SMELL, Seen.SILICA}
    first = suspects(TYPE_1, seen, {}, {})
    assert [one.foulant.code for one in first] == ["organics", "silica"]
    assert first[0].because == ("beads dark, tea-coloured water", "sharp or foul smell")
    assert first[0].recipes == ("CL-ORG-OH1",)
    denied = suspects(TYPE_1, seen, {}, {"organics": Answer.NO})
    assert [one.foulant.code for one in denied] == ["silica"]
    confirmed = suspects(TYPE_1, seen, {}, {"silica": Answer.YES})
    assert confirmed[0].foulant.code == "silica" and confirmed[0].is_confirmed


def test_what_only_goes_with_a_foulant_does_not_name_it() -> None:
    assert suspects(CATION, {Seen.PRESSURE, Seen.SHORT_RUNS}, {}, {}) == ()


def test_cation_foulants_are_not_looked_for_on_anion() -> None:
    assert "iron" not in {one.foulant.code for one in suspects(TYPE_1, set(Seen), {}, {})}
    assert "organics" not in {one.foulant.code for one in suspects(CATION, set(Seen), {}, {})}


@pytest.mark.requirement("RS-07")
def test_a_laboratory_figure_speaks_as_a_sign() -> None:
    found = suspects(CATION, set(), said(CATION, Figure(Property.IRON, 0.02)), {})
    assert [one.foulant.code for one in found] == ["iron"]
    assert "20 mg/L of iron" in found[0].because[0]


def test_every_recipe_named_is_a_default_cleaning_recipe_of_that_family() -> None:
    known = {(one.code, one.family) for one in default_recipes() if one.purpose is Purpose.CLEANING}
    named = {(code, family) for one in FOULANTS for family, codes in one.recipes.items() for code in codes}
    assert named and named <= known


def test_what_can_hurt_carries_its_caution() -> None:
    for one in FOULANTS:
        assert one.quick_test.endswith(".") and one.treatment.endswith(".")
        if any(word in one.treatment for word in ("acid", "caustic", "Sanitize", "ypochlorite")):
            assert "safety data sheet" in one.caution, one.code


# --- advice -------------------------------------------------------------------------------------------------------------------
SOUND = Standing(Curve.CATION, Belief(0.93, 0.03), 2.0, days_since_test=100)


def steps(standing: Standing) -> list[Step]:
    return [one.step for one in advise(standing)]


def suspect(code: str, answer: Answer | None) -> Suspect:
    return Suspect(BY_CODE[code], ("sign",), 2.0, answer, ())


@pytest.mark.requirement("RS-05")
def test_a_sound_lot_goes_on() -> None:
    assert advise(SOUND) == (
        Advice(
            Step.GO_ON,
            "The capacity left is believed to be 93 % (88 to 98 %) of new, and no sign speaks against it.",
        ),
    )


@pytest.mark.requirement("RS-05")
def test_cation_is_replaced_only_where_cleaning_did_not_help() -> None:
    down = replace(SOUND, now=Belief(0.74, 0.03), age_years=9.0)
    assert Step.REPLACE not in steps(down)
    assert steps(replace(down, days_since_cleaning=30))[0] is Step.REPLACE
    assert Step.REPLACE not in steps(replace(down, now=Belief(0.75, 0.03), days_since_cleaning=30))


@pytest.mark.parametrize(
    ("curve", "years", "is_old"),
    [
        (Curve.TYPE_1, 5.9, False),
        (Curve.TYPE_1, 6.0, True),
        (Curve.TYPE_2, 4.0, True),
        (Curve.CATION, 20.0, False),
    ],
)
def test_anion_has_a_usual_age_of_replacement(curve: Curve, years: float, is_old: bool) -> None:
    found = steps(Standing(curve, Belief(0.7, 0.05), years, days_since_test=10))
    assert (Step.REPLACE in found) is is_old


def test_a_confirmed_foulant_is_cleaned_unless_nothing_helps() -> None:
    assert steps(replace(SOUND, suspects=[suspect("iron", Answer.YES)])) == [Step.CLEAN]
    assert steps(replace(SOUND, suspects=[suspect("oxidation", Answer.YES)])) == [Step.REPLACE]


@pytest.mark.requirement("RS-05")
def test_an_unsure_foulant_is_tested_first() -> None:
    found = advise(replace(SOUND, suspects=[suspect("iron", None)]))
    assert found[0].step is Step.TEST and "Soak a pinch of resin" in found[0].reason


def test_each_pool_is_sampled_once_a_year() -> None:
    assert steps(replace(SOUND, days_since_test=365)) == [Step.GO_ON]
    assert steps(replace(SOUND, days_since_test=366)) == [Step.TEST]
    assert steps(replace(SOUND, days_since_test=None)) == [Step.TEST]
    assert steps(replace(SOUND, days_since_test=None, age_years=0.5)) == [Step.GO_ON]


def test_cation_that_ages_faster_than_its_source_says_is_looked_into() -> None:
    assert "7.0 % of its capacity a year" in advise(replace(SOUND, now=Belief(0.86, 0.03)))[0].reason
    assert steps(replace(SOUND, now=Belief(0.90, 0.03))) == [Step.GO_ON]


@pytest.mark.requirement("RS-08")
def test_lost_resin_is_topped_up_past_the_watch_level() -> None:
    usual = loss_rate([Cycle(1.0, 0.0, 0.97)])
    assert steps(replace(SOUND, losses=usual)) == steps(replace(SOUND, losses=None)) == [Step.GO_ON]
    (advice,) = advise(replace(SOUND, losses=loss_rate([Cycle(1.0, 0.0, 0.959)])))
    assert advice.step is Step.TOP_UP and "4.1 %" in advice.reason and "1 to 3 % are usual" in advice.reason


def test_a_wide_band_and_disagreement_ask_for_a_test() -> None:
    assert steps(replace(SOUND, now=Belief(0.9, 0.08))) == [Step.TEST]
    assert steps(replace(SOUND, disagreeing=["The test says 60 %."])) == [Step.TEST]
