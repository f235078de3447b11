"""What the batch sheet says for one family and no other: legs, separation, stepwise acid, carbon."""

from __future__ import annotations

from dataclasses import replace

import pytest

from regenplant.core.process.batch_plan import plan_batch
from regenplant.core.process.default_recipes import main_recipe
from regenplant.core.process.plan import FeedData
from regenplant.core.process.vocabulary import Chemical, Leg, ResinFamily, StepKind
from regenplant.documents.batch_sheet import draw_batch_sheet
from regenplant.documents.batch_sheet_records import (
    DETERMINATIONS,
    SEPARATION_WORDS,
    SPENT_CARBON_WORDS,
)
from regenplant.documents.batch_sheet_sulfuric import NEVER_PAUSE, acid_steps, gypsum_limits
from regenplant.documents.page import A4
from regenplant.documents.texts import limit_number, other, own
from tests.documents import examples
from tests.documents.drawn import sheet_of
from tests.documents.reading import page_texts, plain, whole_text

APART = main_recipe(ResinFamily.MIXED_BED).code
POLISHING = main_recipe(ResinFamily.MIXED_BED_POLISHING).code
CARBON = main_recipe(ResinFamily.CARBON).code
LEGGED = [APART, POLISHING, examples.TOGETHER, examples.FLOATED]
WORDS = {Leg.CATION: "CATION LEG", Leg.ANION: "ANION LEG"}


def pages_of(code: str, system: str = "metric") -> list[str]:
    return page_texts(sheet_of(code, "a4" if system == "metric" else "letter", system))


# --- mixed beds -------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", LEGGED)
def test_each_leg_opens_a_page_under_its_name_with_its_vessel_and_its_steps(code):
    plan, pages = examples.plan_of(code), pages_of(code)
    for leg, vessel in (
        (Leg.CATION, plan.request.vessel),
        (Leg.ANION, plan.request.anion_vessel or plan.request.vessel),
    ):
        steps = [step for step in plan.steps if step.leg is leg]
        page = next(text for text in pages if WORDS[leg] in text)
        assert (
            f"vessel {vessel.code} · steps {steps[0].number} to {steps[-1].number} · runs beside the" in page
        )
        assert page.index(WORDS[leg]) < page.index(plain(steps[0].instruction))
    assert sum("CATION LEG" in text for text in pages) == sum("ANION LEG" in text for text in pages) == 1


@pytest.mark.parametrize("code", LEGGED)
def test_the_join_waits_for_both_legs(code):
    plan, text = examples.plan_of(code), " ".join(pages_of(code))
    join = next(step for step in plan.steps if step.kind is StepKind.JOIN)
    last = [max(step.number for step in plan.steps if step.leg is leg) for leg in (Leg.CATION, Leg.ANION)]
    assert f"THE LEGS JOIN only when steps {last[0]} and {last[1]} are both done" in text
    assert (
        f"Step {join.number}, {plain(join.name)}, begins only when steps {last[0]} and {last[1]} are both done."
        in text
    )


@pytest.mark.parametrize("code", LEGGED)
def test_within_a_leg_the_next_step_is_of_the_same_leg(code):
    plan, text = examples.plan_of(code), " ".join(pages_of(code))
    for leg in (Leg.CATION, Leg.ANION):
        steps = [step for step in plan.steps if step.leg is leg]
        join = next(step for step in plan.steps if step.kind is StepKind.JOIN)
        for step, follows in zip(steps, [*steps[1:], join], strict=True):
            assert f"step {follows.number}, {plain(follows.name)}." in text, step.name


def test_legs_in_one_vessel_start_together_and_legs_apart_do_not_wait():
    assert (
        "Both legs start at the same moment and run together in one vessel; neither runs alone."
        in " ".join(pages_of(examples.TOGETHER))
    )
    assert "either may start first, and neither waits for the other" in " ".join(pages_of(APART))


@pytest.mark.parametrize("code", LEGGED)
def test_the_balance_of_the_legs_stands_with_its_hazard_and_the_temperature_if_they_met(code):
    plan = examples.plan_of(code)
    page = next(text for text in pages_of(code) if "The bed parts into two legs" in text)
    check = next(check for check in plan.checks if check.code == "leg_balance")
    end = plan.totals["legs_meet_temperature_kelvin"]
    assert plain(check.sentence) in page
    assert f"to {plain(own(end.value, end.kind, end.unit, 'metric'))}." in page
    hazard = "unbalanced_legs" if code == examples.TOGETHER else "legs_meet"
    caution = next(c for step in plan.steps for c in step.cautions if c.code == hazard)
    assert plain(caution.headline) in page
    assert caution.signal.value.upper() in page


@pytest.mark.parametrize("system", ["metric", "us"])
@pytest.mark.parametrize("code", [APART, examples.TOGETHER])
def test_the_separation_record_asks_for_everything_beside_what_was_predicted(code, system):
    plan = examples.plan_of(code)
    cut = next(step for step in plan.steps if step.kind is StepKind.CUT)
    page = next(text for text in pages_of(code, system) if "Separation record" in text)
    record = page[page.index("Separation record") :]
    assert SEPARATION_WORDS in record
    for entry in cut.entries:
        assert plain(entry.name) in record
        for limit in (entry.low, entry.high):
            if limit is not None:
                assert plain(limit_number(limit, entry.kind, system)) in record
    for key in (
        "interface_height_m",
        "lower_layer_m3",
        "upper_layer_m3",
        "cut_m3",
        "cation_in_anion_frac",
        "anion_in_cation_frac",
    ):
        figure = cut.figures[key]
        assert plain(own(figure.value, figure.kind, figure.unit, system)) in record
        assert plain(other(figure.value, figure.kind, system)) in record


def test_a_separation_without_a_collector_on_record_still_has_its_record():
    asked = examples.request(examples.RECIPES[APART])
    plan = plan_batch(replace(asked, vessel=replace(asked.vessel, side_outlet_height_m=None)))
    text = whole_text(draw_batch_sheet(replace(examples.content_of(APART), plan=plan), A4, "metric"))
    assert "Separation record" in text
    assert "Interface above the bed support" in text


@pytest.mark.parametrize("code", LEGGED)
def test_the_last_rinse_is_judged_and_the_one_before_it_only_read(code):
    text = " ".join(pages_of(code))
    assert text.count("Rinse-down readings") == 2
    assert text.count("Readings on the way; the last rinse is judged.") == 1
    assert "Pumped round" in text


# --- no pause ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_no_pause_is_stamped_on_sulfuric_steps_and_on_legs_with_chemical_only(code):
    plan, text = examples.plan_of(code), " ".join(pages_of(code))
    marked = [
        step
        for step in plan.steps
        if step.kind is StepKind.INJECT
        and (step.leg is not Leg.WHOLE or step.chemical is Chemical.SULFURIC_ACID)
    ]
    assert text.count("NO PAUSE") == len(marked)
    assert text.count("No pause: ") == len(marked)


# --- sulfuric acid ----------------------------------------------------------------------------------------------
@pytest.mark.parametrize("system", ["metric", "us"])
def test_sulfuric_acid_stands_step_by_step_with_its_gypsum_index_and_limits(system):
    plan = examples.plan_of(examples.SULFURIC)
    page = next(text for text in pages_of(examples.SULFURIC, system) if "Sulfuric acid in steps" in text)
    table = page[page.index("Sulfuric acid in steps") :]
    warn, stop = (limit_number(limit, "index", system) for limit in gypsum_limits(plan.request))
    assert f"above {warn} warns, above {stop} stops" in table
    assert plain(NEVER_PAUSE) in table
    assert len(acid_steps(plan)) == 3
    for step in acid_steps(plan):
        for key in (
            "strength_frac",
            "flow_m3_per_s",
            "chemical_kg_100",
            "dose_kg_per_m3",
            "calcium_frac",
            "gypsum_index",
        ):
            figure = step.figures[key]
            assert plain(own(figure.value, figure.kind, figure.unit, system)) in table, key


def test_gypsum_above_a_limit_is_said_in_the_table():
    recipe = examples.RECIPES[examples.SULFURIC]
    hard = FeedData(4.0, 0.5, 0.5, 2.0, 1.0, 0.0, 2.0, 0.1, 0.1, "invented hard water")
    plan = plan_batch(replace(examples.request(recipe), feed=hard))
    verdicts = [check for check in plan.checks if check.code == "gypsum" and not check.is_met]
    text = whole_text(draw_batch_sheet(replace(examples.content_of(recipe.code), plan=plan), A4, "metric"))
    warn, stop = (limit_number(limit, "index", "metric") for limit in gypsum_limits(plan.request))
    assert verdicts
    assert text.count(f"stops: above {stop}") == sum(check.blocks for check in verdicts)
    assert text.count(f"warns: above {warn}") == sum(not check.blocks for check in verdicts)


# --- carbon -----------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("system", ["metric", "us"])
def test_nothing_on_a_carbon_paper_is_regenerated(system):
    pages = pages_of(CARBON, system)
    assert pages
    assert all("regenerat" not in text.lower() for text in pages)
    assert all("Batch sheet · exchange of carbon" in text for text in pages)


def test_spent_carbon_has_its_containers_and_the_determination_what_waste_it_is():
    page = next(
        text for text in pages_of(CARBON) if "Spent carbon: containers and waste determination" in text
    )
    empty = next(step for step in examples.plan_of(CARBON).steps if step.kind is StepKind.EMPTY)
    assert plain(SPENT_CARBON_WORDS) in page
    assert all(words in page for words in DETERMINATIONS)
    assert "Waste profile or paper, by number" in page
    record = page[page.index("Spent carbon: containers") :]
    asked = ("carbon_out", "container_label", "waste_decided_by", "waste_set_aside")
    assert [entry.key for entry in empty.entries if plain(entry.name) in record] == list(asked)


# --- purposes ---------------------------------------------------------------------------------------------------
@pytest.mark.parametrize("code", list(examples.RECIPES))
def test_the_paper_names_its_purpose_on_every_page(code):
    purpose = examples.RECIPES[code].purpose.label
    if code.startswith("SAN-"):
        purpose = "sanitizing, then regeneration"
    is_usual = purpose == "regeneration"
    for text in pages_of(code):
        assert ("Batch sheet ·" in text) != is_usual
        assert is_usual or f"Batch sheet · {purpose}" in text


# --- float separation -------------------------------------------------------------------------------------------
@pytest.mark.parametrize("system", ["metric", "us"])
def test_a_float_separation_can_be_worked_by_hand_with_a_hydrometer(system):
    plan = examples.plan_of(examples.FLOATED)
    step = next(step for step in plan.steps if step.kind is StepKind.FLOAT)
    text = " ".join(pages_of(examples.FLOATED, system))
    for key in ("standing_density_kg_per_m3", "solution_height_m", "chemical_kg_100"):
        figure = step.figures[key]
        assert plain(own(figure.value, figure.kind, figure.unit, system)) in plain(text), key
    assert "Density as fed, by hydrometer" in text
    assert "Anion resin afloat, cation resin below, clear solution" in text
    assert "No hold point: go straight on to step 8, Displace the dense brine downward" in text
    assert "The anion resin floats at the top of the solution" in text
    assert "Separation record" in text
